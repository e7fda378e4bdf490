#!/bin/sh
# Sets up whatever is missing, then checks: sh scripts/test.sh [--long] [PYTEST ARGUMENTS]
# With --long also the tests that cannot be made short. All four checks run even when an early one fails; the exit
# status is 1 when any failed.
set -eu

tests='not long'
if [ "${1:-}" = --long ]; then
    tests='long or not long'
    shift
fi

PROJECT=$(CDPATH='' cd -- "$(dirname -- "$0")/.." && pwd -P)
. "$PROJECT/scripts/setup.sh"
set_up --dev
cd "$PROJECT"
PYTHON="$ENVIRONMENT/bin/python"
failed=''
# Each of some sixty processes would read the libraries' source anew where no compiled copies may lie beside it.
unset PYTHONDONTWRITEBYTECODE
export PYTHONPYCACHEPREFIX="$PROJECT/.tools/bytecode"

check() {
    name=$1
    shift
    say "$name"
    "$PYTHON" -m "$@" || failed="$failed $name,"
}

check 'ruff check' ruff check
check 'ruff format' ruff format --check
check 'mypy' mypy
check 'pytest' pytest --numprocesses auto --maxprocesses 4 --dist loadfile \
    --no-loadscope-reorder -m "$tests" "$@"

if [ -n "$failed" ]; then
    stop "failed:${failed%,}"
fi
say "every check passed"

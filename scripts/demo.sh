#!/bin/sh
# Sets up whatever is missing, then runs the demonstration: sh scripts/demo.sh [FOLDER]
# FOLDER (default: demo-campaign in the current folder) receives the invented campaign and its results.
set -eu

case ${1:-} in
    -h | --help)
        printf 'usage: sh scripts/demo.sh [FOLDER]\nWrites the invented demo campaign and its results into FOLDER (default: ./demo-campaign).\n'
        exit 0
        ;;
    -*)
        printf 'holdcast: unknown option %s; usage: sh scripts/demo.sh [FOLDER]\n' "$1" >&2
        exit 2
        ;;
esac
if [ $# -gt 1 ]; then
    printf 'holdcast: one folder is expected, %s were given (quote a name that holds spaces)\n' "$#" >&2
    exit 2
fi

PROJECT=$(CDPATH='' cd -- "$(dirname -- "$0")/.." && pwd -P)
. "$PROJECT/scripts/setup.sh"
set_up --no-dev
say "running the demonstration"
exec "$ENVIRONMENT/bin/holdcast" demo "${1:-demo-campaign}"

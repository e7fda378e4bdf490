# Set-up shared by demo.sh and test.sh. Sourced, not run: the caller sets PROJECT to the folder of pyproject.toml.
# Afterwards ENVIRONMENT is a ready Python environment. Needs some Python 3 (3.8 or newer) or uv, and a package index.

UV_VERSION=0.13.9
TOOLS="$PROJECT/.tools"
SETUP_LOG="$TOOLS/setup.log"
ENVIRONMENT="${UV_PROJECT_ENVIRONMENT:-$PROJECT/.venv}"
case $ENVIRONMENT in /*) ;; *) ENVIRONMENT="$PROJECT/$ENVIRONMENT" ;; esac

say() { printf 'holdcast: %s\n' "$*" >&2; }

stop() {
    say "$*"
    exit 1
}

# Every place where a Python may lie, best first, one a line. A version manager's stand-in on the PATH can fail
# although the same machine holds a good interpreter elsewhere, so the PATH is read folder by folder.
python_candidates() {
    for candidate_name in python3.13 python3.12 python3 python; do
        printf '%s:/usr/bin:/usr/local/bin:/opt/homebrew/bin\n' "$PATH" | tr ':' '\n' |
            while IFS= read -r candidate_folder; do
                case $candidate_folder in /*) printf '%s/%s\n' "$candidate_folder" "$candidate_name" ;; esac
            done
        for versions in "${PYENV_ROOT:-${HOME:-/nowhere}/.pyenv}/versions" "${HOME:-/nowhere}/.local/share/uv/python"; do
            for candidate_path in "$versions"/*/bin/"$candidate_name"; do
                printf '%s\n' "$candidate_path"
            done
        done
    done
}

# Prints "3.13 /path/of/the/interpreter", or fails. Runs in / because .python-version steers stand-ins elsewhere.
describe_python() {
    [ -x "$1" ] && (cd / && "$1" -c '
import sys
import ssl
sys.exit(1) if sys.version_info < (3, 8) else print("%d.%d" % sys.version_info[:2], sys.executable)
' </dev/null 2>/dev/null)
}

# Sets PROJECT_PYTHON (3.13, else 3.12; empty when there is none) and ANY_PYTHON (whatever can fetch uv).
find_pythons() {
    PROJECT_PYTHON=''
    ANY_PYTHON=''
    seen=' '
    while IFS= read -r candidate; do
        case $seen in *" $candidate "*) continue ;; esac
        seen="$seen$candidate "
        described=$(describe_python "$candidate") || continue
        : "${ANY_PYTHON:=${described#* }}"
        case $described in
            3.13\ *)
                PROJECT_PYTHON=${described#* }
                break
                ;;
            3.12\ *) : "${PROJECT_PYTHON:=${described#* }}" ;;
        esac
    done <<CANDIDATES
$(python_candidates)
CANDIDATES
    [ -z "$PROJECT_PYTHON" ] || ANY_PYTHON=$PROJECT_PYTHON
}

# Older releases of uv lack options used here.
uv_works() {
    [ -n "$1" ] && [ -x "$1" ] || return 1
    case $(cd / && "$1" --version 2>/dev/null) in
        'uv 0.'[0-8].*) return 1 ;;
        'uv '*) return 0 ;;
        *) return 1 ;;
    esac
}

# pip's settings for a person's own installs would send uv somewhere else.
pip_install_uv() {
    (cd / && PIP_USER=0 PIP_REQUIRE_VIRTUALENV=0 "$@" --quiet "uv==$UV_VERSION" </dev/null) >>"$SETUP_LOG" 2>&1
}

# Three ways, by what this Python carries: an environment of its own; its pip; a pip fetched for the purpose.
fetch_uv_into() {
    if (cd / && "$ANY_PYTHON" -m venv "$1") >>"$SETUP_LOG" 2>&1; then
        pip_install_uv "$1/bin/python" -m pip install
        return
    fi
    rm -rf "$1"
    if (cd / && "$ANY_PYTHON" -m pip --version) >>"$SETUP_LOG" 2>&1; then
        pip_install_uv "$ANY_PYTHON" -m pip install --target "$1"
        return
    fi
    mkdir -p "$1.pip" && fetched_pip=$(cd / && "$ANY_PYTHON" "$PROJECT/scripts/fetch_pip.py" "$1.pip" 2>>"$SETUP_LOG") &&
        pip_install_uv "$ANY_PYTHON" "$fetched_pip/pip" install --target "$1"
    fetch_status=$?
    rm -rf "$1.pip"
    return $fetch_status
}

# Sets UV. Built beside its final place and moved there, so an interrupted fetch leaves nothing half made.
bring_uv() {
    for UV in "$TOOLS/uv/bin/uv" "$(command -v uv || :)"; do
        if uv_works "$UV"; then return; fi
    done
    [ -n "$ANY_PYTHON" ] || find_pythons
    [ -n "$ANY_PYTHON" ] || stop "no Python 3.8 or newer was found to begin with; install Python 3.13 and run this again"
    say "fetching uv $UV_VERSION into .tools, once"
    part="$TOOLS/uv.part.$$"
    rm -rf "$part"
    if ! fetch_uv_into "$part" || ! uv_works "$part/bin/uv"; then
        rm -rf "$part"
        stop "uv $UV_VERSION could not be fetched from the package index (details: $SETUP_LOG); is the network reachable?"
    fi
    rm -rf "$TOOLS/uv"
    mv "$part" "$TOOLS/uv"
    UV="$TOOLS/uv/bin/uv"
}

# uv brings certificates of its own; true once, when they were refused and the system's are still to be tried.
use_system_certificates() {
    [ -z "${UV_SYSTEM_CERTS:-}" ] && grep -q certificate "$SETUP_LOG" || return 1
    UV_SYSTEM_CERTS=true
    export UV_SYSTEM_CERTS
}

fetch_python() {
    (cd / && "$UV" python install 3.13) >>"$SETUP_LOG" 2>&1
}

# Sets CHOSEN_PYTHON: what uv is told to use. An environment that works keeps its interpreter.
choose_python() {
    CHOSEN_PYTHON=${UV_PYTHON:-}
    [ -z "$CHOSEN_PYTHON" ] || return 0
    case $(describe_python "$ENVIRONMENT/bin/python") in
        3.1[23]\ *)
            CHOSEN_PYTHON="$ENVIRONMENT/bin/python"
            return 0
            ;;
    esac
    [ -n "$PROJECT_PYTHON" ] || find_pythons
    CHOSEN_PYTHON=$PROJECT_PYTHON
    [ -z "$CHOSEN_PYTHON" ] || return 0
    CHOSEN_PYTHON=$(cd / && "$UV" python find --no-project '>=3.12,<3.14' 2>>"$SETUP_LOG") && return 0
    say "no Python 3.13 or 3.12 here; letting uv fetch one"
    CHOSEN_PYTHON=3.13
    if fetch_python || { use_system_certificates && fetch_python; }; then return 0; fi
    stop "no Python 3.13 or 3.12 was found and uv could not fetch one (details: $SETUP_LOG); install Python 3.13 and run this again"
}

# --inexact keeps what another group installed: the demo must not remove the test tools.
uv_sync() {
    (
        unset VIRTUAL_ENV
        cd "$PROJECT" && "$UV" sync --project "$PROJECT" --frozen --inexact --python "$CHOSEN_PYTHON" "$@"
    ) >>"$SETUP_LOG" 2>&1
}

# A mirror named for uv or pip; the lock file names the public index, which a closed network cannot reach.
own_index() {
    printf '%s' "${UV_DEFAULT_INDEX:-${UV_INDEX_URL:-${PIP_INDEX_URL:-}}}"
}

# The same locked releases, checked by the same digests, from the machine's own index.
sync_from_own_index() {
    index=$(own_index)
    [ -n "$index" ] || return 1
    say "trying the package index of this machine's own settings"
    (
        unset VIRTUAL_ENV
        cd "$PROJECT" &&
            "$UV" export --project "$PROJECT" --frozen --no-emit-project --quiet -o "$TOOLS/locked.txt" "$@" &&
            "$UV" venv --allow-existing --python "$CHOSEN_PYTHON" "$ENVIRONMENT" &&
            "$UV" pip install --python "$ENVIRONMENT/bin/python" --default-index "$index" \
                --require-hashes -r "$TOOLS/locked.txt" &&
            "$UV" pip install --python "$ENVIRONMENT/bin/python" --default-index "$index" --no-deps -e .
    ) >>"$SETUP_LOG" 2>&1
}

# Behind a proxy that signs for others pip is told which certificates to trust; uv reads another variable.
trust_what_pip_trusts() {
    if [ -z "${SSL_CERT_FILE:-}" ] && [ -n "${PIP_CERT:-}" ] && [ -f "$PIP_CERT" ]; then
        SSL_CERT_FILE=$PIP_CERT
        export SSL_CERT_FILE
    fi
}

# With uv's own certificates, else with the system's, else from the machine's own index.
install_libraries() {
    uv_sync "$1" && return
    if use_system_certificates && uv_sync "$1"; then return; fi
    sync_from_own_index "$1"
}

# set_up --no-dev: what the program needs. set_up --dev: the test tools too.
set_up() {
    mkdir -p "$TOOLS" || stop "cannot write in $PROJECT; copy the project to a folder of your own"
    : >"$SETUP_LOG" || stop "cannot write $SETUP_LOG; copy the project to a folder of your own"
    PROJECT_PYTHON=''
    ANY_PYTHON=''
    trust_what_pip_trusts
    bring_uv
    choose_python
    if uv_sync --check "$1"; then return 0; fi
    say "installing the libraries, once, about a minute"
    if install_libraries "$1"; then return 0; fi
    tail -n 4 "$SETUP_LOG" >&2
    stop "the libraries could not be installed (details: $SETUP_LOG); is the network reachable and the disk not full?"
}

# shellcheck shell=sh
# Sourced by try.sh and test.sh: the project's own Python environment in .venv.
# POSIX sh. Wants nothing of the machine but Python 3.11 or newer with venv.
# A script that lies elsewhere says in `project` where the project is.

project=${project:-$(CDPATH='' cd -- "$(dirname -- "$0")/.." && pwd)}
venv="$project/.venv"

say() { printf 'keelwatt: %s\n' "$*" >&2; }

fail() {
    say "$*"
    exit 1
}

# Prints the first Python that is new enough: $KEELWATT_PYTHON, or one on the path.
find_python() {
    for candidate in ${KEELWATT_PYTHON:-python3 python3.13 python3.12 python3.11 python3.14}; do
        if "$candidate" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null; then
            command -v "$candidate"
            return
        fi
    done
    fail "wants Python 3.11 or newer and found none; on Debian 12 or later: apt install python3 python3-venv"
}

make_venv() {
    if [ -x "$venv/bin/python" ] && "$venv/bin/python" -c 'import pip' 2>/dev/null; then
        return
    fi
    python=$(find_python) || exit 1
    if ! "$python" -c 'import venv, ensurepip' 2>/dev/null; then
        version=$("$python" -c 'import sys; print("%d.%d" % sys.version_info[:2])')
        fail "$python has no venv module; on Debian: apt install python$version-venv"
    fi
    say "making an environment in .venv"
    "$python" -m venv --clear "$venv" || fail "no environment could be made in $venv"
}

# install EXTRA: keelwatt and what it needs, once for each state of pyproject.toml.
install() {
    make_venv
    stamp="$venv/installed$1"
    # shellcheck disable=SC2046 # three words are wanted: sum, size and Python's version
    now=$(printf '%s ' $(cksum <"$project/pyproject.toml") $("$venv/bin/python" -V))
    for kept in "$stamp" "$venv/installed[test]"; do # the tests' environment holds the rest too
        if [ "$(cat "$kept" 2>/dev/null)" = "$now" ]; then
            return
        fi
    done
    say "installing keelwatt$1 into .venv (some minutes and an internet connection, once)"
    if ! "$venv/bin/python" -m pip install --disable-pip-version-check --quiet \
        --editable "$project$1" >"$venv/install.log" 2>&1; then
        tail -n 5 "$venv/install.log" >&2
        fail "pip could not install what keelwatt needs (is there a connection?); all of it is in .venv/install.log"
    fi
    printf '%s' "$now" >"$stamp"
}

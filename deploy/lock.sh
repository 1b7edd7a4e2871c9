#!/bin/sh
# Settles, on a computer with internet, which wheels a release is made of, and writes each one's
# check sum into deploy/lock/PROCESSOR-PYTHON.txt; wheelhouse.sh takes exactly those:
#   sh deploy/lock.sh                      for all processors and Pythons
#   sh deploy/lock.sh aarch64 3.13         for one
# Wants nothing downloaded but what pip reads to choose. Run it again to take newer versions.
set -eu
# shellcheck source=deploy/environment.sh
. "$(dirname -- "$0")/environment.sh"
# shellcheck source=deploy/platform.sh
. "$(dirname -- "$0")/platform.sh"

# lock_one PROCESSOR PYTHON
lock_one() {
    # shellcheck disable=SC2046 # words are wanted
    if ! "$venv/bin/python" -m pip --disable-pip-version-check --quiet install --dry-run \
        --ignore-installed --target "$work/nowhere" --report "$work/report.json" \
        $(for_platform "$1" "$2") --requirement "$work/wanted.txt" >"$work/log" 2>&1; then
        tail -n 5 "$work/log" >&2
        fail "no wheels fit $1 and Python $2"
    fi
    "$venv/bin/python" "$project/deploy/lock.py" "$work/report.json" >"$work/lock.txt"
    mv "$work/lock.txt" "$project/deploy/lock/$1-$2.txt"
    say "$1, Python $2: $(grep -c == "$project/deploy/lock/$1-$2.txt") wheels"
}

case $# in
0 | 2) ;;
*) fail "usage: sh $0 [aarch64|x86_64 3.11|3.12|3.13|3.14]" ;;
esac
make_venv
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
"$venv/bin/python" "$project/deploy/lock.py" --wanted "$project/pyproject.toml" >"$work/wanted.txt"
mkdir -p "$project/deploy/lock"
if [ $# -eq 2 ]; then
    known_platform "$1" "$2"
    lock_one "$1" "$2"
    exit
fi
for processor in $processors; do
    for python_version in $pythons; do lock_one "$processor" "$python_version"; done
done

#!/bin/sh
# On a computer with internet, makes one file with a whole release, signed, to be chosen on the
# board's own page or carried on a stick:
#   KEELWATT_SIGNING_KEY=release.key sh deploy/release.sh FOLDER [PROCESSOR]
# PROCESSOR is the board's: aarch64 (the default) or x86_64, as `uname -m` says there. It fits Debian 12
# and 13. A board takes it where the package it was installed from was signed by the same key, see
# wheelhouse.sh. Its age is that of the commit; SOURCE_DATE_EPOCH, where set, in place of it.
set -eu
# shellcheck source=deploy/environment.sh
. "$(dirname -- "$0")/environment.sh"
# shellcheck source=deploy/platform.sh
. "$(dirname -- "$0")/platform.sh"

[ $# -ge 1 ] || fail "usage: KEELWATT_SIGNING_KEY=KEY sh $0 FOLDER [aarch64|x86_64]"
folder=$1
processor=${2:-aarch64}
known_platform "$processor" 3.11
[ -f "${KEELWATT_SIGNING_KEY:-}" ] ||
    fail "wants the key that your boards know in KEELWATT_SIGNING_KEY; wheelhouse.sh says how to make one"
made_s=${SOURCE_DATE_EPOCH:-$(git -C "$project" log -1 --format=%ct 2>/dev/null)} ||
    fail "wants to know the age of this source: no git here, so set SOURCE_DATE_EPOCH"
version=$(sed -n 's/^version = "\(.*\)"$/\1/p' "$project/pyproject.toml")
umask 022

mkdir -p "$folder"
make_venv
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
for python_version in 3.11 3.13; do # Debian 12 and 13
    sh "$project/deploy/wheelhouse.sh" "$work/wheels/$python_version" "$processor" "$python_version"
    rm -rf "$work/deploy"
    mv "$work/wheels/$python_version/deploy" "$work/deploy"
done
only_board "$work/deploy"
file=$folder/keelwatt-$version-$processor.release
"$venv/bin/python" "$project/deploy/release_file.py" make "$work" "$file" "$version" "$made_s" \
    "$processor" "$KEELWATT_SIGNING_KEY"
say "done: $(basename "$file"), to be chosen on the board's own page, or to be put on a stick"

#!/bin/sh
# On a computer with internet, gathers keelwatt and all it needs in one folder, to be carried to
# the boat on a stick:
#   sh deploy/wheelhouse.sh FOLDER [PROCESSOR] [PYTHON]
# PROCESSOR is the boat computer's: aarch64 (the default) or x86_64, as `uname -m` says there.
# PYTHON is its Python: 3.11 (the default; Debian 12), 3.12, 3.13 (Debian 13) or 3.14.
# Which wheels is settled in deploy/lock (see lock.sh): the same ones each time, by their check sums,
# so that the folder is the same byte for byte, or it fails.
# KEELWATT_SIGNING_KEY, where set, is your private key's file; a board that has once been given a
# signed release takes no other. Made once, and kept at home:
#   openssl genpkey -algorithm ed25519 -out release.key
set -eu
# shellcheck source=deploy/environment.sh
. "$(dirname -- "$0")/environment.sh"
# shellcheck source=deploy/platform.sh
. "$(dirname -- "$0")/platform.sh"

[ $# -ge 1 ] || fail "usage: sh $0 FOLDER [aarch64|x86_64] [3.11|3.12|3.13|3.14]"
folder=$1
processor=${2:-aarch64}
python_version=${3:-3.11}
known_platform "$processor" "$python_version"
lock=$project/deploy/lock/$processor-$python_version.txt
[ -f "$lock" ] || fail "there is no $lock; make it: sh deploy/lock.sh $processor $python_version"

make_venv
mkdir -p "$folder"
rm -f "$folder"/*.whl "$folder/bom.cdx.json" "$folder/SHA256SUMS" "$folder/SHA256SUMS.sig" "$folder/release.pub"
say "gathering wheels for $processor and Python $python_version in $folder"
log=$venv/wheelhouse.log
pip() { "$venv/bin/python" -m pip --disable-pip-version-check --quiet "$@" >>"$log" 2>&1; }
: >"$log"
# Our own wheel hangs on nothing of this computer: from a copy with the usual rights, by one version
# of the tool, under one date.
copy=$(mktemp -d)
trap 'rm -rf "$copy"' EXIT
(cd "$project" && cp -R pyproject.toml README.md LICENSE logger analyzer replay "$copy")
find "$copy" -name __pycache__ -prune -exec rm -rf {} +
chmod -R u=rwX,go=rX "$copy"
echo "setuptools==80.9.0" >"$copy/with.txt"
own() (
    umask 022
    SOURCE_DATE_EPOCH=1767225600 PIP_CONSTRAINT="$copy/with.txt" # 2026-01-01
    export SOURCE_DATE_EPOCH PIP_CONSTRAINT
    pip wheel --no-deps --wheel-dir "$folder" "$copy"
)
others() {
    # shellcheck disable=SC2046 # words are wanted
    pip download --dest "$folder" --no-deps --require-hashes --requirement "$lock" \
        $(for_platform "$processor" "$python_version")
}
if ! { own && others; }; then
    tail -n 5 "$log" >&2
    fail "not all wheels could be had (is there a connection?); all of it is in .venv/wheelhouse.log"
fi
rm -rf "$folder/deploy"
cp -R "$project/deploy" "$folder/deploy"
(cd "$folder" && LC_ALL=C sha256sum -- *.whl >SHA256SUMS)
"$venv/bin/python" "$project/deploy/bill.py" "$folder" || exit 1
if [ -n "${KEELWATT_SIGNING_KEY:-}" ]; then
    { openssl pkey -in "$KEELWATT_SIGNING_KEY" -pubout -out "$folder/release.pub" &&
        openssl pkeyutl -sign -inkey "$KEELWATT_SIGNING_KEY" -rawin -in "$folder/SHA256SUMS" \
            -out "$folder/SHA256SUMS.sig"; } || fail "the release could not be signed with $KEELWATT_SIGNING_KEY"
    say "signed"
fi
say "done; on the boat: sudo sh $(basename "$folder")/deploy/install.sh $(basename "$folder")"

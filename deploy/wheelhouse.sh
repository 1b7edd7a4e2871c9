#!/bin/sh
# On a computer with internet, gathers keelwatt and all it needs in one folder, to be carried to
# the boat on a stick:
#   sh deploy/wheelhouse.sh FOLDER [PROCESSOR] [PYTHON]
# PROCESSOR is the boat computer's: aarch64 (the default) or x86_64, as `uname -m` says there.
# PYTHON is its Python: 3.11 (the default; Debian 12) or 3.13 (Debian 13).
# KEELWATT_SIGNING_KEY, where set, is your private key's file; a board that has once been given a
# signed release takes no other. Made once, and kept at home:
#   openssl genpkey -algorithm ed25519 -out release.key
# KEELWATT_LOCK, where set, is the SHA256SUMS of an earlier gathering: the same wheels are taken, by
# their check sums, and the folder is the same byte for byte, or it fails.
set -eu
# shellcheck source=deploy/environment.sh
. "$(dirname -- "$0")/environment.sh"

[ $# -ge 1 ] || fail "usage: sh $0 FOLDER [aarch64|x86_64] [3.11|3.13]"
folder=$1
processor=${2:-aarch64}
python_version=${3:-3.11}
case "$processor" in
aarch64 | x86_64) ;;
*) fail "wants aarch64 or x86_64, got $processor: only 64-bit boards are supported" ;;
esac

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
    if [ -n "${KEELWATT_LOCK:-}" ]; then
        sed -n '/  keelwatt-/d; s|^\([0-9a-f]\{64\}\)  \([^-]*\)-\([^-]*\)-.*\.whl$|\2==\3 --hash=sha256:\1|p' \
            "$KEELWATT_LOCK" >"$copy/lock.txt"
        set -- --no-deps --require-hashes --requirement "$copy/lock.txt"
    else
        set -- "$folder"/keelwatt-*.whl
    fi
    pip download --dest "$folder" \
        --only-binary :all: --implementation cp --python-version "$python_version" \
        --platform "manylinux_2_28_$processor" --platform "manylinux_2_17_$processor" \
        --platform "manylinux2014_$processor" "$@"
}
if ! { own && others; }; then
    tail -n 5 "$log" >&2
    fail "not all wheels could be had (is there a connection?); all of it is in .venv/wheelhouse.log"
fi
if [ -n "${KEELWATT_LOCK:-}" ]; then
    lock=$(realpath "$KEELWATT_LOCK")
    (cd "$folder" && sha256sum --check --status --strict "$lock") ||
        fail "the wheels are not those of $KEELWATT_LOCK: is this the same release of keelwatt?"
fi
rm -rf "$folder/deploy"
cp -R "$project/deploy" "$folder/deploy"
(cd "$folder" && LC_ALL=C sha256sum -- *.whl >SHA256SUMS)
"$venv/bin/python" "$project/deploy/bill.py" "$folder" || exit 1
if [ -n "${KEELWATT_SIGNING_KEY:-}" ]; then
    openssl pkey -in "$KEELWATT_SIGNING_KEY" -pubout -out "$folder/release.pub" &&
        openssl pkeyutl -sign -inkey "$KEELWATT_SIGNING_KEY" -rawin -in "$folder/SHA256SUMS" \
            -out "$folder/SHA256SUMS.sig" || fail "the release could not be signed with $KEELWATT_SIGNING_KEY"
    say "signed"
fi
say "done; on the boat: sudo sh $(basename "$folder")/deploy/install.sh $(basename "$folder")"

#!/bin/sh
# On a computer with internet, gathers keelwatt and all it needs in one folder, to be carried to
# the boat on a stick:
#   sh deploy/wheelhouse.sh FOLDER [PROCESSOR] [PYTHON]
# PROCESSOR is the boat computer's: aarch64 (the default) or x86_64, as `uname -m` says there.
# PYTHON is its Python: 3.11 (the default; Debian 12) or 3.13 (Debian 13).
# KEELWATT_SIGNING_KEY, where set, is your private key's file; a board that has once been given a
# signed release takes no other. Made once, and kept at home:
#   openssl genpkey -algorithm ed25519 -out release.key
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
rm -f "$folder"/*.whl "$folder/SHA256SUMS" "$folder/SHA256SUMS.sig" "$folder/release.pub"
say "gathering wheels for $processor and Python $python_version in $folder"
log=$venv/wheelhouse.log
pip() { "$venv/bin/python" -m pip --disable-pip-version-check --quiet "$@" >>"$log" 2>&1; }
: >"$log"
if ! { pip wheel --no-deps --wheel-dir "$folder" "$project" && pip download --dest "$folder" \
    --only-binary :all: --implementation cp --python-version "$python_version" \
    --platform "manylinux_2_28_$processor" --platform "manylinux_2_17_$processor" \
    --platform "manylinux2014_$processor" "$folder"/keelwatt-*.whl; }; then
    tail -n 5 "$log" >&2
    fail "not all wheels could be had (is there a connection?); all of it is in .venv/wheelhouse.log"
fi
rm -rf "$folder/deploy"
cp -R "$project/deploy" "$folder/deploy"
(cd "$folder" && sha256sum -- *.whl >SHA256SUMS)
if [ -n "${KEELWATT_SIGNING_KEY:-}" ]; then
    openssl pkey -in "$KEELWATT_SIGNING_KEY" -pubout -out "$folder/release.pub" &&
        openssl pkeyutl -sign -inkey "$KEELWATT_SIGNING_KEY" -rawin -in "$folder/SHA256SUMS" \
            -out "$folder/SHA256SUMS.sig" || fail "the release could not be signed with $KEELWATT_SIGNING_KEY"
    say "signed"
fi
say "done; on the boat: sudo sh $(basename "$folder")/deploy/install.sh $(basename "$folder")"

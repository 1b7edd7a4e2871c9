#!/bin/sh
# On a computer with internet, builds one Debian package with all wheels inside:
#   sh deploy/package.sh FOLDER [PROCESSOR]
# PROCESSOR is the board's: aarch64 (the default) or x86_64, as `uname -m` says there. It fits
# Debian 12 and 13; on the board, without a network: sudo apt install ./keelwatt_*.deb
# KEELWATT_VERSION, where set, is its version in place of pyproject.toml's; KEELWATT_SIGNING_KEY as
# in wheelhouse.sh. Two builds of one commit are equal byte by byte.
set -eu
# shellcheck source=deploy/environment.sh
. "$(dirname -- "$0")/environment.sh"
# shellcheck source=deploy/platform.sh
. "$(dirname -- "$0")/platform.sh"

[ $# -ge 1 ] || fail "usage: sh $0 FOLDER [aarch64|x86_64]"
command -v dpkg-deb >/dev/null || fail "wants dpkg-deb, as Debian and its relatives have it"
folder=$1
processor=${2:-aarch64}
case "$processor" in
aarch64) architecture=arm64 ;;
x86_64) architecture=amd64 ;;
*) fail "wants aarch64 or x86_64, got $processor: only 64-bit boards are supported" ;;
esac
version=${KEELWATT_VERSION:-$(sed -n 's/^version = "\(.*\)"$/\1/p' "$project/pyproject.toml")}
case "$version" in
[0-9]*) ;;
*) fail "a version wants to begin with a digit, got $version" ;;
esac
# Date of all that is in it; the same for every build unless it is told.
SOURCE_DATE_EPOCH=${SOURCE_DATE_EPOCH:-1767225600} # 2026-01-01
export SOURCE_DATE_EPOCH
umask 022

work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
tree=$work/tree
share=$tree/usr/lib/keelwatt
mkdir -p "$share/wheels" "$tree/DEBIAN" "$tree/usr/bin" "$tree/usr/share/doc/keelwatt" "$folder"
for python_version in 3.11 3.13; do # Debian 12 and 13
    sh "$project/deploy/wheelhouse.sh" "$share/wheels/$python_version" "$processor" "$python_version"
    rm -rf "$share/deploy"
    mv "$share/wheels/$python_version/deploy" "$share/deploy"
done
# Wheels that fit both are one file with two names.
for wheel in "$share/wheels/3.13/"*.whl; do
    twin=$share/wheels/3.11/${wheel##*/}
    if [ -f "$twin" ] && cmp -s "$wheel" "$twin"; then ln -f "$twin" "$wheel"; fi
done
only_board "$share/deploy"
ln -s ../lib/keelwatt/deploy/keelwatt-on-board.sh "$tree/usr/bin/keelwatt"
cp "$project/LICENSE" "$tree/usr/share/doc/keelwatt/copyright"

for part in postinst prerm postrm templates triggers; do
    cp "$project/deploy/debian/$part" "$tree/DEBIAN/$part"
done
sed -e "s/@VERSION@/$version/" -e "s/@ARCHITECTURE@/$architecture/" \
    -e "s/@SIZE@/$(du -sk --apparent-size "$tree/usr" | cut -f 1)/" \
    "$project/deploy/debian/control.in" >"$tree/DEBIAN/control"
(cd "$tree" && LC_ALL=C find usr -type f -print0 | LC_ALL=C sort -z | xargs -0 md5sum) \
    >"$tree/DEBIAN/md5sums"
chmod -R u=rwX,go=rX "$tree"
chmod 755 "$tree/DEBIAN/postinst" "$tree/DEBIAN/prerm" "$tree/DEBIAN/postrm"
find "$tree" -exec touch --no-dereference --date "@$SOURCE_DATE_EPOCH" {} +
package=$folder/keelwatt_${version}_$architecture.deb
# Wheels are compressed already: the board only copies.
dpkg-deb --root-owner-group -Znone --build "$tree" "$package.part" >/dev/null
mv "$package.part" "$package"
say "done; on the board: sudo apt install ./$(basename "$package")"

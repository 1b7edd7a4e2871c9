#!/bin/sh
# On a Debian computer with internet, builds a card that is ready: Debian with keelwatt on it.
#   sudo sh deploy/image.sh FOLDER [PROCESSOR]
# PROCESSOR is the board's: aarch64 (the default) or x86_64. It is for boards that start by UEFI, as
# PC boards and some ARM boards do; a board that brings boot files of its own takes its maker's system
# and our package (deploy/README.md). FOLDER gets keelwatt-PROCESSOR.img, and beside it the sheet for
# this one card (.txt and .html): the name and password of its Wi-Fi, and its code.
#   KEELWATT_SECRET    a file of chance that the sheet is made from; else a new one for each image
#   KEELWATT_MIRROR    where Debian comes from; else from where this computer has its own
#   KEELWATT_PACKAGE   our package, where it is built already (deploy/package.sh)
#   KEELWATT_SIGNING_KEY  as in wheelhouse.sh: the board takes newer releases signed by it from a phone
#   KEELWATT_FIRMWARE  packages of firmware for Wi-Fi sticks; "" for none
# Two builds of one commit with one secret are equal byte by byte while the mirror has the same
# packages; FOLDER/keelwatt-PROCESSOR.packages lists those that are in it.
set -eu
# shellcheck source=deploy/environment.sh
. "$(dirname -- "$0")/environment.sh"

suite=trixie # Debian 13
# Partitions have the same names on every card: only the card that started is looked at.
disk_id=6b65656c-7761-7474-0000-000000000000
root_id=6b65656c-7761-7474-0000-000000000002
log_id=6b65656c-7761-7474-0000-000000000003
esp_mib=160 # kernel and initial file system take some 80
log_mib=256 # as built; it grows to the card
packages="systemd-sysv,systemd-repart,systemd-timesyncd,systemd-boot-efi,udev,dbus,kmod,python3"
packages="$packages,iproute2,openssl,debconf,tzdata,e2fsprogs,zstd,initramfs-tools,busybox"
packages="$packages,network-manager,wpasupplicant,dnsmasq-base,wireless-regdb,avahi-daemon"

[ $# -ge 1 ] || fail "usage: sudo sh $0 FOLDER [aarch64|x86_64]"
mkdir -p "$1"
folder=$(CDPATH='' cd -- "$1" && pwd)
processor=${2:-aarch64}
case "$processor" in
aarch64) architecture=arm64 loader=aa64 root_type=B921B045-1DF0-41C3-AF44-4C6F280D3FAE ;;
x86_64) architecture=amd64 loader=x64 root_type=4F68BCE3-E8CD-4DB1-96E7-FBCAF984B709 ;;
*) fail "wants aarch64 or x86_64, got $processor: only 64-bit boards are supported" ;;
esac
firmware=${KEELWATT_FIRMWARE-firmware-realtek firmware-mediatek firmware-brcm80211 firmware-ath9k-htc}
for each in $firmware linux-image-$architecture; do packages="$packages,$each"; done
[ "$(id -u)" -eq 0 ] || fail "wants to be run as root: another system is set up inside"
wanted=
for each in mmdebstrap mksquashfs:squashfs-tools mkfs.vfat:dosfstools mcopy:mtools mke2fs:e2fsprogs \
    sfdisk:fdisk qrencode; do
    command -v "${each%:*}" >/dev/null || wanted="$wanted ${each#*:}"
done
[ -z "$wanted" ] || fail "wants more of Debian's: apt install$wanted"
if [ "$(uname -m)" != "$processor" ] && [ ! -e "/proc/sys/fs/binfmt_misc/qemu-$processor" ]; then
    fail "wants to run programs of $processor: apt install qemu-user-static binfmt-support"
fi
# shellcheck disable=SC2016 # apt-get's own words
mirror=${KEELWATT_MIRROR:-$(apt-get indextargets --format '$(REPO_URI) $(COMPONENT)' 'Created-By: Packages' \
    'Origin: Debian' 2>/dev/null | sed -n 's|/* main$||p' | grep -v security | head -n 1)}
mirror=${mirror:-http://deb.debian.org/debian} # Debian's own default
SOURCE_DATE_EPOCH=${SOURCE_DATE_EPOCH:-1767225600} # 2026-01-01, as in package.sh
export SOURCE_DATE_EPOCH
TZ=UTC LC_ALL=C.UTF-8
export TZ LC_ALL
umask 022

work=$(mktemp -d "$folder/.image-XXXXXX")
trap 'rm -rf --one-file-system "$work"' EXIT
here=$project/deploy/image
image=$folder/keelwatt-$processor.img
system=$work/system
if [ -n "${KEELWATT_PACKAGE:-}" ]; then
    cp "$KEELWATT_PACKAGE" "$work/keelwatt.deb"
else
    sh "$project/deploy/package.sh" "$work" "$processor"
    mv "$work"/keelwatt_*.deb "$work/keelwatt.deb"
fi
if [ -z "${KEELWATT_SECRET:-}" ]; then
    KEELWATT_SECRET=$work/secret
    (umask 077 && head -c 32 /dev/urandom >"$KEELWATT_SECRET")
fi

say "setting up Debian for $processor (some minutes)"
mmdebstrap --quiet --mode=root --variant=apt --architectures="$architecture" --include="$packages" \
    --extract-hook="cp -R --no-preserve=ownership '$here/system/.' \"\$1\"" \
    --customize-hook="cp '$work/keelwatt.deb' '$here/inside.sh' \"\$1/\"" \
    --customize-hook="chroot \"\$1\" sh /inside.sh && rm \"\$1/inside.sh\"" \
    "$suite" "$system" "deb $mirror $suite main non-free-firmware" \
    "deb $mirror $suite-updates main non-free-firmware" >"$folder/keelwatt-$processor.log" 2>&1 ||
    fail "Debian could not be set up; all of it is in $folder/keelwatt-$processor.log"
"$(find_python)" "$here/sheet.py" "$KEELWATT_SECRET" "$system" "$folder/keelwatt-$processor"
chown --reference="$system/var/lib/keelwatt" "$system/var/lib/keelwatt/sheet-code"
dpkg-query --admindir="$system/var/lib/dpkg" --show >"$folder/keelwatt-$processor.packages"

# What lies on the log's partition at first: boat file and code, and the empty places of overlays.
card=$work/card
mkdir -p "$card/etc/upper" "$card/etc/work" "$card/program/upper" "$card/program/work" "$card/clock"
mv "$system/var/lib/keelwatt" "$card/log"
mkdir "$system/var/lib/keelwatt"
find "$card" "$system" -xdev -newermt "@$SOURCE_DATE_EPOCH" \
    -exec touch --no-dereference --date "@$SOURCE_DATE_EPOCH" {} +
find "$card" -exec touch --no-dereference --date "@$SOURCE_DATE_EPOCH" {} +

say "making the card's partitions"
boot=$work/boot
mkdir -p "$boot/EFI/BOOT" "$boot/loader/entries" "$boot/keelwatt"
cp "$system/usr/lib/systemd/boot/efi/systemd-boot$loader.efi" "$boot/EFI/BOOT/BOOT$loader.EFI"
cp "$system"/boot/vmlinuz-* "$boot/keelwatt/vmlinuz"
cp "$system"/boot/initrd.img-* "$boot/keelwatt/initrd"
rm -rf "${system:?}"/boot/* "$system"/vmlinuz* "$system"/initrd.img*
printf 'timeout 0\neditor no\n' >"$boot/loader/loader.conf"
# panic=10: where something fails before the system starts there is no shell, it starts again.
cat >"$boot/loader/entries/keelwatt.conf" <<ENTRY
title keelwatt
linux /keelwatt/vmlinuz
initrd /keelwatt/initrd
options root=PARTUUID=$root_id rootfstype=squashfs ro quiet panic=10 systemd.gpt_auto=no systemd.getty_auto=no systemd.condition_needs_update=no
ENTRY
find "$boot" -exec touch --date "@$SOURCE_DATE_EPOCH" {} +

truncate -s "${esp_mib}M" "$work/1"
mkfs.vfat -F 32 -n KEELWATT -i 6b65656c --invariant "$work/1" >/dev/null
(cd "$boot" && find . -mindepth 1 -type d | sort | while read -r each; do mmd -i "$work/1" "::$each"; done
find . -type f | sort | while read -r each; do mcopy -m -i "$work/1" "$each" "::$each"; done)

mksquashfs "$system" "$work/2" -comp zstd -Xcompression-level 9 -noappend -no-progress -quiet -no-exports >/dev/null
truncate -s '%1M' "$work/2"
truncate -s "${log_mib}M" "$work/3"
E2FSPROGS_FAKE_TIME=$SOURCE_DATE_EPOCH
export E2FSPROGS_FAKE_TIME
mke2fs -q -t ext4 -b 4096 -L keelwatt-log -U "$log_id" -m 1 \
    -J size=16 -E "hash_seed=$log_id,root_owner=0:0" -d "$card" "$work/3"
# When a file was changed last no tool can set but this one.
(cd "$card" && find . -printf "set_inode_field \"/%P\" ctime @$SOURCE_DATE_EPOCH\n\
set_inode_field \"/%P\" atime @$SOURCE_DATE_EPOCH\n") | debugfs -w -f - "$work/3" >/dev/null 2>&1

root_mib=$(($(stat -c %s "$work/2") / 1048576))
truncate -s "$((1 + esp_mib + root_mib + log_mib + 1))M" "$work/img"
sfdisk --quiet "$work/img" <<TABLE
label: gpt
label-id: $disk_id
start=1MiB, size=${esp_mib}MiB, type=C12A7328-F81F-11D2-BA4B-00A0C93EC93B, name=keelwatt-boot, uuid=6b65656c-7761-7474-0000-000000000001
size=${root_mib}MiB, type=$root_type, name=keelwatt-system, uuid=$root_id
size=${log_mib}MiB, type=0FC63DAF-8483-4772-8E79-3D69D8477DE4, name=keelwatt-log, uuid=$log_id
TABLE
at_mib=1
for part in 1 2 3; do
    dd if="$work/$part" of="$work/img" bs=1M seek="$at_mib" conv=notrunc,sparse status=none
    at_mib=$((at_mib + $(stat -c %s "$work/$part") / 1048576))
done
chmod 600 "$work/img" # it holds the secrets of its sheet
mv "$work/img" "$image"
say "done: $image, for this one card its sheet $folder/keelwatt-$processor.html"

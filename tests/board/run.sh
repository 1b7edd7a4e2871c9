#!/bin/sh
# A real Debian in an emulator, used as a sailor's board would be:
#   sh tests/board/run.sh [--arm64] [--image IMAGE] [--only SCENARIO...] [--cuts N]
#       [--patience TIMES] [--report FILE]
# IMAGE is a ready card of deploy/image.sh, its sheet beside it; it alone is then looked at.
# Wants root (debootstrap does), a Debian machine and 15 GB of disk. On a free machine it takes about
# an hour with its processor emulated, for either processor; less where KVM can run Debian's kernel.
# Other work beside it makes what it measures worse. What it makes stays in
# $KEELWATT_BOARD, else /var/tmp/keelwatt-board, for the next run.
set -eu
project=$(CDPATH='' cd -- "$(dirname -- "$0")/../.." && pwd)
# shellcheck source=deploy/environment.sh
. "$project/deploy/environment.sh"

wanted=
want() { command -v "$1" >/dev/null || wanted="$wanted $2"; }
want debootstrap debootstrap
want mkfs.vfat dosfstools
want mcopy mtools
want ip iproute2
want_file() { [ -e "$1" ] || wanted="$wanted $2"; }
case " $* " in
*" --image "*)
    want_file /usr/share/ovmf/OVMF.fd ovmf
    want_file /usr/share/qemu-efi-aarch64/QEMU_EFI.fd qemu-efi-aarch64
    ;;
esac
case " $* " in
*" --arm64 "*)
    want qemu-system-aarch64 qemu-system-arm
    want qemu-aarch64-static qemu-user-static
    ;;
*) want qemu-system-x86_64 qemu-system-x86 ;;
esac
[ "$(id -u)" -eq 0 ] || fail "wants to be run as root: debootstrap and the board's network need it"
if [ -n "$wanted" ]; then
    command -v apt-get >/dev/null || fail "wants$wanted, and this is no Debian"
    say "installing Debian's$wanted"
    # shellcheck disable=SC2086 # words are wanted
    if ! { apt-get -qq update && DEBIAN_FRONTEND=noninteractive \
        apt-get -qq install --yes --no-install-recommends $wanted; } >/dev/null; then
        fail "apt-get could not install$wanted"
    fi
fi
install ""
exec "$venv/bin/python" "$project/tests/board/run.py" \
    --work "${KEELWATT_BOARD:-/var/tmp/keelwatt-board}" "$@"

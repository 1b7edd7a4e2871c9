#!/bin/sh
# Puts keelwatt on the boat's computer, from a folder of wheels, without a network:
#   sudo sh install.sh [--start] WHEELHOUSE
# --start: recorder and pages run at once, and the boat is described on the page.
# It may be run again: what is there is kept.
set -eu
# shellcheck source=deploy/board.sh
. "$(dirname -- "$0")/board.sh"

start=
if [ "${1:-}" = --start ]; then
    start=yes
    shift
fi
[ $# -eq 1 ] || fail "usage: sudo sh $0 WHEELHOUSE (a folder made by deploy/wheelhouse.sh)"
wants_root "$@"
if [ -n "$(current_release)" ]; then
    fail "keelwatt is already installed here; to bring a newer one: sudo sh update.sh $1"
fi
mkdir -p "$home"
learn_signer "$1"
release=$(add_release "$1") || exit 1

if ! id keelwatt >/dev/null 2>&1; then
    useradd --system --user-group --home-dir /var/lib/keelwatt --no-create-home \
        --groups dialout --shell /usr/sbin/nologin keelwatt
fi
if [ ! -d "$data" ]; then
    mkdir -p "$data"
    chown keelwatt:keelwatt "$data"
    chmod 750 "$data"
fi
if [ ! -e "$boat" ]; then
    "$release/bin/keelwatt" check --starter | as_owner tee "$boat" >/dev/null
    new_boat=yes
fi
use_release "$release"
if [ ! -e "$root/usr/bin/keelwatt" ]; then # Debian's package has it there
    mkdir -p "$root/usr/local/bin"
    cp "$release/share/keelwatt-on-board.sh" "$root/usr/local/bin/keelwatt"
    chmod 755 "$root/usr/local/bin/keelwatt"
fi
put_units

say "installed in $home"
if [ -n "$start" ] || [ -z "${new_boat:-}" ]; then
    start_all
else
    say "now describe the boat in $boat (each line is explained there),"
    say "look at it with: keelwatt check"
    say "and then start: sudo systemctl enable --now $services"
fi

#!/bin/sh
# Puts keelwatt on the boat's computer, from a folder of wheels, without a network:
#   sudo sh install.sh WHEELHOUSE
# It may be run again: what is there is kept.
set -eu
# shellcheck source=deploy/board.sh
. "$(dirname -- "$0")/board.sh"

[ $# -eq 1 ] || fail "usage: sudo sh $0 WHEELHOUSE (a folder made by deploy/wheelhouse.sh)"
wants_root "$@"
if [ -n "$(current_release)" ]; then
    fail "keelwatt is already installed here; to bring a newer one: sudo sh update.sh $1"
fi
release=$(add_release "$1") || exit 1

if ! id keelwatt >/dev/null 2>&1; then
    useradd --system --user-group --home-dir /var/lib/keelwatt --no-create-home \
        --shell /usr/sbin/nologin keelwatt
fi
mkdir -p "$settings" "$data"
chown keelwatt:keelwatt "$data"
chmod 750 "$data"
if [ ! -e "$settings/boat.toml" ]; then
    "$release/bin/keelwatt" check --starter >"$settings/boat.toml"
    new_boat=yes
fi
use_release "$release"
mkdir -p "$root/usr/local/bin"
ln -sfn "$current/bin/keelwatt" "$root/usr/local/bin/keelwatt"
put_units

say "installed in $home"
if [ -n "${new_boat:-}" ]; then
    say "now describe the boat in $settings/boat.toml (each line is explained there), look at it"
    say "with: keelwatt check --boat $settings/boat.toml"
    say "and then start both services: sudo systemctl enable --now keelwatt-record keelwatt-serve"
else
    # shellcheck disable=SC2086 # words are wanted
    systemctl enable --now $services
    say "both services are started; $settings/boat.toml was kept"
fi

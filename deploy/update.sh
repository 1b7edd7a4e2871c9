#!/bin/sh
# Brings a newer keelwatt from a folder of wheels, without a network:
#   sudo sh update.sh WHEELHOUSE
# The log is copied first. If the new release does not stay up, the old one is put back.
set -eu
# shellcheck source=deploy/board.sh
. "$(dirname -- "$0")/board.sh"

[ $# -eq 1 ] || fail "usage: sudo sh $0 WHEELHOUSE (a folder made by deploy/wheelhouse.sh)"
wants_root "$@"
old=$(current_release)
[ -n "$old" ] || fail "keelwatt is not installed here yet: sudo sh install.sh $1"
release=$(add_release "$1") || exit 1
if ! back_up_log "$(basename "$release")"; then
    rm -rf "$release"
    exit 1
fi
running=$(enabled_services)
up=$(active_services)
use_release "$release"
put_units
if runs && [ -n "$running" ]; then
    systemctl enable --now $errands # a release of before them had none
    # shellcheck disable=SC2086 # words are wanted
    systemctl restart $running || true
fi
# shellcheck disable=SC2086 # words are wanted
if runs && ! healthy $up; then
    say "the new release does not stay up; putting the old one back"
    sh "$here/rollback.sh" --undo
    fail "the update was undone; journalctl -u keelwatt-record -u keelwatt-serve says why"
fi
drop_old_releases
say "updated; the old release is kept: sudo sh rollback.sh goes back to it"

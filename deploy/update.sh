#!/bin/sh
# Brings a newer keelwatt from a folder of wheels, without a network:
#   sudo sh update.sh WHEELHOUSE
# The log is copied first. If the new release does not stay up, the old one is put back; a power cut
# meanwhile changes nothing of that (new-release.sh resume).
set -eu
# shellcheck source=deploy/board.sh
. "$(dirname -- "$0")/board.sh"

[ $# -eq 1 ] || fail "usage: sudo sh $0 WHEELHOUSE (a folder made by deploy/wheelhouse.sh)"
wants_root "$@"
lock_changes
old=$(current_release)
[ -n "$old" ] || fail "keelwatt is not installed here yet: sudo sh install.sh $1"
learn_signer "$1"
say "the new release is being put in beside the present one, which goes on meanwhile; it takes some minutes"
release=$(add_release "$1") || exit 1
say "the log is being copied"
if ! (back_up_log "$(basename "$release")"); then
    rm -rf "$release"
    exit 1
fi
running=$(enabled_services)
up=$(active_services)
begin_change try "$old" "$up"
use_release "$release"
put_units
if runs && [ -n "$running" ]; then
    # A release of before them had none. What ends a change is for the next start: it would wait here.
    systemctl enable $errands $resume
    systemctl start $errands || true
    say "the new release is being tried; these pages are away for a moment"
    # shellcheck disable=SC2086 # words are wanted
    systemctl restart $running || true
fi
# shellcheck disable=SC2086 # words are wanted
if runs && ! healthy $up; then undo_update; fi
end_change
drop_old_releases
say "updated; the old release is kept: sudo sh rollback.sh goes back to it"

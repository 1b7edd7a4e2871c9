#!/bin/sh
# Goes back to the release before the present one:
#   sudo sh rollback.sh              keeps the log as it is
#   sudo sh rollback.sh --with-log   also takes the log as it was before the update; the present
#                                    one is kept beside it as log-<time>.sqlite
# The second is for when the older release says that the log is of a newer version.
#   sudo sh rollback.sh --undo       finds out by itself which of the two it takes; for update.sh
set -eu
# shellcheck source=deploy/board.sh
. "$(dirname -- "$0")/board.sh"

case "$*" in
"") with_log= ;;
--with-log) with_log=yes ;;
--undo) with_log=if-needed ;;
*) fail "usage: sudo sh $0 [--with-log]" ;;
esac
wants_root "$@"
now=$(current_release)
before=$(release_before)
[ -n "$before" ] || fail "there is no release before the present one"
copy=$backups/$(basename "$now").sqlite
if [ "$with_log" = yes ] && [ -e "$data/log.sqlite" ] && [ ! -e "$copy" ]; then
    fail "there is no copy of the log from before this release in $backups; nothing was changed"
fi
running=$(enabled_services)
# shellcheck disable=SC2086 # words are wanted
systemctl stop $services
if [ "$with_log" = if-needed ] && reads_log "$before"; then with_log=; fi
if [ -n "$with_log" ] && [ -e "$copy" ]; then
    put_log_aside
    as_owner cp "$copy" "$data/log.sqlite"
    say "the log of before the update is back; the other is kept as $aside.sqlite"
fi
use_release "$before"
put_units
if [ -n "$running" ]; then
    # shellcheck disable=SC2086 # words are wanted
    systemctl start $running
fi
say "back to $(basename "$before")"

#!/bin/sh
# Goes back to the release before the present one:
#   sudo sh rollback.sh              keeps the log as it is
#   sudo sh rollback.sh --with-log   also takes the log as it was before the update; the present
#                                    one is kept beside it as log-<time>.sqlite
# The second is for when the older release says that the log is of a newer version.
#   sudo sh rollback.sh --undo       finds out by itself which of the two it takes; for the pages
set -eu
# shellcheck source=deploy/board.sh
. "$(dirname -- "$0")/board.sh"

case "$*" in
"") with_log=no ;;
--with-log) with_log=yes ;;
--undo) with_log=if-needed ;;
*) fail "usage: sudo sh $0 [--with-log]" ;;
esac
wants_root "$@"
lock_changes
now=$(current_release)
before=$(release_before)
[ -n "$before" ] || fail "there is no release before the present one"
copy=$backups/$(basename "$now").sqlite
if [ "$with_log" = yes ] && [ -e "$data/log.sqlite" ] && ! as_owner test -e "$copy"; then
    fail "there is no copy of the log from before this release in $backups; nothing was changed"
fi
back_to "$before" "$with_log" "$copy" "$(enabled_services)"
say "back to release $(version_of "$before")"

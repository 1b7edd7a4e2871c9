#!/bin/sh
# What the pages ask for of a release; started by keelwatt-update@.service and, after a power cut, by
# keelwatt-resume.service:
#   sudo sh new-release.sh file      takes the one that a phone or a stick has laid in the data folder
#   sudo sh new-release.sh back      goes back to the release before
#   sudo sh new-release.sh resume    goes on with what a power cut has cut off
# The file is a stranger's until its signature was looked at (release_file.py): it is read as the
# services' user, unpacked where only root may write, and nothing of it runs before.
set -eu
# shellcheck source=deploy/board.sh
. "$(dirname -- "$0")/board.sh"

[ $# -eq 1 ] || fail "usage: sudo sh $0 file, back or resume"
wants_root "$@"
told=$root/run/keelwatt-update
mkdir -p "$told"
KEELWATT_SAID=$told/said
export KEELWATT_SAID
lock_changes
touch "$told/busy"
trap 'rm -f "$told/busy"' EXIT
staging=$home/incoming
sent=$data/incoming/keelwatt.release

# The age of the release in use, where it came as a file.
made_now() { sed -n 2p "$current/made" 2>/dev/null || printf 0; }

take_file() {
    as_owner test -f "$sent" || fail "no release has been sent here"
    say "the release is being looked at"
    rm -rf "$staging"
    python=$(board_python) || exit 1
    short=$("$python" -I -c 'import sys; print("%d.%d" % sys.version_info[:2])')
    if ! found=$(as_owner timeout 600 cat "$sent" | "$python" -I "$here/release_file.py" unpack \
        "$signer" "$staging" "$(uname -m)" "$short" "$(version_of "$current")" "$(made_now)" 2>&1); then
        as_owner rm -f "$sent"
        found=$(printf '%s\n' "$found" | tail -n 1)
        fail "${found#keelwatt: }"
    fi
    as_owner rm -f "$sent"
    version=$found
    # From here on by its own scripts: they are signed with it, and stay with it.
    sh "$staging/deploy/update.sh" "$staging/wheels/$short" && code=0 || code=$?
    rm -rf "$staging"
    [ "$code" -eq 0 ] || exit "$code"
    say "release $version is in use: it stayed up, and the one before is kept"
}

# A start after a power cut: the services are up, or trying.
go_on() {
    rm -rf "$staging"
    if [ ! -e "$changing" ]; then
        drop_unfinished
        say "a change of release was cut off before it was done; the release before is in use"
    elif [ "$(change_line 1)" = back ]; then
        back_to "$(change_line 2)" "$(change_line 3)" "$(change_line 4)" "$(change_line 5)"
        say "back to release $(version_of "$current"), after a power cut"
    elif [ "$(change_line 2)" = "$(current_release)" ]; then
        end_change
        say "an update was cut off before it was done; the release before is in use"
    else
        put_units
        systemctl enable $errands $resume
        up=$(change_line 3)
        # Their units may have come only now.
        # shellcheck disable=SC2086 # words are wanted
        if [ -n "$up" ]; then systemctl restart $up || true; fi
        # shellcheck disable=SC2086 # words are wanted
        if ! healthy $up; then undo_update; fi
        end_change
        drop_old_releases
        say "the new release is in use: it stayed up after a power cut"
    fi
}

case "$1" in
file) take_file ;;
back) sh "$here/rollback.sh" --undo ;;
resume) go_on ;;
*) fail "usage: sudo sh $0 file, back or resume" ;;
esac

#!/bin/sh
# A stick that keeps copies of the log. Of a plugged-in one, sda1 say:
#   sudo sh stick.sh mark-sda1      from now on it gets a copy by itself whenever it is plugged in
#   sudo sh stick.sh plugged-sda1   copies, if it is marked; udev asks for it (70-keelwatt-stick.rules)
#   sudo sh stick.sh restore-sda1   brings the newest copy back, to a board that has no readings yet
#   sudo sh stick.sh release-sda1   takes the newest release on it; new-release.sh looks at it
# A stick is anybody's. It is mounted only as FAT, which knows no links, owners or devices; nothing
# on it is run, and what is read of it is read as the services' user. One that is not marked
# gets nothing: nobody carries the log away by plugging a stick in.
set -eu
# shellcheck source=deploy/board.sh
. "$(dirname -- "$0")/board.sh"

# What this board marked, root's; and what is told to the pages.
marks=$home/sticks
told=$root/run/keelwatt-stick
most_release=400000000 # bytes, as release_file.py has it
usage="usage: sudo sh $0 mark-DEVICE, plugged-DEVICE, restore-DEVICE or release-DEVICE"
[ $# -eq 1 ] || fail "$usage"
wants_root "$@"
case "$1" in
mark-* | plugged-* | restore-* | release-*) ;;
*) fail "$usage" ;;
esac
act=${1%%-*}
device=${1#*-}
case "$device" in
'' | *[!a-z0-9]* | ????????????????*) fail "$usage" ;;
esac
mkdir -p "$told/mounted"
place=$told/mounted/$device

tell() {
    say "$*"
    printf '%s\n' "$*" >"$told/said"
}

give_up() {
    tell "$*"
    exit 1
}

put_in() {
    kind=$(blkid -o value -s TYPE "/dev/$device" 2>/dev/null) || kind=
    case "$kind" in
    vfat | exfat) ;;
    *) fail "$device is left alone: a stick wants FAT or exFAT, as they are sold" ;;
    esac
    mkdir -p "$place"
    mount -t "$kind" -o "nosuid,nodev,noexec,uid=$(id -u keelwatt),gid=$(id -g keelwatt),umask=077" \
        "/dev/$device" "$place" || fail "$device cannot be mounted"
    trap take_out EXIT
}

take_out() {
    umount "$place" && rmdir "$place"
}

# The stick's mark, where it is one of ours.
known_mark() {
    [ -f "$marks" ] && [ -f "$place/keelwatt-stick" ] || return 1
    mark=$(as_owner head -c 32 "$place/keelwatt-stick" | tr -dc 0-9a-f)
    [ ${#mark} -eq 32 ] && grep -qxF "$mark" "$marks"
}

put_mark() {
    mark=$(head -c 16 /dev/urandom | od -An -tx1 | tr -d ' \n')
    # Kept here first: a mark that is on no stick harms nobody.
    printf '%s\n' "$mark" >>"$marks"
    as_owner rm -rf "$place/keelwatt-stick"
    printf '%s\n' "$mark" | as_owner tee "$place/keelwatt-stick" >/dev/null ||
        give_up "the stick could not be marked: is it full, or set to be read only?"
}

# Numbers of the copies that are there, rising. Names that are not ours do not count.
copies() {
    for file in "$place"/keelwatt-log-*.sqlite; do
        number=${file##*/keelwatt-log-}
        number=${number%.sqlite}
        case "$number" in
        *[!0-9]* | '' | ??????????*) ;;
        *) if [ -f "$file" ]; then printf '%s\n' "$number"; fi ;;
        esac
    done | sort -n
}

copy_log() {
    [ -e "$data/log.sqlite" ] || give_up "there is no log to copy yet"
    last=$(copies | tail -n 1 | sed 's/^0*//')
    copy=$place/keelwatt-log-$(printf '%04d' $((${last:-0} + 1))).sqlite
    tell "the log is being copied to the stick: leave it in"
    if ! as_owner "$current/bin/python" -I "$current/share/copy-log.py" "$data/log.sqlite" "$copy"; then
        give_up "the log could not be copied to the stick: is it full? The older copies on it are kept"
    fi
    sync -f "$copy"
    # Two are kept: the new one is whole before an old one goes.
    for number in $(copies | head -n -2); do as_owner rm -f "$place/keelwatt-log-$number.sqlite"; done
    tell "the log is on the stick as $(basename "$copy"); it may be pulled out"
}

# ask_log WORDS: of the log, by the release in use: whether it has readings, or its boat file.
ask_log() {
    as_owner "$current/bin/python" -I -c "import sys
from logger.store import Store
with Store.open(sys.argv[1]) as store:
    $1" "$data/log.sqlite"
}

# A log from a stick is a stranger's until the import has looked at it.
restore_log() {
    last=$(copies | tail -n 1)
    [ -n "$last" ] || give_up "no copy of a log is on the stick"
    if [ -e "$data/log.sqlite" ] && ! ask_log "sys.exit(store.span() is not None)"; then
        give_up "this computer's log has readings of its own, so it was left as it is"
    fi
    tell "the log is being read from the stick: leave it in"
    new=$data/log-restored.sqlite
    as_owner rm -f "$new"
    as_owner "$current/bin/keelwatt" import "$place/keelwatt-log-$last.sqlite" --log "$new" ||
        give_up "what is on the stick is no whole log, or there is no room for it"
    running=$(enabled_services)
    # shellcheck disable=SC2086 # words are wanted
    if runs; then systemctl stop $services; fi
    put_log_aside
    as_owner mv -T "$new" "$data/log.sqlite"
    ask_log "print(store.boat_text() or '', end='')" >"$told/boat"
    if [ -s "$told/boat" ]; then as_owner tee "$boat" <"$told/boat" >/dev/null; fi
    rm -f "$told/boat"
    # shellcheck disable=SC2086 # words are wanted
    if runs && [ -n "$running" ]; then systemctl start $running; fi
    tell "the log and the boat file are back from the stick; it may be pulled out"
}

# The newest release for this processor; only names that release.sh gives count.
newest_release() {
    for file in "$place"/keelwatt-*-"$(uname -m).release"; do
        version=${file##*/keelwatt-}
        version=${version%-"$(uname -m).release"}
        case "$version" in
        *[!0-9.]* | '' | ????????????????????*) ;;
        *) if [ -f "$file" ]; then printf '%s\n' "$version"; fi ;;
        esac
    done | sort -V | tail -n 1
}

# It is copied as the services' user, as a phone's would be, and is a stranger's until it is looked at.
fetch_release() {
    version=$(newest_release)
    [ -n "$version" ] || give_up "no release for this computer is on the stick"
    tell "release $version is being copied from the stick: leave it in"
    as_owner mkdir -p "$data/incoming"
    as_owner head -c "$most_release" "$place/keelwatt-$version-$(uname -m).release" |
        as_owner tee "$data/incoming/keelwatt.part" >/dev/null ||
        give_up "the release could not be copied from the stick: is there room for it?"
    as_owner mv -T "$data/incoming/keelwatt.part" "$data/incoming/keelwatt.release"
    systemctl start --no-block keelwatt-update@file.service
    tell "release $version was copied from the stick; it may be pulled out"
}

case "$act" in
release)
    put_in
    fetch_release
    ;;
restore)
    put_in
    restore_log
    ;;
mark)
    put_in
    put_mark
    copy_log
    ;;
plugged)
    put_in
    known_mark || fail "$device is left alone: it is no stick that was marked here"
    copy_log
    ;;
esac

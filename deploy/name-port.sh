#!/bin/sh
# Gives a plug a name that stays, by its own serial number, whatever else is plugged in:
#   sudo sh name-port.sh gps A5069RR4        a serial port: /dev/keelwatt/gps
#   sudo sh name-port.sh canmotor 003A0021   a USB CAN adapter: the bus canmotor
#   sudo sh name-port.sh                     lists what is named and what could be
# `keelwatt check` shows serial numbers too.
set -eu
# shellcheck source=deploy/board.sh
. "$(dirname -- "$0")/board.sh"

rules=$root/etc/udev/rules.d/70-keelwatt.rules
links=$root/etc/systemd/network

# Serial number, kind and device of each plug that has a number.
list_plugs() {
    for device in "$root"/sys/class/tty/tty[UA]* "$root"/sys/class/net/*; do
        [ -e "$device" ] || continue
        number=$(udevadm info --query property --property ID_SERIAL_SHORT --value "$device" \
            2>/dev/null) || continue
        [ -n "$number" ] || continue
        kind="serial port"
        if [ -e "$device/type" ]; then
            [ "$(cat "$device/type")" = 280 ] || continue # ARPHRD_CAN
            kind="CAN bus"
        fi
        printf '  %s  %s %s\n' "$number" "$kind" "$(basename "$device")"
    done
}

if [ $# -eq 0 ]; then
    say "named so far:"
    sed -n 's/^# \(.*\)/  \1/p' "$rules" 2>/dev/null || true
    for file in "$links"/70-keelwatt-*.link; do
        if [ -e "$file" ]; then sed -n 's/^# \(.*\)/  \1/p' "$file"; fi
    done
    say "plugs with a serial number:"
    list_plugs
    exit 0
fi
[ $# -eq 2 ] || fail "usage: sudo sh $0 NAME SERIAL_NUMBER"
wants_root "$@"
name=$1
number=$2
case "$name" in
'' | *[!a-z0-9_]* | ??????????????*) fail "a name wants 1 to 13 small letters, digits and _, got $name" ;;
esac
case "$number" in
'' | *[!A-Za-z0-9_.:-]*) fail "a serial number wants letters, digits and . _ : -, got $number" ;;
esac

case "$name" in
can*)
    mkdir -p "$links"
    cat >"$links/70-keelwatt-$name.link" <<LINK
# CAN bus $name: the adapter with serial number $number
[Match]
Type=can
Property=ID_SERIAL_SHORT=$number

[Link]
Name=$name
LINK
    say "the adapter $number is the bus $name from the next plugging in; now: sh can-bus.sh $name BITRATE"
    ;;
*)
    mkdir -p "$(dirname "$rules")"
    touch "$rules"
    # One line for each name and for each number: an older one goes.
    # A port echoes what comes until a program has set it otherwise: a device would hear itself in
    # that moment. So echo is off from the plug on.
    sed -i -e "/keelwatt\\/$name\"/d" -e "/\"$number\"/d" \
        -e "/^# .*\\/$name: /d" -e "/ number $number\$/d" "$rules"
    cat >>"$rules" <<RULE
# /dev/keelwatt/$name: the plug with serial number $number
SUBSYSTEM=="tty", ENV{ID_SERIAL_SHORT}=="$number", SYMLINK+="keelwatt/$name", ENV{ID_MM_DEVICE_IGNORE}="1", RUN+="/usr/bin/stty -F /dev/%k -echo -icanon"
RULE
    udevadm control --reload
    udevadm trigger --subsystem-match=tty --action=change
    say "the plug $number is /dev/keelwatt/$name"
    ;;
esac

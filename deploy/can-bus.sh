#!/bin/sh
# Brings a CAN bus up at every start, by systemd-networkd:
#   sudo sh can-bus.sh can0 250000               listens only: cannot disturb the bus
#   sudo sh can-bus.sh can0 500000 --acknowledge  also acknowledges frames
# NMEA 2000 has 250000 bit/s; motor controllers 125000 to 1000000, their manual says which.
# --acknowledge is for a bus where the sender is alone: a CAN sender wants somebody to
# acknowledge its frames. Nothing of keelwatt's own is sent in either case.
set -eu
# shellcheck source=deploy/board.sh
. "$(dirname -- "$0")/board.sh"

usage="usage: sudo sh $0 BUS BITRATE [--acknowledge]"
if [ $# -lt 2 ] || [ $# -gt 3 ]; then fail "$usage"; fi
bus=$1
bitrate=$2
listen_only=yes
if [ $# -eq 3 ]; then
    [ "$3" = --acknowledge ] || fail "$usage"
    listen_only=no
fi
case "$bus" in
'' | *[!a-z0-9_]* | ????????????????*) fail "a bus wants a name such as can0, got $bus" ;;
esac
case "$bitrate" in
10000 | 20000 | 50000 | 83333 | 100000 | 125000 | 250000 | 500000 | 800000 | 1000000) ;;
*) fail "a bit rate wants 125000, 250000, 500000 or 1000000 (or an older 10000 to 800000), got $bitrate" ;;
esac
wants_root "$@"

mkdir -p "$root/etc/systemd/network"
cat >"$root/etc/systemd/network/70-keelwatt-$bus.network" <<NETWORK
# Made by can-bus.sh.
[Match]
Name=$bus
Type=can

[CAN]
BitRate=$bitrate
ListenOnly=$listen_only
RestartSec=1s

[Link]
RequiredForOnline=no
NETWORK
systemctl enable --now systemd-networkd.service
# networkd keeps its hands off whatever has no .network file, so Wi-Fi stays with its own manager;
# but its wait for "online", which enabling it brings along, would hold up every start of a boat's
# computer.
systemctl disable systemd-networkd-wait-online.service >/dev/null 2>&1 || true
networkctl reload
say "$bus comes up at $bitrate bit/s, $([ $listen_only = yes ] && echo "listening only" || echo "acknowledging")"

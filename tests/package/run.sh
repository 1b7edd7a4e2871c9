#!/bin/sh
# The Debian package in bare Debian systems, without a network:
#   sh tests/package/run.sh [bookworm] [trixie]
# Builds it twice, then installs, upgrades, removes and purges it in a folder of Debian's for each, and
# boots that folder with systemd to ask the pages for acts that want root.
# Wants root, a Debian machine and 2 GB; some twenty minutes. What it makes stays in
# $KEELWATT_PACKAGE, else /var/tmp/keelwatt-package, for the next run.
set -eu
project=$(CDPATH='' cd -- "$(dirname -- "$0")/../.." && pwd)
# shellcheck source=deploy/environment.sh
. "$project/deploy/environment.sh"

[ "$(id -u)" -eq 0 ] || fail "wants to be run as root: a system in a folder needs it"
if ! command -v mmdebstrap >/dev/null || ! command -v systemd-nspawn >/dev/null; then
    say "installing Debian's mmdebstrap and systemd-container"
    { apt-get -qq update && DEBIAN_FRONTEND=noninteractive \
        apt-get -qq install --yes --no-install-recommends mmdebstrap systemd-container; } >/dev/null ||
        fail "apt-get could not install mmdebstrap and systemd-container"
fi
make_venv
exec "$venv/bin/python" "$project/tests/package/scenario.py" \
    "${KEELWATT_PACKAGE:-/var/tmp/keelwatt-package}" "${@:-bookworm}"

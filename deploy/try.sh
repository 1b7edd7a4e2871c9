#!/bin/sh
# Try keelwatt without a boat: sh deploy/try.sh [options of `keelwatt demo`, such as --serve]
# Everything it makes stays inside this folder, in .venv and where `keelwatt demo` says.
set -eu
# shellcheck source=deploy/environment.sh
. "$(dirname -- "$0")/environment.sh"

install ""
cd "$project"
exec "$venv/bin/keelwatt" demo "$@"

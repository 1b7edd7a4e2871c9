#!/bin/sh
# Try keelwatt without a boat: sh deploy/try.sh [options of `keelwatt demo`, such as --serve]
# It makes an environment inside this folder, in .venv; the demo's log goes where the demo says.
set -eu
# shellcheck source=deploy/environment.sh
. "$(dirname -- "$0")/environment.sh"

install "[frames]"
cd "$project"
"$venv/bin/keelwatt" demo "$@"
say "the program is .venv/bin/keelwatt in this folder; .venv/bin/keelwatt --help lists what it does"

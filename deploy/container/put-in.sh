#!/bin/sh
# Run by Containerfile: one release from a folder of wheels, looked at and tried as on a board.
set -eu
# shellcheck source=deploy/board.sh
. "$(dirname -- "$0")/../board.sh"
here=$(dirname -- "$0") # a container has no use for the board's own scripts

use_release "$(add_release "$1")"

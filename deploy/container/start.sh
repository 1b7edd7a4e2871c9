#!/bin/sh
# The container's first program: a boat file to begin with, where there is none yet, then keelwatt.
set -eu
if [ ! -e "$KEELWATT_BOAT" ]; then
    keelwatt check --starter >"$KEELWATT_BOAT.$$"
    # Recorder and pages begin together: whoever comes second leaves the first one's.
    ln "$KEELWATT_BOAT.$$" "$KEELWATT_BOAT" 2>/dev/null || true
    rm "$KEELWATT_BOAT.$$"
fi
exec keelwatt "$@"

#!/bin/sh
# Installed on board as the command `keelwatt`: asks the boat's own log, as the user that owns it.
# Other files are read and written as you yourself through < and >.
KEELWATT_BOAT=${KEELWATT_BOAT:-/var/lib/keelwatt/boat.toml}
KEELWATT_LOG=${KEELWATT_LOG:-/var/lib/keelwatt/log.sqlite}
export KEELWATT_BOAT KEELWATT_LOG
program=/opt/keelwatt/current/bin/keelwatt

case "$(id -un)" in
keelwatt) exec "$program" "$@" ;;
root) exec runuser -u keelwatt -- "$program" "$@" ;;
esac
exec sudo --user=keelwatt --preserve-env=KEELWATT_BOAT,KEELWATT_LOG "$program" "$@"

#!/bin/sh
# Run by image.sh in the new system's root: keelwatt goes in, and all that hangs on the hour or on
# chance comes out. Its own tree (deploy/image/system) is there already.
set -eu
umask 022
export DEBIAN_FRONTEND=noninteractive PYTHONHASHSEED=0

# A release's name has the date: here the image's own.
printf '#!/bin/sh\nexec /usr/bin/date --date="@%s" "$@"\n' "$SOURCE_DATE_EPOCH" >/usr/local/bin/date
chmod 755 /usr/local/bin/date
dpkg --install /keelwatt.deb
rm /keelwatt.deb /usr/local/bin/date
# They are for the next system's dpkg; this one's is replaced whole.
rm -rf /usr/lib/keelwatt/wheels

systemctl enable keelwatt-grow.service systemd-timesyncd.service
# networkd is for CAN buses: can-bus.sh enables it where there is one.
systemctl disable systemd-networkd.service systemd-networkd-wait-online.service NetworkManager-wait-online.service \
    systemd-repart.service getty@tty1.service
systemctl mask apt-daily.timer apt-daily-upgrade.timer e2scrub_all.timer e2scrub_reap.service \
    dpkg-db-backup.timer
mkdir -p /card /var/lib/systemd/timesync /etc/NetworkManager/system-connections

# Compiled under the date that the sources will have, and never looked at again.
find /usr /opt -xdev -newermt "@$SOURCE_DATE_EPOCH" \
    -exec touch --no-dereference --date "@$SOURCE_DATE_EPOCH" {} +
for tree in /opt/keelwatt/releases/*/lib /usr/lib/python3*; do
    find "$tree" -name __pycache__ -prune -exec rm -rf {} +
    python3 -m compileall -q -j 0 --invalidation-mode unchecked-hash "$tree" || true
done

rm -rf /var/log/* /var/cache/* /var/lib/apt/lists/* /var/lib/dpkg/*-old /etc/*- /tmp/* /var/tmp/*
rm -f /etc/ld.so.cache~ /boot/*.old
: >/etc/machine-id
ln -sfn /run/NetworkManager/resolv.conf /etc/resolv.conf

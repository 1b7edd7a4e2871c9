# shellcheck shell=sh
# Sourced by the scripts that work on the boat's computer: where things lie, and how releases are
# put in, chosen and checked. KEELWATT_ROOT puts everything under another root, for tests.

root=${KEELWATT_ROOT:-}
home=$root/opt/keelwatt
releases=$home/releases
current=$home/current
data=$root/var/lib/keelwatt
# shellcheck disable=SC2034 # used by install.sh
boat=$data/boat.toml
units=$root/etc/systemd/system
backups=$data/before-update
# Where it really lies: the link to the release in use is turned while this runs.
here=$(CDPATH='' cd -- "$(dirname -- "$0")" && pwd -P)
# Public half of the key that releases are signed with; its other half stays at home.
signer=$home/release.pub
services="keelwatt-record.service keelwatt-serve.service"
# What the pages ask for an act that wants root; and what ends a change that the power cut off.
errands=keelwatt-errand.socket
resume=keelwatt-resume.service
# A change of release that is under way: what to do with it after a power cut.
changing=$home/changing
# A log that is whole and about to take its place.
log_back=$data/log-back.sqlite

# tell_pages TEXT: where somebody waits on the pages, what is being done now.
tell_pages() {
    if [ -n "${KEELWATT_SAID:-}" ]; then
        printf '%s\n' "$*" >"$KEELWATT_SAID.part"
        mv "$KEELWATT_SAID.part" "$KEELWATT_SAID"
    fi
}

say() {
    printf 'keelwatt: %s\n' "$*"
    tell_pages "$*"
}

fail() {
    printf 'keelwatt: %s\n' "$*" >&2
    tell_pages "$*"
    exit 1
}

# One change of release at a time, whoever asks for it; who holds the lock hands it on.
lock_changes() {
    [ -z "${KEELWATT_LOCKED:-}" ] || return 0
    mkdir -p "$home"
    exec 9>"$home/.lock"
    flock -n 9 || fail "another change of release is under way: wait for it"
    KEELWATT_LOCKED=yes
    export KEELWATT_LOCKED
}

wants_root() {
    [ "$(id -u)" -eq 0 ] || [ -n "$root" ] || fail "wants to be run as root: sudo sh $0 $*"
}

# What lies in the data folder belongs to the services' user, who may have put anything there, a
# link to a file of root's too: nothing there is touched as root.
as_owner() { runuser -u keelwatt -- "$@"; }

# The newest Python that is new enough.
board_python() {
    for candidate in ${KEELWATT_PYTHON:-python3 python3.13 python3.12 python3.11}; do
        if "$candidate" -c 'import sys, venv; sys.exit(sys.version_info < (3, 11))' \
            2>/dev/null; then
            command -v "$candidate"
            return
        fi
    done
    fail "wants Python 3.11 or newer; on Debian 12 or later: apt install python3"
}

# Names rise by a number of their own: two updates may fall in one second, and a board without a
# clock chip wakes with any date.
next_name() {
    # shellcheck disable=SC2012 # the names are made here, without spaces
    last=$(ls -1 "$releases" | sed -n 's/^r0*\([1-9][0-9]*\)-.*/\1/p' | sort -n | tail -n 1)
    printf 'r%04d-%s' $((${last:-0} + 1)) "$(date -u +%Y%m%d-%H%M%S)"
}

# A release is complete before anything points at it.
# add_release WHEELHOUSE: prints the new release's folder.
add_release() {
    wheels=$(CDPATH='' cd -- "$1" 2>/dev/null && pwd) || fail "there is no folder $1"
    for one in keelwatt pip; do
        ls "$wheels/$one"-*.whl >/dev/null 2>&1 ||
            fail "$1 holds no $one-*.whl; deploy/wheelhouse.sh makes a folder that does"
    done
    check_wheels "$1" "$wheels"
    python=$(board_python) || exit 1
    mkdir -p "$releases"
    drop_unfinished
    release=$releases/$(next_name)
    log=$release.log
    # By hash, and only what the list names: pip looks at each file once more as it reads it. It
    # comes with the wheels and does not stay: the board wants nothing of Debian's but Python.
    sed -n '/  pip-[^/]*$/d; s|^\([0-9a-f]\{64\}\)  \(.*\)$|./\2 --hash=sha256:\1|p' "$wheels/SHA256SUMS" \
        >"$release.txt"
    if ! { "$python" -m venv "$release" --without-pip && (cd "$wheels" &&
        PYTHONPATH=$(echo "$wheels"/pip-*.whl) PYTHONDONTWRITEBYTECODE=1 "$release/bin/python" -m pip install \
        --quiet --disable-pip-version-check --no-compile --no-index --no-deps --require-hashes \
        --requirement "$release.txt"); } >"$log" 2>&1; then
        tail -n 3 "$log" >&2
        rm -f "$release.txt"
        rm -rf "$release"
        fail "the wheels in $1 could not be installed (made for another Python or processor?); nothing was changed"
    fi
    leave_behind "$release/lib"
    # Compiled by all the processor's cores, which pip would do one by one: it is most of the time
    # that installing takes on a small board.
    "$release/bin/python" -m compileall -q -j 0 "$release/lib" >>"$log" 2>&1 || true
    # Everything it needs is loaded once, and the log's compressor works once: a library for another
    # processor shows here.
    if ! { "$release/bin/keelwatt" --help && "$release/bin/python" -I -c \
        'import logger.daemon.main, analyzer.answers, analyzer.faces.web.app, logger.store.packing.codec as codec
codec.works()'; } >"$log" 2>&1; then
        tail -n 3 "$log" >&2
        rm -f "$release.txt"
        rm -rf "$release"
        fail "the new release does not start on this computer; nothing was changed"
    fi
    mkdir -p "$release/share"
    cp -R "$here/." "$release/share/"
    cp "$wheels/SHA256SUMS" "$release/SHA256SUMS"
    # Its version and age, as a release file's list has them.
    if [ -f "$wheels/made" ]; then cp "$wheels/made" "$release/made"; fi
    current_release >"$release/came-after"
    rm -f "$log" "$release.txt"
    printf '%s\n' "$release"
}

# Releases that a power cut left half: their list of wheels goes last.
drop_unfinished() {
    for half in "$releases"/r*.txt; do
        [ -e "$half" ] || continue
        rm -rf "${half%.txt}"
        rm -f "${half%.txt}.log" "$half"
    done
}

# leave_behind LIB: what packages bring for their own makers or for another Python, 40 MB of it, stays
# off the card; the release is tried afterwards.
leave_behind() {
    find "$1" -type d -name tests -prune -exec rm -rf {} +
    # charts for a page want the small scripts only; zstandard has a second copy of itself for PyPy
    find "$1" -path '*/bokeh/server/static/js/*' ! -name '*.min.js' -type f -delete
    find "$1" -path '*/zstandard/_cffi.*.so' -delete
}

# check_wheels NAME FOLDER: the list of wheels is there, signed where this board knows a signer,
# names every wheel of the folder and nothing else, and each is what it was when it was listed.
check_wheels() {
    [ -f "$2/SHA256SUMS" ] ||
        fail "$1 has no SHA256SUMS; deploy/wheelhouse.sh makes a folder that does"
    if [ -f "$signer" ]; then check_signature "$1" "$2"; fi
    if grep -qv '^[0-9a-f]\{64\}  [A-Za-z0-9._+-]*\.whl$' "$2/SHA256SUMS"; then
        fail "SHA256SUMS in $1 wants lines of a check sum and a plain wheel's name; make the folder again with deploy/wheelhouse.sh"
    fi
    for wheel in "$2"/*.whl; do
        { [ -f "$wheel" ] && [ ! -L "$wheel" ] &&
            grep -qF "  $(basename "$wheel")" "$2/SHA256SUMS"; } ||
            fail "$(basename "$wheel") in $1 is not in the list of wheels; make the folder again with deploy/wheelhouse.sh"
    done
    (cd "$2" && sha256sum --check --status --strict SHA256SUMS) ||
        fail "the wheels in $1 are damaged (SHA256SUMS does not match); copy them again"
}

check_signature() {
    command -v openssl >/dev/null || fail "wants openssl to look at the release's signature; apt install openssl"
    { [ -f "$2/SHA256SUMS.sig" ] && openssl pkeyutl -verify -pubin -inkey "$signer" -rawin \
        -in "$2/SHA256SUMS" -sigfile "$2/SHA256SUMS.sig" >/dev/null 2>&1; } ||
        fail "the release in $1 is not signed by the key this board knows ($signer); take one from where the board's came from, or, where the key has changed on purpose, remove that file first"
}

# learn_signer FOLDER: a board takes the key of its first signed release, and keeps it.
learn_signer() {
    if [ -f "$1/release.pub" ] && [ ! -e "$signer" ]; then
        ours=$signer
        signer=$1/release.pub
        check_signature "$1" "$1"
        signer=$ours
        cp "$1/release.pub" "$signer"
        say "releases must be signed by the key in $signer from now on"
    fi
}

# use_release FOLDER: from now on this one; the switch is one rename. What it leads to is on the card
# before: a file system may keep a rename and lose what was written half a minute earlier.
use_release() {
    sync -f "$1"
    ln -sfn "$1" "$home/.next"
    mv -T "$home/.next" "$current"
    sync -f "$home"
}

# begin_change WHAT RELEASE UNITS: from now on a start after a power cut goes on with it (resume).
# WHAT is "try" (RELEASE is what to go back to if the newer one falls) or "back" (to RELEASE).
begin_change() {
    printf '%s\n' "$@" >"$changing.part"
    sync -f "$changing.part"
    mv "$changing.part" "$changing"
    sync -f "$home"
}

# change_line NUMBER: of what begin_change wrote.
change_line() { sed -n "$1p" "$changing"; }

end_change() {
    rm -f "$changing"
    sync -f "$home"
}

# version_of RELEASE: as its list says, else as its own wheel is named.
version_of() {
    found=$(sed -n 1p "$1/made" 2>/dev/null || true)
    [ -n "$found" ] ||
        found=$(sed -n 's/^.*  keelwatt-\([0-9.]*\)-[^/]*$/\1/p' "$1/SHA256SUMS" 2>/dev/null || true)
    printf '%s' "${found:-0.0}"
}

current_release() { readlink "$current" 2>/dev/null || true; }

# What was in use when the present one came; where that is gone, the next older one.
release_before() {
    now=$(current_release)
    before=$(cat "$now/came-after" 2>/dev/null || true)
    if [ -n "$before" ] && [ -x "$before/bin/keelwatt" ]; then
        printf '%s\n' "$before"
        return
    fi
    before=
    for folder in "$releases"/*/; do
        folder=${folder%/}
        [ -x "$folder/bin/keelwatt" ] || continue
        [ "$folder" = "$now" ] && break
        before=$folder
    done
    printf '%s\n' "$before"
}

# Keeps the three newest, whatever is in use, and what was in use before it.
drop_old_releases() {
    kept=0
    now=$(current_release)
    back=$(release_before)
    # shellcheck disable=SC2045 # the names are made here, without spaces
    for folder in $(ls -1rd "$releases"/*/ 2>/dev/null); do
        folder=${folder%/}
        kept=$((kept + 1))
        if [ "$kept" -gt 3 ] && [ "$folder" != "$now" ] && [ "$folder" != "$back" ]; then
            rm -rf "$folder"
        fi
    done
}

put_units() {
    # The folders that errands may write to have to be there when one is started.
    mkdir -p "$units" "$root/etc/udev/rules.d" "$root/etc/systemd/network"
    cp "$current/share/systemd/"keelwatt-* "$units/"
    cp "$current/share/udev/"*.rules "$root/etc/udev/rules.d/" 2>/dev/null || true # older: none
    if runs; then
        systemctl daemon-reload
        udevadm control --reload || true # a computer without udev has no sticks either
    fi
}

# A copy of the log that is whole although the recorder may be writing.
# back_up_log NAME
back_up_log() {
    [ -e "$data/log.sqlite" ] || return 0
    if [ -d "$backups" ] && ! as_owner test -w "$backups"; then  # of an older release
        as_owner mv -T "$backups" "$backups-$(basename "$(current_release)")"
    fi
    as_owner mkdir -p "$backups"
    if ! as_owner "$(current_release)/bin/python" -I "$(current_release)/share/copy-log.py" \
        "$data/log.sqlite" "$backups/$1.sqlite"; then
        fail "the log could not be copied to $backups (no room left?); nothing was changed"
    fi
    # shellcheck disable=SC2012 # the names are made here, without spaces
    for old in $(ls -1r "$backups"/r*.sqlite | tail -n +3); do as_owner rm -f "$old"; done
}

# The log under another name, which `aside` then tells; nothing may be writing it. No other is put
# over: a board without a clock chip may wake in the same second again.
put_log_aside() {
    aside=$data/log-$(date -u +%Y%m%d-%H%M%S)
    while as_owner test -e "$aside.sqlite"; do aside=$aside-2; done
    for end in "" -wal -shm; do
        if [ -e "$data/log.sqlite$end" ]; then
            as_owner mv -T "$data/log.sqlite$end" "$aside.sqlite$end"
        fi
    done
}

# log_from COPY: the log is as it was in a copy, and the present one beside it. Done again after a
# power cut, it goes on where it was: the copy is whole before the log is put aside.
log_from() {
    if ! as_owner test -e "$log_back"; then
        as_owner cp "$1" "$log_back.part"
        sync -f "$data"
        as_owner mv -T "$log_back.part" "$log_back"
    fi
    finish_log
}

finish_log() {
    as_owner test -e "$log_back" || return 0
    put_log_aside
    as_owner mv -T "$log_back" "$data/log.sqlite"
    sync -f "$data"
    say "the log of before the update is back; the other is kept as $aside.sqlite"
}

# reads_log RELEASE: whether it can read the log as it now is; a newer one may have changed it.
reads_log() {
    ask='import sys; from logger.store import Store; Store.open(sys.argv[1]).close()'
    as_owner "$1/bin/python" -I -c "$ask" "$data/log.sqlite" >/dev/null 2>&1
}

# Whether this is a running system; one that is put together for a card can only be told what to
# start.
runs() { [ -n "$root" ] || [ -d /run/systemd/system ]; }

start_all() {
    # shellcheck disable=SC2086 # words are wanted
    systemctl enable $errands $resume $services
    # Not waited for: a recorder whose boat has no sources yet tries again until it has.
    # shellcheck disable=SC2086
    if runs; then systemctl start --no-block $errands $services; fi
    say "the services are started"
}

# Services that start by themselves; what the owner has disabled stays so.
enabled_services() {
    for unit in $services; do
        if systemctl is-enabled --quiet "$unit" 2>/dev/null; then printf '%s ' "$unit"; fi
    done
}

# Those of them that run now: what a newer release has to keep up. A recorder whose boat has no
# sources yet runs under none.
active_services() {
    for unit in $(enabled_services); do
        if systemctl is-active --quiet "$unit"; then printf '%s ' "$unit"; fi
    done
}

# healthy UNIT...: whether each still runs some seconds later. Watches the time it has been
# running too, so that one which falls and is started again is not taken for well.
healthy() {
    [ $# -gt 0 ] || return 0
    before=$(systemctl show --property NRestarts "$@")
    sleep "${KEELWATT_SETTLE_S:-20}"
    for unit in "$@"; do
        systemctl is-active --quiet "$unit" || return 1
    done
    [ "$(systemctl show --property NRestarts "$@")" = "$before" ]
}

# back_to RELEASE WITH-LOG COPY UNITS: an older release takes over. WITH-LOG is yes, no or if-needed
# (where it cannot read the log as it now is). May be done again after a power cut.
back_to() {
    begin_change back "$@"
    # shellcheck disable=SC2086 # words are wanted
    if runs; then systemctl stop $services; fi
    finish_log
    case "$2" in
    no) ;;
    if-needed) if ! reads_log "$1" && as_owner test -e "$3"; then log_from "$3"; fi ;;
    yes) if as_owner test -e "$3"; then log_from "$3"; fi ;;
    esac
    begin_change back "$1" no "$3" "$4" # the log is settled
    use_release "$1"
    put_units
    # A recorder whose boat has no sources yet starts under no release: that ends nothing here.
    # shellcheck disable=SC2086 # words are wanted
    if runs && [ -n "$4" ]; then systemctl start $4 || true; fi
    end_change
}

# undo_update: what was being tried does not stay up.
undo_update() {
    say "the new release does not stay up; putting the old one back"
    back_to "$(change_line 2)" if-needed "$backups/$(basename "$(current_release)").sqlite" \
        "$(enabled_services)"
    fail "the update was undone; journalctl -u keelwatt-record -u keelwatt-serve says why"
}

#!/bin/sh
# Everything the tests need, then style, types and all tests: sh deploy/test.sh [pytest options]
set -eu
# shellcheck source=deploy/environment.sh
. "$(dirname -- "$0")/environment.sh"

# Debian packages that pip cannot bring: a browser for the page tests, database servers for a
# fleet's results and a log's mirror, a broker to publish to, and on a machine that is only a
# container the checker of systemd units.
missing_packages() {
    command -v chromium >/dev/null || command -v chromium-browser >/dev/null || printf 'chromium '
    command -v systemd-analyze >/dev/null || printf 'systemd '
    PATH="$PATH:/usr/sbin" command -v mosquitto >/dev/null || printf 'mosquitto '
    set -- /usr/lib/postgresql/*/bin/initdb # Debian keeps it off the search path
    command -v initdb >/dev/null || [ -x "$1" ] || printf 'postgresql '
    PATH="$PATH:/usr/sbin" command -v mariadbd >/dev/null || printf 'mariadb-server '
}

install_packages() {
    packages=$(missing_packages)
    if [ -z "$packages" ]; then
        return
    fi
    if ! command -v apt-get >/dev/null; then
        fail "the tests want $packages, and this is no Debian: please install it by hand"
    fi
    as_root=
    if [ "$(id -u)" -ne 0 ]; then
        sudo -n true 2>/dev/null || fail "the tests want $packages; please run: sudo apt-get install $packages"
        as_root="sudo -n"
    fi
    say "installing Debian's $packages"
    log="$venv/apt.log"
    # shellcheck disable=SC2086 # words are wanted
    if ! { $as_root apt-get update && $as_root env DEBIAN_FRONTEND=noninteractive \
        apt-get install --yes --no-install-recommends $packages; } >"$log" 2>&1; then
        tail -n 5 "$log" >&2
        fail "apt-get could not install $packages; all of it is in .venv/apt.log"
    fi
}

# axe-core looks at the pages; without npm its test is skipped and says so.
install_page_checker() {
    browser=$project/tests/browser
    if ! command -v npm >/dev/null; then
        return
    fi
    now=$(cksum <"$browser/package-lock.json")
    if [ -d "$browser/node_modules" ] && [ "$(cat "$venv/axe" 2>/dev/null)" = "$now" ]; then
        return
    fi
    say "installing axe-core for the page tests"
    if npm ci --silent --no-audit --no-fund --prefix "$browser"; then
        printf '%s' "$now" >"$venv/axe"
    else
        say "npm could not bring axe-core; its test will be skipped"
    fi
}

install "[test]"
install_packages
install_page_checker
cd "$project"
PATH="$venv/bin:$PATH"
export PATH
ruff check .
ruff format --check .
mypy
python tests/packages.py
# Three on two cores: some tests wait, for a browser, a clock or a process of their own.
exec python -m pytest -n 3 --dist worksteal "$@"

# shellcheck shell=sh
# Sourced by lock.sh, wheelhouse.sh, release.sh and package.sh: the processors and Pythons that releases
# are made for, and what of these scripts goes along.

processors="x86_64 aarch64"
# shellcheck disable=SC2034 # used by lock.sh
pythons="3.11 3.12 3.13 3.14"

# known_platform PROCESSOR PYTHON
known_platform() {
    case " $processors " in
    *" $1 "*) ;;
    *) fail "wants aarch64 or x86_64, got $1: only 64-bit boards are supported" ;;
    esac
    case " $pythons " in
    *" $2 "*) ;;
    *) fail "wants a Python of $pythons, got $2" ;;
    esac
}

# for_platform PROCESSOR PYTHON: pip's options that choose wheels for it.
# glibc 2.28 and older (PEP 600); Debian 12 has 2.36.
for_platform() {
    printf '%s ' --only-binary :all: --implementation cp --python-version "$2" \
        --platform "manylinux_2_28_$1" --platform "manylinux_2_17_$1" --platform "manylinux2014_$1"
}

# only_board FOLDER: of a copy of these scripts, what a board has no use for is left out.
only_board() {
    rm -rf "$1/debian" "$1/image" "$1/container" "$1/lock"
    find "$1" -name __pycache__ -prune -exec rm -rf {} +
}

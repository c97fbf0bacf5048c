# shellcheck shell=sh
# Set-up shared by demo/run and tests/run: checks what the build needs and installs what is missing, after saying so.
# Source it from the package's folder. Afterwards $features holds the cargo flags that this system can build with.

features=

say() {
    printf 'teeter: %s\n' "$*"
}

stop() {
    printf 'teeter: %s\n' "$*" >&2
    exit 1
}

have() {
    command -v "$1" >/dev/null 2>&1
}

as_root() {
    if [ "$(id -u)" -eq 0 ]; then
        "$@"
    elif have sudo; then
        sudo "$@"
    else
        return 1
    fi
}

# Installs Debian or Ubuntu packages; fails on another system or without the rights to.
install_packages() {
    have apt-get || return 1
    if [ "$(id -u)" -ne 0 ] && ! have sudo; then
        say "cannot install $*: this needs root or sudo"
        return 1
    fi
    say "installing with apt-get: $*"
    as_root env DEBIAN_FRONTEND=noninteractive apt-get update -q || say "apt-get update failed; using the package lists of before"
    as_root env DEBIAN_FRONTEND=noninteractive apt-get install -y -q --no-install-recommends "$@"
}

# Whether version $1 is at least version $2 (major.minor).
at_least() {
    first=$(printf '%s' "$1" | cut -d. -f1)
    second=$(printf '%s' "$1" | cut -d. -f2)
    wanted_first=$(printf '%s' "$2" | cut -d. -f1)
    wanted_second=$(printf '%s' "$2" | cut -d. -f2)
    case "$first$second" in '' | *[!0-9]*) return 1 ;; esac
    [ "$first" -gt "$wanted_first" ] || { [ "$first" -eq "$wanted_first" ] && [ "$second" -ge "$wanted_second" ]; }
}

cargo_version() {
    cargo --version 2>/dev/null | sed -n '1s/^cargo \([0-9.]*\).*/\1/p'
}

cargo_is_new_enough() {
    at_least "$(cargo_version)" "$wanted"
}

# The version of a package that apt-get would install, without its epoch; empty if there is none.
candidate() {
    LC_ALL=C apt-cache policy "$1" 2>/dev/null | sed -n 's/^ *Candidate: \([0-9]*:\)\{0,1\}\([0-9.]*\).*/\2/p'
}

set_up_c() {
    missing=
    have cc || missing="$missing gcc libc6-dev"
    if [ "$(uname -s)" = Linux ]; then
        have pkg-config || missing="$missing pkg-config"
        { have pkg-config && pkg-config --exists alsa; } || missing="$missing libasound2-dev"
        # Without certificates cargo cannot fetch the crates.
        if have dpkg && ! dpkg -s ca-certificates >/dev/null 2>&1; then
            missing="$missing ca-certificates"
        fi
    fi
    if [ -n "$missing" ]; then
        # The list is split into words on purpose.
        # shellcheck disable=SC2086
        install_packages $missing || true
    fi
    case "$(uname -s)" in
    Darwin) have cc || stop "no C compiler found. Install Apple's command line tools with: xcode-select --install" ;;
    *) have cc || stop "no C compiler found. Install one with your system's package manager (gcc or clang), then run this again." ;;
    esac
    if [ "$(uname -s)" = Linux ] && ! { have pkg-config && pkg-config --exists alsa; }; then
        say "no ALSA headers (libasound2-dev on Debian and Ubuntu, alsa-lib-devel or alsa-lib elsewhere) and pkg-config:"
        say "building without sound on this machine's device; everything else works"
        features=--no-default-features
    fi
}

set_up_rust() {
    wanted=$(sed -n 's/^rust-version = "\(.*\)"/\1/p' Cargo.toml)
    # rustup installs cargo there; this shell may be older than that.
    PATH="$PATH:${CARGO_HOME:-$HOME/.cargo}/bin"
    export PATH
    cargo_is_new_enough && return 0
    if have cargo; then
        say "cargo $(cargo_version) is too old; Rust $wanted or newer is needed"
    else
        say "no cargo found; Rust $wanted or newer is needed"
    fi
    if ! have rustup && have apt-get; then
        [ -n "$(candidate cargo)$(candidate rustup)" ] || as_root apt-get update -q || true
        if at_least "$(candidate cargo)" "$wanted"; then
            install_packages cargo || true
        elif [ -n "$(candidate rustup)" ]; then
            install_packages rustup || true
        fi
        hash -r
        cargo_is_new_enough && return 0
    fi
    if have rustup; then
        say "installing the stable Rust toolchain with rustup"
        RUSTUP_TOOLCHAIN=stable
        export RUSTUP_TOOLCHAIN
        if rustup toolchain install stable --profile minimal --component rustfmt --component clippy; then
            cargo_is_new_enough && return 0
        fi
    fi
    stop "Rust $wanted or newer is needed and this system's packages do not have it. Install it as https://www.rust-lang.org/tools/install says, then run this again."
}

set_up() {
    set_up_c
    set_up_rust
    say "building with cargo $(cargo_version)${features:+ $features}"
}

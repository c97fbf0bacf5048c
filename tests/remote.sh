#!/bin/sh
# Tests `teeter remote` through a real ssh login: a private sshd on loopback behind a relay that delays every byte, the editor on
# that side, the speaker on this side, playing into a null sink. Checks the attacks that the sink recorded, the playhead and edits
# against them, a recording beside the groove, the bytes of an edit, that no other account reaches the socket, and that cut connections fall silent and are taken
# up at their place. Needs pulseaudio, pulseaudio-utils, libasound2-plugins, openssh-server and python3.
#   tests/remote.sh [MS [CUTS]]     delay in each direction in ms (default 40), cut connections (default 3)
# As root it also connects from another account. TEETER_PROGRAM names a built program; TEETER_SOAK, seconds to play at the end.
set -eu
delay=${1:-40}
cuts=${2:-3}
root=$(cd "$(dirname "$0")/.." && pwd)
export PATH="$PATH:/usr/sbin"
for tool in pulseaudio parec ssh sshd ssh-keygen python3; do
    command -v "$tool" >/dev/null || { echo "remote.sh: $tool is missing" >&2; exit 2; }
done
dir=$(mktemp -d)
jobs=
export TEETER_SINK="$dir"
finish() {
    for job in $jobs; do kill "$job" 2>/dev/null || true; done
    sh "$root/tests/null-sink.sh" || true
    rm -rf "$dir"
}
trap finish EXIT INT TERM

# Built first, so that the recording does not start during a build.
[ -n "${TEETER_PROGRAM:-}" ] || cargo build --manifest-path "$root/Cargo.toml"
teeter=${TEETER_PROGRAM:-${CARGO_TARGET_DIR:-$root/target}/debug/teeter}

sh "$root/tests/null-sink.sh" 48000
free() { python3 -c 'import socket; s = socket.socket(); s.bind(("127.0.0.1", 0)); print(s.getsockname()[1])'; }
sshd_port=$(free) delayed_port=$(free)

ssh-keygen -q -t ed25519 -N '' -f "$dir/host"
ssh-keygen -q -t ed25519 -N '' -f "$dir/id"
cp "$dir/id.pub" "$dir/authorized"
mkdir "$dir/state"
cat >"$dir/sshd_config" <<END_CONFIG
Port $sshd_port
ListenAddress 127.0.0.1
HostKey $dir/host
AuthorizedKeysFile $dir/authorized
StrictModes no
PidFile $dir/sshd.pid
UsePAM no
PermitRootLogin yes
SetEnv XDG_STATE_HOME=$dir/state
END_CONFIG
[ "$(id -u)" != 0 ] || mkdir -p /run/sshd
"$(command -v sshd)" -D -e -f "$dir/sshd_config" 2>"$dir/sshd.log" &
jobs="$jobs $!"

# A relay that delays every byte, in place of netem, which not every kernel has.
python3 "$root/tests/remote/relay.py" "$delayed_port" "$sshd_port" "$delay" "$dir/bytes" &
relay=$!
jobs="$jobs $relay"
sleep 1

export PULSE_SERVER="unix:$dir/native" ALSA_CONFIG_PATH="$dir/asound.conf"
PYTHONDONTWRITEBYTECODE=1 python3 "$root/tests/remote/session.py" "$dir" "$teeter" "$delayed_port" "$relay" "$cuts"

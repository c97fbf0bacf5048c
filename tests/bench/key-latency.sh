#!/bin/sh
# From a key to the sound that it changes: the editor in a pseudo-terminal plays a layer of very short attacks every 5 ms into a
# null sink; `m` silences it and brings it back at random moments. The sink's monitor is read with the time at which each piece
# came, so that key and sound are told by one clock. Needs pulseaudio, pulseaudio-utils, python3 with numpy; for "alsa" also
# libasound2-plugins. Not part of the tests.
#   tests/bench/key-latency.sh [alsa|pulse] [KEYS] [small|large] [first]
#     alsa    through the ALSA plug-in of PulseAudio (the default); pulse  through the program's own host (cargo feature "pulse")
#     KEYS    how many keys are pressed (80)
#     large   15 layers of 64 bars beside that layer, to be laid anew at each key
#     first   everything that is measured goes before all else on the machine (real-time scheduling, needs root): what a machine
#             gives that others keep busy. Without it a busy machine's figures are an upper bound, and the sound has gaps.
# What is told is the time until a sample comes out of the monitor. A null sink has no converter: it gives a sample away when it
# takes it from the server, earlier than its own clock has it by at most what it says of itself (its latency, which is shown).
set -eu
route=${1:-alsa}
root=$(cd "$(dirname "$0")/../.." && pwd)
dir=$(mktemp -d)
export TEETER_SINK="$dir/sink"
trap 'sh "$root/tests/null-sink.sh" || true; rm -rf "$dir"' EXIT INT TERM
python=python3
for venv in "$root/.venv/bench/bin/python" "${TEETER_PYTHON:-}"; do [ ! -x "$venv" ] || python=$venv; done
"$python" -c 'import numpy' || { echo "key-latency.sh: numpy is missing (another Python: TEETER_PYTHON=...)" >&2; exit 2; }
features=audio
[ "$route" != pulse ] || features=pulse
cargo build --release --locked --manifest-path "$root/Cargo.toml" --features "$features"
before=
[ "${4:-}" != first ] || before="chrt -r 10"
$before sh "$root/tests/null-sink.sh" 48000
[ "$route" = pulse ] || export ALSA_CONFIG_PATH="$TEETER_SINK/asound.conf"
PULSE_SERVER=unix:$TEETER_SINK/native $before "$python" "$root/tests/bench/key_latency.py" \
    "${CARGO_TARGET_DIR:-$root/target}/release/teeter" "$dir" "${2:-80}" "${3:-small}"

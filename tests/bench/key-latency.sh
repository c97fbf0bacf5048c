#!/bin/sh
# Measures the latency from a key to the sound it changes: the editor, in a pseudo-terminal, plays a layer of very short attacks
# every 5 ms into a null sink; `m` mutes and unmutes it at random times. Each block read from the sink's monitor is stamped on
# arrival, so key and sound share one clock. Needs pulseaudio, pulseaudio-utils, python3 with numpy; for "alsa" also
# libasound2-plugins. Not part of the tests.
#   tests/bench/key-latency.sh [alsa|pulse] [KEYS] [small|large] [first]
#     alsa    through the ALSA plug-in of PulseAudio (the default); pulse  through the PulseAudio host of the audio library (cargo feature "pulse")
#     KEYS    how many keys are pressed (80)
#     large   15 more layers of 64 bars, to be rescheduled at each key
#     first   everything measured runs with real-time scheduling (needs root), for a machine that is busy with other work. Without
#             it a busy machine gives an upper bound, and the sound has gaps.
# The result is the time until a sample arrives from the monitor. A null sink has no converter: it passes a sample on when it reads
# it from the server, earlier than its own clock would by at most the latency it reports (which is printed).
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

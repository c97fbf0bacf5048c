#!/bin/sh
# Tests playback with a real sound server: records a null sink while the groove is edited and checks the spacing of the attacks;
# plays into a selected output of another rate; measures the time from an edit to its sound; stops the server during playback and
# starts it again, at the same rate and at another one. Needs pulseaudio and pulseaudio-utils; for "alsa" also libasound2-plugins.
#   tests/capture.sh alsa     through the ALSA plug-in of PulseAudio (the default)
#   tests/capture.sh pulse    through the PulseAudio host of the audio library (cargo feature "pulse")
set -eu
route=${1:-alsa}
root=$(cd "$(dirname "$0")/.." && pwd)
dir=$(mktemp -d)
recorders=
export TEETER_SINK="$dir"
finish() {
    for recorder in $recorders; do kill "$recorder" 2>/dev/null || true; done
    sh "$root/tests/null-sink.sh" || true
    rm -rf "$dir"
}
for tool in pulseaudio parec; do
    command -v "$tool" >/dev/null || { echo "capture.sh: $tool is missing (Debian: pulseaudio pulseaudio-utils)" >&2; exit 2; }
done

# Built first, so that the recording does not start during a build.
features=audio
[ "$route" != pulse ] || features=pulse
cargo test --manifest-path "$root/Cargo.toml" --features "$features" --lib --no-run

trap finish EXIT INT TERM
sh "$root/tests/null-sink.sh" 48000
record() {
    PULSE_SERVER=unix:$dir/native parec -d "$1.monitor" --raw --format=s16le --rate="$2" --channels=2 --latency-msec=20 >"$dir/$1.raw" &
    recorders="$recorders $!"
}
record cap 48000
record quay 44100

[ "$route" != alsa ] || export ALSA_CONFIG_PATH="$dir/asound.conf"
for name in plays_into_a_capture a_chosen_output_sounds_alone an_edit_is_heard_soon goes_on_when_the_device_is_back; do
    PULSE_SERVER=unix:$dir/native TEETER_CAPTURE=$dir/cap.raw TEETER_QUAY=$dir/quay.raw TEETER_SERVER=$root/tests/null-sink.sh \
        cargo test --manifest-path "$root/Cargo.toml" --features "$features" --lib "sound::player::tests::$name" \
        -- --ignored --exact --nocapture
done

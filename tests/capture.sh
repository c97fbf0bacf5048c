#!/bin/sh
# Plays through a real sound server into a null sink, records what arrives there while the groove is edited, and checks
# the spacing of the attacks in the recording; measures how soon an edit is heard; ends the server under the player and starts
# it again, at its old rate and at another one. Needs pulseaudio and pulseaudio-utils; for "alsa" also libasound2-plugins.
#   tests/capture.sh alsa     through the ALSA plug-in of PulseAudio (the default)
#   tests/capture.sh pulse    through the program's own PulseAudio host (cargo feature "pulse")
set -eu
route=${1:-alsa}
root=$(cd "$(dirname "$0")/.." && pwd)
dir=$(mktemp -d)
recorder=
finish() {
    [ -z "$recorder" ] || kill "$recorder" 2>/dev/null || true
    sh "$dir/server" "" || true
    rm -rf "$dir"
}
for tool in pulseaudio parec; do
    command -v "$tool" >/dev/null || { echo "capture.sh: $tool is missing (Debian: pulseaudio pulseaudio-utils)" >&2; exit 2; }
done

# Built first, so that the recording holds the sound and not the compiler.
features=audio
[ "$route" != pulse ] || features=pulse
cargo test --manifest-path "$root/Cargo.toml" --features "$features" --lib --no-run

# Ends the server; with a rate starts it anew. Without norewinds the sink takes up to two seconds at once and drops them when
# the stream starts.
mkdir -p "$dir/run"
cat >"$dir/server" <<END
dir=$dir
if [ -f "\$dir/pid" ]; then
    kill "\$(cat "\$dir/pid")" 2>/dev/null || true
    rm -f "\$dir/pid"
    sleep 0.3
fi
[ -n "\$1" ] || exit 0
rm -f "\$dir/native"
XDG_RUNTIME_DIR=\$dir/run HOME=\$dir pulseaudio -n --daemonize=no --use-pid-file=no --exit-idle-time=-1 --disallow-exit \\
    --high-priority=no --realtime=no -L "module-native-protocol-unix socket=\$dir/native auth-anonymous=1" \\
    -L "module-null-sink sink_name=cap format=s16le rate=\$1 channels=2 norewinds=1" </dev/null >/dev/null 2>"\$dir/server.log" &
echo \$! >"\$dir/pid"
tries=0
until PULSE_SERVER=unix:\$dir/native pactl info >/dev/null 2>&1; do
    tries=\$((tries + 1))
    [ "\$tries" -lt 50 ] || { echo "capture.sh: the sound server did not start" >&2; cat "\$dir/server.log" >&2; exit 2; }
    sleep 0.1
done
END
trap finish EXIT INT TERM
sh "$dir/server" 48000
PULSE_SERVER=unix:$dir/native parec -d cap.monitor --raw --format=s16le --rate=48000 --channels=2 --latency-msec=20 \
    >"$dir/cap.raw" &
recorder=$!

if [ "$route" = alsa ]; then
    printf 'pcm.!default { type pulse server "unix:%s" }\nctl.!default { type pulse server "unix:%s" }\n' \
        "$dir/native" "$dir/native" >"$dir/asound.conf"
    # This file takes the place of the whole configuration, so the plug-in's types must be found by their default names.
    export ALSA_CONFIG_PATH="$dir/asound.conf"
fi
for name in plays_into_a_capture an_edit_is_heard_soon goes_on_when_the_device_is_back; do
    PULSE_SERVER=unix:$dir/native TEETER_CAPTURE=$dir/cap.raw TEETER_SERVER=$dir/server \
        cargo test --manifest-path "$root/Cargo.toml" --features "$features" --lib "sound::player::tests::$name" \
        -- --ignored --exact --nocapture
done

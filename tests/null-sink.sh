#!/bin/sh
# Starts a private PulseAudio server with two null sinks, and writes the ALSA configuration for them: cap, the default sink, and
# quay, which always runs at 44100 Hz. All files are in the folder TEETER_SINK: native is the server's socket, asound.conf the
# configuration, pid the server's process id.
#   tests/null-sink.sh 48000     stops a running server and starts one whose sink cap has this rate
#   tests/null-sink.sh           stops a running server
# Needs pulseaudio and pulseaudio-utils; for ALSA also libasound2-plugins.
set -eu
dir=$TEETER_SINK
if [ -f "$dir/pid" ]; then
    kill "$(cat "$dir/pid")" 2>/dev/null || true
    rm -f "$dir/pid"
    sleep 0.3
fi
[ -n "${1:-}" ] || exit 0
for tool in pulseaudio pactl; do
    command -v "$tool" >/dev/null || { echo "null-sink.sh: $tool is missing (Debian: pulseaudio pulseaudio-utils)" >&2; exit 2; }
done
mkdir -p "$dir/run"
rm -f "$dir/native"
# Without norewinds the sink reads up to two seconds in advance and drops them when the stream starts.
XDG_RUNTIME_DIR=$dir/run HOME=$dir pulseaudio -n --daemonize=no --use-pid-file=no --exit-idle-time=-1 --disallow-exit \
    --high-priority=no --realtime=no -L "module-native-protocol-unix socket=$dir/native auth-anonymous=1" \
    -L "module-null-sink sink_name=cap format=s16le rate=$1 channels=2 norewinds=1" \
    -L "module-null-sink sink_name=quay format=s16le rate=44100 channels=2 norewinds=1 sink_properties=device.description=Quay" \
    </dev/null >/dev/null 2>"$dir/server.log" &
echo $! >"$dir/pid"
# This file replaces ALSA's whole configuration, so the plug-in's types must be found by their default names.
cat >"$dir/asound.conf" <<CONF
pcm.!default { type pulse server "unix:$dir/native" }
ctl.!default { type pulse server "unix:$dir/native" }
pcm.quay { type pulse server "unix:$dir/native" device "quay" hint { show on description "Quay" } }
CONF
tries=0
until PULSE_SERVER=unix:$dir/native pactl info >/dev/null 2>&1; do
    tries=$((tries + 1))
    [ "$tries" -lt 50 ] || { echo "null-sink.sh: the sound server did not start" >&2; cat "$dir/server.log" >&2; exit 2; }
    sleep 0.1
done
PULSE_SERVER=unix:$dir/native pactl set-default-sink cap

#!/bin/sh
# Compares teeter's first hearing of each groove with the tempo that a general beat tracker (librosa, ISC licence) finds in the
# rendered sound. Installs its packages into .venv/bench. Not part of the tests: it only prints a table.
set -eu
cd "$(dirname "$0")/../.."
venv=.venv/bench
[ -x "$venv/bin/python" ] || { echo "creating $venv and installing librosa 0.11.0 and soundfile into it" >&2; python3 -m venv "$venv"; }
"$venv/bin/python" -c 'import librosa, soundfile' 2>/dev/null || "$venv/bin/pip" install --quiet librosa==0.11.0 soundfile
cargo build --release --locked
"$venv/bin/python" - "${CARGO_TARGET_DIR:-target}/release/teeter" patterns/*.toml <<'PY'
import io, json, subprocess, sys, time
import librosa, soundfile
teeter, grooves = sys.argv[1], sys.argv[2:]
print("| groove | written | teeter, first hearing | time | tracker, the same layer alone | tracker, whole groove | time |")
print("| --- | --- | --- | --- | --- | --- | --- |")
def tempo(path, *words):
    wav = subprocess.run([teeter, "render", path, "-o", "-", "--seconds", "60", *words], capture_output=True, check=True).stdout
    samples, rate = soundfile.read(io.BytesIO(wav), dtype="float32")
    start = time.perf_counter()
    found, beats = librosa.beat.beat_track(y=samples.mean(axis=1), sr=rate)
    return float(found if not hasattr(found, "__len__") else found[0]), time.perf_counter() - start
librosa.beat.beat_track(y=librosa.clicks(times=[0.5, 1.0, 1.5], sr=22050), sr=22050)  # its first call compiles
for path in grooves:
    start = time.perf_counter()
    said = json.loads(subprocess.run([teeter, "explain", "--json", path], capture_output=True, check=True).stdout)
    own = time.perf_counter() - start
    first = said["hearings"][0]
    words = first["kind"] + " " + " then ".join(f"{s['bpm']:.1f}" for s in first["stretches"][:4])
    alone, _ = tempo(path, "--layer", said["focus"][0])
    whole, took = tempo(path)
    print(f"| {said['title']} | {said['sections'][0]['bpm']} | {words} | {own*1000:.0f} ms | {alone:.1f} | {whole:.1f} | {took*1000:.0f} ms |")
PY

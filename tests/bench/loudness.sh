#!/bin/sh
# Measures loudness and true peak of the shipped grooves, rendered with the defaults and with a click on the written beat. Loudness
# by pyloudnorm (MIT; ITU-R BS.1770-4), true peak by four-fold oversampling with scipy's polyphase filter; ffmpeg's ebur128 filter
# measures both again if it is installed. Installs its packages into .venv/bench. Not part of the tests.
#   tests/bench/loudness.sh [GROOVE...]
set -eu
cd "$(dirname "$0")/../.."
python=${TEETER_PYTHON:-.venv/bench/bin/python}
[ -x "$python" ] || { echo "creating .venv/bench" >&2; python3 -m venv .venv/bench; }
"$python" -c 'import numpy, scipy, soundfile, pyloudnorm' 2>/dev/null ||
    "$python" -m pip install --quiet numpy scipy soundfile pyloudnorm==0.2.0
cargo build --release --locked
dir=$(mktemp -d)
trap 'rm -rf "$dir"' EXIT INT TERM
"$python" - "${CARGO_TARGET_DIR:-target}/release/teeter" "$dir/a.wav" "${@:-patterns}" <<'PY'
import pathlib, re, shutil, subprocess, sys
import numpy, pyloudnorm, soundfile
from scipy.signal import resample_poly
teeter, wav = sys.argv[1:3]
files = [p for a in sys.argv[3:] for p in (sorted(pathlib.Path(a).glob("*.toml")) if pathlib.Path(a).is_dir() else [pathlib.Path(a)])]
wrong = []

def outside():
    words = subprocess.run(["ffmpeg", "-nostats", "-i", wav, "-filter_complex", "ebur128=peak=true", "-f", "null", "-"], capture_output=True, text=True).stderr
    words = words[words.rfind("Summary"):]
    find = lambda pattern: float(re.search(pattern, words).group(1))
    loudness, peak = find(r"I:\s+(-?[\d.]+) LUFS"), find(r"Peak:\s+(-?[\d.]+|-inf) dBFS")
    return f"  {loudness:6.1f} {peak:6.1f}"

ffmpeg = shutil.which("ffmpeg")
print(f"{'':40} {'LUFS':>6} {'dBTP':>6}" + (f"  {'LUFS':>6} {'dBTP':>6} (ffmpeg)" if ffmpeg else ""))
for file in files:
    for click in ([], ["--click"]):
        # Long enough for several of the 400 ms blocks of a gate, whatever the loop lasts.
        subprocess.run([teeter, "render", file, "-o", wav, "--seconds", "30", *click], check=True, stderr=subprocess.DEVNULL)
        samples, rate = soundfile.read(wav)
        loudness = pyloudnorm.Meter(rate).integrated_loudness(samples)
        peak = 20 * numpy.log10(max(numpy.abs(resample_poly(samples[:, c], 4, 1)).max() for c in (0, 1)))
        name = file.stem + (" with the beat" if click else "")
        print(f"{name:40} {loudness:6.1f} {peak:6.2f}" + (outside() if ffmpeg else ""))
        if peak > -1 or not (click or -24 <= loudness <= -16):
            wrong.append(name)
print(f"{len(files)} grooves; beyond -24 to -16 LUFS or -1 dBTP: {', '.join(wrong) or 'none'}")
sys.exit(bool(wrong))
PY

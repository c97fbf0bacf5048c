#!/bin/sh
# Renders takes of a shipped groove back to back, finds their onsets with two general libraries (aubio 0.4.9, GPL-3; librosa
# 0.11.0, ISC), and checks that each cue and each click of the pulses alone has an onset at the time that the cue list and the
# exact tempo give. Loudness and true peak by pyloudnorm (MIT) and eight-fold oversampling. Installs its packages into
# .venv/bench. Not part of the tests.
set -eu
cd "$(dirname "$0")/../.."
venv=.venv/bench
[ -x "$venv/bin/python" ] || { echo "creating $venv and installing aubio, librosa, soundfile, pyloudnorm into it" >&2; python3 -m venv "$venv"; }
"$venv/bin/python" -c 'import aubio, librosa, soundfile, pyloudnorm' 2>/dev/null ||
    "$venv/bin/pip" install --quiet numpy scipy aubio==0.4.9 librosa==0.11.0 soundfile pyloudnorm==0.2.0
cargo build --release --locked
dir=$(mktemp -d)
trap 'rm -rf "$dir"' EXIT INT TERM
"$venv/bin/python" - "${CARGO_TARGET_DIR:-target}/release/teeter" "$dir" "${@:-patterns/half-tide-winch.toml}" <<'PY'
import csv, json, subprocess, sys
import aubio, librosa, numpy, pyloudnorm, soundfile
from scipy.signal import resample_poly
teeter, folder, grooves = sys.argv[1], sys.argv[2], sys.argv[3:]

def aubio_onsets(mono, rate):
    find = aubio.onset("hfc", 512, 128, rate)
    find.set_silence(-70.0)
    found = []
    for at in range(0, len(mono) - 128, 128):
        if find(mono[at:at + 128]):
            found.append(find.get_last_s())
    return numpy.array(found)

def librosa_onsets(mono, rate):
    return librosa.onset.onset_detect(y=mono, sr=rate, hop_length=128, units="time")

def nearest(found, wanted):
    return numpy.array([found[numpy.argmin(abs(found - t))] - t for t in wanted])

def beats(section):
    over, under = section["meter"].rsplit("/", 1)
    numer, denom = section["beat"].split("/")
    return sum(map(int, over.split("+"))) / int(under) / (int(numer) / int(denom))

def line(name, off):
    off = off * 1000
    print(f"  {name:42} {len(off):4} wanted  {numpy.sum(abs(off) <= 10):4} within 10 ms  median {numpy.median(off):6.2f} ms"
          f"  farthest from the median {numpy.max(abs(off - numpy.median(off))):6.2f} ms")

for groove in grooves:
    wav = folder + "/takes.wav"
    said = json.loads(subprocess.run([teeter, "explain", "--json", groove], capture_output=True, check=True).stdout)
    number, other = next((k, h) for k, h in enumerate(said["hearings"], 1) if h["kind"] != "written beat")
    # A library hears two pulses that nearly coincide as one onset, so each sounds alone.
    takes = ["beat", f"hearing:{number}", "pulses:beat", f"pulses:{number}"]
    words = [w for take in takes for w in ("--take", take)]
    subprocess.run([teeter, "takes", groove, "-o", wav, "--count-in", "--times", "2", *words], check=True, stderr=subprocess.DEVNULL)
    rows = list(csv.DictReader(open(folder + "/takes.tsv"), delimiter="\t"))
    samples, rate = soundfile.read(wav, dtype="float32")
    mono = samples.mean(axis=1).astype("float32")
    print(f"{said['title']}: {len(samples) / rate:.2f} s, {len(rows)} cues")
    peak = max(numpy.max(abs(resample_poly(samples[:, c], 8, 1))) for c in (0, 1))
    print(f"  loudness {pyloudnorm.Meter(rate).integrated_loudness(samples.astype('float64')):.1f} LUFS,"
          f" true peak {20 * numpy.log10(peak):.2f} dBTP")
    cues = numpy.array([int(r["frame"]) / rate for r in rows])
    sections = said["sections"]
    seconds = sum(s["bars"] * s["times"] * beats(s) * 60 / float(s["bpm"]) for s in sections)
    at = lambda number: cues[[k for k, r in enumerate(rows) if not r["name"].startswith("count-in")][number]]
    pulses = numpy.array([st["start_s"] + k * 60 / st["bpm"] for st in other["stretches"] for k in range(st["pulses"])])
    clicks = numpy.concatenate([at(3) + turn * seconds + pulses for turn in range(2)])
    if len(sections) == 1:
        beat = 60 / float(sections[0]["bpm"])
        written = at(2) + numpy.arange(0, 2 * seconds - beat / 2, beat)
    for name, find in ("aubio 0.4.9 hfc", aubio_onsets), ("librosa 0.11.0", librosa_onsets):
        found = find(mono, rate)
        line(f"{name}: cues", nearest(found, cues[1:]))
        if len(sections) == 1:
            line(f"{name}: written beat alone", nearest(found, written))
        line(f"{name}: {other['kind']} alone", nearest(found, clicks))
PY

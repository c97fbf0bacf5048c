"""Compares detectors on folders of recordings with exact truth, all in one run.

usage: evaluate.py FOLDER [NAME=NET.json ...] [NAME=PROGRAM ...] [--files]

FOLDER holds one folder per set (gen_strokes.py, gen_voices.py). A PROGRAM is run with the path of the recording and
prints a header and one onset per line, seconds first. aubio (default settings) and librosa (hop 128) always take
part.

F50: F measure at 50 ms, mir_eval, a cluster of attacks counting from its first attack. F10: the same at 10 ms, an
onset counting for a cluster if it is within 10 ms of any of its attacks. F10s: F10 against the note-on instants
instead of the sounding attacks. P and R: precision and recall at 50 ms. Every number is the mean over the recordings
of a set.
"""

import glob
import json
import os
import subprocess
import sys
import warnings

warnings.filterwarnings("ignore")

import aubio
import librosa
import mir_eval
import numpy as np
import soundfile

import detector
from synth import load_truth

WIDE, NARROW = 0.050, 0.010


def read(path):
    x, rate = soundfile.read(path, dtype="float32")
    return (x if x.ndim == 1 else x.mean(1)), rate


def with_aubio(path):
    source = aubio.source(path, 0, 256)
    onset, times = aubio.onset("default", 512, 256, source.samplerate), []
    while True:
        samples, read_count = source()
        if onset(samples):
            times.append(onset.get_last_s())
        if read_count < 256:
            return np.array(times)


def with_librosa(path):
    x, rate = read(path)
    return librosa.onset.onset_detect(y=x, sr=rate, hop_length=128, units="time")


def with_program(program, path):
    lines = subprocess.run([program, path], check=True, capture_output=True, text=True).stdout.splitlines()
    return np.array([float(line.split("\t")[0]) for line in lines[1:]])


def any_attack(groups, estimated):
    """F measure at 10 ms: matches clusters with estimates near any of their attacks, one to one."""
    if not groups or not len(estimated):
        return 0.0
    nearest = lambda group, times: np.abs(np.subtract.outer(times, group)).min(1)
    distance = lambda indices, times: np.array([nearest(groups[int(i)], times) for i in indices])
    hits = mir_eval.util.match_events(np.arange(len(groups), dtype=float), estimated, NARROW, distance=distance)
    return 2 * len(hits) / (len(groups) + len(estimated))


def measure(path, estimated):
    attacks, starts = load_truth(path[:-4] + ".truth.tsv")
    first = np.array([group[0] for group in attacks])
    f, precision, recall = mir_eval.onset.f_measure(first, np.sort(estimated), window=WIDE)
    return f, any_attack(attacks, np.sort(estimated)), any_attack(starts, np.sort(estimated)), precision, recall


def main():
    folder, named = sys.argv[1], [a.split("=", 1) for a in sys.argv[2:] if "=" in a]
    nets = {name: json.load(open(path)) for name, path in named if path.endswith(".json")}
    programs = {name: path for name, path in named if not path.endswith(".json")}
    engines = [*nets, *programs, "aubio", "librosa"]
    print(f"{'set':16} {'files':>5} {'onsets':>6}  " + "  ".join(f"{e + ' F50/F10/F10s  P/R':34}" for e in engines))
    for name in sorted(next(os.walk(folder))[1]):
        rows, count, paths = {e: [] for e in engines}, 0, sorted(glob.glob(os.path.join(folder, name, "*.wav")))
        for path in paths:
            x, rate = read(path)
            times, features = detector.candidates(detector.normalise(x, rate), rate)
            estimates = {}
            for engine, net in nets.items():
                p = detector.probabilities(features, net)
                estimates[engine] = times[detector.select(times, p, len(x) / rate)]
            estimates |= {e: with_program(program, path) for e, program in programs.items()}
            estimates |= {"aubio": with_aubio(path), "librosa": with_librosa(path)}
            first = load_truth(path[:-4] + ".truth.tsv")[0]
            count += len(first)
            for engine in engines:
                rows[engine].append(measure(path, estimates[engine]))
            if "--files" in sys.argv:
                line = "  ".join("/".join(f"{v:.3f}" for v in rows[e][-1]) for e in engines)
                print(f"  {os.path.basename(path):14} {len(first):12}  {line}")
        means = [np.mean(rows[e], 0) for e in engines]
        line = "  ".join(f"{'/'.join(f'{v:.3f}' for v in m[:3])}  {m[3]:.3f}/{m[4]:.3f}".ljust(34) for m in means)
        print(f"{name:16} {len(paths):5} {count:6}  {line}", flush=True)


if __name__ == "__main__":
    if len(sys.argv) < 2:
        sys.exit(__doc__)
    main()

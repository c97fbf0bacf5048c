"""Writes the confidences that the tests compare with, after the network was trained again.

usage: reference.py NET.json SOUND.wav confidence.tsv

One line per candidate: time, confidence, and whether it is kept as an onset.
"""

import json
import sys

import numpy as np
import soundfile

import detector


def main():
    net, (x, rate) = json.load(open(sys.argv[1])), soundfile.read(sys.argv[2], dtype="float32")
    times, features = detector.candidates(detector.normalise(x, rate), rate)
    p = detector.probabilities(features, net)
    kept = np.zeros(len(p))
    kept[detector.select(times, p, len(x) / rate)] = 1
    np.savetxt(sys.argv[3], np.c_[times, p, kept], ("%.6f", "%.6f", "%d"), "\t", header="time confidence kept")


if __name__ == "__main__":
    if len(sys.argv) != 4:
        sys.exit(__doc__)
    main()

"""Writes the weights as raw little-endian f32: mean (26), scale (26), W1 (26 rows of 96), b1 (96), w2 (96), b2 (1).

usage: pack.py NET.json onset-net.f32
"""

import json
import sys

import numpy as np

SHAPES = {"mean": (26,), "scale": (26,), "W1": (26, 96), "b1": (96,), "w2": (96,), "b2": ()}


def main():
    net = json.load(open(sys.argv[1]))
    parts = []
    for name, shape in SHAPES.items():
        values = np.asarray(net[name], "<f4")
        if values.shape != shape:
            sys.exit(f"{sys.argv[1]}: expected {name} of shape {shape}, found {values.shape}")
        parts.append(values.ravel())
    data = np.concatenate(parts).tobytes()
    with open(sys.argv[2], "wb") as out:
        out.write(data)
    print(f"{sys.argv[2]}: {len(data) // 4} numbers, {len(data)} bytes")


if __name__ == "__main__":
    if len(sys.argv) != 3:
        sys.exit(__doc__)
    main()

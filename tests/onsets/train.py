"""Trains the network that rates the candidates of the onset detector.

usage: train.py features FOLDER CACHE.npz [--degrade]
       train.py fit TRAINING.npz DEVELOPMENT.npz NET.json
       train.py join FIRST.json SECOND.json DEVELOPMENT.npz NET.json

`features` finds the candidates of all recordings below FOLDER; with --degrade every performance comes a second time,
with noise, reverberation, at 22 kHz, clipped, or without treble and low bits. `fit` trains on the first cache and
chooses the offset of the output on the second. `join` makes one network of two, whose output before the sigmoid is the mean of
theirs; of the offsets with which noise has no more onsets than with the first network, it keeps the best.

Label 1: the candidate nearest to an attack of a cluster, within 25 ms. Left out: other candidates within 30 ms of any
attack, and those within 50 ms of a cluster that no candidate reached. Label 0: the rest.
"""

import glob
import json
import os
import sys
import zlib

import mir_eval
import numpy as np
import soundfile
from scipy.signal import butter, resample_poly, sosfilt
from sklearn.neural_network import MLPClassifier
from sklearn.preprocessing import StandardScaler

import detector
from room import noise, reverb
from synth import load_truth

# (hidden units, weight decay, seed) of the three networks whose logits are averaged: 48 units together.
MEMBERS = [(16, 0.05, 1), (16, 0.05, 2), (16, 0.3, 3)]
EPOCHS = 45
# Held tones and sounds without onsets are rare and count more; synthetic strokes are many, alike and count less.
WEIGHTS = {"noise": 2.0, "held": 3.0, "strokes": 0.25, "strokes-room": 0.25}


def degrade(x, rate, kind, rng):
    if kind == 0:
        return noise(reverb(x, rng) if rng.random() < 0.5 else x, rng, rng.uniform(10, 32), rate), rate
    if kind == 1:
        return reverb(x, rng, rng.uniform(0.4, 1.2), rng.uniform(0.3, 0.8)), rate
    if kind == 2:
        return resample_poly(x, 1, 2), rate // 2
    if kind == 3:
        return np.clip(x * rng.uniform(2, 5), -0.7, 0.7), rate
    x = sosfilt(butter(4, 11000, "lp", fs=rate, output="sos"), x)
    step = 32768 * 10 ** (-rng.uniform(0, 50) / 20)
    return (x * step).round() / step, rate


def labels(times, clusters):
    result = np.zeros(len(times), np.int8)
    if not clusters or not len(times):
        return result
    distance = np.array([np.abs(np.subtract.outer(times, group)).min(1) for group in clusters])
    near, reached, used = np.argwhere(distance < 0.025), set(), set()
    for cluster, candidate in near[np.argsort(distance[tuple(near.T)], kind="stable")]:
        if cluster not in reached and candidate not in used:
            reached.add(cluster)
            used.add(candidate)
    missed = [i for i in range(len(clusters)) if i not in reached]
    result[distance.min(0) < 0.030] = -1
    if missed:
        result[distance[missed].min(0) < 0.050] = -1
    result[sorted(used)] = 1
    return result


def features(folder, cache, degraded):
    rows = {"path": [], "group": [], "times": [], "features": [], "labels": [], "duration": [], "degraded": []}
    paths = sorted(glob.glob(os.path.join(folder, "*", "*.wav")))
    for number, path in enumerate(paths):
        group = os.path.basename(os.path.dirname(path))
        clusters, _ = load_truth(path[:-4] + ".truth.tsv")
        sound, rate = soundfile.read(path)
        name = os.path.basename(path)
        kinds = [None]
        if degraded and group.startswith("font"):
            kinds.append(number % 5)
        for kind in kinds:
            x, r = sound, rate
            if kind is not None:
                x, r = degrade(x, rate, kind, np.random.default_rng(zlib.crc32(path.encode())))
            times, matrix = detector.candidates(detector.normalise(np.asarray(x, np.float32), r), r)
            rows["path"].append(path)
            rows["group"].append("held" if name.startswith("held") else group)
            rows["times"].append(times)
            rows["features"].append(matrix)
            rows["labels"].append(labels(times, clusters))
            rows["duration"].append(len(x) / r)
            rows["degraded"].append(-1 if kind is None else kind)
    arrays = {key: np.array(rows[key]) for key in ("path", "group", "duration", "degraded")}
    for key in ("times", "features", "labels"):
        arrays[key] = np.empty(len(rows[key]), object)
        arrays[key][:] = rows[key]
    np.savez_compressed(cache, **arrays)
    print(f"{cache}: {len(paths)} recordings, {sum(map(len, rows['times']))} candidates")


def scores(data, net, threshold=detector.THRESHOLD):
    """Mean F at 50 ms and at 10 ms (first attacks) of every group; onsets per recording where there are none."""
    result = {}
    for i, path in enumerate(data["path"]):
        clusters, _ = load_truth(path[:-4] + ".truth.tsv")
        times = data["times"][i]
        found = times[
            detector.select(times, detector.probabilities(data["features"][i], net), data["duration"][i], threshold)
        ]
        if clusters:
            first = np.array([group[0] for group in clusters])
            value = [mir_eval.onset.f_measure(first, found, window=w)[0] for w in (0.05, 0.01)]
        else:
            value = [len(found), 0]
        result.setdefault(data["group"][i], []).append(value)
    return {group: np.mean(values, 0) for group, values in result.items()}


def fit(train, development, target):
    data, check = (dict(np.load(path, allow_pickle=True)) for path in (train, development))
    matrices, answers, weights = [], [], []
    for i, group in enumerate(data["group"]):
        used = data["labels"][i] >= 0
        matrices.append(data["features"][i][used])
        answers.append(data["labels"][i][used])
        weights.append(np.full(used.sum(), WEIGHTS.get(group, 1.0)))
    x, y, w = np.vstack(matrices), np.concatenate(answers), np.concatenate(weights)
    print(f"{len(y)} candidates, {y.mean():.3f} of them onsets")
    scaler = StandardScaler().fit(x)
    z, members = np.clip(scaler.transform(x), -4, 4), []
    for units, decay, seed in MEMBERS:
        member = MLPClassifier((units,), alpha=decay, max_iter=EPOCHS, random_state=seed, learning_rate_init=0.003)
        members.append(member.fit(z, y, sample_weight=w))
    net = {
        "mean": scaler.mean_.round(5).tolist(),
        "scale": scaler.scale_.round(5).tolist(),
        "W1": np.hstack([m.coefs_[0] for m in members]).round(4).tolist(),
        "b1": np.concatenate([m.intercepts_[0] for m in members]).round(4).tolist(),
        "w2": (np.concatenate([m.coefs_[1][:, 0] for m in members]) / len(members)).round(4).tolist(),
        "b2": float(np.mean([m.intercepts_[1][0] for m in members]).round(4)),
    }
    offset, best = net["b2"], None
    for shift in np.arange(-0.8, 1.61, 0.2):
        result = scores(check, net | {"b2": offset + shift})
        mean = np.mean([f[0] for group, f in result.items() if group != "noise"])
        false = result["noise"][0] if "noise" in result else 0
        line = "  ".join(f"{group} {f[0]:.3f}/{f[1]:.3f}" for group, f in sorted(result.items()))
        print(f"offset {shift:+.1f}: {mean:.4f}  {line}", flush=True)
        value = mean - 0.0005 * false
        if best is None or value > best[0]:
            best = (value, shift)
    net["b2"] = float(np.round(offset + best[1], 4))
    print(f"kept offset {best[1]:+.1f}")
    with open(target, "w") as out:
        json.dump(net, out)


def quality(check, net):
    """Mean F at 50 ms over the groups with onsets, and onsets per recording of noise."""
    result = scores(check, net)
    return np.mean([f[0] for group, f in result.items() if group != "noise"]), result["noise"][0]


def join(first, second, development, target):
    a, b = ({key: np.array(value) for key, value in json.load(open(path)).items()} for path in (first, second))
    check = dict(np.load(development, allow_pickle=True))
    # The second network is rewritten for the scaling of the first one.
    weights = b["W1"] * (a["scale"] / b["scale"])[:, None]
    biases = b["b1"] + (a["mean"] - b["mean"]) / b["scale"] @ b["W1"]
    net = {
        "mean": a["mean"].tolist(),
        "scale": a["scale"].tolist(),
        "W1": np.hstack([a["W1"], weights]).round(5).tolist(),
        "b1": np.concatenate([a["b1"], biases]).round(5).tolist(),
        "w2": (np.concatenate([a["w2"], b["w2"]]) / 2).round(5).tolist(),
    }
    (before, limit), offset, best = quality(check, a), float(a["b2"] + b["b2"]) / 2, None
    print(f"first network: {before:.4f}, noise {limit:.1f}")
    for shift in np.arange(-0.4, 1.01, 0.2):
        mean, false = quality(check, net | {"b2": offset + shift})
        print(f"offset {shift:+.1f}: {mean:.4f}, noise {false:.1f}", flush=True)
        if false <= limit and (best is None or mean > best[0]):
            best = (mean, shift)
    net["b2"] = float(np.round(offset + best[1], 4))
    print(f"kept offset {best[1]:+.1f}")
    with open(target, "w") as out:
        json.dump(net, out)


if __name__ == "__main__":
    if len(sys.argv) >= 4 and sys.argv[1] == "features":
        features(sys.argv[2], sys.argv[3], "--degrade" in sys.argv)
    elif len(sys.argv) == 5 and sys.argv[1] == "fit":
        fit(*sys.argv[2:])
    elif len(sys.argv) == 6 and sys.argv[1] == "join":
        join(*sys.argv[2:])
    else:
        sys.exit(__doc__)

"""Counts the strokes of percussion at full speed and stretched, by aubio (its command aubioonset), and lists new ones.

usage: stretch.py PROGRAM FOLDER FONT.sf2 [FONT.sf2 ...]
Recordings with known strokes are written into FOLDER: strokes that decay, and drums played through each font. As a control the same
strokes are also played at these speeds, without any stretching: aubio's count depends on the speed of the strokes as well.
"""

import os
import subprocess
import sys

import numpy as np
import soundfile

from synth import DRUMS, RATE, Note, Synth

SPEEDS = (50, 75, 150)
# A new onset this near to a true stroke is that stroke; one this near to an onset at full speed is not new.
TRUE, SAME = 0.025, 0.030


def drums(synth, rng, speed=1.0):
    """128 places about 0.15 s apart with kick, snare and hat, and the times of the strokes."""
    step, notes = rng.uniform(0.11, 0.19), []
    for i in range(128):
        t = 0.5 + i * step + rng.normal(0, 0.004)
        kick = rng.random() < 0.3 or i % 8 == 0
        snare = i % 8 == 4 or rng.random() < 0.08
        hat = rng.random() < 0.7 or i % 2 == 0
        for key, sounds in ((36, kick), (38, snare), (42, hat)):
            if sounds:
                notes.append(Note(t / speed, 0.2, DRUMS, 0, key, float(rng.uniform(60, 115))))
    return synth.render(notes, notes[-1].start + 1), np.array([n.start for n in notes])


def strokes(rng, speed=1.0):
    """Low, middle and noisy strokes that decay, 0.12 to 0.45 s apart."""
    x, t, times, length = np.zeros(int(22 / speed * RATE)), 0.4, [], int(0.6 * RATE)
    at = np.arange(length) / RATE
    while t < 20:
        kind, level = rng.integers(3), rng.uniform(0.3, 0.9)
        sounds = np.cos(2 * np.pi * 70 * at), np.cos(2 * np.pi * 700 * at), rng.normal(0, 0.4, length)
        stroke = level * np.exp(-at * (14, 25, 60)[kind]) * sounds[kind] * np.minimum(1, (0.6 - at) / 0.1)
        first = int(t / speed * RATE)
        x[first : first + length] += stroke
        times.append(t / speed)
        t += rng.uniform(0.12, 0.45)
    return x, np.array(times)


def count(path):
    done = subprocess.run(["aubioonset", "-i", path, "-r", "0"], capture_output=True, text=True, check=True)
    return np.array([float(line) for line in done.stdout.split()])


def stretched(program, folder, path, speed):
    bars = int(soundfile.info(path).duration // 4)
    groove, out = os.path.join(folder, "groove.toml"), os.path.join(folder, "stretched.wav")
    with open(groove, "w") as file:
        file.write(
            f'format = 1\ntitle = "strokes"\n\n[recording]\nfile = "{os.path.basename(path)}"\nanchors = [\n  {{ bar = 1, at = 0 }},\n]\n\n'
            f'[[section]]\nmeter = "4/4"\ntempo = 60\nbars = {bars}\n\n'
            f'[[layer]]\nname = "kick"\nvoice = "kick"\ndivision = 1\ncells = "{"x... " * bars}"\n'
        )
    words = ["render", groove, "-o", out, "--overwrite", "--rate", str(RATE), "--recording", "alone", "--speed", str(speed)]
    subprocess.run([program, *words], capture_output=True, check=True)
    return out


def main(program, folder, *fonts):
    os.makedirs(folder, exist_ok=True)
    recordings = {
        f"strokes-{seed}": lambda speed, seed=seed: strokes(np.random.default_rng([8, seed]), speed) for seed in range(4)
    }
    for f, font in enumerate(fonts):
        synth = Synth(font, wet=False)
        for seed in range(4):
            recordings[f"drums-{f}-{seed}"] = lambda speed, synth=synth, seed=(9, f, seed): drums(
                synth, np.random.default_rng(seed), speed
            )
    sums, played = {}, {}
    for name, play in recordings.items():
        path = os.path.join(folder, f"{name}.wav")
        sound, times = play(1.0)
        kind, directly = name.split("-")[0], []
        for speed in (1.0, *(percent / 100 for percent in SPEEDS)):
            faster = play(speed)[0]
            soundfile.write(path, faster / np.abs(faster).max() * 0.7, RATE)
            directly.append(len(count(path)))
        played[kind] = np.add(played.get(kind, 0), directly)
        soundfile.write(path, sound / np.abs(sound).max() * 0.7, RATE)
        whole = count(stretched(program, folder, path, 100))
        counts, new = [len(whole)], []
        for speed in SPEEDS:
            found = count(stretched(program, folder, path, speed)) * speed / 100
            counts.append(len(found))
            for t in found[np.abs(found[:, None] - whole).min(1) > SAME]:
                new.append(f"{speed}%: {t:.3f} s, {'true' if np.abs(times - t).min() < TRUE else 'no stroke'}")
        print(name, counts, *new, sep="  ")
        sums[kind] = np.add(sums.get(kind, 0), counts)
    for kind, counts in sums.items():
        for how, counts in (("stretched", counts), ("played so, not stretched", played[kind])):
            print(f"{kind}, {how}: at 100, {', '.join(map(str, SPEEDS))} %: {', '.join(map(str, counts))}")


if __name__ == "__main__":
    if len(sys.argv) < 4:
        sys.exit(__doc__)
    main(*sys.argv[1:])

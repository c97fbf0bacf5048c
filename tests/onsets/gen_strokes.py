"""Synthetic strokes with exact attack times.

usage: gen_strokes.py FOLDER SEED [--training]
Writes the sets FOLDER/strokes and FOLDER/strokes-room (reverberation and 20 dB of room noise). With --training it
also writes held tones with vibrato and sounds without onsets, and leaves out the bell, so that one voice stays
unheard.
"""

import os
import sys

import numpy as np
from scipy.signal import butter, sosfilt

from room import coloured_noises, noise, reverb
from synth import RATE, save

CYCLE = [1, 1, 0, 1, 1, 0, 1, 0, 1, 1, 0, 1, 0]
ACCENTS = [1.0, 0.55, 0, 0.6, 0.9, 0, 0.55, 0, 0.95, 0.5, 0, 0.6, 0]


def fade_out(y, seconds):
    n = int(seconds * RATE)
    y[-n:] *= 0.5 * (1 + np.cos(np.linspace(0, np.pi, n)))
    return y


def block(rng, gain):
    t = np.arange(int(0.06 * RATE)) / RATE
    tone = 0.7 * np.sin(2 * np.pi * 1800 * t) * np.exp(-t / 0.008)
    tone += 0.4 * np.sin(2 * np.pi * 2950 * t) * np.exp(-t / 0.005)
    return gain * (tone + 0.5 * rng.standard_normal(len(t)) * np.exp(-t / 0.0012))


def pluck(rng, gain):
    """Karplus-Strong string."""
    n, period = int(0.35 * RATE), int(round(RATE / rng.uniform(110, 440)))
    line = rng.uniform(-1, 1, period)
    line -= line.mean()
    y = np.empty(n)
    for i in range(0, n, period):
        m = min(period, n - i)
        y[i : i + m] = line[:m]
        line = 0.498 * (line + np.roll(line, 1))
    return gain * fade_out(y, 0.02)


def drum(rng, gain):
    t = np.arange(int(0.3 * RATE)) / RATE
    y = np.sin(2 * np.pi * np.cumsum(70 + 90 * np.exp(-t / 0.03)) / RATE) * np.exp(-t / 0.09)
    y[: int(0.003 * RATE)] *= np.linspace(0, 1, int(0.003 * RATE))
    return gain * fade_out(y + 0.15 * rng.standard_normal(len(t)) * np.exp(-t / 0.004), 0.12)


def bell(rng, gain):
    t = np.arange(int(0.4 * RATE)) / RATE
    f = rng.uniform(300, 1500)
    partials = ((1, 1), (2.01, 0.6), (2.76, 0.5), (4.1, 0.3), (5.4, 0.25))
    y = sum(g * np.sin(2 * np.pi * f * k * t + rng.uniform(0, 6)) * np.exp(-t * k**0.5 / 0.12) for k, g in partials)
    y[:44] *= np.linspace(0, 1, 44)
    return 0.4 * gain * fade_out(y, 0.15)


def strokes(rng, seconds, voice, cell, jitter):
    """A cycle of 13 cells; `voice` maps accent and cell to a stroke."""
    x, attacks, k = np.zeros(int(seconds * RATE)), [], 0
    start = rng.uniform(0.4, 0.7)
    while start + k * cell < seconds - 0.6:
        if CYCLE[k % 13]:
            at = int(round((start + k * cell + rng.normal(0, jitter)) * RATE))
            y = voice(k % 13)(rng, ACCENTS[k % 13])
            x[at : at + len(y)] += y
            attacks.append((at / RATE, at / RATE))
        k += 1
    return x, attacks


def vibrato(rng, seconds, cents, tremolo, slope):
    """Held harmonic tones with a soft attack of 60 ms; the attack counts from 6 ms."""
    x, attacks, start = np.zeros(int(seconds * RATE)), [], 0.6
    while start < seconds - 3:
        length, rate = 2.4, rng.uniform(5, 6.5)
        t = np.arange(int(length * RATE)) / RATE
        base = 220 * 2 ** (rng.integers(0, 19) / 12)
        f = base * 2 ** (cents / 1200 * np.sin(2 * np.pi * rate * t + rng.uniform(0, 6)) * np.clip(t / 0.4, 0, 1))
        phase = 2 * np.pi * np.cumsum(f) / RATE
        y = sum(np.sin(k * phase + rng.uniform(0, 6)) / k**slope for k in range(1, int(min(40, 9000 / base))))
        for centre, gain in ((600, 3), (1100, 2)) if slope > 1.3 else ():
            y = y + gain * sosfilt(butter(2, [centre * 0.9, centre * 1.1], "bp", fs=RATE, output="sos"), y)
        y *= (
            (1 + tremolo * np.sin(2 * np.pi * rate * t + 1))
            * np.minimum(1, t / 0.06)
            * np.minimum(1, (length - t) / 0.05)
        )
        at = int(start * RATE)
        x[at : at + len(y)] += y
        attacks.append((start + 0.006, start))
        start += 2.5 * rng.uniform(0.95, 1.05)
    return x + 1e-4 * rng.standard_normal(len(x)), attacks


def main():
    folder, training, seed = sys.argv[1], "--training" in sys.argv, int(sys.argv[2])
    strong = lambda soft: lambda k: drum if ACCENTS[k] >= 0.9 else soft
    voices = {"block": lambda k: block, "pluck": lambda k: pluck, "drum": lambda k: drum, "two": strong(block)}
    if not training:
        voices["bell"] = lambda k: bell
        voices["three"] = lambda k: drum if ACCENTS[k] >= 0.9 else bell if k % 2 else block
    for name in ("strokes", "strokes-room") + (("held", "noise") if training else ()):
        os.makedirs(os.path.join(folder, name), exist_ok=True)
    for number, (name, voice) in enumerate(voices.items()):
        for repeat in range(2 if training else 1):
            rng = np.random.default_rng([seed, number, repeat])
            x, attacks = strokes(rng, 30, voice, rng.uniform(0.08, 0.17), rng.choice([0, 0.004, 0.008]))
            save(f"{folder}/strokes/{name}{repeat}", x, attacks)
            save(f"{folder}/strokes-room/{name}{repeat}", noise(reverb(x, rng), rng, 20), attacks)
    if training:
        for name, cents, tremolo, slope in (
            ("narrow", 50, 0.15, 1),
            ("wide", 100, 0.2, 1),
            ("voice", 80, 0.15, 1.6),
            ("tremolo", 10, 0.5, 1),
        ):
            x, attacks = vibrato(np.random.default_rng([seed, 77, int(cents)]), 40, cents, tremolo, slope)
            save(f"{folder}/held/{name}", x, attacks)
        for name, x in coloured_noises(np.random.default_rng([seed, 78]), 20).items():
            edge = int(0.3 * RATE)
            x[:edge] *= np.linspace(0, 1, edge) ** 2
            x[-edge:] *= np.linspace(1, 0, edge) ** 2
            save(f"{folder}/noise/{name}", x, [])


if __name__ == "__main__":
    if len(sys.argv) < 3:
        sys.exit(__doc__)
    main()

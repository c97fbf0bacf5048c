"""Performances of one voice, of three voices and of full mixes, played by two fonts with human timing.

usage: gen_voices.py FOLDER SEED NAME FONT.sf2 [COUNT]
Writes COUNT (6) recordings of 24 s into each of FOLDER/NAME-single, FOLDER/NAME-three and FOLDER/NAME-mix. Cells last
80-170 ms, velocities are 30-120, every stroke is moved by a normal deviate of 4-9 ms and the tempo drifts. Recordings
02, 03, 06, 07 and so on have the reverberation of the synthesizer and room noise 25-40 dB below the performance.
"""

import os
import sys
import zlib

import numpy as np

from room import noise
from synth import DRUMS, Note, Synth, note_on, save

SECONDS = 24
STRUCK = [36, 37, 38, 39, 41, 42, 45, 48, 51, 54, 56, 60, 61, 62, 63, 64, 65, 66, 67, 68, 69, 75, 76, 77]
# (program, lowest key, highest key): plucked and struck instruments of both fonts.
PITCHED = [
    (0, 48, 76), (4, 50, 74), (6, 50, 76), (7, 45, 70), (13, 60, 84), (15, 55, 76), (24, 45, 70), (25, 45, 70),
    (26, 45, 70), (27, 45, 70), (32, 30, 48), (33, 30, 48), (34, 30, 48), (45, 50, 74), (46, 50, 76),
]  # fmt: skip
SCALE = [0, 2, 3, 5, 7, 9, 10]
CHORDS = [[0, 4, 7], [9, 12, 16], [5, 9, 12], [7, 11, 14]]


class Clock:
    """Start of each cell: steady with a slow drift of the tempo."""

    def __init__(self, rng, cell):
        self.cell, self.depth, self.phase = cell, rng.uniform(0, 0.012), rng.uniform(0, 6)
        self.start, self.jitter, self.rng = rng.uniform(0.4, 0.7), rng.uniform(0.004, 0.009), rng

    def cells(self):
        return int((SECONDS - 1.3) / self.cell)

    def at(self, k):
        t = k * self.cell
        drift = self.depth * 8 / (2 * np.pi) * (np.cos(self.phase) - np.cos(self.phase + 2 * np.pi * t / 8))
        return self.start + t + drift + np.clip(self.rng.normal(0, self.jitter), -0.025, 0.025)


def rhythm(rng, size, density):
    """Velocities of one cycle, 0 where nothing is played; the first cell is always played."""
    played = rng.random(size) < density
    played[0] = True
    return np.where(played, rng.choice([40, 60, 80, 110], size, p=[0.15, 0.3, 0.3, 0.25]), 0)


def voice(rng, clock, size, density, channel, pitched):
    """One voice: `pitched` is a (program, low, high) or `None` for a drum."""
    pattern, notes, key = rhythm(rng, size, density), [], int(rng.choice(STRUCK))
    if pitched:
        keys = [k for k in range(pitched[1], pitched[2] + 1) if (k - pitched[1]) % 12 in SCALE]
    step = len(keys) // 2 if pitched else 0
    for k in range(clock.cells()):
        if not pattern[k % size] or rng.random() < 0.05:
            continue
        velocity = np.clip(pattern[k % size] + rng.normal(0, 6), 30, 120)
        if pitched:
            step = int(np.clip(step + rng.integers(-2, 3), 0, len(keys) - 1))
            length = clock.cell * rng.choice([0.9, 1.8, 2.7])
            notes.append(Note(clock.at(k), length, channel, pitched[0], keys[step], velocity))
        else:
            notes.append(Note(clock.at(k), 0.2, DRUMS, 0, key, velocity))
    return notes


def pick(rng):
    return PITCHED[rng.integers(len(PITCHED))]


def single(rng, number):
    clock = Clock(rng, rng.uniform(0.08, 0.17))
    return voice(rng, clock, int(rng.integers(8, 17)), rng.uniform(0.45, 0.75), 0, pick(rng) if number % 2 else None)


def three(rng, number):
    clock, size = Clock(rng, rng.uniform(0.08, 0.17)), int(rng.integers(8, 17))
    kinds = [None, None, pick(rng) if number % 2 else None]
    return [n for i, kind in enumerate(kinds) for n in voice(rng, clock, size, rng.uniform(0.25, 0.55), i, kind)]


def mix(rng, number):
    """Drums, bass and chords on a bar of 16 cells."""
    clock, notes = Clock(rng, rng.uniform(0.09, 0.17)), []
    kick, snare, hat = rhythm(rng, 16, 0.2), np.zeros(16), rhythm(rng, 16, 0.6)
    snare[[4, 12]] = 105
    snare[rng.integers(0, 16, 2)] += 45
    bass, chord = rhythm(rng, 16, 0.35), rhythm(rng, 16, [0.2, 0.3][number % 2])
    bass_program, chord_program = int(rng.choice([32, 33, 34])), int(rng.choice([0, 4, 25, 27]))
    cymbal = int(rng.choice([42, 51]))
    for k in range(clock.cells()):
        bar, cell = divmod(k, 16)
        harmony = CHORDS[bar % 4]
        for key, line in ((36, kick), (38, snare), (cymbal, hat)):
            if line[cell] and rng.random() > 0.05:
                notes.append(Note(clock.at(k), 0.2, DRUMS, 0, key, np.clip(line[cell] + rng.normal(0, 6), 30, 120)))
        if bass[cell]:
            key = 28 + harmony[0] % 12 + int(rng.choice([0, 0, 7]))
            notes.append(Note(clock.at(k), clock.cell * 1.7, 1, bass_program, key, np.clip(bass[cell] + 10, 50, 120)))
        if chord[cell]:
            at, spread = clock.at(k), rng.uniform(0, 0.006)
            for i, interval in enumerate(harmony):
                velocity = np.clip(chord[cell] * 0.85 + rng.normal(0, 5), 40, 110)
                notes.append(Note(at + i * spread, clock.cell * 2.5, 2, chord_program, 48 + interval, velocity))
    return notes


def write(folder, name, synths, notes, rng, wet, snr_db, balanced):
    """Renders and saves `notes`; those of which the font has no sound are left out. The parts of a mix are balanced:
    bass and chords are up to 6 dB below the drums."""
    notes = [n for n in notes if synths[0].lead(n.sound) is not None]
    volumes = synths[0].balance(notes, {1: -rng.uniform(0, 6), 2: -rng.uniform(0, 6)}) if balanced else None
    x = synths[int(wet)].render(notes, SECONDS, volumes=volumes)
    if snr_db is not None:
        x = noise(x, rng, snr_db)
    save(os.path.join(folder, name), x, [(note_on(n) + synths[0].lead(n.sound), note_on(n)) for n in notes])
    return len(notes)


def main():
    folder, seed, label, font = sys.argv[1], int(sys.argv[2]), sys.argv[3], sys.argv[4]
    count = int(sys.argv[5]) if len(sys.argv) > 5 else 6
    synths = [Synth(font, wet=False), Synth(font, wet=True)]
    for kind, perform in (("single", single), ("three", three), ("mix", mix)):
        target = os.path.join(folder, f"{label}-{kind}")
        os.makedirs(target, exist_ok=True)
        for number in range(count):
            rng = np.random.default_rng([seed, zlib.crc32(label.encode()), zlib.crc32(kind.encode()), number])
            room = number // 2 % 2 == 1
            notes = perform(rng, number)
            snr_db = rng.uniform(25, 40) if room else None
            written = write(target, f"{number:02}", synths, notes, rng, room, snr_db, kind == "mix")
            print(f"{label}-{kind}/{number:02}: {written} notes", flush=True)
    for synth in synths:
        synth.close()


if __name__ == "__main__":
    if len(sys.argv) < 5:
        sys.exit(__doc__)
    main()

"""Performances for training: drum kits with flams and rolls, hand percussion, strummed guitars, basses, keyboards,
mixes and held tones with vibrato, all with human timing of 6 ms.

usage: gen_training.py FOLDER SEED FONT.sf2
Seeds and rhythms are not those of gen_voices.py, whose recordings are kept for the comparison.
"""

import os
import sys
from dataclasses import replace

import numpy as np

from synth import DRUMS, Note, Synth, note_on, save

SECONDS, FIRST = 32, 0.6
KITS = [0, 0, 8, 16, 24, 25, 32, 40]
CHORDS = [[0, 4, 7], [9, 12, 16], [5, 9, 12], [7, 11, 14]]
GUITARS = [24, 25, 26, 27, 28, 29, 30, 104, 15, 45]
BASSES = [32, 33, 34, 35, 36, 38]
KEYS = [0, 1, 4, 5, 6, 7, 8, 9, 11, 12, 13, 14, 16, 46, 114]
HELD = [40, 41, 42, 48, 49, 50, 52, 53, 54, 56, 57, 60, 61, 64, 65, 66, 68, 70, 71, 73, 74, 75, 16, 19, 22, 78]
PERCUSSION = [
    (63, 0.5), (64, 0.4), (70, 0.7), (56, 0.15), (54, 0.3), (75, 0.2), (60, 0.3), (61, 0.3), (62, 0.3), (76, 0.15),
    (65, 0.15), (39, 0.2), (69, 0.4), (77, 0.2), (67, 0.2),
]  # fmt: skip
EIGHTHS, OFF_BEATS = [1, 0, 1, 0] * 4, [0, 0, 1, 0] * 4
SYNCOPES, GALLOP = [1, 0, 0, 1, 0, 0, 1, 0, 1, 0, 1, 0, 0, 1, 0, 1], [1, 0, 1, 1, 0, 0, 1, 0] * 2


class Player:
    def __init__(self, rng, seconds=SECONDS):
        self.rng, self.seconds = rng, seconds

    def late(self, deviation=0.006):
        return self.rng.normal(0, deviation)

    def tempo(self, low=76, high=170):
        return self.rng.uniform(low, high)

    def steps(self, length):
        """(bar, cell, start) of all steps of `length` seconds."""
        count = int((self.seconds - 0.8 - FIRST) / length)
        return [(*divmod(s, 16), FIRST + s * length) for s in range(count)]

    def chance(self, p):
        return self.rng.random() < p

    def drums(self, tempo, kit, flams):
        rng, step = self.rng, 15 / tempo
        kick = [0, 6, 8, 10] if self.chance(0.5) else [0, 3, 8, 11]
        ride = 51 if self.chance(0.4) else 42
        swing, notes = rng.uniform(0, 0.075), []

        def hit(at, key, velocity, length=0.2):
            notes.append(Note(at + self.late(), length, DRUMS, kit, key, velocity))

        for bar, cell, t in self.steps(step):
            t += swing * step if cell % 2 else 0
            if cell in kick and self.chance(0.92):
                hit(t, 36, rng.integers(85, 120))
            if cell in (4, 12):
                hit(t, 38, rng.integers(90, 125))
            elif cell in (7, 9, 15) and self.chance(0.4):
                hit(t, 38, rng.integers(35, 60))
            if bar % 4 == 3 and cell >= 12:
                hit(t, [50, 48, 45, 41][cell - 12], rng.integers(80, 115))
            elif cell % 2 == 0 or bar % 2:
                key = 46 if cell == 14 and self.chance(0.5) else ride
                hit(t, key, (95 if cell % 4 == 0 else 70) + rng.integers(-10, 10), 0.1)
            if cell == 0 and bar % 4 == 0:
                hit(t, 49, 110, 1)
        for n in list(notes):
            if n.key == 38 and n.velocity > 80 and self.chance(flams):
                grace = replace(
                    n, start=n.start - rng.uniform(0.032, 0.062), velocity=n.velocity * rng.uniform(0.25, 0.7)
                )
                notes.append(grace)
            if n.key in (38, 41, 45, 48) and self.chance(flams / 4):
                gap = rng.uniform(0.045, 0.075)
                for stroke in range(1, rng.integers(3, 7)):
                    at = n.start + stroke * gap + self.late(0.002)
                    notes.append(replace(n, start=at, velocity=n.velocity * rng.uniform(0.5, 0.9)))
        return notes

    def percussion(self, tempo, kit):
        rng, notes = self.rng, []
        chosen = [PERCUSSION[i] for i in rng.choice(len(PERCUSSION), rng.integers(1, 5), replace=False)]
        for _bar, cell, t in self.steps(15 / tempo):
            for key, p in chosen:
                if self.chance(p * (1 if cell % 2 == 0 else 0.6)):
                    notes.append(Note(t + self.late(), 0.3, DRUMS, kit, key, rng.integers(30, 120)))
        return notes

    def swing(self, tempo, kit):
        rng, beat, notes = self.rng, 60 / tempo, []

        def hit(at, key, low, high):
            notes.append(Note(at + self.late(), 0.2, DRUMS, kit, key, rng.integers(low, high)))

        for bar, cell, t in self.steps(beat):
            hit(t, 51, 55, 90)
            if cell % 2:
                hit(t + 0.65 * beat, 51, 40, 75)
                hit(t, 44, 40, 80)
            if self.chance(0.3):
                hit(t + rng.choice([0, 0.33, 0.65]) * beat, 38, 25, 85)
            if self.chance(0.3):
                hit(t + rng.choice([0, 0.65]) * beat, 36, 40, 90)
        return notes

    def strum(self, tempo, program, base, voicing, spread, velocities=(50, 115), channel=3):
        rng, step, notes = self.rng, 15 / tempo, []
        pattern = [EIGHTHS, SYNCOPES, GALLOP, OFF_BEATS][rng.integers(4)]
        for bar, cell, t in self.steps(step):
            if pattern[cell] and self.chance(0.95):
                chord, at = CHORDS[bar % 4], t + self.late()
                keys = [base + chord[v % 3] + 12 * (v // 3) for v in voicing]
                for i, key in enumerate(keys[::-1] if cell % 4 == 2 else keys):
                    delay = i * spread * rng.uniform(0.6, 1.2)
                    notes.append(Note(at + delay, 2.4 * step, channel, program, key, rng.integers(*velocities)))
        return notes

    def bass(self, tempo, program):
        rng, step, notes = self.rng, 15 / tempo, []
        for bar, cell, t in self.steps(step):
            if cell in (0, 3, 6, 8, 10, 14) and self.chance(0.9):
                key = 28 + CHORDS[bar % 4][0] % 12 + int(rng.choice([0, 0, 7, 12]))
                notes.append(
                    Note(t + self.late(), step * rng.choice([1.6, 1.9]), 1, program, key, rng.integers(60, 115))
                )
        return notes

    def keys(self, tempo, program):
        rng, step, notes = self.rng, 15 / tempo, []
        note = lambda at, cells, key, low, high, late=0.006: notes.append(
            Note(at + self.late(late), step * cells, 2, program, int(key), rng.integers(low, high))
        )
        for bar, cell, t in self.steps(step):
            chord = CHORDS[bar % 4]
            if cell % 8 == 0:
                note(t, 7.5, 36 + chord[0], 60, 95)
                note(t, 7.5, 48 + chord[0], 60, 90)
            if self.chance(0.8 if cell % 4 == 0 else 0.5 if cell % 2 == 0 else 0.25):
                note(t, rng.choice([1, 2, 3]), 60 + rng.choice(chord) + rng.choice([0, 12]), 45, 110)
            if cell in (4, 12):
                for interval in chord:
                    note(t, 3, 60 + interval, 55, 90, 0.004)
        return notes

    def held(self, program):
        rng, notes, t, key = self.rng, [], FIRST, self.rng.integers(52, 80)
        while t + 2.5 < self.seconds:
            notes.append(Note(t, 2.48, 0, program, int(key), 90))
            key = np.clip(key + rng.integers(-5, 6), 52, 80)
            t += 2.5 * rng.uniform(0.9, 1.1)
        return notes

    def mix(self, keyboard):
        rng, tempo = self.rng, self.tempo()
        gains = rng.uniform(0.5, 1, 3)
        parts = [self.drums(tempo, int(rng.choice(KITS)), 0.1)]
        parts.append(self.strum(tempo, int(rng.choice([25, 27, 29, 30])), 45, [0, 1, 2], 0.004))
        parts.append(self.bass(tempo, int(rng.choice([32, 33, 34, 36]))))
        if keyboard:
            parts.append(self.keys(tempo, int(rng.choice([0, 4, 11, 16]))))
        quieter = lambda part, gain: [replace(n, velocity=n.velocity * gain) for n in part]
        return [n for part, gain in zip(parts, (1, *gains)) for n in quieter(part, gain)]


def pieces(rng, available):
    """All pieces of one run: (name, notes, vibrato controller). `available` filters programs by the font."""
    player, result = Player(rng), []
    some = lambda programs, count: [int(p) for p in rng.choice(available(programs), count, replace=False)]
    for i in range(3):
        result.append((f"drums{i}", player.drums(player.tempo(), int(rng.choice(KITS)), 0.3), 0))
    result.append(("swing", player.swing(player.tempo(120, 220), int(rng.choice([0, 32, 40]))), 0))
    for i in range(2):
        result.append((f"percussion{i}", player.percussion(player.tempo(), 0), 0))
    for program in some(GUITARS, 4):
        voicing = [[0, 1, 2], [0, 2, 3, 4, 5], [0], [0, 2, 3]][rng.integers(4)]
        strum = player.strum(player.tempo(), program, int(rng.integers(40, 50)), voicing, rng.uniform(0.002, 0.01))
        result.append((f"strum{program}", strum, 0))
    result += [(f"bass{program}", player.bass(player.tempo(), program), 0) for program in some(BASSES, 2)]
    result += [(f"keys{program}", player.keys(player.tempo(), program), 0) for program in some(KEYS, 3)]
    result += [(f"mix{i}", player.mix(i % 2 == 1), 0) for i in range(5)]
    result += [(f"held{program}", player.held(program), int(rng.integers(30, 127))) for program in some(HELD, 6)]
    return result


def main():
    folder, seed, font = sys.argv[1], int(sys.argv[2]), sys.argv[3]
    os.makedirs(folder, exist_ok=True)
    dry, wet = Synth(font, wet=False), Synth(font, wet=True)
    available = lambda programs: [p for p in programs if dry.lead((False, p, 60)) is not None]
    rng = np.random.default_rng(seed)
    for name, notes, vibrato in pieces(rng, available):
        notes = [n for n in notes if dry.lead(n.sound) is not None]
        volumes = dry.balance(notes, {c: -rng.uniform(0, 10) for c in (1, 2, 3)}) if name.startswith("mix") else None
        sound = wet.render(notes, SECONDS, vibrato, volumes)
        save(os.path.join(folder, name), sound, [(note_on(n) + dry.lead(n.sound), note_on(n)) for n in notes])
    print(f"{folder}: done", flush=True)


if __name__ == "__main__":
    if len(sys.argv) != 4:
        sys.exit(__doc__)
    main()

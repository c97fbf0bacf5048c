"""Grids end to end, from sound: propose, transcribe and align on performances of grooves with known beats.

usage: grids.py PROGRAM FOLDER GROOVES FONT.sf2 [FONT.sf2 ...] [--only propose transcribe align]
       [--seeds N] [--other N]
GROOVES is a folder of groove files. Recordings are written into FOLDER, and the tables are printed. Notes are placed so that their
sound begins at the time that is taken as the truth; timing, velocity and tempo are human, strokes are missing and added.
"""

import argparse
import json
import os
import subprocess
import sys
import tomllib

import numpy as np
import soundfile

from room import noise
from synth import DRUMS, RATE, Note, Synth

DRUM_KEYS = {
    "kick": 36, "snare": 38, "hat": 42, "open-hat": 46, "ride": 51, "crash": 49, "rim": 37, "clap": 39, "tom": 45,
    "low-tom": 41, "wood": 76, "cowbell": 56, "shaker": 82,
}  # fmt: skip
PITCHED = {"bass": (33, 28), "pluck": (25, 52), "bell": (14, 72)}
VELOCITIES = {"accent": 112, "strong": 98, "plain": 82, "soft": 62, "ghost": 42}
NATURAL = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}

# Groups in no order that nothing accompanies: the written beat is not in the sound, and the heard rate is the right answer.
NO_BEAT = {"fender-knock"}


def run(program, *words, check=True):
    done = subprocess.run([program, *words], capture_output=True, text=True)
    if check and done.returncode:
        raise RuntimeError(f"{' '.join(words)}: {done.stderr}")
    return done


def fraction(text):
    numer, _, denom = str(text).partition("/")
    return float(numer) / float(denom or 1)


def key_of(pitch, default):
    if not pitch:
        return default
    sharp = {"#": 1, "b": -1}.get(pitch[1], 0)
    return NATURAL[pitch[0]] + sharp + 12 * (int(pitch[1 + abs(sharp):]) + 1)


class Groove:
    """A groove's attacks, bars and beats in seconds at the written tempo."""

    def __init__(self, program, path):
        self.path, self.name = path, os.path.splitext(os.path.basename(path))[0]
        with open(path, "rb") as file:
            document = tomllib.load(file)
        self.attacks = json.loads(run(program, "export", path, "--as", "json", "-o", "-").stdout)["attacks"]
        self.sections, self.bars, self.beats, at = document["section"], [], [], 0.0
        self.rates = set()
        for s in self.sections:
            terms, lower = s["meter"].split("/")
            terms, lower = [int(t) for t in terms.split("+")], int(lower)
            compound = len(terms) == 1 and terms[0] > 3 and terms[0] % 3 == 0
            beat, upper = (3 if compound else 1) / lower, sum(terms)
            unit = s.get("beat", None)
            unit = fraction(unit.rstrip(".")) * (1.5 if unit.endswith(".") else 1) if unit else beat
            whole = 60 / fraction(s["tempo"]) / unit
            for _ in range(s["bars"] * s.get("times", 1)):
                self.bars.append(at)
                self.beats += [at + k * beat * whole for k in range(round(upper / lower / beat))]
                at += upper / lower * whole
            self.rates.add(60 / (beat * whole))
            if len(terms) > 1:
                self.rates.add(60 * len(terms) / (upper / lower * whole))
        self.length = at

    def copies(self):
        """Bars after which the groove repeats inside itself."""
        count, length = len(self.bars), self.length
        if np.ptp(np.diff(self.bars + [length])) > 1e-6:
            return count
        strokes = {(round(a["seconds"], 3), a["layer"], a["accent"]) for a in self.attacks}
        for bars in range(1, count):
            shift = bars * length / count
            moved = {(round((t + shift) % length, 3) % round(length, 3), layer, x) for t, layer, x in strokes}
            if count % bars == 0 and len(moved & strokes) > 0.98 * len(strokes):
                return bars
        return count


class Clock:
    """Score time to seconds: the rate wanders by up to `drift` within eight bars."""

    def __init__(self, rng, groove, start, end, rate, at, drift):
        bar = groove.length / len(groove.bars)
        self.scores = np.arange(start, end + 2 * bar, bar / 50)
        logs, value, k = np.zeros(len(self.scores)), 0.0, 0
        while k < len(logs):
            slope, n = rng.uniform(-drift, drift), min(400, len(logs) - k)
            logs[k : k + n] = value + slope * np.arange(n) / 400
            value, k = value + slope * n / 400, k + n
        rates = rate * np.exp(logs)
        self.seconds = at + np.append(0, np.cumsum((rates[1:] + rates[:-1]) / 2 * np.diff(self.scores)))

    def at(self, score):
        return np.interp(score, self.scores, self.seconds)


def note(synth, voice, pitch, seconds, velocity, channel):
    program, key = PITCHED.get(voice, (0, DRUM_KEYS.get(voice, 37)))
    if voice in PITCHED:
        sound, place = (False, program, key_of(pitch, key)), channel
    else:
        sound, place = (True, 0, key), DRUMS
    lead = synth.lead(sound)
    if lead is None:
        return None
    return Note(max(seconds - lead, 0), 0.2, place, sound[1], sound[2], float(np.clip(velocity, 25, 122)))


def played(groove, synth, rng, clock, start, end, jitter, missing=0.0, added=0.0):
    """Notes of a groove between unrolled score times, and the truth of each: seconds, score time, layer."""
    notes, truth = [], []
    layers = sorted({a["layer"] for a in groove.attacks})
    for k in range(int(start // groove.length), int(end // groove.length) + 1):
        for a in groove.attacks:
            score = a["seconds"] + k * groove.length
            if not start - 1e-9 <= score < end - 1e-9:
                continue
            places = [score] if rng.random() >= missing else []
            if rng.random() < added:
                places.append(score + rng.uniform(0.3, 3.0) * groove.length / len(groove.beats))
            for place in places:
                seconds = float(clock.at(place)) + rng.normal(0, jitter)
                velocity = VELOCITIES[a["accent"]] + rng.normal(0, 6)
                n = note(synth, a["voice"], a.get("pitch"), seconds, velocity, layers.index(a["layer"]) % 9)
                if n is not None:
                    notes.append(n)
                    if place == score:
                        truth.append((seconds, score, a["layer"], a["voice"]))
    return notes, truth


def save(path, synth, notes, rng):
    x = noise(synth.render(notes, max(n.start for n in notes) + 1.0), rng, rng.uniform(30, 40))
    soundfile.write(path, x / max(np.abs(x).max(), 1e-9) * 0.8, RATE)


def random_groove(rng, path):
    """A bar or two of three or four drums with a beat that somebody could keep."""
    size, bars, tempo = 16, int(rng.integers(1, 3)), int(rng.integers(84, 140))
    lines = [f'format = 1\ntitle = "{os.path.basename(path)[:-5]}"\n\n[[section]]\nmeter = "4/4"\ntempo = {tempo}\nbars = {bars}\n']
    voices = ["kick", "snare", rng.choice(["hat", "ride"])]
    for voice in voices:
        cells = []
        for bar in range(bars):
            if voice == "kick":
                x = rng.random(size) < 0.16
                x[0] = True
            elif voice == "snare":
                x = rng.random(size) < 0.06
                x[[4, 12]] = True
            else:
                x = rng.random(size) < np.where(np.arange(size) % 2, 0.2, 0.95)
            cells.append(" ".join("".join("x" if x[i + j] else "." for j in range(4)) for i in range(0, size, 4)))
        text = " | ".join(cells)
        lines.append(f'\n[[layer]]\nname = "{voice}"\nvoice = "{voice}"\ndivision = 4\ncells = "{text}"\n')
    with open(path, "w") as file:
        file.write("".join(lines))


def propose(program, folder, grooves, synths, seeds, other):
    counts, failed = {"all": [0, 0, 0], "with a beat": [0, 0, 0], "not said to be unknowable": [0, 0, 0]}, {}
    without = [0, 0]
    for g in grooves:
        for f, synth in enumerate(synths):
            for seed in range(seeds):
                rng = np.random.default_rng([1, seed + other, f, *g.name.encode()])
                passes = max(1, round(40 / g.length))
                clock = Clock(rng, g, 0, passes * g.length, 1.0, 0.5, 0.01)
                notes, _ = played(g, synth, rng, clock, 0, passes * g.length, rng.choice([0.005, 0.010, 0.015]))
                path = os.path.join(folder, f"propose-{g.name}-{f}-{seed}.wav")
                save(path, synth, notes, rng)
                answer = json.loads(run(program, "propose", path, "--json").stdout)
                found = answer["proposals"]
                accepted = [r * m for r in g.rates for m in (0.5, 1, 2)]
                right = [any(abs(p["bpm"] / r - 1) < 0.02 for r in accepted) for p in found]
                unknowable = any("cannot be known" in remark for remark in answer["remarks"])
                kinds = ["all"] if unknowable else ["all", "not said to be unknowable"]
                if g.name in NO_BEAT:
                    heard = 60 * len({round(a["seconds"], 3) for a in g.attacks}) / g.length
                    is_heard = any(abs(found[0]["bpm"] / heard / m - 1) < 0.02 for m in (0.5, 1, 2))
                    without = [without[0] + 1, without[1] + (is_heard and unknowable)]
                else:
                    kinds.append("with a beat")
                for kind in kinds:
                    counts[kind] = [a + b for a, b in zip(counts[kind], (1, any(right[:1]), any(right[:3])))]
                if not any(right[:1]):
                    failed[g.name] = failed.get(g.name, 0) + 1
                os.remove(path)
    for kind, (total, first, three) in counts.items():
        print(f"propose, {kind}: {total} recordings, first {first / max(total, 1):.3f}, among three {three / max(total, 1):.3f}")
    print(f"propose, without a beat: {without[0]} recordings, the heard rate first, and said so: {without[1]}")
    print(f"propose, not first: {failed}")


def transcribe(program, folder, grooves, synths, count, other):
    for jitter in (0.010, 0.020):
        cells = [0, 0]
        layers = [0, 0, 0]
        rows = []
        for k in range(count):
            rng = np.random.default_rng([2, k + other, round(1000 * jitter)])
            synth = synths[k % len(synths)]
            usable = [g for g in grooves if len(g.sections) == 1]
            if k < len(usable):
                g = usable[k]
            else:
                path = os.path.join(folder, f"random-{k}.toml")
                random_groove(rng, path)
                g = Groove(program, path)
            passes = max(1, round(35 / g.length))
            clock = Clock(rng, g, 0, passes * g.length, 1.0, 0.6, 0.01)
            notes, truth = played(g, synth, rng, clock, 0, passes * g.length, jitter)
            path = os.path.join(folder, f"transcribe-{k}.wav")
            save(path, synth, notes, rng)
            s = g.sections[0]
            tempo = f"{s['beat']}={s['tempo']}" if "beat" in s else None
            if tempo is None:
                compound = s["meter"].count("+") == 0 and int(s["meter"].split("/")[0]) in (6, 9, 12, 15)
                lower = s["meter"].split("/")[1]
                unit = f"1/{int(lower) // 2}." if compound else f"1/{lower}"
                tempo = f"{unit}={s['tempo']}"
            first = f"{clock.at(0):.4f}"
            words = ["transcribe", path, "--tempo", tempo, "--first", first, "--meter", s["meter"], "--json"]
            found = json.loads(run(program, *words).stdout)["layers"]
            beat = g.length / len(g.beats)
            hits = layer_scores(truth, found, beat)
            rows.append((hits[0] / max(hits[1], 1), g.name, [(l["name"], len(l["attacks"])) for l in found]))
            cells = [a + b for a, b in zip(cells, hits[:2])]
            layers = [a + b for a, b in zip(layers, hits[2:])]
            os.remove(path)
        print(
            f"transcribe, jitter {1000 * jitter:.0f} ms: {count} recordings, attacks in their cell {cells[0] / cells[1]:.3f}, "
            f"layers: recall {layers[0] / layers[1]:.3f}, precision {layers[0] / layers[2]:.3f}"
        )
        for share, name, of in sorted(rows)[:5]:
            print(f"  {share:.3f} {name} {of}")


def layer_scores(truth, found, beat):
    """Attacks in their cell and all that were detected; attacks in their layer, all true ones, all written ones."""
    heard = sorted({round(a["seconds"], 6): a["beat"] for l in found for a in l["attacks"]}.items())
    times, places = np.array([h[0] for h in heard]), np.array([h[1] for h in heard])
    right = detected = 0
    for seconds, score, *_ in truth:
        near = np.flatnonzero(np.abs(times - seconds) < max(0.035, 0.2 * beat / 4))
        if len(near):
            detected += 1
            right += bool(np.min(np.abs(places[near] - 1 - score / beat)) < 0.02)
    names = sorted({t[2] for t in truth})
    of = {n: np.array([t[0] for t in truth if t[2] == n]) for n in names}
    table = np.array(
        [[sum(np.min(np.abs(of[n] - a["seconds"])) < 0.04 for a in l["attacks"]) for n in names] for l in found]
    )
    sizes = np.array([len(of[n]) for n in names])
    written = np.array([len(l["attacks"]) for l in found])
    matched, used = 0, set()
    # Each written layer stands for the layer that it agrees with best.
    score = table / (sizes[None, :] + written[:, None])
    for row, column in sorted(np.ndindex(*table.shape), key=lambda rc: -score[rc]):
        if row not in {r for r, _ in used} and column not in {c for _, c in used}:
            used.add((row, column))
            matched += table[row, column]
    return right, detected, matched, int(sizes.sum()), int(written.sum())


def align(program, folder, grooves, synths, seeds):
    for jitter in (0.005, 0.010, 0.015):
        near, far, starts, total, unsaid, sure, milliseconds, lost = 0, 0, 0, 0, [], 0, [], []
        for g in grooves:
            for f, synth in enumerate(synths):
                for seed in range(seeds):
                    rng = np.random.default_rng([3, seed, f, round(1000 * jitter), *g.name.encode()])
                    passes = max(2, round(rng.uniform(28, 50) / g.length))
                    end, at = passes * g.length, rng.uniform(4, 20)
                    rate = np.exp(rng.uniform(-0.2, 0.2))
                    clock = Clock(rng, g, 0, end, rate, at, 0.03)
                    notes, truth = played(g, synth, rng, clock, 0, end, jitter, 0.1, 0.1)
                    if rng.random() < 0.75:
                        other = grooves[int(rng.integers(len(grooves)))]
                        if other.name != g.name:
                            until = at - rng.uniform(0.3, 1.5)
                            plain = Clock(rng, other, 0, 60, np.exp(rng.uniform(-0.3, 0.3)), 0.3, 0.01)
                            before, _ = played(other, synth, rng, plain, 0, 60, jitter)
                            notes += [n for n in before if n.start < until]
                    path = os.path.join(folder, f"align-{g.name}-{f}-{seed}.wav")
                    save(path, synth, notes, rng)
                    done = run(program, "align", g.path, path, "--json", check=False)
                    os.remove(path)
                    total += 1
                    if done.returncode:
                        lost.append(g.name)
                        continue
                    found = json.loads(done.stdout)
                    count, copies = len(g.bars), g.copies()
                    lines = np.array([clock.at(b + k * g.length) for k in range(passes) for b in g.bars] + [clock.at(end)])
                    index = np.array([(a["pass"] - 1) * count + a["bar"] - 1 for a in found["anchors"]])
                    seconds = np.array([a["seconds"] for a in found["anchors"]])
                    inside = [not a["computed"] for a in found["anchors"]]
                    best = None
                    for shift in range(-count * (passes + 1), count * (passes + 1) + 1):
                        if shift % copies and shift % count:
                            continue
                        k = index + shift
                        valid = (k >= 0) & (k < len(lines)) & np.array(inside)
                        if valid.sum() >= min(3, len(index)):
                            errors = np.abs(seconds[valid] - lines[k[valid]])
                            if best is None or np.median(errors) < np.median(best):
                                best = errors
                    if best is None or np.median(best) > 0.05:
                        (lost if found["ambiguous"] else unsaid).append(g.name)
                        continue
                    start = seconds[0] if seconds[0] > -1 else 0
                    starts += abs(start - lines[0]) < 0.05
                    if not found["ambiguous"]:
                        sure += 1
                        near, far = near + int((best < 0.010).sum()), far + len(best)
        print(
            f"align, jitter {1000 * jitter:.0f} ms: {total} recordings, {sure} unambiguous, their anchors within 10 ms "
            f"{near / max(far, 1):.3f}; right start {starts / total:.3f}; wrong and said {len(lost)} {sorted(set(lost))}; "
            f"wrong and not said {len(unsaid)} {sorted(unsaid)}"
        )


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    for name in ("program", "folder", "grooves"):
        parser.add_argument(name)
    parser.add_argument("fonts", nargs="+")
    parser.add_argument("--only", nargs="+", default=["propose", "transcribe", "align"])
    parser.add_argument("--seeds", type=int, default=2)
    parser.add_argument("--count", type=int, default=40)
    parser.add_argument("--other", type=int, default=0, help="other recordings to propose and transcribe, by this offset of the seed")
    args = parser.parse_args()
    os.makedirs(args.folder, exist_ok=True)
    files = sorted(os.path.join(args.grooves, f) for f in os.listdir(args.grooves) if f.endswith(".toml"))
    grooves, synths = [Groove(args.program, f) for f in files], [Synth(f, False) for f in args.fonts]
    if "propose" in args.only:
        propose(args.program, args.folder, grooves, synths, args.seeds, args.other)
    if "transcribe" in args.only:
        transcribe(args.program, args.folder, grooves, synths, args.count, args.other)
    if "align" in args.only:
        align(args.program, args.folder, grooves, synths, args.seeds)


if __name__ == "__main__":
    sys.exit(main())

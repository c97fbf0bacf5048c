"""Builds FOLDER/patches.sf2 from a folder of sampled-instrument patch files, so that libfluidsynth can play them.

usage: gen_fonts.py PATCHES FOLDER    PATCHES: a folder with Drum_000/NNN_*.pat, Tone_000/NNN_*.pat
       gen_fonts.py --check FOLDER    builds FOLDER/click.sf2 and measures the delay of the synthesizer with it
"""

import glob
import os
import pathlib
import struct
import sys

import numpy as np

from synth import RATE, Note, Synth, note_on

# Generators of the SoundFont 2.04 specification, section 8.1.2.
ATTACK, DECAY, SUSTAIN, RELEASE, INSTRUMENT, KEYS, ATTENUATION, SAMPLE, MODES, EXCLUSIVE, ROOT = (
    34, 36, 37, 38, 41, 43, 48, 53, 54, 57, 58,
)  # fmt: skip
FINE = 52
HATS = (42, 44, 46)


def timecents(seconds):
    return int(np.clip(round(1200 * np.log2(max(seconds, 1e-4))), -12000, 5000))


def key_of(frequency):
    """MIDI key, with fraction, of a frequency."""
    return 69 + 12 * np.log2(frequency / 440)


def read_patch(path):
    """Returns the samples of a patch: (signal, rate, loop or None, low, high, root in keys, envelope)."""
    data = pathlib.Path(path).read_bytes()
    if data[:8] != b"GF1PATCH":
        raise ValueError(f"expected a patch file, found {path}")
    samples, at = [], 239
    for _ in range(data[198]):
        length, start, end, rate, low, high, root = struct.unpack_from("<IIIHIII", data, at + 8)
        rates, levels, modes = data[at + 37 : at + 43], data[at + 43 : at + 49], data[at + 55]
        wide, unsigned, loops, sustains = modes & 1, modes & 2, modes & 4, modes & 32
        raw = np.frombuffer(data, np.dtype("<u2" if wide else "u1"), length // (2 if wide else 1), at + 96)
        full = 32768 if wide else 128
        x = raw.astype(np.int32)
        x = x - full if unsigned else np.where(x >= full, x - 2 * full, x)
        loop = (start // (2 if wide else 1), end // (2 if wide else 1)) if loops else None
        samples.append((x / full, rate, loop, low / 1000, high / 1000, root / 1000, envelope(rates, levels, sustains)))
        at += 96 + length
    return samples


def envelope(rates, levels, sustains):
    """Attack and decay in seconds, sustain in dB: the first three of the six ramps of a patch file."""

    def seconds(rate, distance):
        return distance / 255 * 47.4 / max(1, (rate & 63) << (3 * (3 - (rate >> 6))))

    attack = seconds(rates[0], levels[0])
    fall = (levels[0] - levels[2]) * 36 / 255 if sustains else 0
    decay = seconds(rates[1], abs(levels[0] - levels[1])) + seconds(rates[2], abs(levels[1] - levels[2]))
    return attack, (decay * 100 / fall if fall > 0.5 else 0), max(0, fall)


class Font:
    """Collects samples, instruments and presets, and writes them as a SoundFont 2 file."""

    def __init__(self):
        self.pcm, self.samples, self.instruments, self.presets = [], [], [], []
        self.length = 0

    def sample(self, x, rate, loop):
        at = self.length
        pcm = np.r_[np.round(np.clip(x, -1, 0.99997) * 32768), np.zeros(46)].astype("<i2")
        self.pcm.append(pcm)
        self.length += len(pcm)
        first, last = loop or (0, len(x))
        self.samples.append((at, at + len(x), at + first, at + max(last, first + 8), rate))
        return len(self.samples) - 1

    def write(self, path):
        pgen, pbag, phdr = b"", b"", b""
        for name, bank, program, instrument in self.presets:
            phdr += struct.pack("<20sHHHIII", name, program, bank, len(pbag) // 4, 0, 0, 0)
            pbag += struct.pack("<HH", len(pgen) // 4, 0)
            pgen += struct.pack("<HH", INSTRUMENT, instrument)
        phdr += struct.pack("<20sHHHIII", b"EOP", 0, 0, len(pbag) // 4, 0, 0, 0)
        pbag += struct.pack("<HH", len(pgen) // 4, 0)
        igen, ibag, inst = b"", b"", b""
        for name, zones in self.instruments:
            inst += struct.pack("<20sH", name, len(ibag) // 4)
            for zone in zones:
                ibag += struct.pack("<HH", len(igen) // 4, 0)
                for generator, value in zone:
                    igen += struct.pack("<HH", generator, value & 0xFFFF)
        inst += struct.pack("<20sH", b"EOI", len(ibag) // 4)
        ibag += struct.pack("<HH", len(igen) // 4, 0)
        shdr = b"".join(struct.pack("<20sIIIIIBbHH", b"s%d" % i, *s, 60, 0, 0, 1) for i, s in enumerate(self.samples))
        shdr += struct.pack("<20sIIIIIBbHH", b"EOS", 0, 0, 0, 0, 0, 0, 0, 0, 0)
        empty = bytes(10)
        chunk = lambda name, body: name + struct.pack("<I", len(body)) + body + bytes(len(body) % 2)
        part = lambda kind, body: chunk(b"LIST", kind + body)
        info = chunk(b"ifil", struct.pack("<HH", 2, 4)) + chunk(b"isng", b"EMU8000\0") + chunk(b"INAM", b"patches\0")
        names = (b"phdr", b"pbag", b"pmod", b"pgen", b"inst", b"ibag", b"imod", b"igen", b"shdr")
        bodies = (phdr, pbag, empty, pgen + bytes(4), inst, ibag, empty, igen + bytes(4), shdr)
        pdta = b"".join(map(chunk, names, bodies))
        pcm = np.concatenate(self.pcm).tobytes()
        body = b"sfbk" + part(b"INFO", info) + part(b"sdta", chunk(b"smpl", pcm)) + part(b"pdta", pdta)
        with open(path, "wb") as out:
            out.write(chunk(b"RIFF", body))


def zones(font, path, drum_key=None):
    """One zone per sample. The levels are made alike, because a patch file leaves them to its player's list."""
    result, below = [], -1
    parts = sorted(read_patch(path), key=lambda part: part[4])
    for number, (x, rate, loop, _low, high, root, (attack, decay, sustain)) in enumerate(parts):
        window = max(1, int(0.02 * rate))
        level = np.sqrt(np.convolve(x[: rate // 2] ** 2, np.ones(window) / window).max()) + 1e-9
        level_db = 20 * np.log10(level) + 24
        key, last = key_of(root), number == len(parts) - 1
        if drum_key is not None:
            keys, whole, fine = (drum_key, drum_key), drum_key, 0
        else:
            top = 127 if last else int(np.clip(np.floor(key_of(high) + 0.01), 0, 127))
            if top <= below:
                continue
            keys, below = (below + 1, top), top
            whole = int(round(key))
            fine = int(round(100 * (whole - key)))
        zone = [(KEYS, keys[0] | keys[1] << 8)]
        zone += [
            (ATTACK, timecents(attack)),
            (DECAY, timecents(decay) if decay else -12000),
            (SUSTAIN, int(10 * sustain)),
        ]
        zone += [(RELEASE, timecents(1.5 if drum_key is not None else 0.25))]
        if level_db > 0:
            zone.append((ATTENUATION, int(10 * level_db / 0.4)))
        zone += [(FINE, fine)] if fine else []
        looped = loop is not None and drum_key is None
        zone += [(MODES, int(looped)), (EXCLUSIVE, int(drum_key in HATS)), (ROOT, whole)]
        zone.append((SAMPLE, font.sample(x * min(1, 10 ** (-min(0, level_db) / 20) * 0.99 / np.abs(x).max())
                                         if level_db < 0 else x, rate, loop if looped else None)))  # fmt: skip
        result.append(zone)
    return result


def build_patches(source, path):
    font, drums = Font(), []
    for file in sorted(glob.glob(os.path.join(source, "Drum_000", "*.pat"))):
        drums += zones(font, file, int(os.path.basename(file)[:3]))
    font.instruments.append((b"drums", drums))
    for kit in (0, 8, 16, 24, 25, 32, 40):
        font.presets.append((b"drums", 128, kit, 0))
    for file in sorted(glob.glob(os.path.join(source, "Tone_000", "*.pat"))):
        program = int(os.path.basename(file)[:3])
        font.presets.append((b"tone%d" % program, 0, program, len(font.instruments)))
        font.instruments.append((b"tone%d" % program, zones(font, file)))
    font.presets.sort(key=lambda preset: (preset[1], preset[2]))
    font.write(path)
    print(f"{path}: {len(font.presets)} presets, {len(font.samples)} samples")


def check(path):
    """Plays short pulses at random times and compares the first sample that sounds, and the sample that reaches 10 %
    of the pulse, with `note_on`."""
    font = Font()
    pulse = font.sample(np.r_[np.ones(400), np.zeros(60)], RATE, None)
    font.instruments.append((b"click", [[(KEYS, 127 << 8), (RELEASE, -12000), (MODES, 0), (SAMPLE, pulse)]]))
    font.presets.append((b"click", 0, 0, 0))
    font.write(path)
    synth, rng = Synth(path, wet=False), np.random.default_rng(1)
    notes = [Note(t, 0.05, 0, 0, 60, 100) for t in np.cumsum(rng.uniform(0.08, 0.17, 400))]
    x = np.abs(synth.render(notes, notes[-1].start + 0.5))
    for name, level in (("first sound", 1e-5), ("10 %", 0.1)):
        delays = []
        for note in notes:
            at = int(round(note_on(note) * RATE))
            near = x[at - 200 : at + 400]
            delays.append(int(np.argmax(near > level * near.max())) - 200)
        values, counts = np.unique(delays, return_counts=True)
        print(f"{name}: delay in samples: number of pulses", dict(zip(values.tolist(), counts.tolist())))


if __name__ == "__main__":
    if len(sys.argv) != 3:
        sys.exit(__doc__)
    os.makedirs(sys.argv[2], exist_ok=True)
    if sys.argv[1] == "--check":
        check(os.path.join(sys.argv[2], "click.sf2"))
    else:
        build_patches(sys.argv[1], os.path.join(sys.argv[2], "patches.sf2"))

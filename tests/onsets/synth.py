"""Sampled instruments with exact attack times, through libfluidsynth.

The synthesizer starts notes only at multiples of its internal block of 64 samples. Notes are therefore moved to that
grid before they are played, and the grid position is the truth: no player's clock is involved. `gen_fonts.py --check`
measures the remaining delay with a font whose only sample is a click.
"""

import ctypes
import ctypes.util
from dataclasses import dataclass

import numpy as np
import soundfile

RATE = 44100
BLOCK = 64
DRUMS = 9
# Notes started closer together than this form a cluster, which is one onset and ends at the latest after
# CLUSTER_SPAN.
CLUSTER_GAP = 0.030
CLUSTER_SPAN = 0.060


@dataclass(frozen=True)
class Note:
    """One note. `start` is in seconds, `channel` 9 is the drum kit, where `program` selects the kit."""

    start: float
    length: float
    channel: int
    program: int
    key: int
    velocity: float

    @property
    def sound(self):
        return (self.channel == DRUMS, self.program, self.key)


def _library():
    name = ctypes.util.find_library("fluidsynth")
    if name is None:
        raise OSError("expected libfluidsynth 2 or later, found none")
    lib = ctypes.CDLL(name)
    lib.new_fluid_settings.restype = ctypes.c_void_p
    lib.new_fluid_synth.restype = ctypes.c_void_p
    lib.new_fluid_synth.argtypes = [ctypes.c_void_p]
    lib.delete_fluid_synth.argtypes = [ctypes.c_void_p]
    lib.delete_fluid_settings.argtypes = [ctypes.c_void_p]
    lib.fluid_settings_setnum.argtypes = [ctypes.c_void_p, ctypes.c_char_p, ctypes.c_double]
    lib.fluid_settings_setint.argtypes = [ctypes.c_void_p, ctypes.c_char_p, ctypes.c_int]
    lib.fluid_synth_sfload.argtypes = [ctypes.c_void_p, ctypes.c_char_p, ctypes.c_int]
    for function, count in (("program_change", 2), ("noteon", 3), ("noteoff", 2), ("cc", 3), ("all_sounds_off", 1)):
        getattr(lib, "fluid_synth_" + function).argtypes = [ctypes.c_void_p] + [ctypes.c_int] * count
    lib.fluid_synth_write_float.argtypes = [ctypes.c_void_p, ctypes.c_int] + [
        ctypes.c_void_p,
        ctypes.c_int,
        ctypes.c_int,
    ] * 2
    lib.fluid_set_log_function.argtypes = [ctypes.c_int, ctypes.c_void_p, ctypes.c_void_p]
    for level in range(5):
        lib.fluid_set_log_function(level, None, None)
    return lib


class Synth:
    """One font, rendered offline. `wet` switches the synthesizer's reverberation and chorus on."""

    def __init__(self, font, wet):
        self.lib = _library()
        self.settings = self.lib.new_fluid_settings()
        self.lib.fluid_settings_setnum(self.settings, b"synth.sample-rate", float(RATE))
        self.lib.fluid_settings_setnum(self.settings, b"synth.gain", 0.4)
        for effect in (b"synth.reverb.active", b"synth.chorus.active"):
            self.lib.fluid_settings_setint(self.settings, effect, int(wet))
        self.synth = self.lib.new_fluid_synth(self.settings)
        if self.lib.fluid_synth_sfload(self.synth, str(font).encode(), 1) < 0:
            raise OSError(f"expected a sound font, found {font}")
        self.leads, self.levels = {}, {}
        # Voices stop within one block; the reverberation takes longer.
        self.pause = 1.5 if wet else 0.05

    def close(self):
        self.lib.delete_fluid_synth(self.synth)
        self.lib.delete_fluid_settings(self.settings)

    def _write(self, samples):
        left, right = np.empty(samples, np.float32), np.empty(samples, np.float32)
        if samples:
            self.lib.fluid_synth_write_float(self.synth, samples, left.ctypes.data, 0, 1, right.ctypes.data, 0, 1)
        return (left + right) / 2

    def _silence(self):
        for channel in range(16):
            self.lib.fluid_synth_all_sounds_off(self.synth, channel)
            self.lib.fluid_synth_cc(self.synth, channel, 1, 0)
            self.lib.fluid_synth_cc(self.synth, channel, 7, 100)
        self._write(round(self.pause * RATE / BLOCK) * BLOCK)

    def render(self, notes, duration, vibrato=0, volumes=None):
        """Returns the mono sound of `notes`, every start moved to the nearest block. `volumes` maps channels to
        controller 7."""
        self._silence()
        for channel, volume in (volumes or {}).items():
            self.lib.fluid_synth_cc(self.synth, channel, 7, volume)
        for channel, program in sorted({(n.channel, n.program) for n in notes}):
            self.lib.fluid_synth_program_change(self.synth, channel, program)
            self.lib.fluid_synth_cc(self.synth, channel, 1, vibrato)
        events, last = [], {}
        for n in sorted(notes, key=lambda n: -n.start):
            start, end = round(n.start * RATE / BLOCK), round((n.start + n.length) * RATE / BLOCK)
            # A key is released before it is struck again, or the release would end the later note.
            end = min(max(start + 1, end), last.get((n.channel, n.key), end))
            last[n.channel, n.key] = start
            events.append((start, 1, n.channel, n.key, int(np.clip(n.velocity, 1, 127))))
            events.append((end, 0, n.channel, n.key, 0))
        out, position = [], 0
        for block, on, channel, key, velocity in sorted(events):
            out.append(self._write((block - position) * BLOCK))
            position = block
            if on:
                self.lib.fluid_synth_noteon(self.synth, channel, key, velocity)
            else:
                self.lib.fluid_synth_noteoff(self.synth, channel, key)
        end = round(duration * RATE / BLOCK)
        if end > position:
            out.append(self._write((end - position) * BLOCK))
        return np.concatenate(out)

    def lead(self, sound):
        """Seconds from the note-on to the first sound of a (drum, program, key), 10 % of the largest 1 ms RMS of its
        start, measured alone; `None` if the font is silent there."""
        if sound not in self.leads:
            drum, program, key = sound
            x = self.render([Note(0, 0.2 if drum else 0.35, DRUMS if drum else 0, program, key, 100)], 0.4)
            rms = np.sqrt(np.convolve(x.astype(np.float64) ** 2, np.ones(44) / 44, "same"))
            rms = rms[: int((0.110 if program >= 40 and not drum else 0.070) * RATE)]
            heard = rms.max() > 1e-4
            self.leads[sound] = float(np.argmax(rms > 0.1 * rms.max())) / RATE if heard else None
        return self.leads[sound]

    def level(self, sound):
        """Loudest 10 ms RMS of a sound at velocity 100, in dB."""
        if sound not in self.levels:
            drum, program, key = sound
            x = self.render([Note(0, 0.2, DRUMS if drum else 0, program, key, 100)], 0.3)
            power = np.convolve(x.astype(np.float64) ** 2, np.ones(441) / 441).max()
            self.levels[sound] = 10 * np.log10(power + 1e-12)
        return self.levels[sound]

    def balance(self, notes, offsets):
        """Volumes of channels that make the loudest sound of each channel equally loud, but for `offsets` in dB: a
        mixing desk. Controller 7 attenuates by 40 log10(127 / value) dB (SoundFont 2.04, 8.4.5)."""
        sounds = {}
        for n in notes:
            sounds.setdefault(n.channel, set()).add(n.sound)
        levels = {channel: max(map(self.level, of)) - offsets.get(channel, 0) for channel, of in sounds.items()}
        quietest = min(levels.values())
        return {channel: int(round(127 * 10 ** ((quietest - level) / 40))) for channel, level in levels.items()}


def note_on(note):
    """The instant at which the synthesizer starts the note."""
    return round(note.start * RATE / BLOCK) * BLOCK / RATE


def clusters(strokes):
    """Groups (attack, note-on) pairs that count as one onset by their note-ons; the groups are in order of their
    attacks."""
    groups = []
    for attack, start in sorted(strokes, key=lambda stroke: stroke[1]):
        if groups and start - groups[-1][-1][1] <= CLUSTER_GAP and start - groups[-1][0][1] <= CLUSTER_SPAN:
            groups[-1].append((attack, start))
        else:
            groups.append([(attack, start)])
    return sorted(sorted(group) for group in groups)


def save(path, sound, strokes):
    """Writes PATH.wav and PATH.truth.tsv: cluster, attack and note-on in seconds, one (attack, note-on) of `strokes`
    a line."""
    soundfile.write(f"{path}.wav", sound * (0.7 / np.abs(sound).max()), RATE, subtype="PCM_16")
    with open(f"{path}.truth.tsv", "w") as out:
        for number, group in enumerate(clusters(strokes)):
            for attack, start in group:
                out.write(f"{number}\t{attack:.6f}\t{start:.6f}\n")


def load_truth(path):
    """Returns a list of clusters (attacks) and the list of their note-ons."""
    attacks, starts = [], []
    with open(path) as lines:
        for line in lines:
            number, attack, start = line.split("\t")
            if int(number) == len(attacks):
                attacks.append([])
                starts.append([])
            attacks[-1].append(float(attack))
            starts[-1].append(float(start))
    return attacks, starts

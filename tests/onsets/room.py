"""Rooms and noises."""

import numpy as np
from scipy.signal import butter, fftconvolve, sosfilt

from synth import RATE


def reverb(x, rng, time=0.6, wet=0.7):
    """Adds the tail of a room: decaying noise after a gap of 12 ms, -60 dB after `time` seconds."""
    t = np.arange(int(time * 1.2 * RATE)) / RATE
    tail = rng.standard_normal(len(t)) * 10 ** (-3 * t / time)
    tail[: int(0.012 * RATE)] = 0
    return x + wet * fftconvolve(x, tail / np.sqrt((tail**2).sum()))[: len(x)]


def noise(x, rng, snr_db, rate=RATE):
    """Adds room noise, white on top of brown."""
    brown = sosfilt(butter(2, 30, "hp", fs=rate, output="sos"), np.cumsum(rng.standard_normal(len(x))))
    both = brown / brown.std() + 0.5 * rng.standard_normal(len(x))
    return x + both / both.std() * x.std() * 10 ** (-snr_db / 20)


def coloured_noises(rng, seconds):
    """Sounds without any onset, by name."""
    n = int(seconds * RATE)
    t = np.arange(n) / RATE
    white = lambda: rng.standard_normal(n)
    band = lambda low, high: sosfilt(butter(2, [low, high], "bp", fs=RATE, output="sos"), white())

    def pink():
        spectrum = np.fft.rfft(white())
        return np.fft.irfft(spectrum / np.sqrt(np.arange(len(spectrum)) + 1), n)

    return {
        "white": white(),
        "pink": pink(),
        "brown": sosfilt(butter(1, 40, "lp", fs=RATE, output="sos"), white()),
        "low": band(200, 1000),
        "middle": band(1000, 4000),
        "high": band(5000, 12000),
        "swelling": pink() * (1 + 0.5 * np.sin(2 * np.pi * 0.7 * t)),
        "surf": pink() * (1.2 + np.sin(2 * np.pi * 0.15 * t)) ** 2,
        "hum": sum(np.sin(2 * np.pi * 50 * k * t + k) / k for k in range(1, 20)) + 0.05 * white(),
        "chord": sum(np.sin(2 * np.pi * f * (1 + 6e-4 * k) * t) / (k + 1) for f in (220, 277, 330) for k in range(8))
        + 0.01 * pink(),
    }

"""Reference of the onset detector, in numpy and scipy: slow and plain, to check the real one and to train its
network.

usage: detector.py NET.json SOUND.wav    prints the time and the confidence of every onset

Log-spectral fluxes with two window lengths give seeds. At each seed a likelihood-ratio test over seven bands finds
the instant at which the variance of the bands changes. A small network rates 26 features of each candidate, and the
better one of two close candidates is kept.
"""

import json
import sys

import numpy as np
import scipy.fft
import soundfile
from scipy.ndimage import maximum_filter1d

FRAME_RATE = 200
LONG = {"lam": 1e4, "per_octave": 24, "threshold": 0.005, "radius": 5}
SHORT = {"lam": 1e3, "per_octave": 12, "threshold": 0.020, "radius": 3}
EDGES = [50, 200, 500, 1200, 2700, 5500, 9500, 13800]
ENVELOPE = 512
BEFORE, AFTER = 0.010, 0.005
# The pre-ringing of the band filters: instant attacks are then 0.7 ms late, single samples 0.3 ms early.
BIAS = 0.0010
THRESHOLD, GAP = 0.35, 0.035


def normalise(x, rate):
    """Scales the 95th percentile of the 20 ms RMS to 0.1, blocks below -100 dB of the loudest left out."""
    n = int(0.02 * rate)
    m = max(1, len(x) // n)
    rms = np.sqrt((x[: m * n].reshape(m, -1) ** 2).mean(1))
    if rms.max() > 0:
        rms = rms[rms > 1e-5 * max(rms.max(), 1e-9)]
    return (x / (np.percentile(rms, 95) + 1e-9) * 0.1).astype(np.float32)


def filter_bank(rate, size, per_octave):
    top = min(17000.0, 0.47 * rate)
    centres = 30 * 2.0 ** (np.arange(0, np.log2(top / 30) * per_octave + 1) / per_octave)
    bins = np.unique(np.round(centres * size / rate).astype(int))
    bins = bins[(bins > 0) & (bins <= size // 2)]
    bank = np.zeros((size // 2 + 1, len(bins) - 2))
    for i in range(len(bins) - 2):
        low, centre, high = bins[i : i + 3]
        bank[low : centre + 1, i] = np.linspace(0, 1, centre - low + 1)
        bank[centre : high + 1, i] = np.linspace(1, 0, high - centre + 1)
    return (bank / bank.sum(0)).astype(np.float32), bins[1:-1] * rate / size


def flux(x, rate, size, lam, per_octave):
    """Rectified flux against the frame 10 ms before, per band with a maximum filter over bands (Boeck & Widmer 2013),
    and its mean without the filter."""
    hop = rate / FRAME_RATE
    frames = int(len(x) / hop) + 1
    bank, centres = filter_bank(rate, size, per_octave)
    window = np.hanning(size + 1)[:size].astype(np.float32)
    window /= window.sum() / 2
    padded = np.r_[np.zeros(size // 2, np.float32), x, np.zeros(size, np.float32)]
    log = np.empty((frames, bank.shape[1]), np.float32)
    for s in range(0, frames, 2048):
        at = np.round(np.arange(s, min(s + 2048, frames)) * hop).astype(int)
        spectrum = np.abs(scipy.fft.rfft(padded[at[:, None] + np.arange(size)] * window, axis=1)).astype(np.float32)
        log[s : s + len(at)] = np.log10(1 + lam * (spectrum @ bank))
    filtered = np.zeros_like(log)
    filtered[2:] = np.maximum(0, log[2:] - maximum_filter1d(log, 3, axis=1)[:-2])
    plain = np.zeros(frames)
    plain[2:] = np.maximum(0, log[2:] - log[:-2]).mean(1)
    return filtered, plain, centres


def moving_mean(o):
    sums, at = np.r_[0, np.cumsum(o, dtype=np.float64)], np.arange(len(o))
    low, high = np.maximum(0, at - 20), np.minimum(len(o), at + 15)
    return (sums[high] - sums[low]) / (high - low)


def peaks(o, threshold, radius):
    return np.flatnonzero((o >= maximum_filter1d(o, 2 * radius + 1)) & (o - moving_mean(o) >= threshold))


class Localiser:
    """Generalised likelihood ratio for a jump of variance (Brandt 1983), summed over bands whose squared envelopes
    come from truncated inverse transforms."""

    def __init__(self, rate, size):
        self.rate, self.size, self.step = rate, size, size / ENVELOPE / rate
        self.before = max(1, int(round(BEFORE / self.step)))
        self.after = max(1, int(round(AFTER / self.step)))
        f, self.masks, weights = np.arange(size // 2 + 1) * rate / size, [], []
        for a, b in zip(EDGES[:-1], EDGES[1:]):
            if a >= 0.47 * rate:
                break
            b = min(b, 0.485 * rate)
            t = 0.25 * (b - a)
            low, high = np.clip((f - (a - t / 2)) / t, 0, 1), np.clip((b + t / 2 - f) / t, 0, 1)
            mask = (np.sin(np.pi / 2 * low) * np.sin(np.pi / 2 * high)) ** 2
            used = np.flatnonzero(mask > 0)[:ENVELOPE]
            self.masks.append((used[0], mask[used].astype(np.float32)))
            weights.append((b - a) ** 0.5)
        self.weights = np.array(weights) / np.sum(weights)
        n = int(0.004 * rate)
        edge = 0.5 - 0.5 * np.cos(np.pi * np.arange(n) / n)
        self.window = np.ones(size, np.float32)
        self.window[:n], self.window[-n:] = edge, edge[::-1]

    def envelopes(self, x, centre):
        a = int(round(centre * self.rate)) - self.size // 2
        segment = np.zeros(self.size, np.float32)
        low, high = max(0, a), min(len(x), a + self.size)
        if high > low:
            segment[low - a : high - a] = x[low:high]
        spectrum = scipy.fft.rfft(segment * self.window)
        power = np.empty((len(self.masks), ENVELOPE), np.float32)
        for j, (first, mask) in enumerate(self.masks):
            band = np.zeros(ENVELOPE, np.complex64)
            band[: len(mask)] = spectrum[first : first + len(mask)] * mask
            z = scipy.fft.ifft(band) * (ENVELOPE / self.size) * 2
            power[j] = z.real**2 + z.imag**2
        return power, a / self.rate

    def __call__(self, x, centre, earliest, latest):
        """Returns time, ratio, and per band ratio, variance before and variance after."""
        power, start = self.envelopes(x, centre)
        floor = 1e-8 + 0.05 * power.mean(1, keepdims=True)
        sums = np.concatenate([np.zeros((len(power), 1)), np.cumsum(power, 1, dtype=np.float64)], 1)
        k = np.arange(self.before, ENVELOPE - self.after)
        v1 = (sums[:, k] - sums[:, k - self.before]) / self.before + floor
        v2 = (sums[:, k + self.after] - sums[:, k]) / self.after + floor
        r = self.before / (self.before + self.after)
        g = np.where(v2 > v1, np.log(r * v1 + (1 - r) * v2) - r * np.log(v1) - (1 - r) * np.log(v2), 0)
        total, t = self.weights @ g, start + k * self.step
        inside = np.flatnonzero((t >= earliest) & (t <= latest))
        if not len(inside):
            none = np.zeros(len(self.weights))
            return centre, 0.0, none, none + 1e-9, none + 1e-9
        near = total[inside]
        best = int(np.argmax(near))
        j = inside[best]
        for i in range(1, best):
            peak = near[i] >= near[i - 1] and near[i] > near[i + 1] and near[i] > 0.45 * near[best]
            if peak and t[inside[best]] - t[inside[i]] < 0.03:
                j = inside[i]
                break
        # A short click gives a flat top as long as the window after it; the click is at its end.
        end = j
        while end + 1 < len(total) and 0.9 * total[j] <= total[end + 1] <= 1.02 * total[j] and end - j < self.after + 4:
            end += 1
        return t[end], float(total[j]), g[:, j], v1[:, j], v2[:, j]


def candidates(x, rate):
    """Times and features of all candidates in a normalised mono sound."""
    size = int(2 ** np.round(np.log2(0.0464 * rate)))
    flux_a, plain_a, f_a = flux(x, rate, size, LONG["lam"], LONG["per_octave"])
    flux_b, plain_b, f_b = flux(x, rate, size // 4, SHORT["lam"], SHORT["per_octave"])
    a, b = flux_a.mean(1), flux_b.mean(1)
    mean_a, mean_b = moving_mean(a), moving_mean(b)
    peaks_a, peaks_b = peaks(a, LONG["threshold"], LONG["radius"]), peaks(b, SHORT["threshold"], SHORT["radius"])
    seeds = [(i, 1) for i in peaks_b]
    seeds += [(i, 0) for i in peaks_a if not len(peaks_b) or np.min(np.abs(peaks_b - i)) > 4]
    localise, found = Localiser(rate, 2 * size), []
    for i, short in sorted(seeds):
        t = i / FRAME_RATE
        found.append((*localise(x, t, *((t - 0.02, t + 0.012) if short else (t - 0.03, t + 0.02))), short))
    found.sort(key=lambda c: c[0])
    kept = []
    for c in found:
        if kept and c[0] - kept[-1][0] < 0.012:
            if c[1] > kept[-1][1]:
                kept[-1] = c
        else:
            kept.append(c)
    times, ratios = np.array([c[0] for c in kept]), [c[1] for c in kept]
    high_a, low_a, high_b = flux_a[:, f_a > 3000].mean(1), flux_a[:, f_a < 300].mean(1), flux_b[:, f_b > 3000].mean(1)
    f = lambda v, e=1e-3: np.log(v + e)
    h = lambda v: np.log(v + 0.01)
    most = lambda o, s: o[s].max() if len(o[s]) else 0.0
    rows = []
    for k, (t, ratio, g, v1, v2, short) in enumerate(kept):
        i = int(round(t * FRAME_RATE))
        w, wb = slice(max(0, i - 2), i + 6), slice(max(0, i - 1), i + 4)
        pre, post = slice(max(0, i - 16), max(1, i - 3)), slice(i + 7, i + 20)
        at_a, at_b, order = most(a, w), most(b, wb), np.sort(g)[::-1]
        earlier = max([ratios[q] for q in range(max(0, k - 4), k) if 0.012 < t - times[q] < 0.08], default=0)
        later = max([ratios[q] for q in range(k + 1, min(len(times), k + 5)) if times[q] - t < 0.06], default=0)
        rows.append([
            f(at_a), f(max(at_a - mean_a[min(i + 2, len(a) - 1)], 0)), f(at_a) - f(most(a, pre)),
            f(at_b), f(max(at_b - mean_b[min(i + 1, len(b) - 1)], 0)), f(at_b) - f(most(b, pre)),
            f(most(high_a, w)), f(most(low_a, w)), f(most(high_b, wb)),
            f(at_a) - f(most(plain_a, w)), f(at_b) - f(most(plain_b, wb)),
            h(ratio), h(order[0]), h(order[1]), h(order[2]),
            h(g[:2].max()), h(g[2:4].max()), h(g[4:].max() if len(g) > 4 else 0),
            h(ratio) - h(earlier), h(ratio) - h(later),
            0.1 * np.log(v2.max() + 1e-9), 0.5 * np.log((v2.max() + 1e-7) / (v1.max() + 1e-7)),
            0.5 * np.max(np.log((v2 + 1e-7) / (v1 + 1e-7))), float(short),
            f(at_a) - f(most(a, post)), f(at_b) - f(most(b, post)),
        ])  # fmt: skip
    return times + BIAS, np.array(rows).reshape(len(times), 26)


def probabilities(features, net):
    z = np.clip((features - np.array(net["mean"])) / np.array(net["scale"]), -4, 4)
    hidden = np.maximum(0, z @ np.array(net["W1"]) + np.array(net["b1"]))
    return 1 / (1 + np.exp(-(hidden @ np.array(net["w2"]) + net["b2"])))


def select(times, p, duration, threshold=THRESHOLD):
    """Indices of the onsets: by falling confidence, none closer than `GAP`. The end of the file is no onset."""
    p = np.where(times > duration - 0.015, 0, p)
    kept, at = [], np.flatnonzero(p >= threshold)
    for i in at[np.argsort(-p[at], kind="stable")]:
        if all(abs(times[i] - times[j]) >= GAP for j in kept):
            kept.append(i)
    return np.array(sorted(kept, key=lambda i: times[i]), int)


def main():
    net = json.load(open(sys.argv[1]))
    x, rate = soundfile.read(sys.argv[2], dtype="float32")
    x = x if x.ndim == 1 else x.mean(1)
    times, features = candidates(normalise(x, rate), rate)
    p = probabilities(features, net)
    for i in select(times, p, len(x) / rate):
        print(f"{max(0, times[i]):.4f}\t{p[i]:.4f}")


if __name__ == "__main__":
    if len(sys.argv) != 3:
        sys.exit(__doc__)
    main()

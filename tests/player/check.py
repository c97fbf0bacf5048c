#!/usr/bin/env python3
"""Checks the player in headless Chromium: check.py [offline|live|controls]...

The audio clock does not follow virtual time, so the pages run in real time. Expected times are computed here from the data of
the page; measured times come from samples.
"""

import shutil
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent / '../outside'))

import check_controls
import check_live
import sample
from browser import Browser

SOURCE = Path(__file__).parent / '../../src/export/handout'
RATE = 44100

# Finds onsets in the samples that an event adds: what a render has and the same render without a group of events lacks.
OFFLINE = r'''
const P = teeterPlayer, D = JSON.parse(document.getElementById('teeter-data').textContent);
async function onsets(speed, options) {
  const o = { volume: 0.25, tail: 3, keep: () => true, ...options };
  const list = P.events(D, { ...o, speed }).filter(o.keep);
  const probe = new OfflineAudioContext(2, 1, 44100);
  const groups = [];
  const key = (e) => JSON.stringify(e);
  for (const e of list) {
    const end = e.time + P.sound(probe, probe.destination, e, 0).end;
    let g = groups.find((group) => group.end + 0.03 < e.time);
    if (!g) groups.push(g = { keys: new Set() });
    g.keys.add(key(e));
    g.end = end;
  }
  const full = await P.render(speed, o);
  const found = [];
  for (const g of groups) {
    const rest = await P.render(speed, { ...o, keep: (e) => o.keep(e) && !g.keys.has(key(e)) });
    const pairs = [0, 1].map((c) => [full.getChannelData(c), rest.getChannelData(c)]);
    let quiet = 1e9, armed = false;
    for (let i = 0; i < full.length; i++) {
      const size = Math.max(...pairs.map(([a, b]) => Math.abs(a[i] - b[i])));
      armed = armed || (size >= 1.5e-4 && quiet > 661);
      if (armed && size > 4e-4) { found.push(i / 44100); armed = false; }
      quiet = size < 1.5e-4 ? quiet + 1 : 0;
    }
  }
  return found.sort((a, b) => a - b);
}
async function peak(speed, options) {
  const b = await P.render(speed, options);
  let top = 0;
  for (let c = 0; c < 2; c++) for (const x of b.getChannelData(c)) top = Math.max(top, Math.abs(x));
  return [top, b.length];
}
async function repeats(speed, bar, frames) {
  const b = await P.render(speed, { bar, passes: 4, beat: true, hearing: D.hearings.length ? 0 : null });
  const worst = [0, 0];
  for (let c = 0; c < 2; c++) {
    const x = b.getChannelData(c);
    for (let i = 0; i < frames; i++) [2, 3].forEach((pass, n) => {
      worst[n] = Math.max(worst[n], Math.abs(x[(pass - 1) * frames + i] - x[pass * frames + i]));
    });
  }
  return worst;
}
async function note(voice, pitch, length) {
  const ctx = new OfflineAudioContext(1, 44100, 44100);
  P.sound(ctx, ctx.destination, { voice, level: 1, pitch, length, pan: 0 }, 0.1);
  const x = (await ctx.startRendering()).getChannelData(0);
  const at = (a, b) => Math.max(...x.slice((0.1 + a) * 44100, (0.1 + b) * 44100).map(Math.abs));
  // The lag of the first high peak of the correlation after it was negative.
  const like = [];
  for (let l = 0; l < 1400; l++) {
    let sum = 0, power = 0;
    for (let i = 6000; i < 12000; i++) { sum += x[i] * x[i + l]; power += x[i + l] ** 2; }
    like.push(sum / Math.sqrt(power));
  }
  const dip = like.findIndex((v) => v < 0);
  const high = 0.9 * Math.max(...like.slice(dip));
  let lag = like.findIndex((v, l) => l > dip && v > high);
  while (like[lag + 1] > like[lag]) lag++;
  return { hz: 44100 / lag, held: at(length - 0.06, length - 0.02), after: at(length, 0.85), rise: x.findIndex((v) => Math.abs(v) > 1e-3) / 44100 - 0.1 };
}
'''


class Report:
    def __init__(self):
        self.failed = 0

    def expect(self, ok, words):
        self.failed += not ok
        print('ok    ' if ok else 'FAILED', words, flush=True)


def expected(times, data, bar, speed, count_in):
    """Schedule in seconds of one pass, from the data alone."""
    starts = [b[0] for b in data['bars']] + [data['seconds']]
    low, high = (0, data['seconds']) if bar is None else (starts[bar], starts[bar + 1])
    lead = 0
    counts = []
    if count_in:
        first = bar or 0
        lead = starts[first + 1] - starts[first]
        counts = [t - starts[first] for t, _ in data['beat'] if starts[first] - 1e-6 <= t < starts[first + 1] - 1e-6]
    inside = [t - low + lead for t in times if low - 1e-6 <= t < high - 1e-6]
    return [t * 100 / speed for t in sorted(counts + inside)]


def check_onsets(browser, report, data, speeds, bars):
    for speed in speeds:
        for bar in bars:
            cases = [(f'layer {layer["name"]}', [h[0] for h in layer['hits'] if h[1] > 0],
                      f'keep: (e) => e.layer === {n}', False) for n, layer in enumerate(data['layers'])]
            cases.append(('beat clicks', [b[0] for b in data['beat']], 'groove: false, beat: true', False))
            cases.append(('beat clicks and count-in', [b[0] for b in data['beat']],
                          'groove: false, beat: true, countIn: true', True))
            cases += [(h['name'], h['pulses'], f'groove: false, hearing: {n}', False) for n, h in enumerate(data['hearings'])]
            for name, times, options, count_in in cases:
                bar_text = 'null' if bar is None else bar
                found = browser.run(f'onsets({speed}, {{ bar: {bar_text}, {options} }})')
                want = expected(times, data, bar, speed, count_in)
                worst = max((abs(a - b) for a, b in zip(found, want)), default=0)
                report.expect(len(found) == len(want) > 0 and worst < 0.001,
                              f'{speed} %, {"all" if bar is None else "bar " + str(bar)}, {name}: '
                              f'{len(found)} onsets of {len(want)}, worst {worst * 1000:.3f} ms')


def check_levels(browser, report, data, name):
    hearing = '0' if data['hearings'] else 'null'
    for speed in (40, 60, 100, 110):
        top, frames = browser.run(f'peak({speed}, {{ beat: true, hearing: {hearing}, countIn: true, passes: 2 }})')
        starts = [b[0] for b in data['bars']] + [data['seconds']]
        want = round((starts[1] + 2 * data['seconds']) * 100 / speed * RATE)
        report.expect(0.1 < top < 10 ** (-1 / 20), f'{name}, {speed} %, everything on at full volume: peak {top:.3f}')
        report.expect(frames == want, f'{name}, {speed} %: {frames} frames, expected {want}')
    top, _ = browser.run(f'peak(100, {{ beat: true, hearing: {hearing}, volume: 0.3 }})')
    report.expect(0.05 < top < 0.6, f'{name}, everything on at the first volume: peak {top:.3f}')


def check_offline(browser, report, pages):
    dense, voices = sample.dense(), sample.voices()
    tab = browser.open(pages['dense'])
    browser.run(OFFLINE.replace('const P', 'var P', 1) + ';0')
    check_onsets(browser, report, dense, (100, 60), (None, 1, 4))
    check_levels(browser, report, dense, 'dense')
    starts = [b[0] for b in dense['bars']] + [dense['seconds']]
    for speed in (100, 60):
        for bar in range(6):
            frames = round((starts[bar + 1] - starts[bar]) * 100 / speed * RATE)
            worst = browser.run(f'repeats({speed}, {bar}, {frames})')
            report.expect(max(worst) < 2e-5, f'{speed} %, bar {bar} repeats: largest difference {max(worst):.2e}')
    for voice, pitch, hz in (('bass', 33, 55.0), ('bass', 28, 41.2), ('pluck', 57, 220.0), ('pluck', 52, 164.8)):
        n = browser.run(f'note("{voice}", {pitch}, 0.4)')
        report.expect(abs(n['hz'] / hz - 1) < 0.02 and n['held'] > 0.02 and n['after'] < 1e-4 and n['rise'] < 0.001,
                      f'{voice} {pitch}: {n["hz"]:.1f} Hz, {n["held"]:.3f} before its end, {n["after"]:.1e} after')
    browser.shut(tab)
    tab = browser.open(pages['voices'])
    browser.run(OFFLINE.replace('const P', 'var P', 1) + ';0')
    check_onsets(browser, report, voices, (100, 60), (None,))
    check_levels(browser, report, voices, 'voices')
    browser.shut(tab)


def main():
    parts = sys.argv[1:] or ['offline', 'live', 'controls']
    report = Report()
    size = (SOURCE / 'player.js').stat().st_size
    report.expect(size < 21000, f'player.js has {size} bytes')
    folder = Path(tempfile.mkdtemp(prefix='check-', dir=tempfile.gettempdir()))
    pages = {'dense': folder / 'dense.html', 'voices': folder / 'voices.html'}
    pages['dense'].write_text(sample.page(sample.dense()))
    pages['voices'].write_text(sample.page(sample.voices()))
    browser = Browser(folder)
    started = time.monotonic()
    try:
        if 'offline' in parts:
            check_offline(browser, report, pages)
        if 'live' in parts:
            check_live.check(browser, report, pages, sample.dense())
        if 'controls' in parts:
            check_controls.check(browser, report, pages, sample.dense())
        network = [url for url in browser.requests if not url.startswith(('file:', 'data:', 'blob:'))]
        report.expect(not browser.errors, f'no console errors: {browser.errors[:3]}')
        report.expect(not network, f'no requests to the network: {network[:3]}')
    finally:
        browser.close()
        shutil.rmtree(folder, ignore_errors=True)
    print(f'{report.failed} failed, {time.monotonic() - started:.0f} s')
    sys.exit(report.failed > 0)


if __name__ == '__main__':
    main()

#!/usr/bin/env python3
"""Writes a sample handout page with the player: sample.py [--voices] FILE

The default page has 16th notes at 200 BPM, a repeat, then quintuplets at 150 BPM. With --voices, every voice has a layer of
its own, in a single section at 120 BPM.
"""

import json
import sys
from pathlib import Path

SOURCE = Path(__file__).parent / '../../src/export/handout'
VOICES = ['kick', 'snare', 'hat', 'open-hat', 'rim', 'clap', 'tom', 'wood', 'bell', 'shaker', 'ride', 'crash', 'cowbell',
          'bass', 'pluck', 'anvil']


def dense():
    bars, beat, cells = [], [], []
    start = 0.0
    order = [('A 1', 1.2, 4), ('A 2', 1.2, 4), ('A 1, 2nd time', 1.2, 4), ('A 2, 2nd time', 1.2, 4), ('B 1', 1.6, 5),
             ('B 2', 1.6, 5)]
    for label, length, division in order:
        bars.append([start, label])
        beat += [[start + i * length / 4, int(i == 0)] for i in range(4)]
        cells += [(start + i * length / (4 * division), length / (4 * division), i) for i in range(4 * division)]
        start += length
    accent = lambda i: [1.0, 0.2, 0.6, 0.2, 0.6][i % 5]
    rattle = [[t, accent(i), None, d] for t, d, i in cells]
    # The heel is a little behind the written time, by a different amount each time.
    heel = [[t + 0.0007 * (n % 9), accent(n), None, d] for n, (t, d, i) in enumerate(cells) if i % 3 == 0]
    rope = [[t, accent(i + 1), 28 + [0, 7, 12, 10][i % 4], d * (3 if i % 4 == 3 else 1)] for t, d, i in cells if i % 4 != 0]
    return {
        'title': 'Slack Water Rattle', 'seconds': start, 'bpm': 200.0, 'unit': '1/4', 'bars': bars,
        'layers': [
            {'name': 'rattle', 'voice': 'shaker', 'gain_db': -3.0, 'pan': 0.3, 'hits': rattle},
            {'name': 'heel', 'voice': 'kick', 'gain_db': 0.0, 'pan': 0.0, 'hits': heel},
            {'name': 'rope', 'voice': 'bass', 'gain_db': -2.0, 'pan': -0.3, 'hits': rope}],
        'beat': beat,
        'hearings': [
            {'name': 'hearing 1', 'tempo': '266.7 then 250.0 BPM', 'pulses': [t for t, _, i in cells if i % 3 == 0]},
            {'name': 'hearing 2', 'tempo': '133.3 BPM', 'pulses': [0.45 * i for i in range(18) if 0.45 * i < start]}],
    }


def voices():
    hits = lambda n: [[0.25 * i + n / 64, level, None, 0.2] for i, level in enumerate([1.0, 0.6, 0.2, 0.6] * 4)]
    return {
        'title': 'Every voice', 'seconds': 4.0, 'bpm': None, 'unit': '1/4', 'bars': [[0.0, '1'], [2.0, '2']],
        'layers': [{'name': v, 'voice': v, 'gain_db': 0.0, 'pan': 0.0, 'hits': hits(n)} for n, v in enumerate(VOICES)],
        'beat': [[0.5 * i, int(i % 4 == 0)] for i in range(8)], 'hearings': [],
    }


def line(figure, part, from_, to, width, top, bottom):
    """A line whose time runs from x = 60 to the right edge, evenly within it."""
    points = [[from_ + (to - from_) * i / 4, 60 + (width - 70) * i / 4] for i in range(5)]
    return {'figure': figure, 'part': part, 'from': from_, 'to': to, 'points': points, 'top': top, 'bottom': bottom}


def text(x, y, words):
    return f'<text x="{x:.1f}" y="{y:.1f}" font-size="12">{words}</text>'


def grid(data, from_, to, width):
    """Cells of every layer over time, for one line."""
    body = []
    x = lambda t: 60 + (width - 70) * (t - from_) / (to - from_)
    for start, label in data['bars']:
        if from_ <= start < to:
            body.append(f'<path d="M{x(start):.1f} 20V100" stroke="#111"/>' + text(x(start) + 3, 15, label))
    for row, layer in enumerate(data['layers'][:3]):
        body.append(text(2, 40 + 26 * row, layer['name']))
        body += [f'<rect x="{x(t):.1f}" y="{28 + 26 * row}" width="3" height="{4 + 12 * level:.0f}"/>'
                 for t, level, _, _ in layer['hits'] if from_ <= t < to]
    return svg(width, 110, ''.join(body), 'grid')


def svg(width, height, body, words):
    return (f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" viewBox="0 0 {width} {height}" '
            f'role="img" aria-label="{words}">{body}</svg>')


def staff(data, spans, width):
    """Lines of strokes on a staff, all in one SVG."""
    body = []
    for row, (from_, to) in enumerate(spans):
        x = lambda t: 60 + (width - 70) * (t - from_) / (to - from_)
        y = 30 + 90 * row
        body.append(f'<path d="M50 {y + 30}H{width - 10}" stroke="#111"/>' + text(2, y + 34, 'heel'))
        body += [f'<path d="M{x(t):.1f} {y + 30}v-28" stroke="#111"/><ellipse cx="{x(t) - 3:.1f}" cy="{y + 30}" rx="4" ry="3"/>'
                 for t, _, _, _ in data['layers'][1]['hits'] if from_ <= t < to]
    return svg(width, 30 + 90 * len(spans), ''.join(body), 'notation')


def page(data):
    title, seconds = data['title'], data['seconds']
    lines = []
    starts = [b[0] for b in data['bars']] + [seconds]
    if len(data['bars']) == 6:
        # The picture shows A once; it is played twice.
        wide = [(0, 0, 2.4), (0, 2.4, 4.8), (1, 4.8, seconds)]
        narrow = [(0, 0, 1.2), (1, 1.2, 2.4), (0, 2.4, 3.6), (1, 3.6, 4.8), (2, 4.8, 6.4), (3, 6.4, seconds)]
        drawn = [(0, 2.4), (4.8, seconds)]
        drawn_narrow = [(0, 1.2), (1.2, 2.4), (4.8, 6.4), (6.4, seconds)]
    else:
        wide = drawn = None
        narrow = [(i, starts[i], starts[i + 1]) for i in range(len(starts) - 1)]
        drawn_narrow = list(zip(starts, starts[1:]))
        drawn = drawn_narrow
        wide = narrow
    lines += [line('figure-grid1', p, a, b, 690, 20, 100) for p, a, b in wide]
    lines += [line('figure-grid1-narrow', p, a, b, 360, 20, 100) for p, a, b in narrow]
    lines += [line('figure-notation1', 0, a, b, 690, 25 + 90 * p, 75 + 90 * p) for p, a, b in wide]
    data = dict(data, lines=lines)
    grids = ''.join(grid(data, a, b, 690) for a, b in drawn)
    narrow_grids = ''.join(grid(data, a, b, 360) for a, b in drawn_narrow)
    json_text = json.dumps(data).replace('<', '\\u003c')
    return f'''<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>{title}</title>
<style>*{{box-sizing:border-box}}body{{margin:0 auto;padding:1.2rem 1rem 3rem;max-width:46rem;color:#111;background:#fff;font:1rem/1.5 serif}}
figure{{margin:1em 0;overflow-x:auto}}svg{{display:block;width:100%;height:auto}}.wide svg{{min-width:620px}}.narrow{{display:none}}
@media (max-width:600px){{.narrow{{display:block}}#figure-grid1{{display:none}}}}
{(SOURCE / 'player.css').read_text()}</style>
</head>
<body>
<main>
<h1>{title}</h1>
<p>Invented: the ferry crew shakes the mooring chain free at slack water.</p>
<div id="player"></div>
<figure class="wide" id="figure-grid1" tabindex="0">{grids}</figure>
<figure class="narrow" id="figure-grid1-narrow">{narrow_grids}</figure>
<figure class="wide" id="figure-notation1" tabindex="0">{staff(data, drawn, 690)}</figure>
</main>
<script type="application/json" id="teeter-data">{json_text}</script>
<script>
{(SOURCE / 'player.js').read_text()}</script>
</body>
</html>
'''


if __name__ == '__main__':
    arguments = sys.argv[1:]
    data = voices() if '--voices' in arguments else dense()
    names = [a for a in arguments if a != '--voices']
    if len(names) != 1:
        sys.exit(__doc__)
    Path(names[0]).write_text(page(data))

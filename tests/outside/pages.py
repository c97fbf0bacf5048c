"""Checks students' pages in headless Chromium: pages.py FOLDER [NAME of a page whose sound is checked]...

Every page prints on one sheet of A4 and of Letter, weighs less than 1 MB, makes no request and logs no error. Of the named pages
the audio graph is recorded offline at 100 and 60 percent: every onset within 1 ms of the schedule in the page, the peak below
-1 dBFS. The expected times are computed here from the data of the page, the measured ones from samples."""

import base64
import json
import re
import sys
import tempfile
from pathlib import Path

from browser import Browser

RATE = 44100
PAPERS = {'A4': (8.27, 11.69), 'Letter': (8.5, 11)}

# Finds the onsets of events in the samples: what a render has and the same render without a group of events lacks.
ONSETS = r'''
var P = teeterPlayer, D = JSON.parse(document.getElementById('teeter-data').textContent);
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
  return top;
}
0
'''


class Report:
    def __init__(self):
        self.checks = self.failed = 0

    def expect(self, ok, words):
        self.checks += 1
        if not ok:
            self.failed += 1
            print('FAILED', words)


def sheets(browser, paper):
    width, height = PAPERS[paper]
    data = browser.call('Page.printToPDF', paperWidth=width, paperHeight=height, preferCSSPageSize=False,
                        marginTop=12 / 25.4, marginBottom=12 / 25.4, marginLeft=12 / 25.4, marginRight=12 / 25.4)['data']
    return len(re.findall(rb'/Type\s*/Page\b(?!s)', base64.b64decode(data)))


def check_sound(browser, report, name, data):
    worst_of_all = onsets_of_all = 0
    cases = [(f'layer {layer["name"]}', [h[0] for h in layer['hits'] if h[1] > 0], f'keep: (e) => e.layer === {n}')
             for n, layer in enumerate(data['layers'])]
    cases.append(('beat', [b[0] for b in data['beat']], 'groove: false, beat: true'))
    cases += [(h['name'], h['pulses'], f'groove: false, hearing: {n}') for n, h in enumerate(data['hearings'])]
    for speed in (100, 60):
        for case, times, options in cases:
            found = browser.run(f'onsets({speed}, {{ bar: null, {options} }})')
            wanted = sorted(t * 100 / speed for t in times)
            worst = max((abs(a - b) for a, b in zip(found, wanted)), default=1)
            report.expect(len(found) == len(wanted) and worst < 0.001,
                          f'{name}, {speed} %, {case}: {len(found)} onsets of {len(wanted)}, worst {worst * 1000:.3f} ms')
            worst_of_all, onsets_of_all = max(worst_of_all, worst), onsets_of_all + len(found)
        hearing = 0 if data['hearings'] else 'null'
        top = browser.run(f'peak({speed}, {{ beat: true, hearing: {hearing}, countIn: true, passes: 2 }})')
        report.expect(0.05 < top < 10 ** (-1 / 20), f'{name}, {speed} %, everything at full volume: peak {top:.3f}')
    print(f'{name}: {onsets_of_all} onsets, at most {worst_of_all * 1000:.3f} ms from the schedule')


def main():
    folder, heard = Path(sys.argv[1]).resolve(), set(sys.argv[2:])
    report = Report()
    pages = sorted(p for p in folder.glob('*.html') if not p.stem.endswith('-teacher'))
    report.expect(pages and heard <= {p.stem for p in pages}, f'pages in {folder}')
    with tempfile.TemporaryDirectory() as place:
        browser = Browser(place)
        try:
            for page in pages:
                size = page.stat().st_size
                report.expect(size < 1_000_000, f'{page.stem}: {size} bytes')
                tab = browser.open(page)
                for paper in PAPERS:
                    count = sheets(browser, paper)
                    report.expect(count == 1, f'{page.stem}: {count} sheets of {paper}')
                if page.stem in heard:
                    browser.run(ONSETS)
                    check_sound(browser, report, page.stem, json.loads(browser.run('JSON.stringify(D)')))
                browser.shut(tab)
            outside = [url for url in browser.requests if not url.startswith(('file:', 'data:', 'blob:'))]
            report.expect(not browser.errors, f'errors: {browser.errors[:3]}')
            report.expect(not outside, f'requests: {outside[:3]}')
        finally:
            browser.close()
    print(f'{len(pages)} pages, {report.checks - report.failed} of {report.checks} checks passed')
    sys.exit(report.failed > 0)


main()

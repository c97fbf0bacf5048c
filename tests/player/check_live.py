"""Checks of live playing: samples recorded from the page's own output, real key events, the clock of its context."""

import time

# Keeps the context and the node in front of the speakers, and every source that is started.
HOOK = r'''
window.T = { starts: [], late: 0, keys: [] };
const connect = AudioNode.prototype.connect;
AudioNode.prototype.connect = function (to, ...rest) {
  if (to instanceof AudioDestinationNode && this.context instanceof AudioContext) { T.ctx = this.context; T.node = this; }
  return connect.call(this, to, ...rest);
};
for (const type of [AudioScheduledSourceNode, AudioBufferSourceNode]) {
  const start = type.prototype.start;
  type.prototype.start = function (when, ...rest) {
    if (this.context instanceof AudioContext) {
      T.starts.push(when);
      if (when < this.context.currentTime) T.late += 1;
    }
    return start.call(this, when, ...rest);
  };
}
addEventListener('keydown', (e) => { if (T.ctx) T.keys.push([e.key, T.ctx.currentTime]); }, true);
T.record = async () => {
  const code = `registerProcessor('tap', class extends AudioWorkletProcessor {
    process(inputs) { this.port.postMessage([currentFrame, inputs[0][0] ? inputs[0][0].slice() : new Float32Array(128)]); return true; }
  })`;
  await T.ctx.audioWorklet.addModule('data:text/javascript,' + encodeURIComponent(code));
  const tap = new AudioWorkletNode(T.ctx, 'tap');
  T.blocks = [];
  tap.port.onmessage = (e) => T.blocks.push(e.data);
  connect.call(T.node, tap);
  tap.connect(new GainNode(T.ctx, { gain: 0 })).connect(T.ctx.destination);
};
T.onsets = (high, silence) => {
  const found = [], rate = T.ctx.sampleRate;
  let quiet = 1e9, armed = false, last = 0, lost = 0;
  // Blocks may be missing while the recording begins. Later a block may have the number of the one before, so blocks are counted.
  const blocks = T.blocks.filter(([frame]) => frame - T.blocks[0][0] > rate / 10);
  let frame = blocks[0][0] - 128;
  for (const [label, x] of blocks) {
    frame += 128;
    lost = Math.round((label - frame) / 128);
    x.forEach((v, i) => {
      const size = Math.abs(v);
      armed = armed || (size >= high / 3 && quiet > silence * rate);
      if (armed && size > high) { found.push((frame + i) / rate); armed = false; }
      if (size > high) last = (frame + i) / rate;
      quiet = size < high / 3 ? quiet + 1 : 0;
    });
  }
  return { found, last, lost: Math.abs(lost) > 1 ? lost : 0, keys: T.keys, late: T.late, state: T.ctx.state };
};
'''
MARGIN = 0.05


def key_times(result, key):
    return [t for k, t in result['keys'] if k == key]


def check_speed(browser, report, page):
    """Beat clicks alone while the speed changes: 0.3 s apart at 100 %."""
    tab = browser.open(page, HOOK)
    # Bar 0 alone, beat clicks without groove and count-in.
    browser.run("document.querySelector('[name=countIn]').click(); document.querySelector('[name=groove]').click();"
                "document.querySelector('[name=beat]').click(); 0")
    browser.key(']')
    browser.key(' ', code='Space', text=' ')
    time.sleep(0.1)
    browser.run('T.record()')
    time.sleep(1.6)
    for _ in range(4):
        browser.key('-')
    time.sleep(1.7)
    for _ in range(6):
        browser.key('+')
    time.sleep(1.4)
    browser.key(' ', code='Space', text=' ')
    time.sleep(0.3)
    result = browser.run('T.onsets(0.004, 0.05)')
    # The recording may begin within a click.
    began, *found = result['found']
    # Position in the run as a function of time: changes of the rate, each MARGIN after its key.
    origin = browser.run('T.starts[0]')
    speed, position, at, changes = 100, 0.0, origin, [(origin, 0.0, 100)]
    for key, t in result['keys']:
        if key in '-+':
            new = max(40, min(110, speed + (5 if key == '+' else -5)))
            position += (t + MARGIN - at) * speed / 100
            speed, at = new, t + MARGIN
            changes.append((at, position, speed))
    stop = key_times(result, ' ')[-1]
    want, n = [], 0
    while True:
        target = 0.3 * n
        when = next(a + (target - p) * 100 / s for i, (a, p, s) in enumerate(changes)
                    if i + 1 == len(changes) or changes[i + 1][1] > target)
        if when > stop:
            break
        if when > began + 0.05:
            want.append(when)
        n += 1
    worst = max(abs(a - b) for a, b in zip(found, want))
    report.expect(result['lost'] == 0, f'live: recording without gaps ({result["lost"]})')
    report.expect(abs(len(found) - len(want)) <= 1 and worst < 0.003,
                  f'live, speed 100, 80, 110 %: {len(found)} clicks of {len(want)}, none twice, worst {worst * 1000:.2f} ms')
    gaps = [b - a for a, b in zip(found, found[1:])]
    steady = [abs(g - i) for g in gaps for i in (0.3, 0.375, 0.3 / 1.1) if abs(g - i) < 0.003]
    report.expect(len(steady) >= len(gaps) - 12 and max(steady) < 0.001,
                  f'live: {len(steady)} of {len(gaps)} distances steady, worst {max(steady) * 1000:.3f} ms')
    report.expect(result['late'] == 0, f'live: no source started in the past ({result["late"]})')
    report.expect(0 <= result['last'] - stop < 0.1 or result['last'] < stop,
                  f'live: silent {max(0, result["last"] - stop) * 1000:.0f} ms after the stop')
    browser.shut(tab)


def check_toggles(browser, report, page):
    """Groove off: silence; groove on: sound again, both within 100 ms; two bars of count-in clicks are not repeated."""
    tab = browser.open(page, HOOK)
    browser.key(']')
    browser.key(' ', code='Space', text=' ')
    time.sleep(0.1)
    browser.run('T.record()')
    time.sleep(2.6)
    browser.key('g')
    time.sleep(0.8)
    off = browser.run('T.onsets(0.003, 0.2)')
    t = key_times(off, 'g')[0]
    report.expect(off['last'] - t < 0.1, f'live: groove silent {(off["last"] - t) * 1000:.0f} ms after its key')
    browser.run('T.blocks = []; 0')
    browser.key('g')
    time.sleep(0.6)
    on = browser.run('T.onsets(0.003, 0.2)')
    t = key_times(on, 'g')[1]
    # The rattle has a hit every 0.075 s: its wait is added.
    report.expect(0 < on['found'][0] - t < 0.1 + 0.075, f'live: groove heard {(on["found"][0] - t) * 1000:.0f} ms after its key')
    browser.run('T.blocks = []; 0')
    browser.key('g')
    time.sleep(0.3)
    browser.key('b')
    time.sleep(1.3)
    beats = browser.run('T.onsets(0.004, 0.05)')
    t = key_times(beats, 'b')[0]
    clicks = [x for x in beats['found'] if x > t]
    report.expect(0 < clicks[0] - t < 0.1 + 0.3, f'live: beat heard {(clicks[0] - t) * 1000:.0f} ms after its key, beats 300 ms apart')
    report.expect(beats['late'] == 0 and beats['lost'] == 0, 'live: nothing late, recording without gaps')
    browser.key('b')
    browser.key('h')
    time.sleep(0.8)
    browser.run('T.blocks = []; 0')
    time.sleep(1.3)
    pulses = browser.run('T.onsets(0.004, 0.05)')['found']
    report.expect(len(pulses) >= 5, f'live: {len(pulses)} clicks of the hearing in 1.3 s, 225 ms apart')
    browser.shut(tab)


def check_count_in(browser, report, page):
    tab = browser.open(page, HOOK)
    browser.run("document.querySelector('[name=groove]').click(); 0")
    browser.key(']')
    browser.key(' ', code='Space', text=' ')
    time.sleep(0.05)
    browser.run('T.record()')
    time.sleep(4)
    result = browser.run('T.onsets(0.004, 0.05)')
    # The first click may be over before the recording begins; sources tell.
    starts = browser.run('T.starts')
    report.expect(len(starts) == 4 and len(result['found']) in (3, 4) and result['last'] - starts[0] < 1.1,
                  f'live: {len(starts)} count-in clicks, not repeated in three passes')
    browser.shut(tab)


def check_random(browser, report, page):
    """Many changes while it plays, then the state of before: the sources due from then on are those of the plain loop."""
    tab = browser.open(page, HOOK)
    browser.run("document.querySelector('[name=countIn]').click(); 0")
    browser.key(' ', code='Space', text=' ')
    for key in 'bhg-]]+b[g--h0+++]bbgg0-+' * 3:
        browser.key(key)
        time.sleep(0.02)
    browser.run("for (const [n, v] of [['speed', 100], ['bar', 0]]) { const f = document.querySelector(`[name=${n}]`); f.value = v;"
                "f.dispatchEvent(new Event('input', { bubbles: true })); } 0")
    time.sleep(0.3)
    browser.run('T.from = T.ctx.currentTime + 0.5; T.late = 0; T.starts = []; 0')
    time.sleep(3)
    result = browser.run('({ starts: T.starts, from: T.from, now: T.ctx.currentTime, late: T.late })')
    expected = browser.run("teeterPlayer.events(JSON.parse(document.getElementById('teeter-data').textContent), { bar: 0,"
                           "groove: document.querySelector('[name=groove]').checked, beat: document.querySelector('[name=beat]').checked,"
                           "hearing: document.querySelector('[name=hearing]').checked ? 0 : null }).map((e) => [e.time, e.voice])")
    parts = {'shaker': 1, 'kick': 2, 'bass': 2, 'click-beat': 1, 'click-downbeat': 1, 'click-hearing': 2}
    per_pass = sum(parts[v] for _, v in expected)
    inside = [t for t in result['starts'] if result['from'] <= t < result['from'] + 1.2]
    report.expect(len(inside) == per_pass > 0 and result['late'] == 0,
                  f'live: after 75 keys in 2 s one pass has {len(inside)} sources of {per_pass}, none late')
    browser.shut(tab)


def check(browser, report, pages, data):
    check_speed(browser, report, pages['dense'])
    check_toggles(browser, report, pages['dense'])
    check_count_in(browser, report, pages['dense'])
    check_random(browser, report, pages['dense'])

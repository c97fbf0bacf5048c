(() => {
'use strict';

const json = document.getElementById('teeter-data');
const panel = document.getElementById('player');
if (!json || !panel || !window.AudioContext) return;
const data = JSON.parse(json.textContent);

const clamp = (value, low, high) => Math.min(high, Math.max(low, value));

const ATTACK = 0.0004;
const RELEASE = 0.015;
// Sounds are scheduled LOOKAHEAD seconds before they are due, changes take effect MARGIN seconds from now.
const LOOKAHEAD = 0.4;
const MARGIN = 0.05;
// Times in the data are rounded: a hit this close before a bar line is in the next bar.
const ROUNDING = 1e-4;
// Full scale of the limit.
const RANGE = 8;

// A voice is a sum of parts [wave or filter of noise, frequency, gain, time constant of the decay, frequency the wave falls to
// or delay of the noise]. With a pitch, frequencies are ratios to it. A held voice ends with the length of its hit.
const VOICES = {
  kick: { parts: [['sine', 170, 0.77, 0.09, 48], ['lowpass', 2500, 0.18, 0.004]] },
  snare: { parts: [['triangle', 230, 0.3, 0.04, 180], ['bandpass', 2600, 0.54, 0.055]] },
  hat: { parts: [['highpass', 8000, 0.32, 0.016]] },
  'open-hat': { parts: [['highpass', 7200, 0.29, 0.1]] },
  rim: { parts: [['triangle', 1720, 0.3, 0.006], ['sine', 520, 0.3, 0.012]] },
  clap: { parts: [['bandpass', 1300, 0.54, 0.005], ['bandpass', 1300, 0.42, 0.005, 0.011], ['bandpass', 1400, 0.48, 0.04, 0.022]] },
  tom: { pitch: 45, parts: [['sine', 1.5, 0.56, 0.12, 1], ['triangle', 2.4, 0.14, 0.03, 1.6]] },
  'low-tom': { pitch: 41, parts: [['sine', 1.5, 0.58, 0.15, 1], ['triangle', 2.4, 0.13, 0.03, 1.6]] },
  wood: { parts: [['sine', 980, 0.38, 0.02], ['triangle', 1530, 0.17, 0.01]] },
  bell: { pitch: 72, held: true, parts: [['sine', 1, 0.2, 0.35], ['sine', 2.76, 0.14, 0.16], ['sine', 5.4, 0.08, 0.06]] },
  shaker: { parts: [['bandpass', 5600, 0.32, 0.028]] },
  ride: { parts: [['highpass', 6000, 0.1, 0.2], ['square', 3150, 0.045, 0.12], ['square', 4730, 0.035, 0.08]] },
  crash: { parts: [['highpass', 3800, 0.32, 0.32]] },
  cowbell: { parts: [['triangle', 562, 0.24, 0.07], ['triangle', 845, 0.24, 0.05]] },
  bass: { pitch: 28, held: true, parts: [['triangle', 1, 0.5, 0.45], ['sawtooth', 1, 0.17, 0.06]] },
  pluck: { pitch: 52, held: true, parts: [['triangle', 1, 0.3, 0.3], ['sawtooth', 1, 0.15, 0.05]] },
  'click-beat': { parts: [['sine', 1760, 0.4, 0.009]] },
  'click-downbeat': { parts: [['sine', 2640, 0.48, 0.012]] },
  'click-hearing': { parts: [['square', 392, 0.2, 0.022], ['bandpass', 3200, 0.3, 0.006]] },
};

// The loop and its count-in, in seconds at 100 %.
function loopOf(data, bar) {
  const start = data.bars[bar || 0][0];
  const end = [...data.bars.map(([t]) => t), data.seconds][(bar || 0) + 1];
  const counts = data.beat.filter(([t]) => t >= start - ROUNDING && t < end - ROUNDING);
  const [from, to] = bar === null ? [0, data.seconds] : [start, end];
  return { from, length: to - from, counts, start, count: counts.length ? end - start : 0 };
}

// The events of one pass, in order. `time` counts from the start of the run at the chosen speed, `position` from the start of
// the loop at 100 %, negative in the count-in.
function events(data, options) {
  const o = { bar: null, speed: 100, groove: true, beat: false, hearing: null, countIn: false, ...options };
  const loop = loopOf(data, o.bar);
  const rate = o.speed / 100;
  const lead = o.countIn ? loop.count : 0;
  const list = [];
  const add = (position, event) => list.push({ time: (position + lead) / rate, position, pitch: null, length: 0.1, ...event });
  const addLooped = (t, event) => {
    const turns = o.bar === null ? Math.floor((t + ROUNDING) / loop.length) : 0;
    const position = t - loop.from - turns * loop.length;
    if (position < -ROUNDING || position >= loop.length - ROUNDING) return;
    if (event.length) event.length = Math.min(event.length, loop.length - position) / rate;
    add(Math.max(0, position), event);
  };
  // The grace stroke of a flam, equally long before its hit at every speed; before the start of the loop, at the end of the pass.
  const addGrace = (t, event) => {
    const before = list.length;
    addLooped(t, event);
    list.slice(before).forEach((grace) => {
      const position = grace.position - data.flam.lead * rate;
      grace.position = position < 0 ? position + loop.length : position;
      grace.time = (grace.position + lead) / rate;
      grace.length = data.flam.lead;
    });
  };
  const click = (kind, downbeat) => ({ kind, voice: downbeat ? 'click-downbeat' : 'click-beat', level: 1, pan: -0.4 });

  if (lead) loop.counts.forEach(([t, downbeat]) => add(Math.max(0, t - loop.start) - lead, click('count', downbeat)));
  if (o.groove) data.layers.forEach(({ voice, gain_db, pan, hits }, layer) => {
    hits.forEach(([t, strength, pitch, length, flam]) => {
      const level = strength * 10 ** (gain_db / 20);
      if (level <= 0) return;
      addLooped(t, { kind: 'groove', layer, voice, level, pitch, length, pan });
      if (flam) addGrace(t, { kind: 'groove', layer, voice, level: level * data.flam.level, pitch, pan });
    });
  });
  if (o.beat) data.beat.forEach(([t, downbeat]) => addLooped(t, click('beat', downbeat)));
  if (o.hearing !== null) data.hearings[o.hearing].pulses.forEach((t) =>
    addLooped(t, { kind: 'hearing', voice: 'click-hearing', level: 1, pan: 0.4 }));
  return list.sort((a, b) => a.position - b.position);
}

// Always the same noise, so that equal hits sound equal.
const noise = new AudioBuffer({ length: 44100, sampleRate: 44100 });
let seed = 1;
noise.getChannelData(0).forEach((_, i, samples) => {
  seed = (Math.imul(seed, 1664525) + 1013904223) | 0;
  samples[i] = seed / 2147483648;
});

// Makes the nodes of an event that starts at `when`. `cut(at)` of the result ends it early.
function sound(ctx, destination, event, when) {
  const voice = VOICES[event.voice] || VOICES.wood;
  // Equal hits get equal samples: half samples do not round both ways.
  when = (Math.floor(when * ctx.sampleRate + 0.47) + 0.01) / ctx.sampleRate;
  const pitch = event.pitch === null ? voice.pitch : event.pitch;
  const unit = voice.pitch ? 440 * 2 ** ((pitch - 69) / 12) : 1;
  const out = new GainNode(ctx, { gain: event.level });
  out.connect(new StereoPannerNode(ctx, { pan: event.pan })).connect(destination);

  let end = when;
  voice.parts.forEach(([type, frequency, level, decay, extra]) => {
    const isNoise = type.endsWith('pass');
    const start = when + (isNoise && extra || 0);
    let stop = start + ATTACK + 8 * decay;
    const envelope = new GainNode(ctx, { gain: 0 });
    const { gain } = envelope;
    gain.setValueAtTime(0, start);
    gain.linearRampToValueAtTime(level, start + ATTACK);
    gain.setTargetAtTime(0, start + ATTACK, decay);
    const off = when + Math.max(event.length, 2 * RELEASE);
    if (voice.held && off < stop) {
      gain.setTargetAtTime(0, off - RELEASE, RELEASE / 6);
      stop = off;
    }
    let source;
    if (isNoise) {
      source = new AudioBufferSourceNode(ctx, { buffer: noise, loop: true });
      source.connect(new BiquadFilterNode(ctx, { type, frequency, Q: 0.8 })).connect(envelope);
    } else {
      source = new OscillatorNode(ctx, { type, frequency: unit * frequency });
      if (extra) {
        // In the first block of samples, browsers place it inexactly.
        source.frequency.setValueAtTime(unit * frequency, start + 0.003);
        source.frequency.exponentialRampToValueAtTime(unit * extra, start + 0.08);
      }
      source.connect(envelope);
    }
    envelope.connect(out);
    source.start(start);
    source.stop(stop);
    end = Math.max(end, stop);
  });
  const cut = (at) => (at <= when ? out.disconnect() : out.gain.setTargetAtTime(0, at, 0.004));
  return { end, cut };
}

// Volume and a soft limit, never above 0.87 (-1.2 dBFS). It has no memory and delays nothing.
function outputOf(ctx, volume) {
  const knee = 0.5;
  const room = 0.87 - knee;
  const curve = new Float32Array(8193).map((_, i) => {
    const x = RANGE * (i / 4096 - 1);
    const over = Math.max(0, Math.abs(x) - knee);
    return over ? Math.sign(x) * (knee + room * Math.tanh(over / room)) : x;
  });
  const input = new GainNode(ctx, { gain: volume / RANGE });
  input.connect(new WaveShaperNode(ctx, { curve })).connect(ctx.destination);
  return input;
}

// Renders `passes` times the loop and `tail` seconds; `keep` chooses events.
function render(speed, options) {
  const o = { bar: null, passes: 1, volume: 1, tail: 0, rate: 44100, keep: () => true, ...options, speed };
  const loop = loopOf(data, o.bar);
  const pass = loop.length * 100 / speed;
  const lead = o.countIn ? loop.count * 100 / speed : 0;
  const ctx = new OfflineAudioContext(2, Math.round((lead + o.passes * pass + o.tail) * o.rate), o.rate);
  const output = outputOf(ctx, o.volume);
  events(data, o).filter(o.keep).forEach((event) => {
    for (let i = 0; i < (event.kind === 'count' ? 1 : o.passes); i++) sound(ctx, output, event, event.time + i * pass);
  });
  return ctx.startRendering();
}

window.teeterPlayer = { events, sound, render };

const state = { bar: null, speed: 100, groove: true, beat: false, hearing: false, which: 0, countIn: true, volume: 0.3 };
let ctx = null;
let output = null;
let run = null;

// Schedules from `anchor` on: a position at a time.
function schedule(anchor) {
  run.list = events(data, { ...state, hearing: state.hearing ? state.which : null });
  run.counts = run.list.filter((event) => event.position < 0).length;
  run.anchors = [...run.anchors.slice(-7), anchor];
  run.pass = 0;
  run.index = run.list.filter((event) => event.position < anchor.position).length;
  tick();
}

function tick() {
  const now = ctx.currentTime;
  const { time, position, rate, loop } = run.anchors[run.anchors.length - 1];
  run.active = run.active.filter(({ node }) => node.end > now);
  for (;;) {
    if (run.index >= run.list.length) {
      run.pass += 1;
      run.index = run.counts;
    }
    const event = run.list[run.index];
    if (!event) break;
    const when = time + (run.pass * loop.length + event.position - position) / rate;
    if (when >= now + LOOKAHEAD) break;
    // After a stall, late hits are left out.
    if (when >= now) run.active.push({ pass: run.pass, event, node: sound(ctx, run.bus, event, when) });
    run.index += 1;
  }
}

// Applies a changed state: sounds due after MARGIN are scheduled anew from the same position.
function reschedule() {
  const time = ctx.currentTime + MARGIN;
  const old = run.anchors[run.anchors.length - 1];
  const loop = loopOf(data, state.bar);
  const here = old.position + (time - old.time) * old.rate;
  const pass = Math.max(0, Math.floor(here / old.loop.length));
  const offset = here - pass * old.loop.length;
  const isSame = loop.from === old.loop.from && loop.length === old.loop.length;
  let position = offset + (old.loop.from - loop.from);
  const jump = offset < 0 ? !isSame || !state.countIn : position < 0 || position >= loop.length;
  if (jump) position = offset < 0 && state.countIn ? -loop.count : 0;
  run.active = run.active.filter(({ pass: p, event, node }) => {
    const isLater = p > pass || (p === pass && event.position >= offset);
    if (isLater) node.cut(0);
    else if (jump || (event.kind === 'groove' && !state.groove)) node.cut(time);
    return !isLater;
  });
  schedule({ time, position, rate: state.speed / 100, loop });
}

async function play() {
  if (!ctx) {
    ctx = new AudioContext();
    output = outputOf(ctx, state.volume);
    ctx.onstatechange = () => { if (ctx.state !== 'running') stop(); };
  }
  await ctx.resume();
  if (run) return;
  const loop = loopOf(data, state.bar);
  run = { bus: new GainNode(ctx), anchors: [], active: [], timer: setInterval(tick, 50) };
  run.bus.connect(output);
  schedule({ time: ctx.currentTime + 2 * MARGIN, position: state.countIn ? -loop.count : 0, rate: state.speed / 100, loop });
  show();
  frame(run);
}

function stop() {
  if (!run) return;
  const { bus, timer } = run;
  run = null;
  clearInterval(timer);
  bus.gain.setTargetAtTime(0, ctx.currentTime, 0.006);
  setTimeout(() => bus.disconnect(), 150);
  show();
}

function set(change) {
  Object.assign(state, change);
  if (output) output.gain.setTargetAtTime(state.volume / RANGE, ctx.currentTime, 0.015);
  if (run && !('volume' in change)) reschedule();
  show();
}

const lines = data.lines.map((line) => {
  const figure = document.getElementById(line.figure);
  return { ...line, figure, svg: figure && figure.querySelectorAll('svg')[line.part] };
}).filter((line) => line.svg);
const cursors = new Map();
const hideAll = () => cursors.forEach((cursor) => setAll(cursor, { visibility: 'hidden' }));
let marks = [];

function setAll(node, attributes) {
  Object.entries(attributes).forEach(([key, value]) => node.setAttribute(key, value));
  return node;
}
const shape = (svg, name, attributes) => svg.appendChild(setAll(document.createElementNS(svg.namespaceURI, name), attributes));

// Value of column `to` where column `from` has the given value.
function interpolate(points, value, from, to) {
  const next = points.findIndex((point) => point[from] > value);
  const i = next < 0 ? points.length - 1 : next;
  const [p, q] = [points[Math.max(0, i - 1)], points[i]];
  const share = clamp((value - p[from]) / (q[from] - p[from] || 1), 0, 1);
  return p[to] + share * (q[to] - p[to]);
}

const barAt = (t) => Math.max(0, data.bars.filter(([start]) => start <= t + ROUNDING).length - 1);
const nameOf = (bar) => (bar === null ? 'all bars' : data.bars[bar][1].replace(/^(?=\d)/, 'bar '));

function mark() {
  marks.forEach((node) => node.remove());
  const { from, length } = loopOf(data, state.bar);
  const to = from + length - ROUNDING;
  marks = lines.filter((line) => state.bar !== null && line.from < to && line.to > from + ROUNDING).map((line) => {
    const x = interpolate(line.points, from, 0, 1);
    const width = interpolate(line.points, to, 0, 1) - x;
    return shape(line.svg, 'rect', { class: 'player-bar', x, width, y: line.top, height: line.bottom - line.top });
  });
}

const reduced = matchMedia('(prefers-reduced-motion: reduce)');
let followed;
let followFrom = 0;
['wheel', 'touchmove', 'scroll'].forEach((type) => addEventListener(type, () => {
  if (type === 'scroll' && Date.now() < followFrom) return;
  followFrom = Date.now() + 4000;
  followed = null;
}, { capture: true, passive: true }));

// Follows the cursor of one figure unless the user has scrolled lately.
function follow(shown) {
  if (Date.now() < followFrom) return;
  const distance = ({ box }) => Math.abs(box.top + box.bottom - innerHeight);
  const [nearest] = shown.map(({ figure, svg }) => ({ figure, box: cursors.get(svg).getBoundingClientRect() }))
    .filter(({ figure, box }) => box.height && (!followed || figure === followed)).sort((a, b) => distance(a) - distance(b));
  followed = nearest && nearest.figure;
  if (!nearest) return;
  const { box } = nearest;
  const { left, width } = followed.getBoundingClientRect();
  const covered = getComputedStyle(panel).position === 'sticky' ? panel.getBoundingClientRect().bottom : 0;
  const behavior = reduced.matches ? 'auto' : 'smooth';
  const down = box.top < covered || box.bottom > innerHeight ? box.top - covered - 16 : 0;
  const right = box.left < left || box.left > left + 0.9 * width ? box.left - left - 0.1 * width : 0;
  if (down || right) followFrom = Date.now() + 800;
  if (down) scrollBy({ top: down, behavior });
  if (right) followed.scrollBy({ left: right, behavior });
}

function frame(of) {
  if (run !== of) return;
  const heard = ctx.currentTime - (ctx.outputLatency || 0);
  const { time, position, rate, loop } = run.anchors.filter((anchor) => anchor.time <= heard).pop() || run.anchors[0];
  const offset = position + Math.max(0, heard - time) * rate;
  let t = loop.from + offset % loop.length;
  now.textContent = offset < 0 ? 'count-in' : nameOf(barAt(t));
  if (reduced.matches) t = Math.max(loop.from, ...data.beat.map(([beat]) => beat).filter((beat) => beat <= t));
  const shown = offset < 0 ? [] : lines.filter((line) => line.from <= t && t < line.to);
  hideAll();
  shown.forEach(({ svg, points, top, bottom }) => {
    const x = interpolate(points, t, 0, 1);
    setAll(cursors.get(svg), { visibility: 'visible', x1: x, x2: x, y1: top, y2: bottom });
  });
  follow(shown);
  requestAnimationFrame(() => frame(of));
}

lines.forEach(({ svg }) => {
  if (cursors.has(svg)) return;
  cursors.set(svg, shape(svg, 'line', { class: 'player-cursor', visibility: 'hidden' }));
  svg.addEventListener('click', (event) => {
    const { x, y } = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
    const bars = lines.filter((line) => line.svg === svg && y >= line.top && y <= line.bottom)
      .map((line) => barAt(Math.min(interpolate(line.points, x, 1, 0), line.to - 1e-3)));
    // Another tap chooses the next repeat.
    if (bars.length) set({ bar: bars[(bars.indexOf(state.bar) + 1) % bars.length] });
  });
});

const addSpeed = (step) => set({ speed: clamp(state.speed + step, 40, 110) });
const setBar = (bar) => set({ bar: clamp(bar, 0, data.bars.length - 1) });
const actions = {
  ' ': () => (run ? stop() : play()),
  '[': () => setBar(state.bar === null ? data.bars.length - 1 : state.bar - 1),
  ']': () => setBar(state.bar === null ? 0 : state.bar + 1),
  0: () => set({ bar: null }),
  '-': () => addSpeed(-5),
  '+': () => addSpeed(5),
  '=': () => addSpeed(5),
  g: () => set({ groove: !state.groove }),
  b: () => set({ beat: !state.beat }),
  h: () => set({ hearing: !state.hearing && data.hearings.length > 0 }),
};

const button = (key, text) => `<button type="button" value="${key}">${text}</button>`;
const check = (name, text) => `<label><input type="checkbox" name="${name}"> ${text}</label>`;
panel.innerHTML = `<section aria-label="Player"><p>${button(' ', 'Play')} <span aria-live="polite"></span> <b></b></p>
<details open><summary>Settings</summary>
<p><label>Bars <select name="bar"></select></label> ${button('[', 'Previous')} ${button(']', 'Next')}</p>
<p><label>Speed <input type="range" name="speed" min="40" max="110" step="5"></label> ${button('-', 'Slower')} ${button('+', 'Faster')}</p>
<p>${check('groove', 'Groove')} ${check('beat', 'Beat clicks')} ${check('countIn', 'Count-in')}</p>
<p>${check('hearing', 'Hearing clicks')} <select name="which" aria-label="Hearing"></select></p>
<p><label>Volume <input type="range" name="volume" min="0" max="1" step="0.05"></label></p>
<p class="player-keys">Keys: Space play, [ ] bar, 0 all bars, - + speed, g groove, b beat, h hearing</p></details></section>`;
const find = (selector) => panel.querySelector(selector);
const now = find('b');
const fields = panel.querySelectorAll('[name]');
find('[name=bar]').append(new Option('all', ''), ...data.bars.map(([, label], bar) => new Option(label, bar)));
find('[name=which]').append(...data.hearings.map(({ name, tempo }, i) => new Option(`${name}, ${tempo}`, i)));
find('[name=hearing]').disabled = find('[name=which]').disabled = !data.hearings.length;
panel.querySelectorAll('button').forEach((node) => { node.onclick = actions[node.value]; });
fields.forEach((field) => {
  const value = () => (field.type === 'checkbox' ? field.checked : field.value ? Number(field.value) : null);
  field.oninput = () => set({ [field.name]: value() });
});

function show() {
  fields.forEach((field) => {
    const value = state[field.name];
    if (field.type === 'checkbox') field.checked = value;
    else field.value = value === null ? '' : value;
  });
  find('button').textContent = run ? 'Stop' : 'Play';
  const bpm = data.bpm ? `, ${data.unit}\u00a0=\u00a0${Math.round(data.bpm * state.speed / 10) / 10}\u00a0BPM` : '';
  const speed = `${state.speed}\u00a0%${bpm}`;
  find('[name=speed]').setAttribute('aria-valuetext', speed);
  find('span').textContent = `${run ? 'Playing' : 'Stopped'}: ${nameOf(state.bar)}, ${speed}`;
  if (!run) {
    now.textContent = '';
    hideAll();
  }
  mark();
}

document.addEventListener('keydown', (event) => {
  const { key, target } = event;
  const action = actions[key.toLowerCase()];
  const isIn = (selector) => target.closest(selector);
  // Some keyboards need Alt or AltGr for a bracket.
  if (!action || event.metaKey || ((event.ctrlKey || event.altKey) && !'[]'.includes(key))) return;
  if (isIn('select, textarea, [contenteditable], input:not([type=range]):not([type=checkbox])')) return;
  if (key === ' ' && isIn('button, summary, input[type=checkbox], audio, video')) return;
  event.preventDefault();
  if (!event.repeat || '[]-+='.includes(key)) action();
});
show();
})();

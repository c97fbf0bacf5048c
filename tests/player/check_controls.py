"""Checks of controls, keys, pictures and layout, with real key, mouse and touch events."""

import time

from check_live import HOOK

STATE = r'''(() => {
  const f = (name) => document.querySelector(`#player [name=${name}]`);
  return { playing: document.querySelector('#player button').textContent === 'Stop', bar: f('bar').value, speed: +f('speed').value,
    groove: f('groove').checked, beat: f('beat').checked, hearing: f('hearing').checked, countIn: f('countIn').checked,
    which: f('which').value, volume: +f('volume').value, words: document.querySelector('#player [aria-live]').textContent,
    marks: document.querySelectorAll('.player-bar').length };
})()'''
FIRST = {'playing': False, 'bar': '', 'speed': 100, 'groove': True, 'beat': False, 'hearing': False, 'countIn': True,
         'which': '0', 'volume': 0.3, 'marks': 0}


def state(browser):
    return browser.run(STATE)


def focus(browser, selector):
    browser.run(f"document.querySelector('{selector}').focus(); 0")


def blur(browser):
    browser.run('document.activeElement.blur(); 0')


def space(browser):
    browser.key(' ', code='Space', text=' ', windowsVirtualKeyCode=32)
    time.sleep(0.15)


def check_keys(browser, report, page):
    tab = browser.open(page)

    def after(keys, name, **want):
        for key in keys:
            space(browser) if key == ' ' else browser.key(key)
        got = state(browser)
        bad = {k: got[k] for k, v in want.items() if got[k] != v}
        report.expect(not bad, f'{name}{": found " + str(bad) if bad else ""}')

    after('', 'state at the start', **FIRST)
    after(']', '] chooses the first bar', bar='0')
    after(']]', '] twice chooses the third bar', bar='2')
    after('[', '[ chooses the second bar', bar='1')
    after('[[[', '[ stays at the first bar', bar='0')
    after('0', '0 chooses all bars', bar='', marks=0)
    after('[', '[ chooses the last bar', bar='5')
    after(']', '] stays at the last bar', bar='5')
    after('0-', '- slows down by 5 %', speed=95)
    after('-' * 20, '- stops at 40 %', speed=40)
    after('+', '+ speeds up by 5 %', speed=45)
    after('=' * 20, '= speeds up, to 110 %', speed=110)
    after('--', 'state in words', words='Stopped: all bars, 100\u00a0%, 1/4\u00a0=\u00a0200\u00a0BPM')
    after('-', 'state in words', words='Stopped: all bars, 95\u00a0%, 1/4\u00a0=\u00a0190\u00a0BPM')
    after('+b', 'b turns the beat on', beat=True)
    after('b', 'b turns the beat off', beat=False)
    after('h', 'h turns the hearing on', hearing=True)
    after('H', 'H turns the hearing off', hearing=False)
    after('g', 'g turns the groove off', groove=False)
    after('g', 'g turns the groove on', groove=True)
    after(' ', 'Space plays', playing=True)
    after(' ', 'Space stops', playing=False)
    focus(browser, '#player [name=speed]')
    after('- ', '- and Space with focus on the speed', speed=95, playing=True)
    after(' +', 'Space and + with focus on the speed', speed=100, playing=False)
    focus(browser, '#player [name=beat]')
    after(' ', 'Space with focus on a check box checks it', beat=True, playing=False)
    focus(browser, '#player [name=bar]')
    after('bhg', 'letters with focus on a list do nothing', beat=True, hearing=False, groove=True)
    focus(browser, '#player button')
    after(' ', 'Space with focus on Play plays once', playing=True)
    blur(browser)
    after(' ', 'Space stops', playing=False)
    browser.key('b', modifiers=2)
    after('', 'Ctrl+B does nothing', beat=True)
    browser.shut(tab)


def check_fields(browser, report, page):
    tab = browser.open(page, HOOK)
    put = ("(n, v) => { const f = document.querySelector(`#player [name=${n}]`); f.value = v;"
           "f.dispatchEvent(new Event('input', { bubbles: true })); }")
    for name, value in (('bar', '3'), ('bar', '5'), ('bar', ''), ('bar', '0'), ('speed', 70), ('which', '1'), ('volume', 0.55), ('volume', 0)):
        browser.run(f'({put})({name!r}, {value!r})')
        got = state(browser)
        report.expect(got[name] == value, f'{name} = {value!r}')
        if name == 'bar':
            report.expect(got['marks'] == (3 if value else 0), f'{got["marks"]} marks for bar {value!r}')
    for name in ('groove', 'beat', 'hearing', 'countIn'):
        before = state(browser)[name]
        browser.run(f"document.querySelector('#player [name={name}]').closest('label').click(); 0")
        report.expect(state(browser)[name] != before, f'the label of {name} switches it')
    for text, name, change in (('Next', 'bar', '1'), ('Previous', 'bar', '0'), ('Slower', 'speed', 65), ('Faster', 'speed', 70)):
        browser.run(f"[...document.querySelectorAll('#player button')].find((b) => b.textContent === '{text}').click(); 0")
        report.expect(state(browser)[name] == change, f'{text}: {name} = {change!r}')
    browser.run("document.querySelector('#player button').click(); 0")
    time.sleep(0.3)
    report.expect(state(browser)['playing'] and state(browser)['words'].startswith('Playing: A 1'), 'the button plays')
    browser.run("document.querySelector('#player button').click(); 0")
    time.sleep(0.1)
    report.expect(not state(browser)['playing'], 'the button stops')
    for width in (1000, 390, 320):
        browser.size(width, 800)
        small = browser.run("""[...document.querySelectorAll('#player button, #player select, #player input, #player summary')]
          .map((n) => [n.textContent || n.name, (n.type === 'checkbox' ? n.parentNode : n).getBoundingClientRect()])
          .filter(([, r]) => r.height < 44 || r.width < 44).map(([n, r]) => [n, r.width, r.height])""")
        report.expect(not small, f'{width} px: every target has 44 px {small}')
        over = browser.run('document.documentElement.scrollWidth - document.documentElement.clientWidth')
        report.expect(over <= 0, f'{width} px: no sideways scrolling of the page ({over})')
        unnamed = browser.run("""[...document.querySelectorAll('#player select, #player input')]
          .filter((n) => !n.labels.length && !n.getAttribute('aria-label')).length""")
        report.expect(unnamed == 0, f'{width} px: every field has a label')
    browser.shut(tab)


POINT = r'''((figure, part, x, y) => {
  const svg = document.getElementById(figure).querySelectorAll('svg')[part];
  svg.scrollIntoView({ block: 'center' });
  const p = new DOMPoint(x, y).matrixTransform(svg.getScreenCTM());
  return [p.x, p.y];
})'''


def check_pictures(browser, report, page):
    tab = browser.open(page, HOOK)
    # Lines of 620 units begin at x = 60; a line has two bars, A is played twice.
    cases = [('grid1', 0, 100, 60, '0'), ('grid1', 0, 100, 60, '2'), ('grid1', 0, 100, 60, '0'), ('grid1', 0, 500, 60, '1'),
             ('grid1', 1, 100, 60, '4'), ('notation1', 0, 500, 140, '5'), ('notation1', 0, 100, 50, '0'),
             ('notation1', 0, 100, 10, '0')]
    for figure, part, x, y, want in cases:
        place = browser.run(f'{POINT}("figure-{figure}", {part}, {x}, {y})')
        browser.click(*place)
        got = state(browser)['bar']
        report.expect(got == want, f'click in {figure}, part {part}, at {x}, {y}: bar {got!r}, expected {want!r}')
    browser.size(390, 800)
    for part, want in ((3, '5'), (1, '1'), (1, '3')):
        browser.tap(*browser.run(f'{POINT}("figure-grid1-narrow", {part}, 200, 60)'))
        time.sleep(0.1)
        got = state(browser)['bar']
        report.expect(got == want, f'tap in the narrow grid, part {part}: bar {got!r}, expected {want!r}')
    browser.shut(tab)


CURSORS = r'''(() => [...document.querySelectorAll('.player-cursor')].filter((c) => c.getAttribute('visibility') === 'visible')
  .map((c) => [c.closest('figure').id, [...c.closest('figure').querySelectorAll('svg')].indexOf(c.closest('svg')),
    +c.getAttribute('x1'), +c.getAttribute('y1'), c.getBoundingClientRect().height > 0]))()'''
# Positions of one cursor with the clock of the context, once per frame.
TRACK = r'''((ms) => new Promise((done) => {
  const seen = [], from = performance.now();
  const step = () => {
    const c = [...document.querySelectorAll('#figure-grid1 .player-cursor')].find((c) => c.getAttribute('visibility') === 'visible');
    seen.push([T.ctx.currentTime - T.ctx.outputLatency, c ? +c.getAttribute('x1') : null]);
    if (performance.now() - from > ms) done(seen); else requestAnimationFrame(step);
  };
  requestAnimationFrame(step);
}))'''


def check_cursor(browser, report, page, data):
    tab = browser.open(page, HOOK)
    browser.key(']')
    browser.key('-')
    browser.key('-')
    space(browser)
    time.sleep(0.5)
    report.expect(browser.run(CURSORS) == [], 'no cursor in the count-in')
    time.sleep(1.2)
    origin = browser.run('T.starts[0]') + 1.2 / 0.9
    seen = browser.run(f'{TRACK}(3000)')
    errors = []
    for t, x in seen:
        at = (t - origin) * 0.9 % 1.2
        # The clock may step between the page's frame and this one; not at the wrap.
        if x is not None and 0.05 < at < 1.15:
            errors.append(abs((x - 60) / 620 * 2.4 - at))
    errors.sort()
    report.expect(len(errors) > 20 and errors[len(errors) * 9 // 10] < 0.02,
                  f'cursor within {errors[len(errors) * 9 // 10] * 1000:.1f} ms of what is heard in 9 of 10 of {len(errors)} frames')
    shown = browser.run(CURSORS)
    report.expect({(f, p) for f, p, *_ in shown} == {('figure-grid1', 0), ('figure-grid1-narrow', 0), ('figure-notation1', 0)},
                  f'cursors run in {[s[:2] for s in shown]}')
    report.expect({f: d for f, _, _, _, d in shown} == {'figure-grid1': True, 'figure-grid1-narrow': False, 'figure-notation1': True},
                  'wide page: cursors displayed in the wide grid and the notation')
    for _ in range(4):
        browser.key(']')
    time.sleep(0.3)
    shown = browser.run(CURSORS)
    report.expect([(s[1], s[3]) for s in shown if s[0] == 'figure-notation1'] == [(0, 115)], 'second line of the same picture')
    browser.call('Emulation.setEmulatedMedia', features=[{'name': 'prefers-reduced-motion', 'value': 'reduce'}])
    browser.key('0')
    time.sleep(0.2)
    places = {round(x) for _, x in browser.run(f'{TRACK}(2500)') if x is not None}
    allowed = {round(60 + 620 * (b % 2.4 / 2.4 if b < 4.8 - 1e-6 else (b - 4.8) / 3.2)) for b, _ in data['beat']}
    near = {x for x in places if any(abs(x - a) <= 1 for a in allowed)}
    report.expect(4 < len(places) <= 9 and near == places,
                  f'reduced motion: {len(places)} places of the cursor in 2.5 s, {len(near)} of them beats')
    space(browser)
    report.expect(browser.run(CURSORS) == [], 'no cursor after the stop')
    browser.call('Emulation.setEmulatedMedia', features=[])
    browser.shut(tab)


def check_scrolling(browser, report, page):
    tab = browser.open(page, HOOK, 390, 420)
    browser.run("document.querySelector('#player details').open = false; document.querySelector('[name=countIn]').click(); 0")
    browser.key('-')
    space(browser)
    seen = []
    for _ in range(30):
        time.sleep(0.25)
        seen.append(browser.run("""(() => { const c = [...document.querySelectorAll('.player-cursor')].filter((c) =>
          c.getAttribute('visibility') === 'visible' && c.closest('figure').id === 'figure-grid1-narrow')[0];
          const r = c && c.getBoundingClientRect(); const top = document.querySelector('#player').getBoundingClientRect().bottom;
          return [scrollY, r ? r.top >= top - 1 && r.bottom <= innerHeight + 1 : null]; })()"""))
    inside = [v for _, v in seen if v is not None]
    report.expect(len({y for y, _ in seen}) > 2 and sum(inside) > 0.75 * len(inside),
                  f'the line is in view in {sum(inside)} of {len(inside)} looks, at {len({y for y, _ in seen})} scroll positions')
    browser.call('Input.dispatchMouseEvent', type='mouseWheel', x=200, y=300, deltaX=0, deltaY=2000)
    time.sleep(1)
    low = browser.run('scrollY')
    time.sleep(2)
    report.expect(browser.run('scrollY') == low, f'after scrolling by hand the page stays at {low} for 3 s')
    time.sleep(3)
    looks = []
    for _ in range(20):
        time.sleep(0.2)
        looks.append(browser.run("""[...document.querySelectorAll('.player-cursor')].some((c) => {
          const r = c.getBoundingClientRect(), f = c.closest('figure').getBoundingClientRect();
          return c.getAttribute('visibility') === 'visible' && r.height && r.top >= 0 && r.bottom <= innerHeight &&
            r.left >= f.left && r.left <= f.right; })"""))
    report.expect(sum(looks) >= 14, f'6 s later a cursor is followed again: in view in {sum(looks)} of {len(looks)} looks')
    browser.shut(tab)


def check_page(browser, report, page):
    tab = browser.open(page)
    browser.call('Emulation.setEmulatedMedia', media='print')
    report.expect(browser.run("getComputedStyle(document.getElementById('player')).display") == 'none', 'not printed')
    browser.call('Emulation.setEmulatedMedia', media='')
    browser.call('Emulation.setScriptExecutionDisabled', value=True)
    browser.events.clear()
    browser.call('Page.reload')
    while 'Page.loadEventFired' not in browser.events:
        browser.read(30)
    left = browser.run("[document.getElementById('player').childNodes.length, getComputedStyle(document.getElementById('player')).display]")
    report.expect(left == [0, 'none'], f'without scripting the player is empty: {left}')
    browser.shut(tab)


def check(browser, report, pages, data):
    check_keys(browser, report, pages['dense'])
    check_fields(browser, report, pages['dense'])
    check_pictures(browser, report, pages['dense'])
    check_cursor(browser, report, pages['dense'], data)
    check_scrolling(browser, report, pages['dense'])
    check_page(browser, report, pages['dense'])

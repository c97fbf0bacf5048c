"""Plays through `teeter remote` and checks what arrives: session.py FOLDER PROGRAM PORT RELAY_PID CUTS. See remote.sh."""

import bisect, collections, math, os, random, re, signal, statistics, struct, subprocess, sys, time, wave
from ends import RATE, Recording, Terminal

folder, teeter, port, relay, cuts = sys.argv[1], sys.argv[2], sys.argv[3], int(sys.argv[4]), int(sys.argv[5])
options = ["--", "-F", "none", "-i", f"{folder}/id", "-p", port, "-o", "StrictHostKeyChecking=no",
           "-o", "UserKnownHostsFile=/dev/null", "-o", "LogLevel=ERROR"]
remote = [teeter, "remote", "127.0.0.1", "--program", teeter]
BEAT = RATE * 60 // 150
HEAD = 'format = 1\ntitle = "{}"\n[[section]]\nmeter = "4/4"\ntempo = {}\nbars = {}\n'
LAYER = '[[layer]]\nname = "{}"\nvoice = "{}"\npan = {}\n{}\n'


def write(name, text):
    with open(f"{folder}/{name}", "w") as file:
        file.write(text)
    return f"{folder}/{name}"


def line(name, ms):
    p95 = sorted(ms)[len(ms) * 95 // 100]
    print(f"{name}: median {statistics.median(ms):.1f}, 95% {p95:.1f}, least {min(ms):.1f}, most {max(ms):.1f} ms, of {len(ms)}", flush=True)


def wire():
    """Bytes through the relay: to the host, from the host."""
    return struct.unpack("<qq", open(f"{folder}/bytes", "rb").read(16))


def check_spacing(recording, start):
    found = recording.onsets(0, start)
    steps = collections.Counter(b - a for a, b in zip(found, found[1:]))
    print(f"{len(found)} attacks recorded; spacing in frames: {dict(steps)} (exact: {BEAT})", flush=True)
    assert len(found) > 20 and set(steps) == {BEAT}, "attacks off their exact frame"
    return found


FOREIGN = """
import collections, socket, sys
results = collections.Counter()
for _ in range(1000):
    with socket.socket(socket.AF_UNIX) as s:
        try:
            s.connect(sys.argv[1])
            results["opened"] += 1
        except OSError as error:
            results[error.strerror] += 1
print(dict(results))
"""


def check_foreign_account(socket):
    """Connects a thousand times from another account."""
    if os.getuid() != 0:
        print("connections by another account: not tried, this needs root")
        return
    command = ["setpriv", "--reuid=65534", "--regid=65534", "--clear-groups", sys.executable, "-c", FOREIGN, socket]
    results = subprocess.run(command, capture_output=True, text=True, check=True).stdout.strip()
    print(f"1000 connections by another account: {results}", flush=True)
    assert results == "{'Permission denied': 1000}"


def check_session(recording):
    """Exact attacks, the playhead, an edit, and another account, in one connection."""
    knock = LAYER.format("knock", "rim", -100, 'cells = "' + " | ".join(["x... x... x... x..."] * 2) + '"')
    more = LAYER.format("more", "wood", 100, 'cells = "' + " | ".join([".... .... .... ...."] * 2) + '"')
    editor = Terminal(remote + [write("groove.toml", HEAD.format("Remote", 150, 2) + knock + more)] + options)
    editor.read(30, b"stopped")
    socket = re.search(rb"/tmp/teeter-[0-9a-f]{32}", editor.child()[1])[0].decode()
    assert os.path.exists(socket)
    start = recording.frames()
    editor.type(b"\r")
    editor.read(6)
    check_foreign_account(socket)
    editor.read(20)
    editor.type(b"\x1b[B")
    for _ in range(8):
        editor.type(b"x")
        editor.read(0.5)
    editor.read(3)
    editor.type(b"\r")
    editor.read(1)
    found = check_spacing(recording, start)
    assert recording.onsets(1, start), "the edit is heard"
    # The playhead enters the column of a beat when the attack on it is heard. The first two seconds find the round trip.
    at = recording.clock(start)
    heard = [at(frame) for frame in found if frame > start + 2 * RATE]
    beats = {14 + 8 * k + (k >= 4) for k in range(8)}
    shown = [t for (_, before), (t, column) in zip(editor.playhead, editor.playhead[1:]) if column in beats and column != before]
    late = []
    for t in shown:
        near = min(heard, key=lambda h: abs(h - t))
        if heard[0] <= t <= heard[-1] and abs(near - t) < 0.2:
            late.append((t - near) * 1000)
    line("playhead on the screen here, after the sound", late)
    assert len(late) > 20 and abs(statistics.median(late)) < 20, late
    editor.quit()
    assert not os.path.exists(socket), "the socket is removed"


def check_edit(recording, table="", name="key here to the changed sound here"):
    """From a key to the attacks that it silences or brings back, 5 ms apart."""
    with wave.open(f"{folder}/tick.wav", "wb") as tick:
        tick.setparams((1, 2, RATE, 0, "NONE", ""))
        sound = [round(30_000 * math.cos(k * 0.9) * (1 - k / 72)) for k in range(72)]
        tick.writeframes(struct.pack(f"<{len(sound)}h", *sound))
    layers = [LAYER.format(n, "rim", pan, 'sound = "tick.wav"\ndivision = 32\ncycle = "x"') for n, pan in (("rattle", -100), ("steady", 100))]
    editor = Terminal(remote + [write("rattle.toml", HEAD.format("Rattle", 375, 1) + "".join(layers) + table)] + options)
    editor.read(30, b"stopped")
    editor.type(b"\r")
    editor.read(4)
    start, pressed = recording.frames(), []
    for k in range(40):
        pressed.append((time.monotonic(), recording.frames()))
        editor.type(b"m")
        editor.read(0.6 + 0.017 * k % 0.1)
    at, waits = recording.clock(start), []
    for k, ((key, frame), (_, end)) in enumerate(zip(pressed, pressed[1:])):
        left = recording.onsets(0, frame - RATE // 10, 80, end)
        steady = recording.onsets(1, frame - RATE // 10, 80, end)
        there = [bool(left[bisect.bisect(left, s - 40) : bisect.bisect(left, s + 40)]) for s in steady]
        after = [at(s) for s, is_there in zip(steady, there) if at(s) > key and is_there == bool(k % 2)]
        waits.append((after[0] - key) * 1000 if after else math.inf)
    line(name, waits)
    assert statistics.median(waits) < 150, waits
    editor.quit()


def recorded(name, seconds, frames):
    """Writes a recording of two channels, and returns the table of a groove that plays along from its first frame."""
    with wave.open(f"{folder}/{name}", "wb") as file:
        file.setparams((2, 2, RATE, 0, "NONE", ""))
        for _ in range(seconds):
            file.writeframes(frames)
    return f'[recording]\nfile = "{name}"\nanchors = [{{ bar = 1, at = 0.0 }}]\n'


def check_recording(recording):
    """A recording at the host is heard here in time with the groove, once its file has arrived."""
    tick = [round(20_000 * math.cos(k * 0.9) * (1 - k / 480)) for k in range(480)]
    second = [0] * (2 * RATE)
    for beat in range(0, RATE, RATE // 2):
        second[2 * beat + 1 : 2 * (beat + 480) + 1 : 2] = tick
    sound = struct.pack(f"<{len(second)}h", *second)
    knock = LAYER.format("knock", "rim", -100, 'cells = "' + " | ".join(["x... x... x... x..."] * 2) + '"')
    table = recorded("crossing.wav", 20, sound)
    editor = Terminal(remote + [write("beside.toml", HEAD.format("Beside", 120, 2) + knock + table)] + options)
    editor.read(30, b"stopped")
    editor.read(3)
    start, pressed = recording.frames(), time.monotonic()
    editor.type(b"\r")
    editor.read(20)
    at = recording.clock(start)
    groove, beside = recording.onsets(0, start), recording.onsets(1, start)
    assert len(groove) > 20 and beside, (len(groove), len(beside))
    apart = [(min(beside, key=lambda b: abs(b - g)) - g) * 1000 / RATE for g in groove if g >= beside[0]]
    print(f"recording of 20 s, {os.path.getsize(folder + '/crossing.wav')} bytes: heard {(at(beside[0]) - pressed) * 1000:.0f} ms after the key", flush=True)
    line("recording after the groove", apart)
    assert max(map(abs, apart)) < 5, apart
    editor.type(b"\r")
    editor.quit()


def large():
    """A groove of 16 layers and 64 bars."""
    voices = "kick snare hat rim clap tom wood bell shaker bass pluck open-hat hat wood kick rim".split()
    rng = random.Random(64)
    cells = [" | ".join("".join(rng.choice("x.X.") for _ in range(16)) for _ in range(64)) for _ in range(16)]
    return HEAD.format("Flood", 150, 64) + "".join(
        LAYER.format(f"l{k}", voice, 0, f'cells = "{cells[k]}"') for k, voice in enumerate(voices))


def join(editor):
    speaker = Terminal(remote + ["--join"] + options)
    speaker.read(20, b"press Ctrl-C to stop")
    editor.read(20, b"playing through the remote speaker")
    return speaker


def check_bytes():
    """What travels for an edit of a large groove, and while nothing changes. The editor's own terminal is on the host."""
    editor = Terminal([teeter, write("flood.toml", large())])
    editor.read(20, b"stopped")
    speaker = join(editor)
    editor.read(5)
    before = wire()
    editor.read(10)
    still = [b - a for a, b in zip(before, wire())]
    print(f"nothing changes, stopped, 10 s: {still[0]} bytes there, {still[1]} back: 20 pings and their answers", flush=True)
    assert still[0] < 20 * 200
    editor.type(b"\r")
    editor.read(4)
    rest, edits = [], []
    for _ in range(5):
        before = wire()
        editor.read(1.5)
        rest.append(wire()[1] - before[1])
        before = wire()
        editor.type(b" ")
        editor.read(1.5)
        edits.append(wire()[1] - before[1])
    extra = [e - statistics.median(rest) for e in edits]
    print(f"an edit of 16 layers x 64 bars while it plays: {min(extra):.0f} to {max(extra):.0f} bytes", flush=True)
    assert max(extra) < 20_000
    speaker.type(b"\x03")
    speaker.read(2)
    editor.quit()


def check_cuts(recording):
    """An editor that lives on: as in a multiplexer, it runs in a terminal of the host, and speakers come and go."""
    editor = Terminal([teeter, f"{folder}/groove.toml"])
    editor.read(20, b"stopped")
    moved = []
    for number in range(cuts + 1):
        lost_at = len(editor.playhead)
        speaker = join(editor)
        if number == 0:
            editor.type(b"\r")
        before = recording.frames()
        editor.read(4)
        assert recording.onsets(0, before), f"connection {number} sounds"
        if number > 0:
            place = lambda k: (k - 14 - (k > 44)) / 8
            # Of the loop's 8 beats, the shorter way round.
            moved.append((place(editor.playhead[lost_at][1]) - place(editor.playhead[lost_at - 1][1]) + 4) % 8 - 4)
        os.kill(relay, signal.SIGUSR1)
        editor.read(10, b"connection lost")
        speaker.read(3)
        os.close(speaker.fd)
        silent = recording.frames() + RATE
        time.sleep(2.5)
        assert not recording.onsets(0, silent), "a lost connection is silent"
    print(f"{cuts + 1} connections cut, each one noticed and taken up again; the playhead went on {min(moved, default=0):.2f}"
          f" to {max(moved, default=0):.2f} beats from its place", flush=True)
    assert all(abs(beats) < 1 for beats in moved), moved
    editor.type(b"\x1b")
    os.kill(editor.pid, signal.SIGTERM)


def memory(pid):
    return int(re.search(r"VmRSS:\s+(\d+)", open(f"/proc/{pid}/status").read())[1])


def check_soak(recording, seconds):
    """Plays for a long time: the memory of both ends, and every attack."""
    editor = Terminal([teeter, f"{folder}/groove.toml"])
    editor.read(20, b"stopped")
    speaker = join(editor)
    editor.type(b"\r")
    editor.read(60)
    start, first, attacks, steps, end = recording.frames(), None, 0, collections.Counter(), time.monotonic() + seconds
    last = None
    while time.monotonic() < end:
        editor.read(min(60, max(1, end - time.monotonic())))
        now, until = (memory(editor.pid), memory(speaker.pid)), recording.frames()
        first = first or now
        for onset in recording.onsets(0, start, end=until):
            # Sound that goes on at the seam of two looks is no attack.
            if last is None or onset - last > BEAT // 2:
                attacks += 1
                if last is not None:
                    steps[onset - last] += 1
                last = onset
        start = until
        recording.drop(start)
        editor.playhead.clear()
    print(f"{seconds} s: editor {first[0]} -> {now[0]} kB, speaker {first[1]} -> {now[1]} kB; {attacks} attacks, spacing {dict(steps)}", flush=True)
    assert now[0] < first[0] * 1.05 + 512 and now[1] < first[1] * 1.05 + 512, "memory grows"
    os.kill(editor.pid, signal.SIGTERM)


recording = Recording()
check_session(recording)
check_edit(recording)
check_recording(recording)
# Ten minutes of the smallest noise, which is no attack, travel while the keys are pressed.
noise = random.Random(1).randbytes(4 * RATE).translate(bytes(b & 1 for b in range(256)))
silence = struct.pack(f"<{2 * RATE}h", *(b - 1 for b in noise[: 2 * RATE]))
check_edit(recording, recorded("noise.wav", 600, silence), "the same while a recording travels")
os.environ.update(XDG_STATE_HOME=f"{folder}/state", SSH_CONNECTION="1")
check_bytes()
check_cuts(recording)
if soak := int(os.environ.get("TEETER_SOAK", "0")):
    check_soak(recording, soak)
recording.program.terminate()

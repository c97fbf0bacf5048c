"""Presses the keys, records the monitor and computes the latencies for key-latency.sh, which starts the server."""

import fcntl, math, os, pty, random, re, select, struct, subprocess, sys, termios, threading, time, wave
import numpy

RATE, STEP = 48_000, 240  # frames per second; frames from attack to attack: 5 ms
teeter, folder, keys, size = sys.argv[1], sys.argv[2], int(sys.argv[3]), sys.argv[4]
clock = time.monotonic

# A sound of 1.5 ms without an onset ramp, so that there is silence between the attacks.
with wave.open(f"{folder}/tick.wav", "wb") as tick:
    tick.setparams((1, 2, RATE, 0, "NONE", ""))
    sound = [round(30_000 * math.cos(k * 0.9) * (1 - k / 72)) for k in range(72)]
    tick.writeframes(struct.pack(f"<{len(sound)}h", *sound))

bars = 64 if size == "large" else 1
groove = f'format = 1\ntitle = "Rattle"\n[[section]]\nmeter = "4/4"\ntempo = 375\nbars = {bars}\n'
# The left layer is muted and unmuted; the right one plays on and shows gaps in the sound itself.
for name, pan in ("rattle", -100), ("steady", 100):
    groove += f'[[layer]]\nname = "{name}"\nvoice = "rim"\nsound = "tick.wav"\npan = {pan}\ndivision = 32\ncycle = "x"\n'
if size == "large":
    voices = "kick snare hat rim clap tom wood bell shaker bass pluck open-hat hat wood kick".split()
    cells = " | ".join(["x.xxx.xxxx.xx.xx"] * bars)
    groove += "".join(
        f'[[layer]]\nname = "l{k}"\nvoice = "{voice}"\npan = 100\ngain = -60\ncells = "{cells}"\n' for k, voice in enumerate(voices)
    )
with open(f"{folder}/rattle.toml", "w") as file:
    file.write(groove)

# The blocks read from the monitor and when each arrived.
pieces, arrivals, ending = [], [], threading.Event()
recorder = subprocess.Popen(
    ["parec", "-d", "cap.monitor", "--raw", "--format=s16le", f"--rate={RATE}", "--channels=2", "--latency-msec=4"],
    stdout=subprocess.PIPE,
)


def listen():
    while True:
        piece = os.read(recorder.stdout.fileno(), 65_536)
        at = clock()
        if not piece:
            return
        pieces.append(piece)
        arrivals.append(at)


pid, fd = pty.fork()
if pid == 0:
    os.environ.update(TERM="xterm-256color", HOME=folder, XDG_CONFIG_HOME=f"{folder}/config", XDG_STATE_HOME=f"{folder}/state")
    os.execv(teeter, [teeter, f"{folder}/rattle.toml"])
fcntl.ioctl(fd, termios.TIOCSWINSZ, struct.pack("HHHH", 40, 120, 0, 0))
shown, drawn = bytearray(), []


def watch():
    while True:
        try:
            piece = os.read(fd, 65_536)
        except OSError:
            return
        if not piece:
            return
        drawn.append(clock())
        shown.extend(piece)


for work in listen, watch:
    threading.Thread(target=work, daemon=True).start()


def wait_for(word):
    until = clock() + 20
    while word not in shown:
        if clock() > until:
            sys.exit(f"key-latency.sh: the screen never showed {word}: {bytes(shown[-500:])}")
        time.sleep(0.01)


def server_latencies():
    """The latencies that the server reports for the editor's stream, in ms: its buffer, the sink."""
    words = subprocess.run(["pactl", "list", "sink-inputs"], capture_output=True, text=True).stdout
    return [int(n) / 1000 for n in re.findall(r"(?:Buffer|Sink) Latency: (\d+) usec", words)][:2]


rng = random.Random(20)
wait_for(b"stopped")
time.sleep(0.5)
os.write(fd, b"\r")
time.sleep(3)
if not any(max(piece) for piece in pieces[-50:]):
    sys.exit("key-latency.sh: no sound was recorded")
pressed, latencies = [], []
for k in range(keys):
    time.sleep(rng.uniform(0.35, 0.75))
    if k % 10 == 5:
        latencies.append(server_latencies())
        time.sleep(rng.uniform(0.2, 0.3))
    at = clock()
    os.write(fd, b"m")
    pressed.append(at)
time.sleep(1)
load = os.getloadavg()[0]
os.write(fd, b"\r")
time.sleep(0.4)
os.write(fd, b"\x11")
time.sleep(0.3)
os.write(fd, b"y")
time.sleep(0.5)
recorder.terminate()
recorder.wait()
os.waitpid(pid, 0)

samples = numpy.frombuffer(b"".join(pieces)[: sum(map(len, pieces)) // 4 * 4], dtype="<i2").reshape(-1, 2).astype(int)
threshold = numpy.abs(samples).max() / 4
loud = numpy.flatnonzero(numpy.abs(samples[:, 1]) > threshold)
attacks = loud[numpy.diff(loud, prepend=-RATE) > STEP // 3]
there = numpy.array([numpy.abs(samples[at : at + STEP // 3, 0]).max() > threshold for at in attacks])
cuts = attacks[:-1][numpy.diff(attacks) != STEP]  # after these the sound has a gap
ends = numpy.cumsum([len(p) for p in pieces]) / 4  # frames read up to the end of each block
arrivals = numpy.array(arrivals)


# From frames to the clock: the offset is that of the block with the least delay within two seconds.
slack = arrivals - ends / RATE
second = (ends // RATE).astype(int)
least = numpy.array([slack[numpy.abs(second - s) <= 2].min() for s in range(second[-1] + 1)])


def wall(frames):
    return frames / RATE + least[numpy.minimum(frames // RATE, len(least) - 1).astype(int)]


times, cut_at = wall(attacks), wall(cuts)
waits, whole = [], []
for k, (at, until) in enumerate(zip(pressed, [*pressed[1:], numpy.inf])):
    # The first attack after the key that is missing, or present again.
    found = numpy.flatnonzero((times > at) & (times < until) & (there == bool(k % 2)))
    waits.append(times[found[0]] - at if len(found) else numpy.inf)
    whole.append(not numpy.any((cut_at > at - 0.05) & (cut_at < at + waits[-1])))
waits, whole = numpy.array(waits) * 1000, numpy.array(whole)
drawn = numpy.array(drawn)
screen = numpy.array([drawn[numpy.searchsorted(drawn, at)] - at for at in pressed]) * 1000


def line(name, ms):
    print(f"{name:34} median {numpy.median(ms):5.1f}  95% {numpy.percentile(ms, 95):5.1f}  least {ms.min():5.1f}  most {ms.max():5.1f} ms")


print(f"{keys} keys, attacks every {1000 * STEP / RATE:.0f} ms, load {load:.1f} on {os.cpu_count()} cores; the sound has"
      f" {len(cuts)} gaps, {numpy.sum(~whole)} of them between a key and its effect")
line("key to the first byte of the frame", screen)
line("key to audible edit", waits)
if not whole.all():
    line("  without a gap", waits[whole])
worst = numpy.argsort(waits)[-3:]
print("the three longest, and their frames: " + ", ".join(f"{waits[k]:.1f} ({screen[k]:.1f}) ms" for k in worst))
stream, sink = numpy.median(numpy.array([l for l in latencies if len(l) == 2]), axis=0)
late = arrivals - wall(ends)
print(f"the server reports {stream:.1f} ms of the stream in its buffer and a sink latency of {sink:.1f} ms (medians of {len(latencies)});"
      f" blocks of {numpy.median(numpy.diff(ends)) / RATE * 1000:.1f} ms arrived {numpy.median(late) * 1000:.1f} ms after the fastest")
print("2.5 ms of this are the mean wait for the next attack")
sys.exit(0 if numpy.percentile(waits[whole], 95) < 60 else 1)

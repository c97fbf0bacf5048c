#!/usr/bin/env python3
"""Sends random keys, pastes, mouse reports and resizes to the editor through a PTY at full speed, and checks that it neither
panics nor hangs, that its memory stays bounded, and that it restores the terminal.
  tests/random-keys.py [SECONDS [SEED]]     default 600 seconds, seed 1; TEETER_PROGRAM names a built program
Prints one line per minute. Ends with 1 on a finding. Linux only: reads /proc."""

import fcntl, os, pty, random, re, select, signal, struct, sys, tempfile, termios, time

MAX_MEMORY_KB = 150 * 1024
MAX_SILENCE = 20.0  # seconds without any output while keys are sent
seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 600.0
seed = int(sys.argv[2]) if len(sys.argv) > 2 else 1
root = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))
program = os.environ.get("TEETER_PROGRAM") or os.path.join(root, "target/debug/teeter")
rng = random.Random(seed)

NAMED = [b"\x1b[A", b"\x1b[B", b"\x1b[C", b"\x1b[D", b"\x1b[H", b"\x1b[F", b"\x1b[5~", b"\x1b[6~", b"\x1b[3~", b"\x1bOP",
         b"\x1b[15~", b"\x1b[17~", b"\x1b[20~", b"\x1b[1;2C", b"\x1b[1;2D", b"\x1b[1;5C", b"\x1b", b"\r", b"\t", b"\x1b[Z",
         b"\x7f", b"\x08", b"\x1b[1;2A", b"\x1b[1;3B"]
# Not Ctrl-C, Ctrl-Q, Ctrl-Z and Ctrl-\\, which end or suspend on purpose; Ctrl-S is sent.
CONTROLS = [bytes([c]) for c in range(1, 27) if c not in (3, 17, 26)]


def keys():
    kind = rng.random()
    if kind < 0.6:
        return "".join(chr(rng.randint(32, 126)) for _ in range(rng.randint(1, 40))).encode()
    if kind < 0.8:
        return b"".join(rng.choice(NAMED) for _ in range(rng.randint(1, 12)))
    if kind < 0.88:
        return b"".join(rng.choice(CONTROLS) for _ in range(rng.randint(1, 4)))
    if kind < 0.93:
        text = "".join(rng.choice("x.-XO|{}5: 3+3+2\n\té漢\u202e") for _ in range(rng.randint(1, 4000)))
        return b"\x1b[200~" + text.encode() + b"\x1b[201~"
    if kind < 0.96:
        return b"\x1b[<%d;%d;%d%c" % (rng.randint(0, 66), rng.randint(1, 250), rng.randint(1, 80), rng.choice(b"Mm"))
    return bytes(rng.choice([0xC3, 0xFF, 0x80, 0x1B, 0x5B, 0x4D, 0x9B]) for _ in range(rng.randint(1, 4)))


def memory_kb(pid):
    with open(f"/proc/{pid}/status") as status:
        return int(re.search(r"VmHWM:\s+(\d+)", status.read()).group(1))


def fail(text, tail):
    print(f"random-keys.py: seed {seed}: {text}\n{tail[-2000:]!r}", file=sys.stderr)
    sys.exit(1)


class Editor:
    def __init__(self, folder):
        self.pid, self.fd = pty.fork()
        if self.pid == 0:
            os.chdir(folder)
            os.environ.update(HOME=folder, XDG_STATE_HOME=folder, XDG_CONFIG_HOME=folder, TERM="xterm-256color")
            os.execv(program, [program, "riff.toml"])
        os.set_blocking(self.fd, False)
        self.output, self.heard, self.sent, self.resizes = b"", time.monotonic(), 0, 0
        self.before = termios.tcgetattr(self.fd)

    def read(self):
        try:
            while data := os.read(self.fd, 65536):
                self.output, self.heard = (self.output + data)[-20000:], time.monotonic()
        except BlockingIOError:
            pass
        except OSError:
            return False
        return True

    def write(self, data):
        while data:
            if not self.read():
                return False
            if time.monotonic() - self.heard > MAX_SILENCE:
                fail("no output for 20 s: it hangs", self.output)
            try:
                data = data[os.write(self.fd, data):]
            except BlockingIOError:
                select.select([self.fd], [self.fd], [], 0.05)
            except OSError:
                return False
        return True

    def resize(self):
        size = struct.pack("HHHH", rng.randint(1, 70), rng.randint(1, 220), 0, 0)
        fcntl.ioctl(self.fd, termios.TIOCSWINSZ, size)
        self.resizes += 1


totals = dict(bytes=0, resizes=0, runs=0, memory=0)
end = time.monotonic() + seconds
report = time.monotonic() + 60
with tempfile.TemporaryDirectory() as folder:
    while time.monotonic() < end:
        editor = Editor(folder)
        until = min(end, time.monotonic() + rng.uniform(20, 90))
        alive = True
        while alive and time.monotonic() < until:
            data = keys()
            if rng.random() < 0.1:
                editor.resize()
            alive = editor.write(data)
            editor.sent += len(data)
            if b"panicked" in editor.output:
                fail("a panic", editor.output)
            if alive and editor.sent % 97 == 0:
                totals["memory"] = max(totals["memory"], memory_kb(editor.pid))
            if time.monotonic() > report:
                report += 60
                sent, resizes = totals["bytes"] + editor.sent, totals["resizes"] + editor.resizes
                print(f"{sent} bytes of keys, {resizes} resizes, at most {totals['memory']} kB", flush=True)
        if alive:
            totals["memory"] = max(totals["memory"], memory_kb(editor.pid))
            os.kill(editor.pid, signal.SIGTERM)
        deadline = time.monotonic() + 15
        while True:
            open_ = editor.read()
            done, status = os.waitpid(editor.pid, os.WNOHANG)
            if done:
                break
            if time.monotonic() > deadline:
                fail("still running 15 s after SIGTERM", editor.output)
            time.sleep(0.02)
        if os.WIFSIGNALED(status) and os.WTERMSIG(status) not in (signal.SIGTERM,):
            fail(f"ended by signal {os.WTERMSIG(status)}", editor.output)
        if b"panicked" in editor.output:
            fail("a panic", editor.output)
        if b"\x1b[?1049l" not in editor.output or b"\x1b[?25h" not in editor.output:
            fail("the alternate screen or the hidden cursor was left behind", editor.output)
        if totals["memory"] > MAX_MEMORY_KB:
            fail(f"{totals['memory']} kB of memory", editor.output)
        totals["bytes"] += editor.sent
        totals["resizes"] += editor.resizes
        totals["runs"] += 1
        os.close(editor.fd)
print(f"no finding: {totals['runs']} runs, {totals['bytes']} bytes of keys, {totals['resizes']} resizes, "
      f"at most {totals['memory']} kB")

"""The two ends that session.py watches: a program in a terminal, and what the null sink plays."""

import array, fcntl, glob, os, pty, re, select, struct, subprocess, termios, threading, time

RATE = 48_000
TOKEN = re.compile(rb"\x1b\[([0-9;?]*)([A-Za-z])|\x1b[^\[]|([\x20-\x7e]|[\xc0-\xff][\x80-\xbf]+)")
PLAYHEAD = "▼".encode(), b"V"


class Terminal:
    """A program in a pseudo-terminal of 100 x 24, what it has written, and where the playhead was when."""

    def __init__(self, command):
        self.seen, self.column, self.row, self.playhead = b"", 0, 0, []
        self.pid, self.fd = pty.fork()
        if self.pid == 0:
            os.execvp(command[0], command)
        fcntl.ioctl(self.fd, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 100, 0, 0))

    def read(self, seconds, until=None):
        end = time.monotonic() + seconds
        while time.monotonic() < end and not (until and until in self.seen):
            if select.select([self.fd], [], [], 0.02)[0]:
                try:
                    data = os.read(self.fd, 65536)
                except OSError:
                    break
                self.seen += data
                self.follow(data, time.monotonic())
        assert not until or until in self.seen, (until, self.seen[-3000:])
        taken, self.seen = self.seen, b""
        return taken

    def follow(self, data, at):
        """Keeps the cursor's place, and notes the columns in which the playhead is drawn in the ruler."""
        for values, command, letter in TOKEN.findall(data):
            if command == b"H":
                self.row, self.column = (int(n) for n in (values or b"1;1").split(b";"))
            elif letter:
                if letter in PLAYHEAD and self.row == 2:
                    self.playhead.append((at, self.column))
                self.column += 1

    def type(self, keys):
        os.write(self.fd, keys)

    def quit(self):
        self.type(b"\x11")
        self.read(1)
        self.type(b"y")
        self.read(4)
        os.waitpid(self.pid, 0)

    def child(self):
        """The number of the first child process, and its command line."""
        for children in glob.glob(f"/proc/{self.pid}/task/*/children"):
            for child in open(children).read().split():
                return int(child), open(f"/proc/{child}/cmdline", "rb").read()
        raise AssertionError("no child process")


class Recording:
    """What the sink plays, from its start, and when each frame came."""

    def __init__(self):
        command = ["parec", "-d", "cap.monitor", "--raw", "--format=s16le", f"--rate={RATE}", "--channels=2", "--latency-msec=5"]
        self.program = subprocess.Popen(command, stdout=subprocess.PIPE)
        self.data, self.dropped, self.arrivals = bytearray(), 0, []
        self.lock = threading.Lock()
        threading.Thread(target=self.listen, daemon=True).start()

    def listen(self):
        while piece := os.read(self.program.stdout.fileno(), 65536):
            with self.lock:
                self.data += piece
                self.arrivals.append((time.monotonic(), self.frames()))

    def frames(self):
        return self.dropped + len(self.data) // 4

    def drop(self, end):
        """Drops the frames before `end`."""
        with self.lock:
            del self.data[: 4 * (end - self.dropped)]
            self.dropped = end
            self.arrivals = [arrival for arrival in self.arrivals if arrival[1] >= end]

    def onsets(self, channel, start=0, quiet=4_800, end=None):
        """The frames from `start` on where sound follows so many frames of silence."""
        with self.lock:
            end = self.frames() if end is None else end
            samples = array.array("h", bytes(self.data[4 * (start - self.dropped) : 4 * (end - self.dropped)]))[channel::2]
        found, silent = [], 2 * quiet
        for k, sample in enumerate(samples):
            if abs(sample) > 300:
                if silent >= quiet:
                    found.append(start + k)
                silent = 0
            else:
                silent += 1
        return found

    def clock(self, start):
        """The function from a frame to its time: a frame came at the latest when the quickest piece after `start` says so."""
        offset = min(at - frames / RATE for at, frames in self.arrivals if frames >= start)
        return lambda frame: offset + frame / RATE

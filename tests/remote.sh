#!/bin/sh
# Tests `teeter remote` through a real ssh login: a private sshd on loopback behind a relay that delays every byte, the editor on
# that side, the speaker on this side, playing into a null sink. Checks the attacks that the sink recorded, that an edit is heard,
# that a cut connection falls silent, and that another speaker takes over. Needs pulseaudio, pulseaudio-utils,
# libasound2-plugins, openssh-server and python3.
#   tests/remote.sh [MS [CUTS]]     delay in each direction in ms (default 40), cut connections (default 3)
set -eu
delay=${1:-40}
cuts=${2:-3}
root=$(cd "$(dirname "$0")/.." && pwd)
export PATH="$PATH:/usr/sbin"
for tool in pulseaudio parec ssh sshd ssh-keygen python3; do
    command -v "$tool" >/dev/null || { echo "remote.sh: $tool is missing" >&2; exit 2; }
done
dir=$(mktemp -d)
jobs=
export TEETER_SINK="$dir"
finish() {
    for job in $jobs; do kill "$job" 2>/dev/null || true; done
    sh "$root/tests/null-sink.sh" || true
    rm -rf "$dir"
}
trap finish EXIT INT TERM

# Built first, so that the recording does not start during a build.
[ -n "${TEETER_PROGRAM:-}" ] || cargo build --manifest-path "$root/Cargo.toml"
teeter=${TEETER_PROGRAM:-${CARGO_TARGET_DIR:-$root/target}/debug/teeter}

sh "$root/tests/null-sink.sh" 48000
PULSE_SERVER=unix:$dir/native parec -d cap.monitor --raw --format=s16le --rate=48000 --channels=2 --latency-msec=20 \
    >"$dir/cap.raw" &
jobs="$jobs $!"
free() { python3 -c 'import socket; s = socket.socket(); s.bind(("127.0.0.1", 0)); print(s.getsockname()[1])'; }
sshd_port=$(free) delayed_port=$(free)

ssh-keygen -q -t ed25519 -N '' -f "$dir/host"
ssh-keygen -q -t ed25519 -N '' -f "$dir/id"
cp "$dir/id.pub" "$dir/authorized"
mkdir "$dir/state"
cat >"$dir/sshd_config" <<END_CONFIG
Port $sshd_port
ListenAddress 127.0.0.1
HostKey $dir/host
AuthorizedKeysFile $dir/authorized
StrictModes no
PidFile $dir/sshd.pid
UsePAM no
PermitRootLogin yes
SetEnv XDG_STATE_HOME=$dir/state
END_CONFIG
[ "$(id -u)" != 0 ] || mkdir -p /run/sshd
"$(command -v sshd)" -D -e -f "$dir/sshd_config" 2>"$dir/sshd.log" &
jobs="$jobs $!"

# A relay that delays every byte, in place of netem, which not every kernel has. SIGUSR1 cuts its connections.
cat >"$dir/relay.py" <<'END_RELAY'
import queue, signal, socket, sys, threading, time
delayed_port, sshd_port, delay = int(sys.argv[1]), int(sys.argv[2]), float(sys.argv[3]) / 1000
open_sockets = []
def cut(*_):
    while open_sockets:
        try:
            open_sockets.pop().shutdown(socket.SHUT_RDWR)
        except OSError:
            pass
signal.signal(signal.SIGUSR1, cut)
def one_way(a, b):
    pending = queue.Queue()
    def send():
        while True:
            due, data = pending.get()
            time.sleep(max(0, due - time.monotonic()))
            try:
                b.sendall(data) if data else b.shutdown(socket.SHUT_WR)
            except OSError:
                return
            if not data:
                return
    threading.Thread(target=send, daemon=True).start()
    while True:
        try:
            data = a.recv(65536)
        except OSError:
            data = b""
        pending.put((time.monotonic() + delay, data))
        if not data:
            return
listener = socket.create_server(("127.0.0.1", delayed_port))
while True:
    a, _ = listener.accept()
    b = socket.create_connection(("127.0.0.1", sshd_port))
    for s in (a, b):
        s.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        open_sockets.append(s)
    for pair in ((a, b), (b, a)):
        threading.Thread(target=one_way, args=pair, daemon=True).start()
END_RELAY
python3 "$dir/relay.py" "$delayed_port" "$sshd_port" "$delay" &
relay=$!
jobs="$jobs $relay"
sleep 1

cat >"$dir/groove.toml" <<'END_GROOVE'
format = 1
title = "Remote"
[[section]]
meter = "4/4"
tempo = 150
bars = 2
[[layer]]
name = "knock"
voice = "rim"
pan = -100
cells = "x... x... x... x... | x... x... x... x..."
[[layer]]
name = "more"
voice = "wood"
pan = 100
cells = ".... .... .... .... | .... .... .... ...."
END_GROOVE
export PULSE_SERVER="unix:$dir/native" ALSA_CONFIG_PATH="$dir/asound.conf"
python3 - "$dir" "$teeter" "$delayed_port" "$relay" "$cuts" <<'END_TEST'
import array, collections, fcntl, glob, os, pty, re, select, signal, struct, sys, termios, time
folder, teeter, port, relay, cuts = sys.argv[1], sys.argv[2], sys.argv[3], int(sys.argv[4]), int(sys.argv[5])
options = ["--", "-F", "none", "-i", f"{folder}/id", "-p", port, "-o", "StrictHostKeyChecking=no",
           "-o", "UserKnownHostsFile=/dev/null", "-o", "LogLevel=ERROR"]

class Terminal:
    """A program in a pseudo-terminal of 100 x 24, and what it has written."""
    def __init__(self, command):
        self.seen = b""
        self.pid, self.fd = pty.fork()
        if self.pid == 0:
            os.execvp(command[0], command)
        fcntl.ioctl(self.fd, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 100, 0, 0))
    def read(self, seconds, until=None):
        end = time.monotonic() + seconds
        while time.monotonic() < end and not (until and until in self.seen):
            if select.select([self.fd], [], [], 0.02)[0]:
                try:
                    self.seen += os.read(self.fd, 65536)
                except OSError:
                    break
        assert not until or until in self.seen, (until, self.seen[-3000:])
        taken, self.seen = self.seen, b""
        return taken
    def type(self, keys):
        os.write(self.fd, keys)
    def socket(self):
        """The socket on the host that its ssh forwards."""
        for children in glob.glob(f"/proc/{self.pid}/task/*/children"):
            for child in open(children).read().split():
                if found := re.search(b"/tmp/teeter-[0-9a-f]{32}", open(f"/proc/{child}/cmdline", "rb").read()):
                    return found[0].decode()
        raise AssertionError("no ssh runs")

def recorded():
    """What the sink has recorded: the left and the right channel."""
    data = open(f"{folder}/cap.raw", "rb").read()
    frames = array.array("h", data[:len(data) // 4 * 4])
    return frames[::2], frames[1::2]

def onsets(channel, start=0):
    found, quiet = [], 10_000
    for k in range(start, len(channel)):
        if abs(channel[k]) > 300:
            if quiet > 4_800:
                found.append(k)
            quiet = 0
        else:
            quiet += 1
    return found

remote = [teeter, "remote", "127.0.0.1", "--program", teeter]
editor = Terminal(remote + [f"{folder}/groove.toml"] + options)
editor.read(30, b"stopped")
socket = editor.socket()
assert os.path.exists(socket)
editor.type(b"\r")
editor.read(6)
editor.type(b"\x1b[B")
for _ in range(8):
    editor.type(b"x")
    editor.read(0.5)
editor.read(3)
editor.type(b"\r")
editor.read(1)
left, right = recorded()
found = onsets(left)
steps = collections.Counter(b - a for a, b in zip(found, found[1:]))
print(f"{len(found)} attacks recorded; spacing in frames: {dict(steps)} (exact: 19200)")
assert len(found) > 20 and set(steps) == {19_200}, "attacks off their exact frame"
assert onsets(right), "the edit is heard"
editor.type(b"\x11")
editor.read(1)
editor.type(b"y")
editor.read(4)
os.waitpid(editor.pid, 0)
assert not os.path.exists(socket), "the socket is removed"

# An editor that lives on: as in a multiplexer, it runs in a terminal of the host, and speakers come and go.
os.environ.update(XDG_STATE_HOME=f"{folder}/state", SSH_CONNECTION="1")
editor = Terminal([teeter, f"{folder}/groove.toml"])
editor.read(20, b"stopped")
for number in range(cuts + 1):
    speaker = Terminal(remote + ["--join"] + options)
    speaker.read(20, b"plays here until ctrl-c")
    editor.read(20, b"playing through the remote speaker")
    if number == 0:
        editor.type(b"\r")
    before = len(recorded()[0])
    editor.read(4)
    assert onsets(recorded()[0], before), f"connection {number} sounds"
    os.kill(relay, signal.SIGUSR1)
    editor.read(10, b"connection lost")
    speaker.read(3)
    os.close(speaker.fd)
    silent = len(recorded()[0]) + 48_000
    time.sleep(3)
    assert not onsets(recorded()[0], silent), "a lost connection is silent"
print(f"{cuts + 1} connections cut, each one noticed and taken up again")
os.kill(editor.pid, signal.SIGTERM)
END_TEST

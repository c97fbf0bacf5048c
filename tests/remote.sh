#!/bin/sh
# The far speaker through a real ssh: an sshd of its own on loopback, `ssh -R` to it, the editor at its far end, the speaker
# at the near end playing into a null sink. Measures the attacks in what the sink recorded, and the playhead of the editor's
# end against that of the device. Needs pulseaudio, pulseaudio-utils, libasound2-plugins, openssh-server and python3.
#   tests/remote.sh [MS]     milliseconds that every byte is held back in each direction (40 if not given)
set -eu
delay=${1:-40}
root=$(cd "$(dirname "$0")/.." && pwd)
for tool in pulseaudio parec ssh sshd ssh-keygen python3; do
    PATH=$PATH:/usr/sbin command -v "$tool" >/dev/null || { echo "far.sh: $tool is missing" >&2; exit 2; }
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

# Built first, so that the recording holds the sound and not the compiler.
cargo build --manifest-path "$root/Cargo.toml"
cargo test --manifest-path "$root/Cargo.toml" --lib --no-run
teeter=${CARGO_TARGET_DIR:-$root/target}/debug/teeter

sh "$root/tests/null-sink.sh" 48000
PULSE_SERVER=unix:$dir/native parec -d cap.monitor --raw --format=s16le --rate=48000 --channels=2 --latency-msec=20 \
    >"$dir/cap.raw" &
jobs="$jobs $!"
free() { python3 -c 'import socket; s = socket.socket(); s.bind(("127.0.0.1", 0)); print(s.getsockname()[1])'; }
door=$(free) late=$(free) near=$(free) far=$(free) near2=$(free) far2=$(free)

ssh-keygen -q -t ed25519 -N '' -f "$dir/host"
ssh-keygen -q -t ed25519 -N '' -f "$dir/id"
cp "$dir/id.pub" "$dir/authorized"
cat >"$dir/sshd_config" <<END
Port $door
ListenAddress 127.0.0.1
HostKey $dir/host
AuthorizedKeysFile $dir/authorized
StrictModes no
PidFile $dir/sshd.pid
UsePAM no
PermitRootLogin yes
AllowTcpForwarding yes
END
[ "$(id -u)" != 0 ] || mkdir -p /run/sshd
sshd=$(PATH=$PATH:/usr/sbin command -v sshd)
"$sshd" -D -e -f "$dir/sshd_config" 2>"$dir/sshd.log" &
jobs="$jobs $!"

# The delay: a relay that holds every byte back. It stands in for tc netem, which not every kernel has.
python3 - "$late" "$door" "$delay" <<'END' &
import socket, sys, threading, time, queue
late, door, delay = int(sys.argv[1]), int(sys.argv[2]), float(sys.argv[3]) / 1000
def one_way(a, b):
    held = queue.Queue()
    def give():
        while True:
            due, data = held.get()
            time.sleep(max(0, due - time.monotonic()))
            try:
                b.sendall(data) if data else b.shutdown(socket.SHUT_WR)
            except OSError:
                return
            if not data:
                return
    threading.Thread(target=give, daemon=True).start()
    while True:
        try:
            data = a.recv(65536)
        except OSError:
            data = b""
        held.put((time.monotonic() + delay, data))
        if not data:
            return
listener = socket.create_server(("127.0.0.1", late))
while True:
    a, _ = listener.accept()
    b = socket.create_connection(("127.0.0.1", door))
    for s in (a, b):
        s.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    for pair in ((a, b), (b, a)):
        threading.Thread(target=one_way, args=pair, daemon=True).start()
END
jobs="$jobs $!"
sleep 1
run_ssh="ssh -F none -i $dir/id -p $late -o StrictHostKeyChecking=no -o UserKnownHostsFile=/dev/null -o LogLevel=ERROR -o ExitOnForwardFailure=yes"

# The playhead: device and editor's end in one program, the tunnel between them.
$run_ssh -N -R "$far2:127.0.0.1:$near2" 127.0.0.1 &
jobs="$jobs $!"
sleep 2
PULSE_SERVER=unix:$dir/native ALSA_CONFIG_PATH=$dir/asound.conf TEETER_FAR_NEAR=$near2 TEETER_FAR_PORT=$far2 \
    cargo test --manifest-path "$root/Cargo.toml" --lib sound::far::tests::lines::plays_through_a_tunnel -- --ignored --exact --nocapture

# The program itself.
cat >"$dir/groove.toml" <<'END'
format = 1
title = "Far"
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
END
PULSE_SERVER=unix:$dir/native ALSA_CONFIG_PATH=$dir/asound.conf "$teeter" speaker --port "$near" >"$dir/shown" 2>"$dir/log" &
jobs="$jobs $!"
until grep -q token "$dir/shown" 2>/dev/null; do sleep 0.1; done
token=$(sed -n 's/.*good once: //p' "$dir/shown" | head -1)
start=$(wc -c <"$dir/cap.raw")
python3 - "$token" "$teeter --speaker $far $dir/groove.toml" $run_ssh -tt -R "$far:127.0.0.1:$near" 127.0.0.1 <<'END'
import fcntl, os, pty, select, struct, sys, termios, time
token, command, ssh = sys.argv[1], sys.argv[2], sys.argv[3:]
pid, fd = pty.fork()
if pid == 0:
    os.execvp(ssh[0], ssh + [command])
fcntl.ioctl(fd, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
seen = b""
def look(seconds, until=None):
    global seen
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if until and until in seen:
            return
        if select.select([fd], [], [], 0.05)[0]:
            try:
                seen += os.read(fd, 65536)
            except OSError:
                return
    assert not until, (until, seen[-2000:])
look(20, b"token of the far speaker")
os.write(fd, token.encode() + b"\r")
look(20, b"stopped")
os.write(fd, b"\r")
look(4)
os.write(fd, b"\x1b[B")
for _ in range(24):
    os.write(fd, b"x")
    look(0.5)
look(4)
os.write(fd, b"\r")
look(1)
os.write(fd, b"\x11")
look(1)
os.write(fd, b"y")
look(3)
END
sleep 1
cat "$dir/log"
python3 - "$dir/cap.raw" "$start" <<'END'
import array, collections, sys
data = open(sys.argv[1], "rb").read()[int(sys.argv[2]) // 4 * 4:]
left = array.array("h", data[:len(data) // 4 * 4])[::2]
onsets, quiet = [], 10_000
for k, x in enumerate(left):
    if abs(x) > 300:
        if quiet > 4_800:
            onsets.append(k)
        quiet = 0
    else:
        quiet += 1
steps = collections.Counter(b - a for a, b in zip(onsets, onsets[1:]))
print(f"{len(onsets)} attacks recorded; spacing in frames: {dict(steps)} (exact: 19200)")
assert len(onsets) > 40 and set(steps) == {19_200}, "attacks off their exact frame"
END

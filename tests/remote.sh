#!/bin/sh
# Tests the remote speaker through a real ssh connection: a private sshd on loopback, `ssh -R` to it, the editor on that side and
# the speaker on this side, playing into a null sink. Measures the attacks that the sink recorded, and the editor's playhead
# against that of the device. Needs pulseaudio, pulseaudio-utils, libasound2-plugins, openssh-server and python3.
#   tests/remote.sh [MS]     delay of every byte in each direction, in milliseconds (default 40)
set -eu
delay=${1:-40}
root=$(cd "$(dirname "$0")/.." && pwd)
for tool in pulseaudio parec ssh sshd ssh-keygen python3; do
    PATH=$PATH:/usr/sbin command -v "$tool" >/dev/null || { echo "remote.sh: $tool is missing" >&2; exit 2; }
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
cargo build --manifest-path "$root/Cargo.toml"
cargo test --manifest-path "$root/Cargo.toml" --lib --no-run
teeter=${CARGO_TARGET_DIR:-$root/target}/debug/teeter

sh "$root/tests/null-sink.sh" 48000
PULSE_SERVER=unix:$dir/native parec -d cap.monitor --raw --format=s16le --rate=48000 --channels=2 --latency-msec=20 \
    >"$dir/cap.raw" &
jobs="$jobs $!"
free() { python3 -c 'import socket; s = socket.socket(); s.bind(("127.0.0.1", 0)); print(s.getsockname()[1])'; }
sshd_port=$(free) delayed_port=$(free) speaker_port=$(free) editor_port=$(free) speaker_port2=$(free) editor_port2=$(free)

ssh-keygen -q -t ed25519 -N '' -f "$dir/host"
ssh-keygen -q -t ed25519 -N '' -f "$dir/id"
cp "$dir/id.pub" "$dir/authorized"
cat >"$dir/sshd_config" <<END
Port $sshd_port
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

# A relay that delays every byte, in place of tc netem, which not every kernel has.
python3 - "$delayed_port" "$sshd_port" "$delay" <<'END' &
import socket, sys, threading, time, queue
delayed_port, sshd_port, delay = int(sys.argv[1]), int(sys.argv[2]), float(sys.argv[3]) / 1000
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
    for pair in ((a, b), (b, a)):
        threading.Thread(target=one_way, args=pair, daemon=True).start()
END
jobs="$jobs $!"
sleep 1
run_ssh="ssh -F none -i $dir/id -p $delayed_port -o StrictHostKeyChecking=no -o UserKnownHostsFile=/dev/null -o LogLevel=ERROR -o ExitOnForwardFailure=yes"

# The playhead: device and editor in one process, connected through the tunnel.
$run_ssh -N -R "$editor_port2:127.0.0.1:$speaker_port2" 127.0.0.1 &
jobs="$jobs $!"
sleep 2
PULSE_SERVER=unix:$dir/native ALSA_CONFIG_PATH=$dir/asound.conf TEETER_FAR_NEAR=$speaker_port2 TEETER_FAR_PORT=$editor_port2 \
    cargo test --manifest-path "$root/Cargo.toml" --lib sound::remote::tests::lines::plays_through_a_tunnel -- --ignored --exact --nocapture

# The program itself.
cat >"$dir/groove.toml" <<'END'
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
END
PULSE_SERVER=unix:$dir/native ALSA_CONFIG_PATH=$dir/asound.conf "$teeter" speaker --port "$speaker_port" >"$dir/shown" 2>"$dir/log" &
jobs="$jobs $!"
until grep -q token "$dir/shown" 2>/dev/null; do sleep 0.1; done
token=$(sed -n 's/.*good once: //p' "$dir/shown" | head -1)
start=$(wc -c <"$dir/cap.raw")
python3 - "$token" "$teeter --speaker $editor_port $dir/groove.toml" $run_ssh -tt -R "$editor_port:127.0.0.1:$speaker_port" 127.0.0.1 <<'END'
import fcntl, os, pty, select, struct, sys, termios, time
token, command, ssh = sys.argv[1], sys.argv[2], sys.argv[3:]
pid, fd = pty.fork()
if pid == 0:
    os.execvp(ssh[0], ssh + [command])
fcntl.ioctl(fd, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
seen = b""
def read(seconds, until=None):
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
read(20, b"token of the far speaker")
os.write(fd, token.encode() + b"\r")
read(20, b"stopped")
os.write(fd, b"\r")
read(4)
os.write(fd, b"\x1b[B")
for _ in range(24):
    os.write(fd, b"x")
    read(0.5)
read(4)
os.write(fd, b"\r")
read(1)
os.write(fd, b"\x11")
read(1)
os.write(fd, b"y")
read(3)
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

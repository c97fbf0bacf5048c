"""Relays TCP connections with a delay, and counts the bytes: relay.py PORT TARGET_PORT MS COUNT_FILE. SIGUSR1 cuts them."""

import mmap, queue, signal, socket, struct, sys, threading, time

port, target_port, delay = int(sys.argv[1]), int(sys.argv[2]), float(sys.argv[3]) / 1000
with open(sys.argv[4], "w+b") as file:
    file.write(bytes(16))
    file.flush()
    counts = mmap.mmap(file.fileno(), 16)
open_sockets = []


def cut(*_):
    while open_sockets:
        try:
            open_sockets.pop().shutdown(socket.SHUT_RDWR)
        except OSError:
            pass


def one_way(a, b, way):
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
            count = struct.unpack_from("<q", counts, 8 * way)[0] + len(data)
            struct.pack_into("<q", counts, 8 * way, count)

    threading.Thread(target=send, daemon=True).start()
    while True:
        try:
            data = a.recv(65536)
        except OSError:
            data = b""
        pending.put((time.monotonic() + delay, data))
        if not data:
            return


signal.signal(signal.SIGUSR1, cut)
listener = socket.create_server(("127.0.0.1", port))
while True:
    a, _ = listener.accept()
    b = socket.create_connection(("127.0.0.1", target_port))
    for s in (a, b):
        s.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        open_sockets.append(s)
    for way, pair in enumerate([(a, b), (b, a)]):
        threading.Thread(target=one_way, args=(*pair, way), daemon=True).start()

"""Reads our MIDI files with mido and pretty_midi and compares them with the exact times; and our import of other files with mido's onsets.

usage: midi.py out FOLDER     every NAME.mid with the NAME.json beside it
       midi.py in FILE        [{"path": ..., "refused": reason or null, "onsets": [quarters, ...], "remarks": [...]}, ...]

Times are quarters, as fractions. It must not know how a file is written or how times were found.
"""

import collections
import json
import pathlib
import re
import sys
import warnings
from fractions import Fraction

import mido


def absolute(track):
    now = 0
    for message in track:
        now += message.time
        yield now, message


def onsets(track):
    """Onset and end in ticks of every note of a track, first begun first ended."""
    found, open_notes = [], collections.defaultdict(collections.deque)
    for now, m in absolute(track):
        if m.type == "note_on" and m.velocity > 0:
            open_notes[m.channel, m.note].append(len(found))
            found.append([now, None])
        elif m.type in ("note_on", "note_off") and open_notes[m.channel, m.note]:
            found[open_notes[m.channel, m.note].popleft()][1] = now
    return found


def near(ticks, quarters, per_quarter, what):
    off = abs(ticks - Fraction(quarters) * per_quarter)
    assert off <= 1, f"{what}: tick {ticks}, exact {float(Fraction(quarters) * per_quarter)}"
    return off


def check_out(path, exact):
    """Greatest distance in ticks, and the number of notes."""
    song = mido.MidiFile(path)
    per = song.ticks_per_beat
    assert song.type == 1, "format"
    assert len(song.tracks) == 1 + len(exact["layers"]) + len(exact["clicks"]), "tracks"
    head = list(absolute(song.tracks[0]))
    meters = [(n, m.numerator, m.denominator) for n, m in head if m.type == "time_signature"]
    assert len(meters) == len(exact["meters"]), "meters"
    for (tick, upper, lower), (start, terms, exact_lower) in zip(meters, exact["meters"]):
        assert (upper, lower) == (sum(terms), exact_lower), f"meter {upper}/{lower}, exact {terms}/{exact_lower}"
        near(tick, start, per, "meter")
    tempos = [(n, m.tempo) for n, m in head if m.type == "set_tempo"]
    assert len(tempos) == len(exact["tempos"]), "tempos"
    slack = Fraction(0)
    for (tick, us), (start, per_minute) in zip(tempos, exact["tempos"]):
        near(tick, start, per, "tempo")
        wanted = Fraction(60_000_000) / Fraction(per_minute)
        assert abs(us - wanted) <= Fraction(1, 2) or us in (1, 2**24 - 1), f"tempo {us}, exact {float(wanted)}"
        slack = max(slack, abs(us - wanted))
    farthest, count = Fraction(0), 0
    for track, notes in zip(song.tracks[1:], exact["layers"]):
        found = onsets(track)
        assert len(found) == len(notes), f"{len(found)} notes, exact {len(notes)}"
        for (start, end), (at, until) in zip(found, notes):
            farthest = max(farthest, near(start, at, per, "onset"), near(end, until, per, "end"))
        count += len(found)
    # Where the times of a file are exact, they have no distance at all.
    says = next(m.text for _, m in head if m.type == "text")
    assert says in ("teeter file times=exact", "teeter file times=rounded"), says
    if says.endswith("exact"):
        assert farthest == 0, f"{float(farthest)} ticks in a file that says it is exact"
    check_seconds(path, exact, slack)
    return farthest, count


def check_seconds(path, exact, slack):
    import pretty_midi

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        song = pretty_midi.PrettyMIDI(str(path))
    found = sorted(n.start for i in song.instruments for n in i.notes)
    wanted = sorted([s for notes in exact["seconds"] for s in notes] + [s for notes in exact["clicks"] for s in notes])
    assert len(found) == len(wanted), f"{len(found)} notes in seconds, exact {len(wanted)}"
    # A file's tempo is a whole number of microseconds a quarter: what that rounds off adds up over the quarters.
    quarters = float(Fraction(exact["quarters"]))
    slowest = 60 / min(float(Fraction(t[1])) for t in exact["tempos"])
    allowed = quarters * float(slack) / 1e6 + slowest / song.resolution + 1e-6
    for a, b in zip(found, wanted):
        assert abs(a - b) <= allowed, f"{a} s, exact {b} s, allowed {allowed} s"


def out(folder):
    files = sorted(pathlib.Path(folder).glob("*.mid"))
    assert files, f"no .mid file in {folder}"
    failed, notes, farthest, rounded = [], 0, Fraction(0), 0
    for path in files:
        try:
            far, count = check_out(path, json.loads(path.with_suffix(".json").read_text()))
        except (AssertionError, Exception) as error:
            failed.append(f"{path.name}: {type(error).__name__}: {error}")
            continue
        farthest, notes, rounded = max(farthest, far), notes + count, rounded + (far > 0)
    print(
        f"MIDI out: {len(files) - len(failed)} of {len(files)} files as mido and pretty_midi read them: {notes} notes, "
        f"{rounded} files with rounded times, farthest {float(farthest):.3f} ticks"
    )
    return failed


MOVE = re.compile(r"\(?(?:moved by )?(-?\d+)/(\d+) of a whole note")


def into(file):
    rows = json.loads(pathlib.Path(file).read_text())
    failed, same, moved, refused = [], 0, 0, []
    for row in rows:
        name = pathlib.Path(row["path"]).name
        if row["refused"]:
            refused.append(f"{name}: {row['refused']}")
            continue
        song = mido.MidiFile(row["path"])
        per = song.ticks_per_beat
        wanted = sorted(Fraction(start, per) for track in song.tracks for start, _ in onsets(track))
        found = sorted(Fraction(q) for q in row["onsets"])
        moves = [4 * abs(Fraction(int(a), int(b))) for r in row["remarks"] for a, b in MOVE.findall(r)]
        allowed = max(moves, default=Fraction(0))
        if len(found) != len(wanted):
            failed.append(f"{name}: {len(found)} onsets, mido has {len(wanted)}: {row['remarks'][:3]}")
        elif found == wanted:
            same += 1
        elif max(abs(a - b) for a, b in zip(found, wanted)) <= allowed:
            moved += 1
        else:
            worst = max(zip(found, wanted), key=lambda p: abs(p[0] - p[1]))
            failed.append(f"{name}: onset {worst[0]}, mido {worst[1]}, largest move told {allowed}")
    print(
        f"MIDI in: of {len(rows)} files {same} have exactly mido's onsets, {moved} have them but for moves that are told, "
        f"{len(refused)} are refused with a reason"
    )
    for line in refused:
        print(f"  refused: {line}")
    return failed


if __name__ == "__main__":
    problems = {"out": out, "in": into}[sys.argv[1]](sys.argv[2])
    for line in problems[:40]:
        print(line)
    sys.exit(1 if problems else 0)

"""Compares what we read of scores that others wrote with what music21 reads of them: every attack as written, by measure, onset and length.

usage: musicxml_in.py FILE
FILE is JSON: [{"path": ..., "refused": reason or null, "attacks": [[measure, onset, length, key or null], ...]}, ...], times in quarters.
It must not know how the attacks were found.
"""

import collections
import json
import multiprocessing
import pathlib
import sys
import warnings
from fractions import Fraction


def attacks(score):
    """Attacks of all parts: measure index, onset within it, length with ties joined, sounding key."""
    from music21 import harmony, stream

    found = []
    moved = False
    for part in score.parts:
        tied = {}
        for index, measure in enumerate(part.getElementsByClass(stream.Measure)):
            rows = []
            for n in measure.recurse().notes:
                if n.duration.isGrace or isinstance(n, harmony.Harmony):
                    continue
                if getattr(n.style, "noteSize", None) == "cue":
                    continue
                rows.append((Fraction(n.getOffsetInHierarchy(measure)), n))
            rows.sort(key=lambda r: r[0])
            for at, n in rows:
                length = Fraction(n.duration.quarterLength)
                members = list(n.notes) if hasattr(n, "notes") else [n]
                for one in members:
                    if hasattr(one, "pitch"):
                        key = one.pitch.midi
                        moved |= one.pitch.ps != key
                        same = key
                    else:
                        key, same = None, getattr(one, "displayName", "")
                    tie = one.tie
                    row = None
                    if tie is not None and tie.type in ("stop", "continue"):
                        row = tied.pop(same, None)
                    if row is None:
                        row = [index, at, length, key]
                        found.append(row)
                    else:
                        row[2] += length
                    if tie is not None and tie.type in ("start", "continue"):
                        tied[same] = row
    transposed = any(i.transposition is not None for i in score.recurse().getElementsByClass("Instrument"))
    return found, transposed or moved


# Where music21 reads something else than stands there, looked at one by one.
KNOWN = {
    "02e-Rests-NoType.xml": "music21 gives the one note of the second staff to both staves",
    "21f-Chord-ElementInBetween.xml": "music21 ends the chord at the direction between its notes",
    "32c-MultipleNotationChildren.xml": "music21 takes a drawn accidental without <alter> for the pitch",
}


def near(a, b):
    # music21 counts in the file's divisions (1024 of a quarter, say) where type and tuplet tell the exact length.
    return a == b or abs(a - b) < Fraction(1, 400)


def judge(row):
    warnings.simplefilter("ignore")
    import music21

    name = pathlib.Path(row["path"]).name
    if row["refused"] is not None:
        return name, "refused", row["refused"]
    try:
        score = music21.converter.parse(row["path"], format="musicxml", forceSource=True)
    except Exception as e:  # whatever it raises
        return name, "unread", f"{type(e).__name__}: {e}"
    if isinstance(score, music21.stream.Opus):
        return name, "unread", "an opus"
    theirs, no_keys = attacks(score)
    ours = [[m, Fraction(a), Fraction(l), k] for m, a, l, k in row["attacks"]]
    order = (lambda r: (r[0], r[1], r[2])) if no_keys else (lambda r: (r[0], r[1], -1 if r[3] is None else r[3], r[2]))
    ours.sort(key=order)
    theirs.sort(key=order)
    if len(ours) != len(theirs):
        a, b = (collections.Counter((m, float(round(at * 48) / 48)) for m, at, *_ in rows) for rows in (ours, theirs))
        more, less = sorted((a - b).items())[:3], sorted((b - a).items())[:3]
        return name, "differs", f"{len(ours)} attacks, music21 {len(theirs)}; ours only {more}, theirs only {less}"
    for a, b in zip(ours, theirs):
        if a[0] != b[0] or not near(a[1], b[1]) or not near(a[2], b[2]) or (not no_keys and a[3] != b[3]):
            words = [f"measure {r[0] + 1} at {r[1]} for {r[2]} key {r[3]}" for r in (a, b)]
            return name, "differs", f"{words[0]}, music21 {words[1]}"
    return name, "equal", ""


def main():
    rows = json.loads(pathlib.Path(sys.argv[1]).read_text())
    # The long ones first, so that no worker is left with one at the end.
    rows.sort(key=lambda r: -len(r["attacks"]))
    with multiprocessing.Pool(2) as pool:
        results = pool.map(judge, rows, chunksize=1)
    results = [(n, "known" if k == "differs" and n in KNOWN else k, KNOWN.get(n, w) if k == "differs" else w) for n, k, w in results]
    counts = collections.Counter(kind for _, kind, _ in results)
    for name, kind, words in sorted(results, key=lambda r: (r[1], r[0])):
        if kind != "equal":
            print(f"{kind}: {name}: {words}")
    print(
        f"MusicXML in: of {len(results)} scores {counts['equal']} read as music21 reads them, {counts['refused']} refused with a reason, "
        f"{counts['unread']} that music21 does not read, {counts['known']} that music21 reads otherwise than they are written, "
        f"{counts['differs']} otherwise"
    )
    return 1 if counts["differs"] or not results else 0


if __name__ == "__main__":
    sys.exit(main())

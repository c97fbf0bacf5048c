"""Judges exported scores: valid against the MusicXML 4.0 schema, and read by music21 as the exact times beside them say.

usage: musicxml.py FOLDER
FOLDER holds NAME.musicxml with NAME.json: all that is written, or only the onsets of all layers if some share a staff. It must not
know how the scores were made.
"""

import collections
import json
import multiprocessing
import pathlib
import sys
import warnings
from fractions import Fraction

from lxml import etree

SCHEMA = pathlib.Path(__file__).resolve().parents[2] / "target/outside/schema/musicxml_4_0.xsd"
# music21 keeps lengths as fractions of at most this denominator.
FINEST = 65535


def schema():
    return etree.XMLSchema(etree.parse(str(SCHEMA)))


def near(found, exact):
    found, exact = Fraction(found), Fraction(exact)
    return found == exact or (exact.denominator > FINEST and abs(found - exact) < Fraction(1, 10**6))


def written(measure):
    """Every note and rest as written: onset, length, whether a rest, ratios of its tuplets."""
    for n in measure.notesAndRests:
        if type(n).__name__ in ("NoChord", "ChordSymbol"):
            continue
        ratios = [[t.numberNotesActual, t.numberNotesNormal] for t in n.duration.tuplets]
        yield n, n.offset, n.duration.quarterLength, n.isRest, ratios


def compare(score, exact):
    from music21 import meter, stream, tempo

    parts = list(score.parts)
    if len(parts) != len(exact["parts"]):
        yield f"{len(parts)} parts, expected {len(exact['parts'])}"
        return
    for p, (part, want_part) in enumerate(zip(parts, exact["parts"])):
        measures = list(part.getElementsByClass(stream.Measure))
        if len(measures) != len(want_part["bars"]):
            yield f"part {p}: {len(measures)} bars, expected {len(want_part['bars'])}"
            continue
        signature, joined = None, []
        for b, (m, want) in enumerate(zip(measures, want_part["bars"])):
            where = f"part {p} bar {b + 1}"
            signature = m.timeSignature or signature
            if not near(m.offset, want["start"]):
                yield f"{where}: begins at {m.offset}, expected {want['start']}"
            terms = "+".join(f"{t}/{want['lower']}" for t in want["terms"])
            plain = f"{sum(want['terms'])}/{want['lower']}"
            told = signature.ratioString if signature else None
            if not near(signature.barDuration.quarterLength, Fraction(4 * sum(want["terms"]), want["lower"])):
                yield f"{where}: meter {told}, expected {terms}"
            if len(want["terms"]) == 1 and told != plain:
                yield f"{where}: meter {told}, expected {plain}"
            if len(want["terms"]) > 1:
                heads = [Fraction(t.duration.quarterLength) * want["lower"] / 4 for t in signature.displaySequence]
                if heads != want["terms"]:
                    yield f"{where}: terms {heads}, expected {want['terms']}"
            found = list(written(m))
            if len(found) != len(want["written"]):
                yield f"{where}: {len(found)} notes and rests, expected {len(want['written'])}"
                continue
            for (n, at, length, rest, ratios), (w_at, w_length, w_rest, w_ratios) in zip(found, want["written"]):
                if not near(at, w_at) or not near(length, w_length) or rest != w_rest or ratios != w_ratios:
                    yield f"{where}: {at} {length} {rest} {ratios}, expected {w_at} {w_length} {w_rest} {w_ratios}"
                if rest:
                    continue
                if n.tie is not None and n.tie.type in ("stop", "continue"):
                    joined[-1][1] += Fraction(length)
                else:
                    joined.append([Fraction(m.offset) + Fraction(at), Fraction(length)])
        if len(joined) != len(want_part["attacks"]):
            yield f"part {p}: {len(joined)} attacks, expected {len(want_part['attacks'])}"
            continue
        for (at, length), (w_at, w_length) in zip(joined, want_part["attacks"]):
            if not near(at, w_at) or not near(length, w_length):
                yield f"part {p}: attack at {at} for {length}, expected {w_at} {w_length}"
    marks = [m for m in score.recurse().getElementsByClass(tempo.MetronomeMark)]
    found = [float(m.getQuarterBPM()) for m in marks]
    wanted = exact["quarters_per_minute"]
    # The marks have six significant digits.
    if len(found) != len(wanted) or any(abs(a / b - 1) > 5.1e-6 for a, b in zip(found, wanted)):
        yield f"tempos {found}, expected {wanted}"


def staff_names(document):
    """The names of the instruments that stand at each place of a shared staff."""
    names = {i.get("id"): i.findtext("instrument-name") for i in document.iter("score-instrument")}
    places = collections.defaultdict(set)
    for note in document.iter("note"):
        place, instrument = note.find("unpitched"), note.find("instrument")
        if place is not None and instrument is not None:
            at = place.findtext("display-step") + place.findtext("display-octave")
            places[at].add(names[instrument.get("id")])
    return places


def hear(score, exact, document):
    """Compares the onsets at every place of a shared staff, and in every other part, with those of the layers."""
    from music21 import stream

    places = staff_names(document)
    group = {name: "/".join(sorted(names)) for names in places.values() for name in names}
    found = collections.Counter()
    for part in score.parts:
        for m in part.getElementsByClass(stream.Measure):
            for n in m.recurse().notes:
                for one in n.notes if hasattr(n, "notes") and part.partName == "drums" else [n]:
                    if one.tie is not None and one.tie.type in ("stop", "continue"):
                        continue
                    at = Fraction(m.offset) + Fraction(n.getOffsetInHierarchy(m))
                    # A layer on a staff of its own has its name as the part's.
                    name = "/".join(sorted(places[one.displayName])) if part.partName == "drums" else part.partName
                    found[(round(float(at), 4), name)] += 1
    want = collections.Counter((round(float(Fraction(at)), 4), group.get(name, name)) for at, name in exact["onsets"])
    if found != want:
        yield f"onsets: only found {sorted((found - want).items())[:4]}, only expected {sorted((want - found).items())[:4]}"


def judge(path):
    warnings.simplefilter("ignore")
    import music21

    faults = []
    document = etree.parse(str(path))
    grammar = schema()
    if not grammar.validate(document):
        faults += [f"schema: line {e.line}: {e.message}" for e in list(grammar.error_log)[:3]]
    exact = json.loads(path.with_suffix(".json").read_text())
    try:
        score = music21.converter.parse(str(path), format="musicxml", forceSource=True)
        for fault in hear(score, exact, document) if "onsets" in exact else compare(score, exact):
            faults.append(fault)
            if len(faults) > 5:
                break
    except Exception as e:  # whatever music21 raises is a fault of this file
        faults.append(f"music21: {type(e).__name__}: {e}")
    return path.name, faults


def main():
    paths = sorted(pathlib.Path(sys.argv[1]).glob("*.musicxml"))
    with multiprocessing.Pool(2) as pool:
        results = pool.map(judge, paths, chunksize=8)
    bad = [r for r in results if r[1]]
    for name, faults in bad[:20]:
        print(f"{name}:")
        for fault in faults:
            print(f"  {fault}")
    print(f"MusicXML out: {len(results) - len(bad)} of {len(results)} scores valid against 4.0 and read by music21 as they are")
    return 1 if bad or not results else 0


if __name__ == "__main__":
    sys.exit(main())

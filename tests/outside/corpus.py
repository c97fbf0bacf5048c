"""Writes chorales and folk songs that music21 carries as MusicXML, for the check of what the analysis hears in them.

usage: corpus.py FOLDER CHORALES SONGS
The rule: of the chorales in files of their own, sorted by name, the first ones that are in 4/4 throughout; of the collected folk
songs, sorted by file and in the order of the file, the first ones that are in one of 2/4 and 4/4 throughout and have no tuplets.
Writes chorale-00.musicxml and so on, song-00.musicxml and so on. It must not know what is heard.
"""

import itertools
import multiprocessing
import pathlib
import sys
import warnings


def music21():
    warnings.simplefilter("ignore")
    import music21

    return music21


def plain(score, meters):
    """Whether a score is in one of some meters throughout and has no tuplets."""
    m = music21()
    found = {t.ratioString for t in score.recurse().getElementsByClass(m.meter.TimeSignature)}
    return len(found) == 1 and found <= meters and not any(n.duration.tuplets for n in score.recurse().notes)


def chorale(path):
    score = music21().converter.parse(path, format="musicxml", forceSource=True)
    return score if plain(score, {"4/4"}) else None


def song(text):
    m = music21()
    try:
        score = m.converter.parse(text, format="abc", forceSource=True)
    except (m.Music21Exception, IndexError, ValueError):
        return None
    is_song = isinstance(score, m.stream.Score) and score.recurse().notes
    return score if is_song and plain(score, {"2/4", "4/4"}) else None


def written(job):
    """The score of a job as MusicXML; None where the rule leaves it out."""
    find, source = job
    score = find(source)
    return None if score is None else music21().musicxml.m21ToXml.GeneralObjectExporter(score).parse()


def songs(folder):
    """The texts of the songs of all files, one after the other."""
    for path in sorted(folder.glob("*.abc")):
        text = path.read_text(encoding="utf-8", errors="replace")
        for part in ("\n" + text).split("\nX:")[1:]:
            yield "X:" + part


def main():
    folder = pathlib.Path(sys.argv[1])
    corpus = pathlib.Path(music21().__file__).parent / "corpus"
    bach = sorted((corpus / "bach").glob("bwv*.mxl"))
    tasks = [
        ("chorale", int(sys.argv[2]), ((chorale, p) for p in bach)),
        ("song", int(sys.argv[3]), ((song, s) for s in songs(corpus / "essenFolksong"))),
    ]
    with multiprocessing.Pool(2) as pool:
        for kind, wanted, jobs in tasks:
            count = 0
            while count < wanted:
                batch = list(itertools.islice(jobs, 8))
                if not batch:
                    sys.exit(f"only {count} of kind {kind}")
                for data in pool.map(written, batch, chunksize=1):
                    if data is not None and count < wanted:
                        (folder / f"{kind}-{count:02}.musicxml").write_bytes(data)
                        count += 1


if __name__ == "__main__":
    main()

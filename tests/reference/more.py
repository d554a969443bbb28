"""Writes the tables that this project adds to the given ones, from the libraries' answers.

more_chords.csv     further qualities, where more than half of the libraries that can read the symbol agree
more_disputed.csv   those on which they do not
more_scales.csv     every scale that endpin names, on fourteen tonics
"""

import csv
from collections import Counter
from pathlib import Path

import libraries as ask

HERE = Path(__file__).parent
VERSIONS = {
    "tonal": "6.4.2",
    "chord-symbol": "4.0.0",
    "music21": "10.5.1",
    "pychord": "1.4.1",
    "mingus": "0.6.1",
    "teoria": "2.5.0",
    "musthe": "1.0.0",
}

ROOTS = ["C", "Db", "E", "F#", "Ab", "B"]
SUFFIXES = """
m dim aug sus4 sus2 maj7 m7 m7b5 dim7 mMaj7 7 6 m6 69 9 11 13 m9 m11 m13 maj9 maj11 maj13
7b5 7#5 7b13 7#11 7b5b9 7#5b9 7b9b13 7b9#9 9b5 9b13 13b9 13b5 7sus2 7sus4b9 7b9sus4 9sus 13sus4 maj7sus4
maj7#5 maj9#5 maj9#11 maj13#11 m9b5 m11b5 m#5 m7#5 m7b9 m7add11 mb6 mMaj11 mM7 mM9 madd9 add9 add11 add13
2 6add9 m6add9 6#11 69#11 7no3 7no5 7add13 7add11 m7add4 7(13) 9(13) maj7(9) m7(9) m7(b5) 7(#5) 7(b5)
7(#9#11) 7(b9b13) 7(b9,b13) 7(#5,#9) 7-5 7+5 7-9 7+9 7+11 7aug aug9 aug7 +M7 augmaj7 maj7+5 ma7 Ma7 mi7
min11 min6 -6 -11 -maj7 -7b5 o° Δ Δ7 Δ9 ^9 ø7 ø9 o °7 °9 dim9 dimMaj7 alt 7alt sus sus24 7susb9 5 M M6 maj maj6
6b9 maj7b9 7b9#11b13 9#11b13 13b9#11 13#9#11 7#9b5 7b13b9 7#11b9 m7b5b9 m7b5b13 7sus4b9b13
""".split()

SCALE_TONICS = ["C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B", "F#", "C#"]


def write(name, header, rows):
    with open(HERE / name, "w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(header)
        writer.writerows(rows)
    print(f"{name}: {len(rows)} rows")


def more_chords():
    agreed, disputed = [], []
    symbols = [(root, suffix) for suffix in SUFFIXES for root in ROOTS]
    found = ask.chords([root + suffix for root, suffix in symbols])
    for (root, suffix), answers in zip(symbols, found, strict=True):
        answers = {who: names for who in ask.LIBRARIES if (names := answers.get(who))}
        if not answers:
            continue
        sounds = {who: ask.chromas(names) for who, names in answers.items()}
        pcs, count = Counter(sounds.values()).most_common(1)[0]
        if count * 2 > len(answers) and count > 1:
            agreeing = [names for who, names in answers.items() if sounds[who] == pcs]
            tones, _ = Counter(map(tuple, agreeing)).most_common(1)[0]
            sources = [
                f"{who}@{VERSIONS[who]}" + ("" if sounds[who] == pcs and set(answers[who]) == set(tones) else "(!)")
                for who in answers
            ]
            if len([s for s in sources if not s.endswith("(!)")]) > 1:
                agreed.append([root + suffix, root, root, " ".join(tones), pcs, " ".join(sources)])
                continue
        cells = [" | ".join([" ".join(answers[who]), sounds[who]]) if who in answers else "" for who in ask.LIBRARIES]
        disputed.append([root + suffix, root, root, root + suffix, *cells])
    write("more_chords.csv", ["symbol", "root", "bass", "tones", "pcs", "sources"], agreed)
    columns = [f"{who}@{VERSIONS[who]}" for who in ask.LIBRARIES]
    write("more_disputed.csv", ["symbol", "root", "bass", "alias_of", *columns], disputed)


def more_scales():
    questions = [(tonic, name) for name in ask.SCALES for tonic in SCALE_TONICS]
    rows = []
    for (tonic, name), answers in zip(questions, ask.scales(questions), strict=True):
        sounds = {ask.chromas(notes) for notes in answers.values()}
        spellings = {tuple(notes) for notes in answers.values()}
        assert len(sounds) == 1, (tonic, name, answers)
        status = "pcs+spelling agree" if len(spellings) == 1 else "pcs agree"
        notes = next(answers[who] for who in ("music21", "tonal") if who in answers)
        sources = " ".join(f"{who}@{VERSIONS[who]}" for who in VERSIONS if who in answers)
        rows.append([name, tonic, " ".join(notes), *sounds, sources, status])
    write("more_scales.csv", ["scale", "tonic", "notes", "pcs", "sources", "status"], rows)


more_chords()
more_scales()

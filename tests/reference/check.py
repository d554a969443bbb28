"""Asks the libraries again and compares their answers with the tables; exit code 1 if any differ."""

import csv
import sys
from pathlib import Path

import libraries as ask

HERE = Path(__file__).parent
bad = []
asked = 0


def table(name):
    with open(HERE / name, newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert rows, f"{name} is empty"
    return rows


def differs(what, found, expected):
    global asked
    asked += 1
    if found != expected:
        bad.append(f"{what}: {found} instead of {expected}")


def library(source):
    return source.split("@")[0]


def chords(name):
    rows = table(name)
    for row, answers in zip(rows, ask.chords([row["symbol"] for row in rows]), strict=True):
        tones, bass = row["tones"].split(), row["bass"]
        for source in row["sources"].split():
            found = answers.get(library(source))
            what = f"{name}: {row['symbol']}: {source}"
            if found is None:
                differs(what, None, tones)
            elif source.endswith("(!)"):
                # A library outvoted by the others: it still says something else.
                same = set(found) | {bass} == set(tones) | {bass}
                differs(f"{what} agrees after all", same, False)
            else:
                same = set(found) | {bass} == set(tones) | {bass}
                differs(what, found if not same else tones, tones)


def disputed(name):
    """Each cell is a library's answer to the symbol, `alias:` ones to its plainer spelling."""
    rows = table(name)
    for column, prefix in (("symbol", ""), ("alias_of", "alias:")):
        found = ask.chords([row[column] for row in rows])
        for row, answers in zip(rows, found, strict=True):
            for cell, recorded in row.items():
                who = library(cell.removeprefix(prefix))
                if not recorded or who not in ask.LIBRARIES or not cell.startswith(prefix):
                    continue
                names = set(recorded.split(" | ")[0].split())
                what = f"{name}: {row[column]}: {cell}"
                differs(what, set(answers.get(who, ())) | {row["bass"]}, names | {row["bass"]})


def scales(name):
    rows = table(name)
    found = ask.scales([(row["tonic"], row["scale"]) for row in rows])
    for row, answers in zip(rows, found, strict=True):
        for source in row["sources"].split():
            notes = answers.get(library(source))
            what = f"{name}: {row['tonic']} {row['scale']}: {source}"
            differs(what, notes and ask.chromas(notes), row["pcs"])
            if row["status"] == "pcs+spelling agree":
                differs(what, notes, row["notes"].split())


def key_signatures(name):
    for row in table(name):
        sharps, notes, relative = ask.key_signature(row["tonic"], row["mode"])
        found = [str(sharps), " ".join(notes), relative]
        expected = [row["sharps"], row["scale_notes"], row["relative"]]
        differs(f"{name}: {row['tonic']} {row['mode']}", found, expected)


def transpositions(name):
    rows = table(name)
    found = ask.transpositions([(r["note"], r["interval"], r["interval_m21"]) for r in rows])
    for row, answers in zip(rows, found, strict=True):
        for source in row["sources"].split():
            what = f"{name}: {row['note']} {row['interval']}: {source}"
            differs(what, answers.get(library(source)), row["result"])


def functions(name):
    rows = table(name)
    tonal = ask.chords([row["tonal_chord"] for row in rows])
    for row, answers in zip(rows, tonal, strict=True):
        what = f"{name}: {row['jazz_symbol']} in {row['key']} {row['mode']}"
        found = ask.roman_numeral(row["music21_figure"], row["key"], row["mode"])
        differs(f"{what}: music21", ask.chromas(found), row["pcs"])
        differs(f"{what}: tonal", ask.chromas(answers["tonal"]), row["tonal_pcs"])


chords("chords.csv")
chords("more_chords.csv")
disputed("chords_disputed.csv")
disputed("more_disputed.csv")
scales("scales.csv")
scales("more_scales.csv")
key_signatures("keysigs.csv")
transpositions("transpositions.csv")
functions("roman.csv")
print(f"{asked} answers asked again, {len(bad)} differ")
for line in bad[:60]:
    print(line)
sys.exit(bool(bad))

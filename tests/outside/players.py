"""Recorded walking lines, read from a folder of tables, as charts and takes that endpin can learn from.

The folder has `beats.csv` (line, chorus, bar, beat, chord, onset_s, midi: one row a beat, `midi` empty where no
pitch was found) and `lines.csv` (line, key, tempo, bars, ...). The default weights were learnt from such tables
made of the beat tracks of the Weimar Jazz Database (Jazzomat project, University of Music Weimar; Open Database
Licence 1.0), as packed in the R package jazzodata 0.1.4 (MIT). The data themselves are no part of this project.
"""

import csv
from collections import defaultdict
from pathlib import Path

import mido

TICKS = 480


def read(folder):
    """Every line by name: its key, tempo, bars a chorus, and its beats (chorus, bar, beat, chord, midi or None)."""
    lines = {}
    with open(Path(folder) / "lines.csv", encoding="utf-8") as file:
        for row in csv.DictReader(file):
            tempo, bars = float(row["tempo"]), int(row["bars"])
            clean = float(row["chord_tone_share_on_beat_1"])
            lines[row["line"]] = {"key": row["key"], "tempo": tempo, "bars": bars, "clean": clean, "beats": []}
    with open(Path(folder) / "beats.csv", encoding="utf-8") as file:
        for row in csv.DictReader(file):
            midi = int(row["midi"]) if row["midi"] else None
            place = int(row["chorus"]), int(row["bar"]), int(row["beat"])
            lines[row["line"]]["beats"].append((*place, row["chord"], midi))
    return lines


def halves(lines):
    """The lines to develop with and those to report on: every other line each, and of these the cleaner ones, in
    which at least eight in ten arrivals are heard on a chord tone."""
    names = sorted(lines)
    clean = [[name for name in half if lines[name]["clean"] >= 0.8] for half in (names[0::2], names[1::2])]
    return clean[0], clean[1]


def chart_of(name, line):
    """The chart of a line as TOML: the chords of its first chorus."""
    first = line["beats"][0][0]
    bars = defaultdict(list)
    for chorus, bar, _, chord, _ in line["beats"]:
        if chorus == first:
            bars[bar].append(chord)
    written = []
    for bar in sorted(bars):
        chords = bars[bar]
        cells = [
            "/" if number and chord == chords[number - 1] else chord
            for number, chord in enumerate(chords)
        ]
        written.append(cells[0] if set(cells[1:]) == {"/"} else " ".join(cells))
    text = "\n".join("| " + " | ".join(written[at : at + 4]) + " |" for at in range(0, len(written), 4))
    key = line["key"]
    # Of two lines no key is known; it decides nothing but scales.
    key = "C" if key == "nan" else key
    return (
        f'title = "{name}"\nkey = "{key}"\nmeter = "4/4"\ntempo = {line["tempo"]:g}\n'
        f'\n[section.A]\nbars = """\n{text}\n"""\n'
    )


def take_of(line, lowest=28, highest=55):
    """The line as a MIDI file, each note on its beat; what lies outside the instrument is brought in by octaves."""
    track = mido.MidiTrack()
    track.append(mido.MetaMessage("set_tempo", tempo=mido.bpm2tempo(line["tempo"])))
    track.append(mido.MetaMessage("time_signature", numerator=4, denominator=4))
    track.append(mido.MetaMessage("track_name", name="Bass"))
    track.append(mido.Message("program_change", program=32))
    rest = 0
    for *_, midi in line["beats"]:
        if midi is None:
            rest += TICKS
            continue
        while midi < lowest:
            midi += 12
        while midi > highest:
            midi -= 12
        track.append(mido.Message("note_on", note=midi, velocity=80, time=rest))
        track.append(mido.Message("note_off", note=midi, velocity=0, time=TICKS - 20))
        rest = 20
    file = mido.MidiFile(ticks_per_beat=TICKS)
    file.tracks.append(track)
    return file


def write(lines, names, folder):
    """Writes a chart and a take of each line; gives their paths in the order that `endpin learn` takes them."""
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    paths = []
    for name in names:
        chart, take = folder / f"{name}.toml", folder / f"{name}.mid"
        chart.write_text(chart_of(name, lines[name]), encoding="utf-8")
        take_of(lines[name]).save(take)
        paths += [str(chart), str(take)]
    return paths

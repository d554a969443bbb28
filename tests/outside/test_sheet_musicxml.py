"""The notation, read back by other people's programs: the W3C schema of MusicXML 4.0 (as the PyPI package
`musicxml` carries it), music21 and verovio. What they read must be what our own report says."""

import base64
import io
import json
import tomllib
from importlib.metadata import distribution
from pathlib import Path

import mido
import music21
import pytest
import verovio
import xmlschema
from lxml import etree

KEYS = ["C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B"]
# Sharps (positive) or flats of the major keys: the circle of fifths.
FIFTHS = dict(zip(["Gb", "Db", "Ab", "Eb", "Bb", "F", "C", "G", "D", "A", "E", "B"], range(-6, 6)))


@pytest.fixture(scope="session")
def schema():
    """The schema of the W3C, with its two imports taken from the package xmlschema, not from the net."""
    files = distribution("musicxml").files
    text = next(file for file in files if file.name == "musicxml_4_0.xsd").locate().read_text("utf-8")
    bundled = Path(xmlschema.__file__).parent / "schemas"
    for name in ("xml.xsd", "xlink.xsd"):
        text = text.replace(f"http://www.musicxml.org/xsd/{name}", next(bundled.rglob(name)).as_uri())
    return etree.XMLSchema(etree.fromstring(text.encode()))


def valid(schema, document):
    return schema.validate(etree.fromstring(document)) or pytest.fail(str(schema.error_log)[:2000])


def expected(report):
    """Bar counted through, place in quarters, length in quarters, name of each note."""
    first = report["notes"][0]["chorus"]
    bars = max(note["bar"] for note in report["notes"] if note["chorus"] == first)
    # All meters of the scenarios count quarters.
    return [
        (
            (note["chorus"] - first) * bars + note["bar"],
            round(note["beat"] - 1, 3),
            round(note["length"], 3),
            note["midi"],
            note["name"],
        )
        for note in report["notes"]
    ]


def read(document):
    """The same of a document, as music21 reads it: sounding, ties joined."""
    score = music21.converter.parseData(document, format="musicxml")
    part = score.parts[0].toSoundingPitch()
    notes, held = [], None
    for measure in part.getElementsByClass("Measure"):
        for note in measure.recurse().getElementsByClass(music21.note.Note):
            length = float(note.quarterLength)
            if note.tie and note.tie.type in ("stop", "continue"):
                held[2] = round(held[2] + length, 3)
                continue
            place = float(note.getOffsetInHierarchy(measure))
            name = note.pitch.nameWithOctave.replace("-", "b")
            held = [measure.number, round(place, 3), round(length, 3), note.pitch.midi, name]
            notes.append(held)
    return score, [tuple(note) for note in notes]


def test_scenarios_are_valid_and_read_the_same(endpin, schema, scenario, tmp_path):
    level = 1 + sum(map(ord, scenario.stem)) % 6
    # music21 is slow: two choruses, and so a join, only of a short chart.
    choruses = 2 if scenario.stem == "ropewalk-blues" else 1
    options = [scenario, "--choruses", choruses, "--level", level, "--seed", 5]
    beside = tmp_path / "report.json"
    extras = ["--tab", "--fingering", "--marks", "--with-comp", "--report", beside]
    document = endpin("sheet", *options, "-o", "-", *extras)
    assert valid(schema, document)
    score, notes = read(document)
    said = json.loads(beside.read_text(encoding="utf-8"))
    meter = next(iter(score.recurse().getElementsByClass("TimeSignature")))
    chart = tomllib.loads(scenario.read_text(encoding="utf-8"))
    assert meter.ratioString == chart["meter"]
    wanted = expected(said)
    # Thirds of a beat are rounded by the report's reader and by ours alike.
    assert len(notes) == len(wanted)
    for found, note in zip(notes, wanted):
        assert found[0] == note[0] and found[3:] == note[3:], (found, note)
        assert found[1:3] == pytest.approx(note[1:3], abs=0.01), (found, note)
    assert score.metadata.title == said["chart"]


@pytest.mark.parametrize("key", KEYS)
def test_every_key_and_level(endpin, report, schema, key):
    root = Path(__file__).resolve().parents[2]
    options = [root / "scenarios/breakwater-blues.toml", "--key", key, "--choruses", 1]
    options += ["--level", 1 + KEYS.index(key) % 6, "--seed", 3]
    document = endpin("sheet", *options, "-o", "-", "--with-comp")
    assert valid(schema, document)
    score, notes = read(document)
    signatures = {found.sharps for found in score.recurse().getElementsByClass("KeySignature")}
    assert signatures == {FIFTHS[key]}
    assert [note[3:] for note in notes] == [note[3:] for note in expected(report(*options))]
    # Our comp on its grand staff sounds what the report says it does.
    said = report(*options)["comp"]
    staves = score.parts[1:]
    sounding = {}
    for staff in staves:
        for measure in staff.getElementsByClass("Measure"):
            for struck in measure.recurse().notes:
                if isinstance(struck, music21.harmony.ChordSymbol):
                    continue
                if struck.tie and struck.tie.type in ("stop", "continue"):
                    continue
                place = (measure.number, round(float(struck.getOffsetInHierarchy(measure)), 2))
                pitches = [
                    note.pitch.midi
                    for note in (struck.notes if struck.isChord else [struck])
                    if not (note.tie and note.tie.type in ("stop", "continue"))
                ]
                sounding[place] = sorted(sounding.get(place, []) + pitches)
    assert sounding == {
        (attack["bar"], round(attack["beat"] - 1, 2)): sorted(attack["midi"]) for attack in said
    }


def test_chord_symbols_keep_root_and_kind(endpin, schema, tmp_path):
    # Kinds as music21 names them.
    wanted = {
        "Cmaj7": ("C", "major-seventh"),
        "Am7": ("A", "minor-seventh"),
        "Dm7b5": ("D", "half-diminished-seventh"),
        "G7b9": ("G", "dominant-seventh"),
        "Ebdim7": ("E-", "diminished-seventh"),
        "F#m6": ("F#", "minor-sixth"),
        "Bb13": ("B-", "dominant-13th"),
        "C7sus4": ("C", "suspended-fourth"),
    }
    document = endpin("sheet", "--bars", " | ".join(wanted), "--key", "C", "--choruses", 1, "-o", "-")
    assert valid(schema, document)
    score = music21.converter.parseData(document, format="musicxml")
    symbols = score.recurse().getElementsByClass(music21.harmony.ChordSymbol)
    read_back = [(symbol.root().name, symbol.chordKind) for symbol in symbols]
    assert read_back[: len(wanted)] == [(root, kind) for root, kind in wanted.values()]


def test_verovio_sounds_the_same_notes(endpin, report):
    root = Path(__file__).resolve().parents[2]
    options = [root / "scenarios/breakwater-blues.toml", "--level", 6, "--choruses", 2, "--seed", 2]
    toolkit = verovio.toolkit()
    assert toolkit.loadData(endpin("sheet", *options, "-o", "-").decode())
    midi = mido.MidiFile(file=io.BytesIO(base64.b64decode(toolkit.renderToMIDI())))
    keys = [m.note for t in midi.tracks for m in t if m.type == "note_on" and m.velocity > 0]
    said = [note["midi"] for note in report(*options)["notes"]]
    # Verovio sounds the written octave or the transposed one, by its version: all the same distance away.
    apart = {key - wanted for key, wanted in zip(keys, said)}
    assert len(keys) == len(said) and apart in ({0}, {12})


def test_compressed_is_the_same_music(endpin, tmp_path):
    plain, packed = tmp_path / "line.musicxml", tmp_path / "line.mxl"
    for file in (plain, packed):
        endpin("sheet", "--bars", "F7 | Bb7 | F7 | C7", "--choruses", 1, "-o", file)
    pitches = [
        [note.nameWithOctave for note in music21.converter.parse(file).flatten().getElementsByClass("Note")]
        for file in (plain, packed)
    ]
    assert pitches[0] == pitches[1] and len(pitches[0]) >= 16


def test_titles_never_become_markup(endpin, schema, tmp_path):
    chart = tmp_path / "odd.toml"
    chart.write_text('title = "</work-title><script>&\\u0001 ]]>"\nkey = "C"\nmeter = "4/4"\ntempo = 100\n'
                     'feel = "four"\n[section."<b>&"]\nbars = "| C | F | G7 | C |"\n', encoding="utf-8")
    document = endpin("sheet", chart, "-o", "-", "--choruses", 1)
    assert valid(schema, document)
    tree = etree.fromstring(document)
    assert tree.findtext("work/work-title") == "</work-title><script>&  ]]>"
    assert tree.findtext(".//rehearsal") == "<b>&"
    assert tree.find(".//script") is None

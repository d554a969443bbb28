"""Answers of the libraries, each as a list of note names, or None where a library cannot read the question."""

import json
import os
import subprocess
import warnings
from pathlib import Path

warnings.simplefilter("ignore")

import musthe  # noqa: E402
from mingus.core import chords as mingus_chords  # noqa: E402
from mingus.core import scales as mingus_scales  # noqa: E402
from music21 import harmony, interval, key, pitch, roman, scale  # noqa: E402
from pychord import Chord as PyChord  # noqa: E402

HERE = Path(__file__).parent


def plain(name):
    """music21 writes flats as minus signs."""
    return name.replace("-", "b")


def music21_name(name):
    return name[0] + name[1:].replace("b", "-")


def split_root(symbol):
    end = 1
    while end < len(symbol) and symbol[end] in "b#":
        end += 1
    return symbol[:end], symbol[end:]


def music21_chord(symbol):
    root, rest = split_root(symbol)
    quality, slash, bass = rest.rpartition("/")
    if slash and bass[0] in "ABCDEFG":
        rest = f"{quality}/{music21_name(bass)}"
    chord = harmony.ChordSymbol(music21_name(root) + rest)
    return [plain(p.name) for p in chord.pitches]


def pychord_chord(symbol):
    return PyChord(symbol).components()


def mingus_chord(symbol):
    return mingus_chords.from_shorthand(symbol)


PYTHON = {"music21": music21_chord, "pychord": pychord_chord, "mingus": mingus_chord}


def attempt(ask, *question):
    try:
        answer = ask(*question)
    except Exception:  # each library has its own way of refusing
        return None
    return list(answer) if answer else None


def javascript(requests):
    """The JavaScript libraries' answers to many requests, in order."""
    done = subprocess.run(
        ["node", HERE / "libraries.mjs"],
        input="".join(json.dumps(request) + "\n" for request in requests),
        capture_output=True,
        text=True,
        env=os.environ,
        check=False,
    )
    if done.returncode:
        raise SystemExit(f"node failed:\n{done.stderr}")
    return [json.loads(line) for line in done.stdout.splitlines()]


def chords(symbols):
    """For each symbol: {library: names}."""
    found = javascript([["chord", symbol] for symbol in symbols])
    for symbol, answers in zip(symbols, found, strict=True):
        for library, ask in PYTHON.items():
            names = attempt(ask, symbol)
            if names:
                answers[library] = names
    return found


SEMITONES = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}


def chroma(name):
    return (SEMITONES[name[0]] + name.count("#") - name.count("b")) % 12


def chromas(names):
    return " ".join(str(c) for c in sorted({chroma(name) for name in names}))


LIBRARIES = ("tonal", "chord-symbol", "music21", "pychord", "mingus", "teoria")

# Our name of a scale: tonal's, teoria's, music21's class (or a mode of one).
SCALES = {
    "major": ("major", "major", lambda t: scale.MajorScale(t)),
    "dorian": ("dorian", "dorian", lambda t: scale.DorianScale(t)),
    "phrygian": ("phrygian", "phrygian", lambda t: scale.PhrygianScale(t)),
    "lydian": ("lydian", "lydian", lambda t: scale.LydianScale(t)),
    "mixolydian": ("mixolydian", "mixolydian", lambda t: scale.MixolydianScale(t)),
    "aeolian": ("aeolian", "aeolian", lambda t: scale.MinorScale(t)),
    "locrian": ("locrian", "locrian", lambda t: scale.LocrianScale(t)),
    "melodic minor": ("melodic minor", "melodicminor", None),
    "dorian b2": ("dorian b2", None, ("melodic", 2)),
    "lydian augmented": ("lydian augmented", None, ("melodic", 3)),
    "lydian dominant": ("lydian dominant", None, ("melodic", 4)),
    "mixolydian b6": ("mixolydian b6", None, ("melodic", 5)),
    "locrian natural 2": ("locrian #2", None, ("melodic", 6)),
    "altered": ("altered", None, ("melodic", 7)),
    "harmonic minor": ("harmonic minor", "harmonicminor", lambda t: scale.HarmonicMinorScale(t)),
    "phrygian dominant": ("phrygian dominant", None, ("harmonic", 5)),
    "harmonic major": ("harmonic major", None, None),
    "half-whole diminished": ("half-whole diminished", None, lambda t: scale.OctatonicScale(t, "m2")),
    "whole-half diminished": ("diminished", None, lambda t: scale.OctatonicScale(t, "M2")),
    "whole tone": ("whole tone", "wholetone", lambda t: scale.WholeToneScale(t)),
    "bebop dominant": ("bebop", None, None),
    "major pentatonic": ("major pentatonic", "majorpentatonic", None),
    "minor pentatonic": ("minor pentatonic", "minorpentatonic", None),
    "blues": ("blues", "blues", None),
}

# Steps from the tonic of the parent scale to the tonic of its mode.
MODES = {
    "melodic": (scale.MelodicMinorScale, ["P1", "M2", "m3", "P4", "P5", "M6", "M7"]),
    "harmonic": (scale.HarmonicMinorScale, ["P1", "M2", "m3", "P4", "P5", "m6", "M7"]),
}


def music21_scale(tonic, made):
    start = pitch.Pitch(music21_name(tonic) + "4")
    if isinstance(made, tuple):
        family, degree = made
        parent, steps = MODES[family]
        down = interval.Interval(steps[degree - 1]).reverse()
        parent_tonic = start.transpose(down)
        notes = parent(parent_tonic).getPitches(start, start.transpose("P8"), direction=scale.Direction.ASCENDING)
    else:
        notes = made(start).getPitches(start, start.transpose("P8"))
    names = [plain(p.name) for p in notes]
    assert names[0] == tonic
    return names[:-1]


def scales(questions):
    """For each (tonic, scale): {library: names}. A table may call a scale `name (explanation)`."""
    plain_names = [name.split(" (")[0].split(" / ")[0] for _, name in questions]
    requests = []
    for (tonic, _), name in zip(questions, plain_names, strict=True):
        tonal, teoria, _ = SCALES[name]
        requests.append(["scale", tonic, tonal, teoria])
    found = javascript(requests)
    for (tonic, _), name, answers in zip(questions, plain_names, found, strict=True):
        made = SCALES[name][2]
        notes = made and attempt(music21_scale, tonic, made)
        if notes:
            answers["music21"] = notes
        if name in MINGUS_SCALES:
            notes = attempt(mingus_scale, tonic, MINGUS_SCALES[name])
            if notes:
                answers["mingus"] = notes
        if name.endswith("pentatonic"):
            notes = attempt(musthe_scale, tonic, name.replace(" ", "_"))
            if notes:
                answers["musthe"] = notes
    return found


MINGUS_SCALES = {"aeolian": "NaturalMinor", "major": "Major", "harmonic major": "HarmonicMajor"}


def mingus_scale(tonic, kind):
    return getattr(mingus_scales, kind)(tonic).ascending()[:-1]


def musthe_scale(tonic, kind):
    steps = len(musthe.Scale.scales[kind])
    notes = musthe.Scale(musthe.Note(tonic), kind)
    return [str(notes[step]).rstrip("0123456789") for step in range(steps)]


def key_signature(tonic, mode):
    found = key.Key(music21_name(tonic), mode)
    notes = [plain(found.pitchFromDegree(degree).name) for degree in range(1, 8)]
    relative = found.relative
    return found.sharps, notes, f"{plain(relative.tonic.name)} {relative.mode}"


def transpositions(questions):
    """For each (note, interval as tonal writes it, as music21 does): {library: note}."""
    found = javascript([["transpose", note, by] for note, by, _ in questions])
    answers = [{who: names[0] for who, names in answer.items()} for answer in found]
    for (note, _, by), answer in zip(questions, answers, strict=True):
        moved = pitch.Pitch(music21_name(note)).transpose(by)
        answer["music21"] = plain(moved.nameWithOctave)
    return answers


def roman_numeral(figure, tonic, mode):
    found = roman.RomanNumeral(figure, key.Key(music21_name(tonic), mode))
    return [plain(p.name) for p in found.pitches]

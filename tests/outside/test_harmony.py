"""The functions of a chart, read back by music21's own reader of Roman numerals (10.5.1).

Only the numeral is read (`VI` of `VI7b9 (V7/ii)`), with its sign and its triad: what stands after it follows
jazz practice, where 7 is a minor seventh, and not the key's own notes as in music21.
"""

import json
import re

import pytest
from music21 import key as m21_key
from music21 import interval, pitch, roman

NUMERAL = re.compile(r"^([b#]*)([ivIV]+)(o|ø|\+)?")
TRIAD_DEGREES = {"1", "b3", "3", "b5", "5", "#5"}
SEMITONES = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}


def chroma(name):
    return (SEMITONES[name[0]] + name.count("#") - name.count("b")) % 12


def key_of(text):
    tonic, _, mode = text.partition(" ")
    return m21_key.Key(tonic.replace("b", "-"), mode or "major")


def triad(figure, key):
    signs, numeral, quality = NUMERAL.match(figure).groups()
    # music21 writes the half-diminished triad of viiø7 as a diminished one.
    figure = signs + numeral + {"ø": "o", None: ""}.get(quality, quality)
    return {pitch.pitchClass for pitch in roman.RomanNumeral(figure, key_of(key)).pitches}


def spans(endpin, *arguments):
    return json.loads(endpin("chart", *arguments, "--json"))["spans"]


def check(found):
    read = 0
    for span in found:
        if span["root"] is None:
            continue
        tones = {
            chroma(tone)
            for tone, degree in zip(span["tones"], span["degrees"], strict=True)
            if degree in TRIAD_DEGREES
        }
        plain_fifth = {"5", "b5"} & set(span["degrees"]) or "+" in span["function"]
        no_triad = "7b5" in span["function"] or "sus" in span["function"]
        if len(tones) != 3 or not plain_fifth or no_triad:
            continue  # suspended, by its bass too, or its fifth altered: no triad that a numeral names
        assert triad(span["function"], span["key"]) == tones, span
        read += 1
    return read


def test_numerals_of_the_scenarios(endpin, scenario):
    assert check(spans(endpin, scenario)) > 1


def moved(symbol, by):
    """A chord symbol moved by a music21 interval; slash basses are not used here."""
    root, quality = re.match(r"([A-G][b#]*)(.*)", symbol).groups()
    return pitch.Pitch(root.replace("b", "-")).transpose(by).name.replace("-", "b") + quality


MAJOR = "Cmaj7 C#dim7 | Dm7 G7 | Em7b5 A7 | Fmaj7 F#dim7 | Fm7 Bb7 | Cmaj7 Ab7 | Dm7b5 Db7 | C6 B7"
MINOR = "Am6 | Bm7b5 E7 | Cmaj7 | Dm7 G#dim7 | Fmaj7 F7 | Em7 A7 | F#m7b5 B7 | Bbmaj7 E7"


@pytest.mark.parametrize("key", ["C", "Gb", "F#", "Ab", "E", "A minor", "Eb minor", "G# minor"])
def test_numerals_in_many_keys(endpin, key):
    bars, home = (MINOR, "A") if "minor" in key else (MAJOR, "C")
    by = interval.Interval(pitch.Pitch(home), key_of(key).tonic)
    source = " | ".join(" ".join(moved(symbol, by) for symbol in bar.split()) for bar in bars.split("|"))
    found = spans(endpin, "--bars", source, "--key", key)
    assert check(found) >= 12
    # The same functions in every key.
    there = spans(endpin, "--bars", bars, "--key", home + (" minor" if "minor" in key else ""))
    assert [span["function"] for span in found] == [span["function"] for span in there]

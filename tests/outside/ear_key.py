"""The key to a set of ear questions, derived again from the MIDI bytes alone.

Nothing of endpin's is used: mido reads the file, and what each answer means is written here from the words
of the question. The chords of a wrong-note question, which are printed with it, are read by music21.
"""

from dataclasses import dataclass
from functools import cache

import mido
from music21 import harmony

BELL = 81  # open triangle, General MIDI level 1


@dataclass(frozen=True)
class Note:
    start: int
    length: int
    key: int
    velocity: int


@dataclass
class Heard:
    """A question as it sounds: notes by track, marks, and the grid of beats."""

    tracks: dict[str, list[Note]]
    marks: dict[str, int]
    tempo: int
    beats: int
    beat: int
    bytes: int

    @property
    def bar(self):
        return self.beats * self.beat

    def bass(self, since="Bar 1", until=None):
        start = self.marks[since]
        end = self.marks[until] if until else float("inf")
        return {n.start - start: n.key for n in self.tracks["Bass"] if start <= n.start < end}

    @property
    def bell(self):
        """Its tick from bar 1 on."""
        (bell,) = [n for n in self.tracks["Time"] if n.key == BELL]
        return bell.start - self.marks["Bar 1"]


def hear(path):
    file = mido.MidiFile(path)
    tracks, marks, tempo, beats, unit = {}, {}, None, None, None
    for track in file.tracks:
        tick, open_notes, notes = 0, {}, []
        for message in track:
            tick += message.time
            if message.type == "marker":
                marks[message.text] = tick
            elif message.type == "set_tempo":
                tempo = message.tempo
            elif message.type == "time_signature":
                beats, unit = message.numerator, message.denominator
            elif message.type == "note_on" and message.velocity > 0:
                open_notes[message.note] = (tick, message.velocity)
            elif message.type in ("note_on", "note_off"):
                start, velocity = open_notes.pop(message.note)
                notes.append(Note(start, tick - start, message.note, velocity))
        tracks[track.name] = sorted(notes, key=lambda n: (n.start, n.key))
    beat = file.ticks_per_beat * 4 // unit
    return Heard(tracks, marks, tempo, beats, beat, path.stat().st_size)


def approach_between(first, second, goal):
    """The approach that two notes make into a third, by the vocabulary of the design, section 2."""
    a, b = first - goal, second - goal
    if (a, b) in ((2, 1), (-2, -1)):
        return "double-chromatic"
    if 1 <= abs(a) <= 2 and 1 <= abs(b) <= 2 and a * b < 0:
        return "enclosure"
    single = {-1: "chromatic-below", 1: "chromatic-above", -2: "scale-below", 2: "scale-above"}
    return {**single, 7: "dominant", -5: "dominant"}[b]


def approach(heard, _):
    bass, goal = heard.bass(), heard.bell
    return approach_between(*(bass[goal - back * heard.beat] for back in (2, 1, 0)))


def chord_tone(heard, _):
    bass, bell = heard.bass(), heard.bell
    above = (bass[bell] - bass[bell - bell % heard.bar]) % 12
    names = {(0,): "root", (3, 4): "third", (6, 7, 8): "fifth", (9, 10, 11): "seventh"}
    (name,) = [name for steps, name in names.items() if above in steps]
    return name


def quality(heard, _):
    bass = heard.bass()
    spelled = {(key - bass[0]) % 12 for tick, key in bass.items() if tick < 2 * heard.bar}
    names = {
        frozenset({0, 4, 7, 11}): "major-seventh",
        frozenset({0, 4, 7, 10}): "dominant-seventh",
        frozenset({0, 3, 7, 10}): "minor-seventh",
        frozenset({0, 3, 6, 10}): "half-diminished",
    }
    return names[frozenset(spelled)]


@cache
def chromas(symbol):
    """Pitch classes of a chord symbol, read by music21, which writes a flat root as B-."""
    root, rest = symbol[0], symbol[1:]
    while rest[:1] in ("b", "#", "♭", "♯"):
        root, rest = root + {"b": "-", "♭": "-", "#": "#", "♯": "#"}[rest[0]], rest[1:]
    rest = rest.replace("♭", "b").replace("♯", "#")
    spellings = {"m7b5": "ø7", "ø": "ø7", "dim7": "o7", "°7": "o7", "mMaj7": "mM7"}
    spellings |= {"Δ": "maj7", "Δ7": "maj7", "-7": "m7", "7b9": "7 add b9"}
    rest = spellings.get(rest, rest)
    return frozenset(p.pitchClass for p in harmony.ChordSymbol(root + rest).pitches)


STRONG = {4: (1, 3), 3: (1,), 5: (1, 4), 7: (1, 3, 5), 6: (1, 4)}  # common practice, no source


def wrong_note(heard, question):
    chords = [((c["bar"] - 1) * heard.bar + (c["beat"] - 1) * heard.beat, c["symbol"]) for c in question["chords"]]
    wrong = []
    for tick, key in heard.bass().items():
        bar, beat = tick // heard.bar + 1, tick % heard.bar // heard.beat + 1
        _, symbol = max(chord for chord in chords if chord[0] <= tick)
        if beat in STRONG[heard.beats] and bar <= 4 and key % 12 not in chromas(symbol):
            wrong.append(f"{bar}.{beat}")
    (only,) = wrong
    return only


def downbeats(heard):
    return [key for tick, key in sorted(heard.bass().items()) if tick % heard.bar == 0]


def turnaround(heard, _):
    *roots, home = downbeats(heard)
    degrees = tuple((root - home) % 12 for root in roots)
    names = {
        (0, 9, 2, 7): "1-6-2-5",
        (0, 1, 2, 7): "1-#1-2-5",
        (4, 9, 2, 7): "3-6-2-5",
        (0, 3, 8, 1): "1-b3-b6-b2",
    }
    return names[degrees]


def same(heard, _):
    return "same" if heard.bass(until="Again") == heard.bass(since="Again") else "different"


LETTERS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}


def key_of(name):
    """The MIDI key of a note name such as Bb2; C4 is 60."""
    letter, signs, octave = name[0], name[1:].rstrip("-0123456789"), name[1:].lstrip("b#")
    return 12 * (int(octave) + 1) + LETTERS[letter] + signs.count("#") - signs.count("b")


def dictation(heard, _):
    bass = heard.bass()
    return [bass[tick] for tick in sorted(bass) if heard.bell <= tick < heard.bell + heard.bar]


def level(heard, _):
    bass = heard.bass()
    changes = [tick for tick in bass if tick % heard.bar == 0 and tick > 0]
    made = {approach_between(*(bass[goal - back * heard.beat] for back in (2, 1, 0))) for goal in changes}
    if made & {"double-chromatic", "enclosure"}:
        return "5"
    return "4" if "dominant" in made else "3"


def comp(heard, _):
    bass, start = heard.bass(), heard.marks["Bar 1"]
    attacks = {}
    for note in heard.tracks["Comp"]:
        attacks.setdefault(note.start - start, set()).add(note.key % 12)
    found = set()
    for tick, chord in attacks.items():
        above = {(key - bass[tick]) % 12 for key in chord} if tick in bass else set()
        if {4, 10} <= above:  # a dominant over its root
            found.add("altered" if above & {1, 3, 8} else "plain")
    (only,) = found
    return only


def next_root(heard, _):
    tonic, *_, dominant = downbeats(heard)
    return {0: "1", 2: "2", 5: "4", 7: "5", 9: "6"}[(dominant - 7 - tonic) % 12]


KINDS = {
    "approach": approach,
    "chord-tone": chord_tone,
    "quality": quality,
    "wrong-note": wrong_note,
    "turnaround": turnaround,
    "same": same,
    "dictation": dictation,
    "level": level,
    "comp": comp,
    "next-root": next_root,
}


def agrees(heard, question, answer):
    """Whether the answer of the key is the one that is heard."""
    derived = KINDS[question["kind"]](heard, question)
    if question["kind"] == "dictation":
        return derived == [key_of(name) for name in answer["answer"].split()]
    return derived == answer["answer"]

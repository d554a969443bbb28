"""Feels and balance of the band, read by programs that are not ours: mido and music21, pyloudnorm.

What a feel asks is common practice, without a source. Loudness is ITU-R BS.1770's, over two free General MIDI
fonts played by fluidsynth at its default gain.
"""

import json
import shutil
import subprocess
from collections import Counter
from pathlib import Path

import mido
import music21
import pytest

BLUES = Path(__file__).parents[2] / "scenarios/breakwater-blues.toml"
FONTS = ["/usr/share/sounds/sf2/TimGM6mb.sf2", "/usr/share/sounds/sf2/FluidR3_GM.sf2"]
STICK, KICK, FOOT, SNARE = 37, 36, 44, 38


def starts(file, track, key=None):
    """Places in the bar, in quarters from 1, of a track's notes, and how often each comes."""
    places, now = Counter(), 0
    read = mido.MidiFile(file)
    [part] = [part for part in read.tracks if part.name == track]
    for message in part:
        now += message.time
        if message.type == "note_on" and message.velocity and key in (None, message.note):
            places[1 + now / read.ticks_per_beat % 4] += 1
    return places


KEYS = ["C", "Db", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B"]


@pytest.mark.parametrize("feel, bass, drum, drummed", [
    ("four", {1, 2, 3, 4}, FOOT, {2, 4}),
    ("shuffle", {1, 2, 2.5, 3, 4, 4.5}, FOOT, {2, 4}),
    ("two", {1, 3}, KICK, {1, 3}),
    ("bossa", {1, 2.5, 3, 4.5}, STICK, {1, 2, 2.5, 3.5, 4}),
    ("half-time", {1, 3}, STICK, {3}),
    ("double-time", {1, 1.5, 2, 2.5, 3, 3.5, 4, 4.5}, FOOT, {1.5, 2.5, 3.5, 4.5}),
])
def test_each_feel_has_its_places(endpin, tmp_path, feel, bass, drum, drummed):
    """204 choruses, in all keys: where the bass and one piece of the kit sound, how often, and that the judge of takes
    hears no mistake in them."""
    file, played, struck, bars = tmp_path / "feel.mid", Counter(), set(), 12 * 17 * 12
    for key in KEYS:
        chosen = ("--feel", feel, "--key", key)
        endpin("write", BLUES, *chosen, "--straight", "--choruses", 17, "--loop-ready", "--replace", "-o", file)
        played += starts(file, "Bass")
        struck |= set(starts(file, "Time", drum))
        judged = json.loads(endpin("check", BLUES, file, *chosen, "--json"))
        assert "wrong" not in {note["grade"] for note in judged["notes"]}
    # A pickup comes besides, in a quarter of the bars at most.
    pickups = sum(count for place, count in played.items() if place not in bass)
    assert set(played) >= bass and pickups <= bars / 4
    assert max(played.values()) == bars
    # What answers and leads in may strike anywhere; time is where it belongs.
    assert drummed <= struck
    if feel in ("bossa", "half-time", "double-time"):
        assert drummed == struck


def bars_of_drums(file):
    """Each bar's strokes on the percussion channel, as places in ticks and keys; all bars of a file are alike long."""
    read = mido.MidiFile(file)
    [signature] = [message for message in read.tracks[0] if message.type == "time_signature"][:1]
    bar = read.ticks_per_beat * 4 * signature.numerator // signature.denominator
    [part] = [part for part in read.tracks if part.name == "Time"]
    bars, now = {}, 0
    for message in part:
        now += message.time
        if message.type == "note_on" and message.velocity:
            bars.setdefault(now // bar, set()).add((now % bar, message.note))
    return [frozenset(bars[number]) for number in sorted(bars)]


def feels_of_a_blues():
    slow = ("--bars", "F7 | Bb7 | F7 | % | Bb7 | % | F7 | D7 | Gm7 | C7 | F7 D7 | Gm7 C7", "--key", "F", "--meter", "12/8")
    return [(feel, (BLUES, "--feel", feel)) for feel in ("four", "two", "bossa", "shuffle", "half-time", "double-time")] + [
        ("brushes", (BLUES, "--time", "brushes")), ("12/8", (*slow, "--tempo", 90)),
    ]


@pytest.mark.parametrize("name, chart", feels_of_a_blues(), ids=[name for name, _ in feels_of_a_blues()])
def test_the_drummer_varies_what_is_played_and_keeps_what_is_time(endpin, tmp_path, name, chart):
    """Ten choruses: no bar pattern makes up three in ten of them, and each beat, and each back beat, is there."""
    file = tmp_path / "drums.mid"
    endpin("write", *chart, "--straight", "--choruses", 10, "--loop-ready", "-o", file)
    bars = bars_of_drums(file)
    counts = Counter(bars)
    share = counts.most_common(1)[0][1] / len(bars)
    print(f"{name}: {len(bars)} bars, {len(counts)} patterns, the most frequent {share:.2f} of them")
    assert len(bars) == 120 and share < 0.3
    beat = 1440 if name == "12/8" else 960
    time, back = {42, 51, 49} if name != "brushes" else {SNARE}, (FOOT, {1, 3})
    if name == "half-time":
        back = (STICK, {2})
    for bar in bars:
        assert {at for at, key in bar if key in time} >= {beat * number for number in range(4)}
        off = beat // 2 if name == "double-time" else 0
        places = {at for at, key in bar if key == back[0]}
        assert places >= {beat * number + off for number in back[1]}


def test_brushes_are_general_midi_2s(endpin, tmp_path):
    """Percussion bank 120 (78H), program 41 counted from 1, on channel 10, before any note (General MIDI 2; the numbers
    also in the percussion sets of the library DryWetMIDI). A ballad takes them by itself; others choose no bank."""
    file = tmp_path / "brushes.mid"

    def settings(*options):
        endpin("write", BLUES, *options, "-o", file, "--replace")
        [part] = [part for part in mido.MidiFile(file).tracks if part.name == "Time"]
        kinds = [message.type for message in part]
        before = part[: kinds.index("note_on")]
        return [message.bytes() for message in before if not message.is_meta]

    brushes = [[0xB9, 0, 120], [0xB9, 32, 0], [0xC9, 40]]
    assert settings("--time", "brushes") == brushes
    assert settings("--tempo", 60) == brushes
    for options in ((), ("--tempo", 60, "--time", "ride"), ("--tempo", 60, "--feel", "bossa")):
        assert settings(*options) == [[0xC9, 0]]


@pytest.mark.parametrize("kind, count", [("guide-tones", 2), ("rootless", 4), ("drop-2", 4)])
def test_each_kind_of_comp_is_what_handbooks_call_it(report, kind, count):
    """Guide tones: third and seventh. Rootless: within an octave. Drop-2: the lowest note, an octave higher, lies in a
    close position second from the top (J. Lyon, A Compendium of Jazz Piano Voicings, 2007, section L)."""
    attacks = report(BLUES, "--choruses", 12, "--comp", kind)["comp"]
    ours = [attack["midi"] for attack in attacks if attack["voicing"].startswith(
        {"guide-tones": "shell", "rootless": "rootless", "drop-2": "drop-2"}[kind])]
    print(f"{kind}: {len(ours)} of {len(attacks)} attacks")
    assert len(ours) > 0.6 * len(attacks) and all(len(keys) == count for keys in ours)
    for keys in ours:
        if kind == "rootless":
            assert keys[-1] - keys[0] < 12
        if kind == "drop-2":
            closed = sorted([*keys[1:], keys[0] + 12])
            assert keys[-1] - keys[0] > 12
            assert closed[-1] - closed[0] < 12 and closed[-2] == keys[0] + 12
    assert not report(BLUES, "--choruses", 1, "--comp", "none")["comp"]


def test_ballads_and_pedals_are_held(report):
    """Chords are held there and short elsewhere (common practice, no source)."""
    def held(*options):
        attacks = report(*options, "--choruses", 8)["comp"]
        return sum(attack["length"] for attack in attacks) / len(attacks)

    lengths = {name: held(BLUES, *options) for name, options in {
        "four": (), "ballad": ("--tempo", 60), "pads": ("--comp", "pads"), "pedal": ("--feel", "pedal"),
    }.items()}
    print({name: round(length, 2) for name, length in lengths.items()})
    assert min(lengths["ballad"], lengths["pads"], lengths["pedal"]) > lengths["four"] + 0.5


@pytest.mark.parametrize("meter, options, values", [
    ("4/4", ("--feel", "bossa"), {"Dotted Quarter", "Eighth", "Half", "Whole"}),
    ("4/4", ("--feel", "double-time"), {"Eighth", "Whole"}),
    ("12/8", (), {"Dotted Quarter", "Quarter", "Eighth", "Dotted Whole"}),
    ("6/8", (), {"Dotted Quarter", "Quarter", "Eighth", "Dotted Half"}),
])
def test_sheets_show_each_feel(endpin, tmp_path, meter, options, values):
    file = tmp_path / "feel.musicxml"
    bars = "F7 | Bb7 | F7 Gm7 | C7"
    endpin("sheet", "--bars", bars, "--key", "F", "--meter", meter, *options, "--choruses", 2, "--ending", "held", "-o", file)
    part = music21.converter.parse(file).parts[0]
    for measure in part.getElementsByClass("Measure"):
        assert measure.duration.quarterLength == pytest.approx(measure.barDuration.quarterLength)
    notes = [note for note in part.recurse().notesAndRests if not isinstance(note, music21.harmony.Harmony)]
    assert {note.duration.fullName for note in notes} <= values
    [mark] = list(part.recurse().getElementsByClass("MetronomeMark"))[:1]
    assert mark.referent.fullName == ("Quarter" if meter == "4/4" else "Dotted Quarter")


@pytest.mark.skipif(not shutil.which("fluidsynth"), reason="needs fluidsynth")
@pytest.mark.parametrize("font", FONTS)
def test_comp_and_drums_stand_below_the_bass(endpin, tmp_path, font):
    if not Path(font).exists():
        pytest.skip(f"needs {font}")
    pyloudnorm, soundfile = pytest.importorskip("pyloudnorm"), pytest.importorskip("soundfile")

    def loudness(*mute):
        midi, sound = tmp_path / f"{'-'.join(mute)}.mid", tmp_path / "part.wav"
        endpin("write", BLUES, "--choruses", 1, *(word for part in mute for word in ("--mute", part)), "-o", midi)
        subprocess.run(["fluidsynth", "-ni", "-F", sound, font, midi], check=True, capture_output=True)
        samples, rate = soundfile.read(sound)
        return pyloudnorm.Meter(rate).integrated_loudness(samples)

    bass, comp, drums = loudness("piano", "drums"), loudness("bass", "drums"), loudness("bass", "chords")
    print(f"{Path(font).stem}: comp {bass - comp:.1f} LU and drums {bass - drums:.1f} LU below the bass")
    assert 2 <= bass - comp <= 6
    assert 5 <= bass - drums <= 10


def test_sound_is_written_by_its_name(endpin, tmp_path):
    if not Path(FONTS[0]).exists():
        pytest.skip(f"needs {FONTS[0]}")
    for ending, head in (("wav", b"RIFF"), ("flac", b"fLaC")):
        file = tmp_path / f"blues.{ending}"
        endpin("write", BLUES, "--choruses", 1, "--sound-font", FONTS[0], "-o", file)
        assert file.read_bytes()[:4] == head

"""Feels and balance of the band, read by programs that are not ours: mido and music21, pyloudnorm.

What a feel asks is common practice, without a source. Loudness is ITU-R BS.1770's, over two free General MIDI
fonts played by fluidsynth at its default gain.
"""

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


@pytest.mark.parametrize("feel, bass, drum, drummed", [
    ("two", {1, 3}, KICK, {1, 3}),
    ("bossa", {1, 2.5, 3, 4.5}, STICK, {1, 2, 2.5, 3.5, 4}),
    ("half-time", {1, 3}, STICK, {3}),
    ("double-time", {1, 1.5, 2, 2.5, 3, 3.5, 4, 4.5}, FOOT, {1.5, 2.5, 3.5, 4.5}),
])
def test_each_feel_has_its_places(endpin, tmp_path, feel, bass, drum, drummed):
    file = tmp_path / "feel.mid"
    endpin("write", BLUES, "--feel", feel, "--straight", "--choruses", 6, "--loop-ready", "-o", file)
    played = starts(file, "Bass")
    # In two a pickup comes besides, in a quarter of the bars at most.
    pickups = played.pop(4.0) if feel == "two" and 4.0 in played else 0
    assert set(played) == bass and pickups <= 72 / 4
    assert max(played.values()) == 72
    assert drummed <= set(starts(file, "Time", drum))
    if feel != "two":
        assert drummed == set(starts(file, "Time", drum))


@pytest.mark.parametrize("meter, options, values", [
    ("4/4", ("--feel", "bossa"), {"Dotted Quarter", "Eighth", "Whole"}),
    ("4/4", ("--feel", "double-time"), {"Eighth", "Whole"}),
    ("12/8", (), {"Dotted Quarter", "Quarter", "Eighth", "Dotted Whole"}),
    ("6/8", (), {"Dotted Quarter", "Quarter", "Eighth", "Dotted Half"}),
])
def test_sheets_show_each_feel(endpin, tmp_path, meter, options, values):
    file = tmp_path / "feel.musicxml"
    bars = "F7 | Bb7 | F7 Gm7 | C7"
    endpin("sheet", "--bars", bars, "--key", "F", "--meter", meter, *options, "--choruses", 2, "-o", file)
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

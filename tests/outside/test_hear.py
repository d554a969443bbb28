"""`endpin hear` on takes that fluidsynth plays (three fonts where they are there), judged by mir_eval."""

import io
import json
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path

import hear_takes
import mido
import pytest
from hear_score import Score, known, score

TOOLS = ["fluidsynth", "sox", "ffmpeg"]
pytestmark = pytest.mark.skipif(
    not Path(hear_takes.FONTS["timgm"]).exists() or not all(map(shutil.which, TOOLS)),
    reason="needs fluidsynth, sox, ffmpeg and the package timgm6mb-soundfont",
)
LINE = hear_takes.Take(font="timgm", chart="ropewalk-blues", tempo=180, seed=5, level=5)
# The least F of each condition; what the whole measurement gives is in benches/hearing.md.
CONDITIONS = [
    ("upright", LINE, 0.99),
    ("electric", replace(LINE, program="finger"), 0.99),
    ("30 cents off", replace(LINE, cents=-30), 0.99),
    ("five strings", replace(LINE, program="finger", instrument="five-string"), 0.98),
    ("phone", replace(LINE, phone=True), 0.97),
    ("backing", replace(LINE, backing=9.0), 0.93),
    ("backing, phone", replace(LINE, backing=9.0, phone=True), 0.90),
    ("clipping", replace(LINE, program="finger", harm="clipping"), 0.98),
    ("hum", replace(LINE, harm="hum"), 0.98),
    ("mp3", replace(LINE, harm="mp3"), 0.98),
    ("m4a", replace(LINE, harm="m4a"), 0.98),
    ("csound", replace(LINE, font="csound"), 0.98),
]


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("takes")


@pytest.fixture(scope="module", autouse=True)
def short():
    """Takes of eleven seconds."""
    longest, hear_takes.LONGEST = hear_takes.LONGEST, 12.0
    yield
    hear_takes.LONGEST = longest


@pytest.mark.parametrize("name, take, least", CONDITIONS, ids=[name for name, *_ in CONDITIONS])
def test_the_notes_played_are_the_notes_heard(program, folder, name, take, least):
    if not Path(hear_takes.FONTS[take.font]).exists():
        pytest.skip(f"needs {hear_takes.FONTS[take.font]}")
    result = Score()
    report = score(program, hear_takes.make(take, folder, program), result)
    print(f"{name}: F {result.f:.3f}, {result.off:.1f} ms off, A at {report['tuning_hz']}")
    assert report["format"] == "endpin-hear/1"
    assert result.f >= least
    assert result.off < 15
    assert abs(report["tuning_hz"] - 440 * 2 ** (take.cents / 1200)) < 3


def converted(sound, path, *options):
    hear_takes.run("ffmpeg", "-y", "-loglevel", "error", "-i", sound, *options, path)
    return path


@pytest.fixture(scope="module")
def files(program, folder):
    """One take in many kinds of file."""
    sound = hear_takes.make(LINE, folder, program)
    picture = ["-f", "lavfi", "-i", "testsrc=d=12:s=64x64:r=5", "-shortest", "-c:v", "mpeg4"]
    made = {"wav": sound}
    for ending, options in {
        "flac": [], "aiff": [], "mp3": [], "m4a": [], "ogg": ["-c:a", "libvorbis"],
        "mp4": [*picture, "-c:a", "aac"], "mov": [*picture, "-c:a", "aac"],
        "opus": ["-c:a", "libopus"], "webm": ["-c:a", "libopus"], "wma": [],
    }.items():  # fmt: skip
        made[ending] = converted(sound, folder / f"kind.{ending}", *options)
    return made


def test_the_kind_of_file_changes_no_time(endpin, files):
    """Among them those whose encoders put 23 to 50 ms before the sound."""
    notes = {
        ending: json.loads(endpin("hear", files[ending], "--json"))["notes"]
        for ending in ("wav", "flac", "aiff", "mp3", "m4a", "ogg", "mp4", "mov")
    }
    for ending, found in notes.items():
        assert [note["midi"] for note in found] == [note["midi"] for note in notes["wav"]], ending
        apart = [abs(a["onset_s"] - b["onset_s"]) for a, b in zip(found, notes["wav"])]
        assert max(apart) < 0.02 and sum(apart) / len(apart) < 0.003, ending


@pytest.mark.parametrize("ending, word", [("opus", "Opus"), ("webm", "WebM"), ("wma", "Windows Media")])
def test_what_is_not_read_is_said(program, files, ending, word):
    done = subprocess.run([program, "hear", files[ending]], capture_output=True, text=True, timeout=60)
    assert done.returncode == 2
    assert word in done.stderr and "wav" in done.stderr
    assert done.stderr.count("\n") == 1


@pytest.mark.parametrize("ending", ["wav", "flac", "mp3", "m4a", "ogg", "mov"])
def test_cut_and_broken_files_never_panic(program, files, ending, tmp_path):
    whole = files[ending].read_bytes()
    broken = tmp_path / f"broken.{ending}"
    for part in (0, 3, 50, 200, len(whole) // 2, len(whole) - 7):
        for flaw in (b"", b"\xff" * 12):
            middle = part // 2
            broken.write_bytes(whole[:middle] + flaw + whole[middle + len(flaw) : part])
            done = subprocess.run([program, "hear", broken], capture_output=True, text=True, timeout=60)
            assert done.returncode in (0, 2), done.stderr
            assert "panicked" not in done.stderr
            assert done.stderr.count("\n") == (done.returncode == 2)


def test_the_midi_file_has_the_times_of_the_recording(endpin, files, tmp_path):
    target = tmp_path / "heard.mid"
    said = endpin("hear", files["m4a"], "-o", target).decode()
    notes = json.loads(endpin("hear", files["m4a"], "--json"))["notes"]
    assert f"{len(notes)} notes" in said
    midi = mido.MidiFile(file=io.BytesIO(target.read_bytes()))
    now, begins = 0.0, []
    for message in midi:
        now += message.time
        if message.type == "set_tempo":
            assert message.tempo == 500_000
        if message.type == "note_on":
            begins.append((round(now, 4), message.note, message.velocity))
    assert [note[1:] for note in begins] == [(note["midi"], note["velocity"]) for note in notes]
    assert max(abs(a[0] - b["onset_s"]) for a, b in zip(begins, notes)) <= 0.001


def test_a_recording_is_judged_as_its_midi_file_is(endpin, program, folder, tmp_path):
    chart = hear_takes.SCENARIOS / f"{LINE.chart}.toml"
    sound = hear_takes.make(replace(LINE, phone=True), folder, program)
    midi = tmp_path / "played.mid"
    hear_takes.write_midi(LINE, program, midi, "comp", "time")
    by_sound, by_midi = (
        json.loads(endpin("check", chart, take, "--tempo", LINE.tempo, "--json"))["notes"]
        for take in (sound, midi)
    )
    place = lambda note: (note["chorus"], note["bar"], note["beat"], note["midi"])  # noqa: E731
    both = {place(note) for note in by_sound} & {place(note) for note in by_midi}
    assert len(both) >= 0.95 * len(by_midi)
    assert len(by_sound) <= 1.05 * len(by_midi)


def test_the_recording_itself_is_never_overwritten(program, files, tmp_path):
    take = tmp_path / "take.mid"  # a recording with the wrong name
    take.write_bytes(files["wav"].read_bytes())
    done = subprocess.run([program, "hear", take, "-o", take], capture_output=True, text=True, timeout=60)
    assert done.returncode == 2 and "itself" in done.stderr
    assert take.read_bytes() == files["wav"].read_bytes()


def test_ghost_notes_are_marked_in_the_reference(program, folder):
    """Level 6 plays them; the reference has to know them, or they would count as missed."""
    take = hear_takes.Take(chart="breakwater-blues", tempo=138, seed=3, level=6)
    sound = hear_takes.make(take, folder, program)
    ghosts = [note for note in known(sound) if note["ghost"]]
    assert ghosts
    result = Score()
    score(program, sound, result)
    assert result.f >= 0.97

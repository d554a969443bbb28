"""A ladder of changes: its charts are charts, the form stays, and what is written for a student can be read.

The PDF is read by PyMuPDF, the charts of the steps by Python's own reader of TOML.
"""

import json
import subprocess
import tomllib
from pathlib import Path

import pymupdf
import pytest

ROOT = Path(__file__).resolve().parents[2]
BLUES = ROOT / "scenarios/breakwater-blues.toml"
PLAIN = """title = "Three Chord Ferry"
key = "F"
[section.A]
bars = \"\"\"
| F7 | F7 | F7 | F7 |
| Bb7 | Bb7 | F7 | F7 |
| C7 | Bb7 | F7 | F7 |
\"\"\"
"""


@pytest.fixture
def plain(tmp_path):
    chart = tmp_path / "ferry.toml"
    chart.write_text(PLAIN, "utf-8")
    return chart


def ladder(endpin, *arguments):
    return json.loads(endpin("changes", *arguments, "--json"))


def chords(endpin, *arguments):
    """The symbol that sounds on each beat of the chorus, by (bar, beat)."""
    found = json.loads(endpin("chart", *arguments, "--json"))
    beats = int(found["meter"].split("/")[0])
    sounding = [span["symbol"] for span in found["spans"] for _ in range(span["beats"])]
    return {(at // beats + 1, at % beats + 1): symbol for at, symbol in enumerate(sounding)}


def test_a_blues_from_three_chords_to_the_richest(endpin, plain, tmp_path):
    report = ladder(endpin, plain, "--steps", 12)
    assert report["format"] == "endpin-changes/1" and report["shortfall"] is None
    assert [step["step"] for step in report["steps"]] == list(range(1, 13))
    before = chords(endpin, plain)
    file = tmp_path / "step.toml"
    for step in report["steps"]:
        file.write_text(step["chart"], "utf-8")
        after = chords(endpin, file)
        # The form stays, and a chord lasts a beat or more.
        assert after.keys() == before.keys()
        first = (step["bar"], step["beat"])
        changed = [at for at in sorted(after) if after[at] != before[at]]
        assert changed and changed[0] >= first
        assert before[first] == step["was"][0] and after[first] == step["is"][0]
        # Two sentences, and guide tones to hear.
        assert step["why"].count(". ") == 1 and step["why"].endswith(".")
        assert step["moved"] or step["stayed"]
        assert 1 <= step["offered"] <= step["possible"]
        before = after
    assert len(set(before.values())) > 8
    midi = endpin("write", file, "-o", "-")
    assert midi.startswith(b"MThd")
    # Undone step by step, a ladder down ends in a plainer chart of the same form.
    down = ladder(endpin, file, "--steps=-40")
    assert down["way"] == "plainer" and down["shortfall"]
    file.write_text(down["steps"][-1]["chart"], "utf-8")
    frame = chords(endpin, file)
    assert frame.keys() == before.keys()
    assert len(set(frame.values())) < len(set(before.values()))


def test_what_is_kept_stays(endpin, plain, tmp_path):
    free, kept = (
        ladder(endpin, plain, "--steps", 12, *keep) for keep in ([], ["--keep", "2.1,4.3", "--keep", "8.1"])
    )
    before = chords(endpin, plain)
    file = tmp_path / "step.toml"
    moved = set()
    for report, is_kept in ((free, False), (kept, True)):
        for step in report["steps"]:
            file.write_text(step["chart"], "utf-8")
            after = chords(endpin, file)
            moved |= {at for at in [(2, 1), (4, 3), (8, 1)] if after[at] != before[at]}
        if is_kept:
            assert not moved
        else:
            assert moved
            moved.clear()


def test_the_same_seed_takes_the_same_steps(endpin, plain):
    def made(*more):
        return endpin("changes", plain, "--steps", 8, "--json", *more)

    assert made() == made("--seed", 1)
    ladders = {made("--seed", seed) for seed in range(1, 9)}
    assert len(ladders) > 1
    three, eight = (ladder(endpin, plain, "--steps", count) for count in (3, 8))
    assert three["steps"] == eight["steps"][:3]


def test_the_folder_has_each_chart_and_a_handout(endpin, plain, tmp_path):
    folder = tmp_path / "ladder"
    endpin("changes", plain, "--steps", 4, "-o", folder)
    names = ["changes.json", "handout.pdf", *(f"step-{number:02}.toml" for number in range(1, 5))]
    assert sorted(path.name for path in folder.iterdir()) == names
    report = ladder(endpin, plain, "--steps", 4)
    assert json.loads((folder / "changes.json").read_text("utf-8")) == report
    for step in report["steps"]:
        text = (folder / f"step-{step['step']:02}.toml").read_text("utf-8")
        assert text == step["chart"]
        assert tomllib.loads(text)["title"] == "Three Chord Ferry"
    with pymupdf.open(folder / "handout.pdf") as document:
        text = " ".join(" ".join(page.get_text() for page in document).split())
    for step in report["steps"]:
        assert f"Step {step['step']}, bar {step['bar']}" in text
        assert step["name"] in text and step["why"] in text
    assert text.count("Listen for") == 4
    # The same again changes nothing; other steps do not go over these unless told.
    was = {path: path.read_bytes() for path in folder.iterdir()}
    endpin("changes", plain, "--steps", 4, "-o", folder)
    endpin("changes", plain, "--steps", 2, "-o", folder, code=2)
    assert {path: path.read_bytes() for path in folder.iterdir()} == was
    # Nor over their own chart, whatever is told.
    endpin("changes", folder / "step-01.toml", "--steps", 2, "-o", folder, "--replace", code=2)
    assert {path: path.read_bytes() for path in folder.iterdir()} == was
    endpin("changes", plain, "--steps", 2, "-o", folder, "--replace")
    assert sorted(path.name for path in folder.iterdir()) == names[:4]


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--steps", "0"], "write how many steps, 1 to 99"),
        (["--steps", "1000"], "write how many steps, 1 to 99"),
        (["--steps", "2", "--keep", "13.1"], "--keep 13.1: the chorus has 12 bars"),
        (["--steps", "2", "--keep", "2.5"], "--keep 2.5: bar 2 has 4 beats"),
        (["--steps", "2", "--keep", "two"], "is not a beat"),
        (["--steps", "2", "--replace"], "--output"),
    ],
    ids=" ".join,
)
def test_bad_input_is_answered(program, words, says):
    done = subprocess.run([program, "changes", BLUES, *words], capture_output=True, text=True, timeout=60)
    assert done.returncode == 2 and says in done.stderr and not done.stdout


def test_too_few_steps_are_told(endpin, tmp_path):
    text = endpin("changes", "--bars", "C | C", "--key", "C", "--steps", "-2").decode()
    assert "0 of 2 steps plainer could be made" in text
    folder = tmp_path / "none"
    endpin("changes", "--bars", "C | C", "--key", "C", "--steps", "-2", "-o", folder, code=2)
    assert not folder.exists()


def test_a_key_without_a_signature_is_told(program, tmp_path):
    chart = tmp_path / "twin.toml"
    chart.write_text('title = "T"\nkey = "Db minor"\n[section.A]\nbars = "| C#m7 | G#7 |"\n', "utf-8")
    for words in ([chart], ["--bars", "C#m7 | G#7", "--key", "Db minor"]):
        done = subprocess.run([program, "chart", *words, "--json"], capture_output=True, text=True, timeout=60)
        assert done.returncode == 0 and json.loads(done.stdout)["key"] == "C# minor"
        assert "read as its twin, C# minor" in done.stderr


def test_a_close_runner_up_is_named(endpin):
    bars = ["--bars", "Am7 | Fmaj7 | Cmaj7 | G"]
    found = json.loads(endpin("chart", *bars, "--json"))
    assert found["runner_up"] and found["runner_up"] != found["key"]
    assert f"{found['runner_up']} is close" in endpin("chart", *bars).decode()
    # Nothing was found where the key is given.
    assert json.loads(endpin("chart", *bars, "--key", "C", "--json"))["runner_up"] is None

"""What is there already: inputs are never written over, files of others only when told to, our own without a word."""

import os
import random
import shutil
import signal
import stat
import subprocess
import time

import mido
import pytest

from test_abuse import chart_at, run

SHEETS = ["musicxml", "mxl", "pdf", "svg", "html"]


@pytest.fixture
def chart(tmp_path):
    return chart_at(tmp_path / "chart.toml")


@pytest.fixture
def take(tmp_path):
    """A line that somebody played, by another program."""
    file = mido.MidiFile()
    file.tracks.append(mido.MidiTrack([mido.Message("note_on", note=41), mido.Message("note_off", note=41, time=480)]))
    file.save(tmp_path / "take.mid")
    return tmp_path / "take.mid"


def refused(program, *command, spared, told):
    before = spared.read_bytes()
    done = run(program, *command)
    assert (done.returncode, spared.read_bytes() == before) == (2, True), (command, done.stderr)
    assert told in done.stderr.decode() and done.stderr.count(b"\n") == 1, done.stderr
    assert not list(spared.parent.glob(".endpin-*"))


def test_a_file_of_others_is_replaced_only_when_told_to(program, chart, take, tmp_path):
    page, report = tmp_path / "notes.html", tmp_path / "mine.json"
    page.write_text("<p>my notes</p>")
    report.write_text('{"format": "mine"}')
    commands = [
        (take, ["write", chart, "-o", take]),
        (report, ["write", chart, "-o", tmp_path / "new.mid", "--report", report]),
        (page, ["sheet", chart, "-o", page]),
        (page, ["check", chart, take, "-o", page]),
        (take, ["live", chart, "--raw", take]),
        (take, ["live", chart, "--raw", os.devnull, "--listen", "none", "--take", take]),
    ]
    for spared, command in commands:
        refused(program, *command, spared=spared, told="or say --replace")
    assert not (tmp_path / "new.mid").exists(), "nothing is begun"
    assert run(program, "write", chart, "-o", take, "--replace").returncode == 0
    assert len(mido.MidiFile(take).tracks) == 4


def test_an_input_is_never_replaced(program, chart, take, tmp_path):
    weights = tmp_path / "weights.mid"
    weights.write_bytes(run(program, "explain", "--weights-template").stdout)
    lost = "would be lost"
    commands = [
        (chart, lost, ["sheet", chart, "-o", chart, "--format", "pdf"]),
        (chart, "which is the chart", ["write", chart, "-o", tmp_path / "a.mid", "--report", chart]),
        (chart, lost, ["live", chart, "--raw", chart]),
        (weights, lost, ["write", chart, "--weights", weights, "-o", weights]),
    ]
    for spared, told, command in commands:
        for replace in ([], ["--replace"]):
            refused(program, *command, *replace, spared=spared, told=told)


@pytest.mark.parametrize("ending", ["mid", *SHEETS])
def test_our_own_of_the_same_chart_is_replaced_without_a_word(program, chart, tmp_path, ending):
    file, report = tmp_path / f"ours.{ending}", tmp_path / "ours.json"
    command = ["write" if ending == "mid" else "sheet"]
    for seed in (1, 2):
        done = run(program, *command, chart, "-o", file, "--report", report, "--seed", str(seed), "--choruses", "1")
        assert done.returncode == 0, done.stderr
    other = chart_at(tmp_path / "other.toml", '"Slow Ferry"')
    refused(program, *command, other, "-o", file, spared=file, told="did not make it from this chart")


def test_modes_and_links_stay(program, chart, tmp_path):
    file, link = tmp_path / "ours.mid", tmp_path / "link.mid"
    assert run(program, "write", chart, "-o", file).returncode == 0
    file.chmod(0o600)
    link.symlink_to(file)
    assert run(program, "write", chart, "-o", link, "--seed", "2").returncode == 0
    assert link.is_symlink() and stat.S_IMODE(file.stat().st_mode) == 0o600


@pytest.mark.parametrize("name", ["HUP", "QUIT", "ALRM", "USR1", "XFSZ", "TERM", "INT"])
def test_no_signal_leaves_an_unfinished_file(program, chart, tmp_path, name):
    folder = tmp_path / "set"
    ended = 0
    for wait in (0.05, 0.15, 0.3, 0.45):
        shutil.rmtree(folder, ignore_errors=True)
        command = [program, "ear", chart, "-o", folder, "--count", "3000"]
        quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL, "stdin": subprocess.DEVNULL}
        running = subprocess.Popen(command, **quiet)
        time.sleep(wait)
        running.send_signal(signal.Signals[f"SIG{name}"])
        ended += running.wait(30) < 0
        assert not list(folder.rglob(".endpin-*")), name
    assert ended > 0


def test_what_a_kill_left_is_swept_by_the_next_run(program, chart, tmp_path):
    left, fresh = tmp_path / ".endpin-abc.part", tmp_path / ".endpin-def.part"
    for file in (left, fresh):
        file.write_bytes(b"half")
    os.utime(left, (0, 0))
    assert run(program, "write", chart, "-o", tmp_path / "a.mid").returncode == 0
    assert not left.exists() and fresh.exists(), "another run may be writing the young one"


def test_a_set_takes_the_place_of_another_whole_or_not_at_all(program, chart, tmp_path):
    """However the program ends meanwhile, the folder holds one of the two sets, and what the teacher put there."""
    make = ["ear", chart, "--count", "150", "--replace", "-o"]
    sets, week = {}, tmp_path / "week"
    for seed in ("1", "2"):
        folder = tmp_path / f"set-{seed}"
        run(program, *make, folder, "--seed", seed)
        sets[seed] = {str(file.relative_to(folder)): file.read_bytes() for file in folder.rglob("*") if file.is_file()}
    shutil.copytree(tmp_path / "set-1", week)
    (week / "notes.txt").write_text("mine")
    dice, ended = random.Random(5), []
    for turn in range(24):
        number = [signal.SIGKILL, signal.SIGTERM, signal.SIGHUP][turn % 3]
        seed = "21"[turn % 2]
        writing = subprocess.Popen([program, *map(str, make), week, "--seed", seed], stderr=subprocess.DEVNULL)
        time.sleep(dice.random() * 0.6)
        writing.send_signal(number)
        ended.append(writing.wait(timeout=60))
        found = {str(file.relative_to(week)): file.read_bytes() for file in week.rglob("*") if file.is_file()}
        assert found.pop("notes.txt") == b"mine"
        assert found in sets.values(), turn
        if number != signal.SIGKILL:
            assert not list(tmp_path.glob(".endpin-*")), turn
        for left_over in tmp_path.glob(".endpin-*"):
            shutil.rmtree(left_over)
    assert 0 in ended and any(ended), "some came to their end, some did not"

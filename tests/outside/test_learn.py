"""Learning from takes, from outside: a manner is learnt, told in words, and taken up again in lines."""

import json
import subprocess

import mido
import pytest

CHART = """title = "Slipway Lantern"
key = "F"
meter = "4/4"
tempo = 150

[section.A]
bars = "| F7 | Bb7 | F7 | % | Bb7 | % | F7 | D7 | Gm7 | C7 | F7 D7 | Gm7 C7 |"
"""


@pytest.fixture
def chart(tmp_path):
    path = tmp_path / "slipway.toml"
    path.write_text(CHART, encoding="utf-8")
    return path


def takes(endpin, chart, count, weights=()):
    """Lines of several seeds as takes."""
    paths = []
    for seed in range(1, count + 1):
        path = chart.with_name(f"take{seed}.mid")
        options = ["--seed", seed, "--straight", "--mute", "comp", "--mute", "time", "-o", path, *weights]
        endpin("write", chart, *options)
        paths.append(path)
    return paths


def repeats(report):
    """The share of beats 2 that repeat beat 1."""
    notes = json.loads(report)["notes"]
    pairs = [
        (one["midi"], two["midi"])
        for one, two in zip(notes, notes[1:])
        if one["beat"] == 1 and two["beat"] == 2 and one["bar"] == two["bar"]
    ]
    return sum(one == two for one, two in pairs) / len(pairs)


def test_a_manner_is_learnt_and_taken_up(endpin, chart):
    wanted = chart.with_name("wanted.toml")
    wanted.write_text("[motion.second]\nrepeated = 1000\n", encoding="utf-8")
    played = takes(endpin, chart, 4, ["--weights", wanted])
    learnt = chart.with_name("learnt.toml")
    report = json.loads(endpin("learn", chart, *played, "--level", "4", "--strict", "-o", learnt, "--json"))
    assert report["format"] == "endpin-learn/1"
    assert 0 < report["used"] <= report["notes"]
    bits = report["bits_per_note"]
    assert bits["learnt"] < bits["default"] and bits["learnt"] < bits["uniform"]
    assert report["held_out"]["learnt"] < report["held_out"]["default"]
    (moved,) = (one for one in report["moved"] if one["weight"] == "motion.second.repeated")
    assert moved["to"] > 1.5 * moved["from"] and moved["played"] > 1.5 * moved["expected"]
    usual = endpin("explain", chart, "--json", "--choruses", 20)
    taken_up = endpin("explain", chart, "--json", "--choruses", 20, "--weights", learnt)
    assert repeats(taken_up) > 2 * repeats(usual)


def test_what_was_learnt_is_said_in_words(endpin, chart):
    wanted = chart.with_name("wanted.toml")
    wanted.write_text("[motion.second]\nrepeated = 1000\n", encoding="utf-8")
    said = endpin("learn", chart, *takes(endpin, chart, 3, ["--weights", wanted]), "--level", "4", "--strict").decode()
    assert "onto the second beat, the same note again: " in said
    assert "bits a note" in said and "held out" in said


def refused(program, *arguments):
    """What the program says of bad input."""
    done = subprocess.run([program, *map(str, arguments)], capture_output=True, text=True, timeout=120)
    assert done.returncode == 2, done
    return done.stderr


def test_mistakes_are_said_and_nothing_is_written(endpin, program, chart):
    (take,) = takes(endpin, chart, 1)
    output = chart.with_name("out.toml")
    for arguments, said in [
        ([take, "-o", output], "name its chart before it"),
        ([chart, "-o", output], "which take?"),
        ([chart, take, "-o", chart], "would be lost"),
    ]:
        assert said in refused(program, "learn", *arguments)
        assert not output.exists()
    assert chart.read_text(encoding="utf-8") == CHART


def test_a_take_without_two_notes_by_the_rules_teaches_nothing(program, chart):
    track = mido.MidiTrack()
    for number in range(48):
        # Now far above the instrument's middle, now far below, always outside the chord.
        key = 54 if number % 2 else 30
        track.append(mido.Message("note_on", note=key, velocity=80, time=20))
        track.append(mido.Message("note_off", note=key, velocity=0, time=460))
    file = mido.MidiFile(ticks_per_beat=480)
    file.tracks.append(track)
    take = chart.with_name("wild.mid")
    file.save(take)
    assert "nothing to learn from" in refused(program, "learn", chart, take, "--strict")

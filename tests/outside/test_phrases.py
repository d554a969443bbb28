"""Phrases: what the line report says of bars, against its own notes; motifs and their errors."""

import subprocess
from pathlib import Path

import pytest

CHART = Path(__file__).parents[2] / "scenarios/breakwater-blues.toml"


def keys_of(notes, chorus, bars):
    first, last = bars
    return [note["midi"] for note in notes if note["chorus"] == chorus and first <= note["bar"] <= last]


def test_bars_said_to_be_the_same_are(report):
    found = 0
    for seed in range(1, 9):
        line = report(CHART, "--seed", str(seed), "--choruses", "6")
        for phrase in line["phrases"]:
            if phrase["likeness"] != "moved" or phrase["until_it_leads"]:
                continue
            ours = keys_of(line["notes"], phrase["chorus"], phrase["bars"])
            theirs = keys_of(line["notes"], phrase["of"]["chorus"], phrase["of"]["bars"])
            assert [key - phrase["semitones"] for key in ours] == theirs, phrase
            found += 1
    assert found > 20
    assert report(CHART, "--no-phrases")["phrases"] == []


def test_a_motif_is_played_and_said(report, endpin):
    line = report(CHART, "--motif", "1 2 3 5", "--choruses", "4")
    stated = [phrase for phrase in line["phrases"] if phrase["motif"] == "1 2 3 5"]
    assert len(stated) >= 8
    for phrase in stated:
        bar = phrase["bars"][0]
        degrees = [
            note["degree"].lstrip("b#")
            for note in line["notes"]
            if note["chorus"] == phrase["chorus"] and note["bar"] == bar
        ]
        assert degrees == ["1", "2", "3", "5"]
    shown = endpin("explain", CHART, "--motif", "1 2 3 5").decode()
    assert "the motif 1 2 3 5" in shown


@pytest.mark.parametrize(
    ("motif", "told"),
    [
        ("1 2 x 5", 'column 5: "x" is not a degree'),
        ("1 5:0", 'column 3: "0" is not a length'),
        ("", "column 1: there is no note"),
        ("1 b9 b9 b9", 'the motif "1 b9 b9 b9"'),
    ],
)
def test_a_motif_that_cannot_be_is_one_error(program, motif, told):
    done = subprocess.run([program, "explain", CHART, "--motif", motif], capture_output=True, text=True, check=False)
    assert done.returncode == 2
    assert told in done.stderr
    assert done.stdout == ""

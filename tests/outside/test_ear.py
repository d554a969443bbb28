"""Ear questions: the key against the bytes, and nothing but the notes in place that tells it."""

import json
import random
import re
import subprocess
import time
import wave
from array import array
from collections import Counter, defaultdict

import numpy as np
import pytest
from ear_key import KINDS, agrees, hear
from scipy.stats import binomtest
from sklearn.ensemble import RandomForestClassifier
from sklearn.model_selection import cross_val_predict

from conftest import ROOT

COUNT = 2000
CHARTS = [ROOT / "scenarios" / f"{name}.toml" for name in ("breakwater-blues", "customs-house-corner")]


@pytest.fixture(scope="module")
def questions(endpin, tmp_path_factory):
    """[(question, answer, what is heard)] of a large set over two charts in twelve keys."""
    folder = tmp_path_factory.mktemp("ear")
    endpin("ear", *CHARTS, "--keys", "all", "--count", COUNT, "--seed", 11, "-o", folder)
    lists = [json.loads((folder / f"{name}.json").read_text()) for name in ("questions", "answers")]
    assert [found["format"] for found in lists] == ["endpin-questions/1", "endpin-answers/1"]
    pairs = list(zip(*(found["items"] for found in lists), strict=True))
    assert [question["number"] for question, _ in pairs] == list(range(1, COUNT + 1))
    return [(question, answer, hear(folder / question["file"])) for question, answer in pairs]


def test_the_key_is_what_is_heard(questions):
    wrong = [
        (question["number"], question["kind"], answer["answer"])
        for question, answer, heard in questions
        if not agrees(heard, question, answer)
    ]
    assert not wrong


def test_answers_are_balanced_and_all_kinds_come_equally_often(questions):
    answers = defaultdict(Counter)
    for question, answer, _ in questions:
        answers[question["kind"]][answer["answer"]] += 1
    kinds = [sum(found.values()) for found in answers.values()]
    assert set(answers) == set(KINDS)
    assert max(kinds) - min(kinds) <= 1
    choices = {question["kind"]: [c["answer"] for c in question["choices"]] for question, *_ in questions}
    for kind, found in answers.items():
        if kind != "dictation":
            often = [found[answer] for answer in choices[kind]]
            assert sum(often) == sum(found.values())
            assert max(often) - min(often) <= 1, kind


def test_no_two_questions_are_alike_and_they_grow_harder(questions):
    sounds = Counter(
        (question["kind"], tuple(sorted((n, tuple(notes)) for n, notes in heard.tracks.items())))
        for question, _, heard in questions
    )
    assert max(sounds.values()) == 1
    difficulties = [question["difficulty"] for question, *_ in questions]
    assert difficulties == sorted(difficulties)


def place(question, answer, heard):
    """Ticks from bar 1 on whose notes carry the answer."""
    if question["kind"] == "approach":
        return {heard.bell - back * heard.beat for back in (1, 2)}
    if question["kind"] == "chord-tone":
        return {heard.bell}
    return None


def context(question, answer, heard):
    """What the notes outside the place sound, against a note of the place's bar: all of it for the kinds
    whose place is a note or two, only the tonic before for those that ask for the whole passage."""
    tonic = heard.tracks["Bass"][0].key
    asked = place(question, answer, heard)
    if asked is None:
        return [tonic] + [0] * 9
    rest = sorted((tick, key) for tick, key in heard.bass().items() if tick not in asked)
    anchor = heard.bass()[heard.bell - heard.bell % heard.bar]
    keys = [key for _, key in rest]
    comp = [note.key for note in heard.tracks.get("Comp", [])]
    near = [key - anchor for _, key in rest[-5:]]
    return [tonic, min(keys), max(keys), sum(keys) / len(keys), sum(comp) / max(1, len(comp)), *near]


def everything_else(question, answer, heard, before):
    """Everything about a question but the sounding pitches in place, as numbers."""
    notes = [note for name in ("Bass", "Comp", "Time") for note in heard.tracks.get(name, [])]
    counts = [len(heard.tracks.get(name, [])) for name in ("Bass", "Comp", "Time")]
    velocities, lengths = [note.velocity for note in notes], [note.length for note in notes]
    ends = [note.start + note.length for note in notes]
    times = [note.start for note in heard.tracks["Time"] if note.key != 81]
    return [
        question["number"],
        question["tempo"],
        question["bars"],
        question["difficulty"],
        heard.bytes,
        len(question["file"]),
        len(heard.tracks),
        *counts,
        sum(velocities), min(velocities), max(velocities),
        sum(lengths), min(lengths), max(lengths),
        max(ends), sum(times), sum(heard.marks.values()),
        before,
        *context(question, answer, heard),
    ]  # fmt: skip


def leak(kind, questions):
    """How often a random forest, trained on all else, names the answer of a question it has not seen, and
    the odds that chance does as well."""
    rows, labels, before = [], [], -1
    names = sorted({answer["answer"] for question, answer, _ in questions if question["kind"] == kind})
    for question, answer, heard in questions:
        if question["kind"] != kind:
            continue
        rows.append(everything_else(question, answer, heard, before))
        before = names.index(answer["answer"])
        labels.append(before)
    forest = RandomForestClassifier(n_estimators=60, min_samples_leaf=2, random_state=1)
    found = cross_val_predict(forest, np.array(rows, dtype=float), labels, cv=5)
    hits = int((found == labels).sum())
    return hits, len(labels), binomtest(hits, len(labels), 1 / len(names), alternative="greater").pvalue


@pytest.mark.parametrize("kind", [kind for kind in KINDS if kind != "dictation"])
def test_nothing_else_tells_the_answer(questions, kind):
    # A dictation has no answers to choose from. The odds allow for the nine kinds tested.
    hits, count, odds = leak(kind, questions)
    print(f"{kind}: {hits} of {count}, p = {odds:.3f}")
    assert odds > 0.01 / 9


def test_a_broken_off_set_is_completed(endpin, tmp_path):
    arguments = ["ear", CHARTS[0], "--count", 30, "--seed", 4, "-o"]
    endpin(*arguments, tmp_path / "whole")
    endpin(*arguments, tmp_path / "part", "--only", "11-20")
    assert len(list((tmp_path / "part/questions").iterdir())) == 10
    endpin(*arguments, tmp_path / "part")
    files = sorted(path.relative_to(tmp_path / "whole") for path in (tmp_path / "whole").rglob("*"))
    assert len(files) == 36
    for file in files:
        whole, part = tmp_path / "whole" / file, tmp_path / "part" / file
        assert whole.is_dir() or whole.read_bytes() == part.read_bytes(), file


def test_the_sound_is_there_and_does_not_clip(endpin, tmp_path):
    endpin("ear", CHARTS[0], "--count", 30, "-o", tmp_path, "--audio", "wav", "--only", "1-3")
    for path in sorted((tmp_path / "questions").glob("*.wav")):
        with wave.open(str(path)) as sound:
            assert (sound.getnchannels(), sound.getsampwidth(), sound.getframerate()) == (2, 2, 44100)
            samples = np.array(array("h", sound.readframes(sound.getnframes())), dtype=float) / 32768
        heard = hear(path.with_suffix(".mid"))
        ends = max(n.start + n.length for notes in heard.tracks.values() for n in notes)
        seconds = ends / 960 * heard.tempo / 1e6
        assert len(samples) / 2 / 44100 > seconds
        loudest, effective = np.abs(samples).max(), np.sqrt((samples**2).mean())
        print(f"{path.name}: peak {loudest:.3f}, rms {effective:.4f}")
        assert 0.05 < loudest < 0.95
        assert effective > 0.005


def test_each_of_a_class_gets_a_set_of_their_own(endpin, program, tmp_path):
    everyone, place = tmp_path / "class.list", tmp_path / "week-1"
    everyone.write_text("# Tuesdays\nAda: key Bb, level 3\nBo K: key D, level 5, on five-string\nZoë\n")
    call = ["ear", CHARTS[0], "--count", 6, "--class", everyone, "-o", place]
    endpin(*call)
    assert sorted(path.name for path in place.iterdir()) == ["ada", "bo-k", "zoë"]
    for name, key, level in (("ada", "Bb", 3), ("bo-k", "D", 5), ("zoë", "F", 4)):
        items = json.loads((place / name / "questions.json").read_text())["items"]
        assert {item["key"] for item in items} == {key}
        assert len(list((place / name / "questions").iterdir())) == len(items) == 6
        assert json.loads((place / name / "answers.json").read_text())["level"] == level
    assert "Bo K" in (place / "bo-k/questions.html").read_text()

    def files():
        return {path: path.read_bytes() for path in place.rglob("*") if path.is_file()}

    # Another set for one of them is in the way: nobody's files change, and nobody new gets any.
    before = files()
    everyone.write_text("Di\nAda: key C, level 3\n")
    done = subprocess.run([program, *map(str, call)], capture_output=True, text=True, timeout=60)
    assert done.returncode == 2 and "Ada: " in done.stderr and "--replace" in done.stderr
    assert files() == before
    for text, place_of_fault in [
        ("Di\nEd: key C, fast\n", ":2:12: "),
        ("Di\nEd: level 9\n", ":2:5: "),
        ("Di\n\n  di: level 4\n", ":3:3: "),
    ]:
        everyone.write_text(text)
        done = subprocess.run([program, *map(str, call)], capture_output=True, text=True, timeout=60)
        assert done.returncode == 2 and f"{everyone}{place_of_fault}" in done.stderr, done.stderr
    assert files() == before


def test_a_drill_breaks_its_lines_between_words(program, tmp_path):
    call = [program, "ear", CHARTS[0], "--drill", "--rounds", 12, "--record", tmp_path / "ear.jsonl"]
    done = subprocess.run(list(map(str, call)), input="a\nF A\n" * 30, capture_output=True, text=True, timeout=60)
    assert done.returncode == 0
    # What follows a prompt begins a line where somebody types; lines of files are not broken, so that they can be copied.
    lines = [line for line in done.stdout.replace("> ", "\n").splitlines() if str(tmp_path) not in line]
    assert len(lines) > 60 and max(map(len, lines)) < 80
    # The questions are those of the list, whole.
    endpin_asks = subprocess.run(
        list(map(str, [program, "ear", CHARTS[0], "--count", 40, "-o", tmp_path / "set"])), timeout=60
    )
    assert endpin_asks.returncode == 0
    items = json.loads((tmp_path / "set/questions.json").read_text())["items"]
    known = {item["question"] for item in items}
    told = " ".join(done.stdout.split())
    asked = re.findall(r" \d+\. (.+?) \S+, \d+/\d+, \d+ quarter notes", told)
    assert len(asked) == 12 and set(asked) <= known


def test_wrong_calls_say_what_would_do(endpin, program, tmp_path):
    def fails(*arguments):
        done = subprocess.run([program, "ear", *map(str, arguments)], capture_output=True, text=True, timeout=60)
        assert done.returncode == 2
        return done.stderr

    assert "kind" in fails(CHARTS[0], "--kind", "harmony", "-o", tmp_path)
    assert "-o DIR" in fails(CHARTS[0])
    assert "no place" in fails("--bars", "Cm7 | Dm7 | Cm7 | Dm7", "--kind", "comp", "-o", tmp_path)
    narrow = ["--bars", "C7 | F7 | C7", "--lowest", "C2", "--highest", "G2", "--level", 3]
    assert "no different one" in fails(*narrow, "--kind", "dictation", "--count", 1500, "-o", tmp_path)


def test_a_record_survives_the_hardest_end(program, tmp_path):
    record, dice, kept = tmp_path / "ear.jsonl", random.Random(8), 0
    for seed in range(6):
        call = [program, "ear", CHARTS[0], "--drill", "--kind", "chord-tone", "--seed", seed, "--record", record]
        drill = subprocess.Popen(list(map(str, call)), stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        told = 0
        for _ in range(dice.randint(1, 8)):
            drill.stdin.write(dice.choice("abcd") + "\n")
            drill.stdin.flush()
            # A verdict that has been read is a line on the disk.
            line = "before"
            while not re.search("> (Right|No, it is): ", line):
                assert line
                line = drill.stdout.readline()
            told += 1
        time.sleep(dice.random() / 20)
        drill.kill()
        drill.wait()
        entries = [json.loads(line) for line in record.read_text().splitlines()]
        assert len(entries) == kept + told
        assert set(entries[-1]) == {"at", "kind", "answer", "given", "right"}
        kept = len(entries)

"""How well a simple classifier tells endpin's bars from those of recorded lines.

    python players_apart.py FOLDER [--endpin PROGRAM] [--seeds N] -- OPTIONS OF endpin explain

FOLDER is described in players.py. Lines are made over the charts of the lines kept for reporting, with the options
after `--` (such as `--level 5 --loose`); both sides are cut to bars of four quarter notes without a wide leap, of a
chord tone on beat 1 and, unless `--all-bars`, of one chord. With `--plain` both are also cut to bars that keep the plain
rules on beats 1 and 3 (the root where a chord arrives, chord tones else), so that a manner is told apart, not a rule. The area under the curve is cross-validated by line: .5 is a coin, 1 a certainty.
Needs scikit-learn.
"""

import argparse
import json
import subprocess
import sys
import tempfile
from collections import defaultdict
from pathlib import Path

import numpy as np
import players

LETTERS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}


def chroma(name):
    """The key of the octave of a spelled note."""
    return (LETTERS[name[0]] + name.count("#") - name.count("b", 1)) % 12


def harmony(program, chart):
    """Root and chord tones of each beat of a chart, beats counted through from 0."""
    done = subprocess.run([program, "chart", chart, "--json"], capture_output=True, check=True)
    beats = {}
    for span in json.loads(done.stdout)["spans"]:
        first = (span["bar"] - 1) * 4 + int(span["beat"]) - 1
        for beat in range(int(span["beats"])):
            tones = {chroma(tone) for tone in span["tones"]}
            beats[first + beat] = (chroma(span["root"]) if tones else None, tones, span["symbol"])
    return beats


def bars_of(notes, beats, all_bars, plain):
    """Bars of four notes, with the note before and the note after: rows of figures."""
    rows = []
    for start in range(0, len(beats), 4):
        keys = [notes.get(start + at) for at in range(-1, 5)]
        chords = [beats[start + at] for at in range(4) if start + at in beats]
        if None in keys or len(chords) < 4 or any(root is None for root, *_ in chords):
            continue
        if not all_bars and len({symbol for *_, symbol in chords}) > 1:
            continue
        moves = np.diff(keys)
        if abs(moves).max() > 12:
            continue
        bar, degrees = keys[1:5], [(key - root) % 12 for key, (root, *_) in zip(keys[1:5], chords)]
        tones = [key % 12 in tones for key, (_, tones, _) in zip(bar, chords)]
        # A pitch outside the chord on beat 1, or one that nothing near it explains, is an error of estimation.
        strays = [not tone and min(abs(moves[at]), abs(moves[at + 1])) > 2 for at, tone in enumerate(tones)]
        if any(strays) or not tones[0]:
            continue
        new = start == 0 or beats.get(start - 1, (None, None, None))[2] != chords[0][2]
        if plain and not (tones[2] and (degrees[0] == 0 or not new)):
            continue
        rows.append({
            "tones": tones, "degrees": degrees, "moves": moves, "keys": bar,
            "aba": bar[0] == bar[2] and bar[0] != bar[1], "shape": tuple(moves[1:4]), "bar": tuple(bar),
        })  # fmt: skip
    return rows


def figures(row):
    """What a classifier sees of a bar."""
    moves, keys = row["moves"], row["keys"]
    return [
        *row["tones"], *(degree == 0 for degree in row["degrees"]), *(degree == 7 for degree in row["degrees"]),
        *moves, *abs(moves), *(moves == 0), row["aba"], keys[1] == keys[3],
        float(np.mean(keys)), max(keys) - min(keys), sum(np.sign(moves[1:]) != np.sign(moves[:-1])),
    ]  # fmt: skip


def statistics(rows):
    """The statistics of the lines, as shares."""
    moves = np.array([row["moves"] for row in rows])
    found = {f"chord tone on {beat + 1}": np.mean([row["tones"][beat] for row in rows]) for beat in range(4)}
    for beat in range(4):
        found[f"root on {beat + 1}"] = np.mean([row["degrees"][beat] == 0 for row in rows])
    found["repeated"] = np.mean(moves[:, 1:] == 0)
    found["a-b-a"] = np.mean([row["aba"] for row in rows])
    found["steps"] = np.mean((abs(moves) >= 1) & (abs(moves) <= 2))
    found["wider than a fifth"] = np.mean(abs(moves) > 7)
    return found


def area(ours, theirs, forest):
    """Area under the curve, by line."""
    from sklearn.ensemble import RandomForestClassifier
    from sklearn.linear_model import LogisticRegression
    from sklearn.metrics import roc_auc_score
    from sklearn.model_selection import GroupKFold, cross_val_predict
    from sklearn.pipeline import make_pipeline
    from sklearn.preprocessing import StandardScaler

    rows = [(figures(row), 0, line) for line, rows in theirs.items() for row in rows]
    rows += [(figures(row), 1, line) for line, rows in ours.items() for row in rows]
    data, side, lines = (np.array([row[at] for row in rows]) for at in range(3))
    if forest:
        model = RandomForestClassifier(300, min_samples_leaf=5, random_state=1)
    else:
        model = make_pipeline(StandardScaler(), LogisticRegression(max_iter=2000))
    told = cross_val_predict(model, data.astype(float), side, groups=lines, cv=GroupKFold(5), method="predict_proba")
    return roc_auc_score(side, told[:, 1])


FIGURES = (
    [f"{what} on {beat}" for what in ("tone", "root", "fifth") for beat in (1, 2, 3, 4)]
    + [f"{what} {at}" for what in ("move", "width", "repeat") for at in range(5)]
    + ["a-b-a", "-b-b", "height", "compass", "turns"]
)


def giveaways(real, ours):
    """What a forest looks at most: its share, its name, and its mean on either side."""
    from sklearn.ensemble import RandomForestClassifier

    data = np.array([figures(row) for row in real + ours], float)
    side = np.array([0] * len(real) + [1] * len(ours))
    forest = RandomForestClassifier(300, min_samples_leaf=5, random_state=1).fit(data, side)
    means = [data[side == at].mean(axis=0) for at in (0, 1)]
    return sorted(zip(forest.feature_importances_, FIGURES, *means), reverse=True)


def main():
    own, theirs = sys.argv[1:], []
    if "--" in own:
        at = own.index("--")
        own, theirs = own[:at], own[at + 1 :]
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder")
    parser.add_argument("--endpin", default="endpin")
    parser.add_argument("--seed", default="1")
    parser.add_argument("--all-bars", action="store_true")
    parser.add_argument("--plain", action="store_true")
    parser.add_argument("--develop", action="store_true", help="the other half of the lines, and what gives endpin away")
    args = parser.parse_args(own)
    lines = players.read(args.folder)
    develop, report = players.halves(lines)
    names = develop if args.develop else report
    ours, real = defaultdict(list), defaultdict(list)
    with tempfile.TemporaryDirectory() as folder:
        players.write(lines, names, folder)
        for name in names:
            chart = str(Path(folder) / f"{name}.toml")
            beats, line = harmony(args.endpin, chart), lines[name]
            first = line["beats"][0]
            played = defaultdict(dict)
            for chorus, bar, beat, _, midi in line["beats"]:
                if midi is not None:
                    played[chorus - first[0]][(bar - first[1]) * 4 + beat - 1] = midi
            # The first chorus takes no liberties; as many follow as were recorded.
            options = ["--seed", args.seed, "--from", "2", "--choruses", str(len(played)), "--json", *theirs]
            done = subprocess.run([args.endpin, "explain", chart, *options], capture_output=True, check=True)
            made = defaultdict(dict)
            for note in json.loads(done.stdout)["notes"]:
                if note["beat"] == int(note["beat"]):
                    made[note["chorus"]][(note["bar"] - 1) * 4 + int(note["beat"]) - 1] = note["midi"]
            for side, choruses in ((real, played), (ours, made)):
                for notes in choruses.values():
                    side[name] += bars_of(notes, beats, args.all_bars, args.plain)
    everything = [[row for rows in side.values() for row in rows] for side in (real, ours)]
    print(f"{len(everything[0])} recorded bars, {len(everything[1])} of endpin ({' '.join(theirs)})")
    both = [statistics(rows) for rows in everything]
    for name in both[0]:
        print(f"  {name:<20}{both[0][name]:.3f} {both[1][name]:.3f}")
    for forest, name in ((False, "logistic"), (True, "forest")):
        print(f"  area under the curve, {name}: {area(ours, real, forest):.3f}")
    if args.develop:
        for weight, name, theirs, ours in giveaways(*everything)[:16]:
            print(f"  {name:<20}{weight:.3f}  recorded {theirs:.2f}, endpin {ours:.2f}")


if __name__ == "__main__":
    main()

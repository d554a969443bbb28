"""How often bars come back: in recorded lines, and in endpin's over the same charts.

    python players_recur.py FOLDER [--endpin PROGRAM] [--seeds N] [--report] -- OPTIONS OF endpin explain

FOLDER is described in players.py. Every other of the cleaner lines is for developing; `--report` takes the others.
What is counted, of bars with a note on each of four beats:

- the same bar at the same place in the next chorus, and in any two choruses of a line;
- a bar's moves, in semitones (the same bar on another degree), in one of the next four bars;
- a bar's shape there: whether each move stays, goes up or down, by a step (1 or 2 semitones) or farther;
- the commonest bar at a place: its share of the choruses, in lines of at least four choruses.

A line that is cleaner has fewer errors of estimation, each of which hides a bar that came back.
"""

import argparse
import json
import subprocess
import sys
import tempfile
from collections import Counter, defaultdict
from itertools import combinations
from pathlib import Path

import players


def moves(bar):
    """The moves of a bar in semitones."""
    return tuple(after - before for before, after in zip(bar, bar[1:]))


def shape(bar):
    """Direction and size of each move: 0 stays, 1 and -1 are steps, 2 and -2 anything wider."""
    return tuple((move > 0) - (move < 0) if abs(move) < 3 else 2 if move > 0 else -2 for move in moves(bar))


def whole_bars(notes):
    """Notes by (chorus, bar, beat) as bars of four by (chorus, bar)."""
    bars = defaultdict(dict)
    for (chorus, bar, beat), midi in notes.items():
        if beat == int(beat):
            bars[chorus, bar][beat] = midi
    return {place: tuple(bar[beat] for beat in (1, 2, 3, 4)) for place, bar in bars.items() if set(bar) == {1, 2, 3, 4}}


class Shares:
    """Shares of what was counted, with how many were asked."""

    def __init__(self):
        self.found = Counter()
        self.asked = Counter()

    def ask(self, what, answer):
        self.asked[what] += 1
        self.found[what] += bool(answer)

    def count(self, bars):
        """Adds the bars of a line."""
        by_place = defaultdict(dict)
        for (chorus, bar), notes in bars.items():
            by_place[bar][chorus] = notes
            if (chorus + 1, bar) in bars:
                self.ask("the same in the next chorus", notes == bars[chorus + 1, bar])
            coming = [bars.get((chorus, bar + lag)) for lag in (1, 2, 3, 4)]
            if None not in coming:
                self.ask("its moves in the next four bars", moves(notes) in map(moves, coming))
                self.ask("its shape in the next four bars", shape(notes) in map(shape, coming))
            for lag, other in enumerate(coming, 1):
                if other is not None:
                    self.ask(f"its shape {lag} later", shape(notes) == shape(other))
        for played in by_place.values():
            for one, other in combinations(played.values(), 2):
                self.ask("the same in any two choruses", one == other)

    def table(self):
        return {what: (self.found[what] / self.asked[what], self.asked[what]) for what in self.asked}


def commonest(bars):
    """The share of the commonest bar at each place, in lines of at least four choruses."""
    by_place = defaultdict(Counter)
    for (_, bar), notes in bars.items():
        by_place[bar][notes] += 1
    return [max(found.values()) / found.total() for found in by_place.values() if found.total() >= 4]


def recorded(line):
    """The bars of a recorded line."""
    return whole_bars({(chorus, bar, beat): midi for chorus, bar, beat, _, midi in line["beats"] if midi is not None})


def made(program, chart, options):
    """The bars of one of endpin's lines; none where the chart is too large for what is asked."""
    done = subprocess.run([program, "explain", chart, "--json", *options], capture_output=True, check=False)
    if b"too much memory" in done.stderr:
        return None
    done.check_returncode()
    notes = json.loads(done.stdout)["notes"]
    return whole_bars({(note["chorus"], note["bar"], note["beat"]): note["midi"] for note in notes})


def main():
    own, theirs = sys.argv[1:], []
    if "--" in own:
        at = own.index("--")
        own, theirs = own[:at], own[at + 1 :]
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder")
    parser.add_argument("--endpin", default="endpin")
    parser.add_argument("--seeds", type=int, default=4)
    parser.add_argument("--choruses", type=int, help="as many as were recorded, unless said")
    parser.add_argument("--report", action="store_true")
    args = parser.parse_args(own)
    lines = players.read(args.folder)
    names = players.halves(lines)[args.report]
    sides, most = (Shares(), Shares()), ([], [])
    with tempfile.TemporaryDirectory() as folder:
        players.write(lines, names, folder)
        for name in names:
            # The first chorus states every root whatever is asked; as many follow as were recorded.
            choruses = args.choruses or len({chorus for chorus, *_ in lines[name]["beats"]})
            takes = [[recorded(lines[name])], []]
            for seed in range(1, args.seeds + 1):
                options = ["--seed", str(seed), "--from", "2", "--choruses", str(choruses), *theirs]
                takes[1].append(made(args.endpin, str(Path(folder) / f"{name}.toml"), options))
            if None in takes[1]:
                print(f"{name} is left out: too large")
                continue
            for side in (0, 1):
                for bars in takes[side]:
                    sides[side].count(bars)
                    most[side].extend(commonest(bars))
    both = [side.table() for side in sides]
    print(f"{len(names)} recorded lines, {args.seeds} of endpin over each chart ({' '.join(theirs)})")
    for what, (share, asked) in both[0].items():
        ours, of = both[1].get(what, (float("nan"), 0))
        print(f"  {what:<34}{share:.3f} of {asked:<6} {ours:.3f} of {of}")
    for what, found in (("mean", lambda shares: sum(shares) / len(shares)), ("greatest", max)):
        shares = [found(shares) if shares else float("nan") for shares in most]
        print(f"  commonest bar of a place, {what:<8}{shares[0]:.3f}           {shares[1]:.3f}")


if __name__ == "__main__":
    main()

"""How well notes were heard: F by mir_eval, and how far off their beginnings are."""

import json
import subprocess
from pathlib import Path

import mir_eval
import numpy

TOLERANCE = 0.05  # seconds between a note-on and what was heard; mir_eval's own


def known(sound):
    """The notes of a take that hear_takes made."""
    return json.loads(Path(sound).with_suffix(".json").read_text())["notes"]


def heard(program, sound):
    """`endpin hear --json`, read."""
    done = subprocess.run(
        [program, "hear", str(sound), "--json"], capture_output=True, check=True, timeout=300
    )
    return json.loads(done.stdout)


def hertz(keys):
    return 440.0 * 2.0 ** ((numpy.asarray(keys, float) - 69) / 12)


def spans(onsets):
    onsets = numpy.asarray(onsets, float)
    return numpy.stack([onsets, onsets + 0.1], axis=1).reshape(-1, 2)


class Score:
    """Notes right, played and heard, and the errors of those that are right in seconds.

    A note is right if its key is, and it begins within TOLERANCE of the note-on (the moment the synthesiser is
    told, not the moment its sound begins). Ghost notes may be heard or not: neither counts.
    """

    def __init__(self):
        self.right = self.played = self.heard = 0
        self.errors = []
        self.sure = []  # (certainty, whether right) of each note heard

    def add(self, notes, found):
        """`notes` as `known`, `found` as rows of onset, key, certainty."""
        whole = [note for note in notes if not note["ghost"]]
        ghosts = [note["onset"] for note in notes if note["ghost"]]
        pairs = []
        if whole and found:
            pairs = mir_eval.transcription.match_notes(
                spans([note["onset"] for note in whole]),
                hertz([note["midi"] for note in whole]),
                spans([row[0] for row in found]),
                hertz([row[1] for row in found]),
                onset_tolerance=TOLERANCE,
                pitch_tolerance=30.0,
                offset_ratio=None,
            )
        matched = {b for _, b in pairs}
        free = [
            b
            for b, row in enumerate(found)
            if b not in matched and any(abs(row[0] - ghost) < TOLERANCE for ghost in ghosts)
        ]
        self.right += len(pairs)
        self.played += len(whole)
        self.heard += len(found) - len(free)
        self.errors += [found[b][0] - whole[a]["onset"] for a, b in pairs]
        self.sure += [(row[2], b in matched) for b, row in enumerate(found) if b not in free]

    @property
    def f(self):
        return 2 * self.right / max(1, self.played + self.heard)

    @property
    def off(self):
        """The median distance of a beginning from its note-on, in milliseconds."""
        return 1000 * float(numpy.median(numpy.abs(self.errors))) if self.errors else float("nan")


def score(program, sound, into):
    report = heard(program, sound)
    into.add(known(sound), [(n["onset_s"], n["midi"], n["certainty"]) for n in report["notes"]])
    return report

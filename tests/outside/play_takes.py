"""Plays takes of a chart as students do, well and badly, and writes them as MIDI files.

    python play_takes.py CHART FOLDER        writes good.mid, rushed.mid and so on

The notes are those of `endpin explain --json`; how they are played, and what goes wrong, is done here.
"""

import json
import os
import random
import subprocess
import sys
from pathlib import Path

import mido

TICKS = 480


def line_of(chart, *options, program=None):
    """The notes of a line with the place of each in quarter notes from the first chorus."""
    program = program or os.environ.get("ENDPIN", "endpin")
    done = subprocess.run(
        [program, "explain", str(chart), "--json", *options], capture_output=True, check=True
    )
    report = json.loads(done.stdout)
    chart_report = subprocess.run(
        [program, "chart", str(chart), "--json"], capture_output=True, check=True
    )
    spans = json.loads(chart_report.stdout)["spans"]
    beats = sum(span["beats"] for span in spans)
    starts = bar_starts(spans)
    notes = []
    for note in report["notes"]:
        start = starts.get(note["bar"], beats) + note["beat"] - 1 + (note["chorus"] - 1) * beats
        notes.append({**note, "start": start})
    return notes, beats


def bar_starts(spans):
    """Quarter notes before each bar, for charts in quarters; a span says where it stands itself."""
    starts, now = {}, 0
    for span in spans:
        starts[span["bar"]] = now - (span["beat"] - 1)
        now += span["beats"]
    known = sorted(starts.items())
    filled = {}
    for (bar, start), (following, after) in zip(known, known[1:] + [(None, now)]):
        filled[bar] = start
        if following is None:
            following = bar + max(1, round((after - start) / 4))
        for between in range(bar + 1, following):
            filled[between] = start + (after - start) * (between - bar) / (following - bar)
    return filled


class Playing:
    """How a line is played: everything in milliseconds but where it says otherwise."""

    def __init__(self, tempo=120.0, late=0.0, scatter=8.0, drift=0.0, swing=1.5, lead_in=0.0, seed=1,
                 missing=0.0, doubled=0.0, uniform=False, played_tempo=None):
        self.tempo, self.late, self.scatter, self.drift = tempo, late, scatter, drift
        self.swing, self.lead_in, self.missing, self.doubled = swing, lead_in, missing, doubled
        self.uniform = uniform
        self.played_tempo = played_tempo or tempo
        self.random = random.Random(seed)

    def seconds(self, start, beats):
        """When a note at so many quarter notes is struck."""
        whole, part = divmod(start, 1)
        if abs(part - 0.5) < 0.01:
            part = self.swing / (1 + self.swing)
        noise = self.random.uniform(-1, 1) if self.uniform else self.random.gauss(0, 1)
        off = self.late + self.drift * start / beats + self.scatter * noise
        return (self.lead_in + whole + part) * 60 / self.played_tempo + off / 1000

    def play(self, notes, beats):
        """(on, off, key, velocity) in seconds."""
        played = []
        for note in notes:
            if self.random.random() < self.missing:
                continue
            on = max(0.0, self.seconds(note["start"], beats))
            length = note["length"] * 60 / self.played_tempo
            played.append((on, on + 0.85 * length, note["midi"], 80))
            if self.random.random() < self.doubled:
                played.append((on + 0.03, on + 0.5 * length, note["midi"], 60))
        return played


def write(path, played, tempo, ticks=TICKS, name="Bass", more=()):
    """A MIDI file of format 1 with a tempo track; `more` holds (name, channel, notes) of other tracks."""
    file = mido.MidiFile(type=1, ticks_per_beat=ticks)
    conductor = mido.MidiTrack()
    conductor.append(mido.MetaMessage("set_tempo", tempo=mido.bpm2tempo(tempo), time=0))
    file.tracks.append(conductor)
    for track_name, channel, notes in [(name, 0, played), *more]:
        events = []
        for on, off, key, velocity in notes:
            events.append((on, 1, mido.Message("note_on", channel=channel, note=key, velocity=velocity)))
            events.append((off, 0, mido.Message("note_off", channel=channel, note=key, velocity=0)))
        events.sort(key=lambda event: event[:2])
        track = mido.MidiTrack([mido.MetaMessage("track_name", name=track_name, time=0)])
        now = 0
        for seconds, _, message in events:
            tick = max(now, round(seconds * tempo / 60 * ticks))
            track.append(message.copy(time=tick - now))
            now = tick
        file.tracks.append(track)
    file.save(path)


def wrong_roots(notes, every=4):
    """Every fourth root on an arrival becomes the note a third above it."""
    arrivals = [n for n in notes if n["why"].startswith("root on the arrival") and n["start"] > 0]
    wrong = {(n["chorus"], n["bar"], n["beat"]) for n in arrivals[::every]}
    return [
        {**n, "midi": n["midi"] + 2} if (n["chorus"], n["bar"], n["beat"]) in wrong else n for n in notes
    ], wrong


def above_the_seam(notes, bars):
    """The weak second beats of some bars an octave up."""
    return [
        {**n, "midi": n["midi"] + 12} if n["bar"] in bars and n["beat"] in (2.0, 3.0) else n for n in notes
    ]


def with_ghosts(played, seed=3):
    """As a pitch-to-MIDI converter hears it: short overtones inside notes, slips in front of them."""
    dice = random.Random(seed)
    ghosts = []
    for on, off, key, _ in played:
        if dice.random() < 0.15 and off - on > 0.2:
            ghosts.append((on + 0.08, on + 0.11, key + 12, 35))
        if dice.random() < 0.08 and on > 0.1:
            ghosts.append((on - 0.04, on - 0.005, key + 1, 30))
    return sorted(played + ghosts)


def takes(chart, program=None, tempo=138.0):
    """Name and notes of every kind of take."""
    notes, beats = line_of(chart, "--choruses", "3", program=program)
    wrong, _ = wrong_roots(notes)
    good = Playing(tempo, late=5, scatter=7)
    return {
        "good": good.play(notes, beats),
        "rushed": Playing(tempo, scatter=10, drift=-35).play(notes, beats),
        "wrong-roots": Playing(tempo, late=10, scatter=12).play(wrong, beats),
        "above-the-seam": Playing(tempo, scatter=9).play(above_the_seam(notes, {2, 5, 9}), beats),
        "converter": with_ghosts(Playing(tempo, late=15, scatter=9).play(notes, beats)),
        "no-click": Playing(tempo, scatter=12, lead_in=5.3, played_tempo=tempo * 1.06).play(notes, beats),
    }


def main():
    chart, folder = Path(sys.argv[1]), Path(sys.argv[2])
    folder.mkdir(parents=True, exist_ok=True)
    for name, played in takes(chart).items():
        write(folder / f"{name}.mid", played, 138.0)
        print(folder / f"{name}.mid")


if __name__ == "__main__":
    main()

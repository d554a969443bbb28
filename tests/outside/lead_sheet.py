"""A chart file read with nothing of endpin's: Python's own TOML reader and the rules of the format.

It gives the outside tests what they compare with. It knows correct charts only.
"""

import tomllib
from dataclasses import dataclass, field
from pathlib import Path

TICKS = 960  # a quarter note, by the contract of the written files


@dataclass
class Bar:
    section: str
    opens_section: bool
    beats: int
    unit: int
    tempo: float
    feel: str
    chords: list[tuple[int, str]]  # (beat from 0, symbol)
    first_beat: int = 0  # of the chorus
    start: int = 0  # ticks from the start of the chorus

    @property
    def beat_ticks(self):
        return TICKS * 4 // self.unit

    @property
    def ticks(self):
        return self.beats * self.beat_ticks


@dataclass
class LeadSheet:
    title: str
    key: str
    tempo: float
    bars: list[Bar] = field(default_factory=list)

    @property
    def beats(self):
        return sum(bar.beats for bar in self.bars)

    @property
    def ticks(self):
        return sum(bar.ticks for bar in self.bars)

    @property
    def seconds(self):
        return sum(bar.ticks / TICKS * 60 / bar.tempo for bar in self.bars)

    def spans(self):
        """[first tick, bar number from 1, beat from 1, beats, symbol]: neighbours of one symbol joined."""
        found = []
        for number, bar in enumerate(self.bars, 1):
            for place, (beat, symbol) in enumerate(bar.chords):
                following = bar.chords[place + 1][0] if place + 1 < len(bar.chords) else bar.beats
                if found and found[-1][4] == symbol:
                    found[-1][3] += following - beat
                else:
                    start = bar.start + beat * bar.beat_ticks
                    found.append([start, number, beat + 1, following - beat, symbol])
        return found

    def strong_beats(self):
        """[tick, symbol] of each strong and medium beat that has a chord.

        Common practice, no source: 1 and 3 of four, 1 of three, the first of each group elsewhere.
        """
        usual = {4: [0, 2], 3: [0], 5: [0, 3], 6: [0, 3], 7: [0, 4]}
        found = []
        for bar in self.bars:
            for beat in usual[bar.beats]:
                symbol = [chord for at, chord in bar.chords if at <= beat][-1]
                if symbol != "N.C.":
                    found.append((bar.start + beat * bar.beat_ticks, symbol))
        return found


def _bars(text, beats, before):
    bars = []
    for written in text.replace("\n", " ").split("|"):
        marks = written.split()
        if not marks:
            continue
        if marks == ["%"]:
            bars.append(bars[-1] if bars else before)
            continue
        step = 1 if "/" in marks else beats // len(marks)
        bars.append([(place * step, mark) for place, mark in enumerate(marks) if mark != "/"])
    return bars


def read(path):
    chart = tomllib.loads(Path(path).read_text(encoding="utf-8"))
    sheet = LeadSheet(chart["title"], chart["key"], chart["tempo"])
    plays = {}
    first_beat = start = 0
    for name in chart.get("form", " ".join(chart["section"])).split():
        section = chart["section"][name]
        beats, unit = map(int, section.get("meter", chart["meter"]).split("/"))
        tempo = section.get("tempo", chart["tempo"])
        feel = section.get("feel", chart.get("feel", "four"))
        text = section["bars"]
        if endings := section.get("endings"):
            text += "|" + endings[plays.get(name, 0)]
            plays[name] = plays.get(name, 0) + 1
        before = sheet.bars[-1].chords if sheet.bars else []
        for place, chords in enumerate(_bars(text, beats, before)):
            bar = Bar(name, place == 0, beats, unit, tempo, feel, chords, first_beat, start)
            sheet.bars.append(bar)
            first_beat += beats
            start += bar.ticks
    return sheet

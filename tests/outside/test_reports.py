"""The reports in JSON against the description in docs/formats.md, and against plain arithmetic.

Nothing of endpin's is used but its output; chord roots come from the text of the symbol, degrees from the
major scale (0 2 4 5 7 9 11 semitones), the chart from lead_sheet. The rules are common practice, no source.
"""

import json
import re
from pathlib import Path

import lead_sheet
import music21
import pytest

MAJOR = [0, 2, 4, 5, 7, 9, 11]
ROLES = set(
    "root third fourth fifth sixth seventh bass scale chromatic-below chromatic-above scale-below scale-above "
    "dominant double-chromatic enclosure".split()
)
CHORD_TONES = {"root", "third", "fourth", "fifth", "sixth", "seventh", "bass"}
# How far the next note lies from an approach, in semitones.
RESOLVES = {
    "chromatic-below": {1},
    "chromatic-above": {-1},
    "scale-below": {2},
    "scale-above": {-2},
    "dominant": {5, -7},
}
LEVELS = [1, 2, 3, 4]
CHART = Path(__file__).parents[2] / "scenarios/breakwater-blues.toml"


def chroma(name):
    return music21.pitch.Pitch(re.sub("b|♭", "-", name).replace("♯", "#")).pitchClass


def root_of(symbol):
    return chroma(re.match("[A-G][b#♭♯]*", symbol)[0])


def bass_of(symbol):
    slash = re.search("/([A-G][b#♭♯]*)$", symbol)
    return chroma(slash[1]) if slash else root_of(symbol)


def semitones(degree):
    sign, number = re.fullmatch("([b#]*)([0-9]+)", degree).groups()
    octave, step = divmod(int(number) - 1, 7)
    return 12 * octave + MAJOR[step] + sign.count("#") - sign.count("b")


@pytest.fixture(scope="module")
def told(report):
    known = {}

    def tell(scenario, *options):
        key = (scenario, options)
        if key not in known:
            known[key] = report(scenario, "--choruses", "3", *options)
        return known[key]

    return tell


def place(sheet, note):
    """Ticks from the start of the first chorus."""
    whole = (note["chorus"] - 1) * sheet.ticks
    if note["bar"] > len(sheet.bars):
        return whole + sheet.ticks + round((note["beat"] - 1) * sheet.bars[-1].beat_ticks)
    bar = sheet.bars[note["bar"] - 1]
    return whole + bar.start + round((note["beat"] - 1) * bar.beat_ticks)


@pytest.mark.parametrize("level", LEVELS)
def test_each_note_adds_up(told, scenario, level):
    sheet = lead_sheet.read(scenario)
    report = told(scenario, "--level", str(level))
    assert report["format"] == "endpin-line/1"
    assert (report["chart"], report["key"], report["choruses"]) == (sheet.title, sheet.key, 3)
    notes = report["notes"]
    places = [place(sheet, note) for note in notes]
    assert places == sorted(set(places))
    for note in notes:
        assert music21.pitch.Pitch(note["name"].replace("b", "-")).midi == note["midi"]
        assert 28 <= note["midi"] <= 55, "E1 to G3 unless said otherwise"
        root = root_of(note["chord"])
        assert (root + semitones(note["degree"])) % 12 == note["midi"] % 12, note
        assert note["role"] in ROLES and note["approach"] in ROLES | {None}
        assert note["strength"] in ("strong", "medium", "weak")
        assert note["why"]
        if note["strength"] != "weak":
            assert note["role"] in CHORD_TONES, note
        if note["role"] == "root":
            assert note["degree"] == "1"


# Open strings from the highest; scientific pitch, common practice, no source.
STRINGS = {
    "bass": ["G2", "D2", "A1", "E1"],
    "five-string": ["G2", "D2", "A1", "E1", "B0"],
    "double-bass": ["G2", "D2", "A1", "E1"],
}


@pytest.mark.parametrize("instrument", STRINGS)
def test_string_and_fret_sound_the_note(told, instrument):
    opens = [music21.pitch.Pitch(name).midi for name in STRINGS[instrument]]
    notes = told(CHART, "--level", "6", "--instrument", instrument)["notes"]
    for note in notes:
        assert opens[note["string"] - 1] + note["fret"] == note["midi"], note
        assert note["fret"] <= 20
    assert {note["string"] for note in notes} >= {1, 2, 3}


@pytest.mark.parametrize("level", LEVELS)
def test_approaches_resolve_as_their_names_say(told, scenario, level):
    sheet = lead_sheet.read(scenario)
    notes = told(scenario, "--level", str(level))["notes"]
    met = set()
    for note, following in zip(notes, notes[1:]):
        if following["bar"] > len(sheet.bars) and note["approach"] is None:
            # A last chorus leads to the first root once more, and the ending may stand on another: home.
            if bass_of(sheet.spans()[0][4]) != following["midi"] % 12:
                continue
        for name in (note["role"], note["approach"]):
            if name in RESOLVES:
                assert following["midi"] - note["midi"] in RESOLVES[name], (note, following)
                met.add(name)
    assert met


@pytest.mark.parametrize("level", LEVELS)
def test_each_change_is_approached(told, scenario, level):
    # The last beat before an arrival, where its span has two beats or more and that beat is weak. In two a note there
    # is a pickup, which need not come; over a pedal nothing leads anywhere.
    sheet = lead_sheet.read(scenario)
    spans = sheet.spans()
    strong = {start for start, _ in sheet.strong_beats()}
    heard = {place(sheet, note): note for note in told(scenario, "--level", str(level))["notes"]}
    checked = 0
    for (start, _, _, beats, symbol), (arrival, _, _, _, following) in zip(spans, spans[1:]):
        bar = next(bar for bar in reversed(sheet.bars) if bar.start < arrival)
        before = arrival - bar.beat_ticks
        feel = "two" if level <= 2 and bar.feel != "pedal" else bar.feel
        if "N.C." in (symbol, following) or beats < 2 or before in strong or feel == "pedal":
            continue
        for chorus in range(3):
            note, root = heard.get(chorus * sheet.ticks + before), heard[chorus * sheet.ticks + arrival]
            if note is None and feel == "two":
                continue
            step = root["midi"] - note["midi"]
            assert 1 <= abs(step) <= 2 or step in (5, -7), (note, root)
            assert root["midi"] % 12 == bass_of(following)
            checked += 1
    assert checked > 0 or level <= 2


def seams(sheet, chart, notes):
    """(start, end, seam) of each span of each chorus: its seventh above the highest root that it sounds."""
    spans = sheet.spans()
    told = chart["spans"]
    assert [(s["bar"], s["beat"], s["beats"], s["symbol"]) for s in told] == [tuple(s[1:]) for s in spans]
    found = []
    for chorus in range(3):
        starts = [span[0] for span in spans] + [sheet.ticks]
        for span, start, end in zip(told, starts, starts[1:]):
            start, end = chorus * sheet.ticks + start, chorus * sheet.ticks + end
            if span["symbol"] == "N.C.":
                continue
            root = root_of(span["symbol"])
            inside = [n["midi"] for n in notes if start <= place(sheet, n) < end]
            if sheet.bars[span["bar"] - 1].feel == "pedal":
                # The note that is held, in octaves, stands for the root.
                root = inside[0] % 12
            low = max([key for key in inside if key % 12 == root] or inside[:1])
            found.append((start, end, low + span["seventh"], inside))
    return found


@pytest.mark.parametrize("level", LEVELS)
def test_bass_below_the_seam_and_comp_above_it(endpin, told, scenario, level):
    sheet = lead_sheet.read(scenario)
    report = told(scenario, "--level", str(level))
    chart = json.loads(endpin("chart", scenario, "--json"))
    found = seams(sheet, chart, report["notes"])
    for start, end, seam, inside in found:
        assert max(inside) <= seam
    attacks = 0
    for attack in report["comp"]:
        bar = sheet.bars[min(attack["bar"], len(sheet.bars)) - 1]
        begins = place(sheet, attack)
        ends = begins + round(attack["length"] * bar.beat_ticks)
        for start, end, seam, _ in found:
            if start < ends and begins < end:
                assert min(attack["midi"]) >= seam, attack
                attacks += 1
    assert attacks > 0


def collides(bass, chord_tone):
    """A minor ninth, a semitone or their octaves above (design of the two parts)."""
    return chord_tone > bass and (chord_tone - bass) % 12 == 1


@pytest.mark.parametrize("palette", ["plain", "altered", "diminished"])
def test_no_collision_on_strong_beats(endpin, scenario, palette):
    report = json.loads(endpin("explain", scenario, "--json", "--choruses", "3", "--palette", palette))
    sheet = lead_sheet.read(scenario)
    strong = {start for start, _ in sheet.strong_beats()} | {span[0] for span in sheet.spans()}
    met = 0
    for note in report["notes"]:
        at = place(sheet, note)
        if note["bar"] > len(sheet.bars) or at % sheet.ticks not in strong:
            continue
        for attack in report["comp"]:
            bar = sheet.bars[min(attack["bar"], len(sheet.bars)) - 1]
            begins = place(sheet, attack)
            if not begins <= at < begins + round(attack["length"] * bar.beat_ticks):
                continue
            met += 1
            for key in attack["midi"]:
                own_ninth = note["role"] == "root" and (key - note["midi"]) % 12 == 1
                dominant = re.match("[A-G][b#♭♯]*(7|9|13|alt)", note["chord"])
                assert not collides(note["midi"], key) or (own_ninth and dominant), (note, attack)
    assert met > len(sheet.bars) / 4, "the two hardly met, so nothing was shown"
    assert len(report["meetings"]) > 1
    for rated in report["meetings"]:
        assert rated["strong_collisions"] == 0 and rated["strong_beats"] > 0


def test_the_chart_report(endpin, scenario):
    sheet = lead_sheet.read(scenario)
    chart = json.loads(endpin("chart", scenario, "--json"))
    assert chart["format"] == "endpin-chart/1"
    lines = chart["admissible_lines"]
    assert lines.isdecimal() and not lines.startswith("0")
    for span in chart["spans"]:
        if span["symbol"] == "N.C.":
            continue
        assert chroma(span["root"]) == root_of(span["symbol"])
        assert chroma(span["bass"]) == bass_of(span["symbol"])
        assert span["tones"][0] == span["root"] and span["degrees"][0] == "1"
        for tone, degree in zip(span["tones"], span["degrees"], strict=True):
            assert (chroma(span["root"]) + semitones(degree)) % 12 == chroma(tone)
        assert {"name", "notes"} <= span["scale"].keys()
        assert span["function"] and span["key"]
        assert span["seventh"] in (9, 10, 11)


def test_the_written_report_is_the_explained_one(endpin, report, scenario, tmp_path):
    endpin("write", scenario, "-o", tmp_path / "line.mid", "--report", tmp_path / "line.json")
    written = json.loads((tmp_path / "line.json").read_text("utf-8"))
    explained = report(scenario)
    for key in ("format", "chart", "key", "seed", "choruses", "notes"):
        assert written[key] == explained[key]


def test_a_muted_comp_is_not_explained(endpin, scenario):
    """The line reads as it did; what is left out is the comp."""
    both, alone = endpin("explain", scenario).decode(), endpin("explain", scenario, "--mute", "comp").decode()
    line, _, tally = both.partition("\nBass and comp: ")
    comps = re.compile(r"^     comp \d.*\n", re.M)
    assert comps.search(line) and tally
    assert alone.startswith(comps.sub("", line))
    assert not comps.search(alone) and "Bass and comp" not in alone

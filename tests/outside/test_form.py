"""Intro, tag, endings, trades and stop-time, read by programs that are not ours: mido and music21.

What each of them asks of the band is common practice, without a source.
"""

import itertools
import json
import subprocess
from collections import defaultdict
from pathlib import Path

import mido
import music21
import pytest

CHART = """title = "Lantern Slip"
key = "F"
tempo = 138
intro = "I"
tag = "T"
[section.I]
bars = "| Gm7 C7 | Am7 D7 | Gm7 | C7 |"
[section.A]
bars = '''
| F7   | Bb7   | F7    | Cm7 F7  |
| Bb7  | Bdim7 | F7    | D7b9    |
| Gm7  | C7    | F7 D7 | Gm7 C7  |
'''
[section.T]
bars = "| Gm7 | C7 | Bbmaj7 Bdim7 | C7 |"
"""
INTRO, FORM, TAG, BAR = 4, 12, 4, 4
KEYS = ["C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B"]


@pytest.fixture
def chart(tmp_path):
    file = tmp_path / "lantern-slip.toml"
    file.write_text(CHART)
    return file


@pytest.fixture
def written(endpin, chart, tmp_path):
    """Writes the chart with options and reads the file back: bars of notes by track, marks, length in bars."""

    def write(*options):
        file = tmp_path / "form.mid"
        endpin("write", chart, "--straight", "--human", 0, *options, "--replace", "-o", file)
        read = mido.MidiFile(file)
        beat = read.ticks_per_beat
        tracks, marks, end = {}, [], 0
        for track in read.tracks:
            now, sounding, notes = 0, {}, []
            for message in track:
                now += message.time
                end = max(end, now)
                if message.type in ("marker", "set_tempo"):
                    marks.append((now / beat / BAR, message))
                elif message.type == "note_on" and message.velocity:
                    sounding[message.note] = now
                elif message.type in ("note_on", "note_off"):
                    start = sounding.pop(message.note)
                    notes.append((start / beat, (now - start) / beat, message.note))
            tracks[track.name] = sorted(notes)
        return tracks, marks, end / beat / BAR

    return write


def markers(marks):
    return {message.text: bar for bar, message in marks if message.type == "marker"}


def by_bar(notes):
    bars = defaultdict(list)
    for start, length, key in notes:
        bars[int(start // BAR)].append((start % BAR, length, key))
    return bars


@pytest.mark.parametrize("key", KEYS)
def test_intro_and_tag_have_their_places(written, key):
    tracks, marks, length = written("--key", key, "--choruses", 2, "--ending", "held")
    first, tag = INTRO, INTRO + 2 * FORM
    assert markers(marks) == {
        "Intro": 0, "chorus 1, A": first, "chorus 2, A": first + FORM, "Tag": tag, "ending": tag + TAG,
    }
    assert length == tag + TAG + 1
    bass = by_bar(tracks["Bass"])
    assert set(bass) == set(range(tag + TAG + 1))
    tonic = music21.pitch.Pitch(key.replace("b", "-")).pitchClass
    # ii of the intro and of the tag, the tonic of each chorus and of the last chord.
    for bar, above in [(0, 2), (first, 0), (first + FORM, 0), (tag, 2), (tag + TAG, 0)]:
        assert bass[bar][0][0] == 0 and bass[bar][0][2] % 12 == (tonic + above) % 12
    # Each join is led into by a step or from the dominant.
    for bar in [first, first + FORM, tag, tag + TAG]:
        leads, arrives = bass[bar - 1][-1][2], bass[bar][0][2]
        assert (arrives - leads) % 12 in (1, 2, 10, 11, 5), bar


def test_what_is_left_out_and_what_is_the_same(written):
    whole = written("--choruses", 3, "--ending", "held")[0]["Bass"]

    def bars(notes, first, last, by=0):
        return [(start - by * BAR, length, key) for start, length, key in notes if first * BAR <= start < last * BAR]

    _, marks, length = written("--choruses", 2, "--loop-ready")
    assert list(markers(marks)) == ["chorus 1, A", "chorus 2, A"] and length == 2 * FORM
    # A later chorus made alone has no intro and is what it is among others.
    alone = written("--from", 2, "--choruses", 1, "--loop-ready")[0]["Bass"]
    among = bars(whole, INTRO + FORM, INTRO + 2 * FORM, INTRO + FORM)
    assert alone == among
    # The last one leads into the tag wherever it is made.
    last = written("--from", 3, "--choruses", 1, "--ending", "held")[0]["Bass"]
    assert last == bars(whole, INTRO + 2 * FORM, 1000, INTRO + 2 * FORM)


def test_each_ending_is_itself(written):
    tag = INTRO + FORM
    held = written("--choruses", 1, "--ending", "held")
    for part in ("Bass", "Comp"):
        assert all(length > 3.5 for start, length, _ in held[0][part] if start >= (tag + TAG) * BAR)
    assert len([message for _, message in held[1] if message.type == "set_tempo"]) == 1

    stop = written("--choruses", 1, "--ending", "stop")
    assert markers(stop[1]) == markers(held[1]) and stop[2] == held[2]
    for part in ("Bass", "Comp"):
        last = [(start, length) for start, length, _ in stop[0][part] if start >= (tag + TAG) * BAR]
        assert last and all(start == (tag + TAG) * BAR and length <= 0.5 for start, length in last)

    ritard = written("--choruses", 1, "--ending", "ritard")
    tempi = [(bar, mido.tempo2bpm(message.tempo)) for bar, message in ritard[1] if message.type == "set_tempo"]
    values = [tempo for _, tempo in tempi]
    # It slows beat by beat over the last two bars, into the last chord.
    assert values == sorted(values, reverse=True) and len(set(values)) == len(values) == 9
    assert min(bar for bar, _ in tempi[1:]) == tag + TAG - 2 + 0.25 and tempi[-1][0] == tag + TAG
    assert values[-1] == pytest.approx(0.55 * 138, abs=0.1)

    thrice = written("--choruses", 1, "--ending", "thrice")
    assert markers(thrice[1])["Three times"] == tag + TAG and markers(thrice[1])["ending"] == tag + TAG + 4
    bass = by_bar(thrice[0]["Bass"])
    # iii VI ii V, twice.
    roots = [note[2] % 12 for bar in range(tag + TAG, tag + TAG + 4) for note in bass[bar] if note[0] in (0, 2)]
    assert roots == [9, 2, 7, 0] * 2


def test_the_seed_chooses_an_ending_that_adds_no_bar(written):
    seen = set()
    for seed in range(1, 25):
        tracks, marks, length = written("--choruses", 1, "--tempo", 100, "--seed", seed, "--mute", "time")
        assert length == INTRO + FORM + TAG + 1
        slows = len([message for _, message in marks if message.type == "set_tempo"]) > 1
        seen.add("ritard" if slows else "held" if tracks["Bass"][-1][1] > 3 else "stop")
    assert seen == {"held", "stop", "ritard"}


def test_in_trades_the_comp_leaves_room_and_the_drummer_leads_back(written):
    snare_in_last, bars = 0, 0
    for seed in range(1, 9):
        tracks, _, _ = written("--trade", 4, "--choruses", 4, "--loop-ready", "--seed", seed)
        bass, comp, time = (by_bar(tracks[part]) for part in ("Bass", "Comp", "Time"))
        students = {bar for bar in range(4 * FORM) if bar // 4 % 2 == 1}
        assert not students & set(bass) and set(range(4 * FORM)) - students == set(bass)
        # A chord may ring into the student's bars; it is struck only in the last of them.
        assert {bar % 4 for bar in students & set(comp)} <= {3}
        assert set(time) == set(range(4 * FORM))
        for bar in range(3, 4 * FORM, 4):
            bars += 1
            snare_in_last += any(key == 38 and start >= 2 for start, _, key in time[bar])
    # A fill of the last two beats in most of them; elsewhere the snare answers now and then.
    assert snare_in_last > 0.6 * bars


@pytest.mark.parametrize("feel", ["four", "two", "bossa", "shuffle", "half-time", "double-time"])
def test_stop_time_is_first_beats_alone(written, feel):
    tracks, _, _ = written("--feel", feel, "--stop-time=2", "--choruses", 3, "--loop-ready")
    for part in ("Bass", "Comp", "Time"):
        bars = by_bar(tracks[part])
        for bar in range(FORM, 2 * FORM):
            starts = {start for start, _, _ in bars[bar]}
            # The comp may push into the chorus that follows.
            assert starts == {0} or (part == "Comp" and bar == FORM and not starts), (part, bar)
            assert all(length <= 1 for _, length, _ in bars[bar])
        assert any(start > 0 for bar in (0, 2 * FORM) for start, _, _ in bars[bar])


def test_silence_stops_the_whole_band(endpin, tmp_path):
    file = tmp_path / "break.mid"
    for seed in range(1, 9):
        endpin("write", "--bars", "F7 | N.C. | Bb7 / N.C. / | F7", "--key", "F", "--seed", seed, "--straight", "--human", 0,
               "--choruses", 2, "--loop-ready", "--replace", "-o", file)
        read, starts = mido.MidiFile(file), set()
        for track in read.tracks:
            now = 0
            for message in track:
                now += message.time
                if message.type == "note_on" and message.velocity:
                    starts.add(now / read.ticks_per_beat % 16)
        # An off-beat may push into the bar after the silence.
        silent = {start for start in starts if 4 <= start < 7.5 or 10 <= start < 11.5}
        assert not silent


def test_the_report_numbers_bars_without_doubt(report, chart):
    notes = report(chart, "--choruses", 2, "--ending", "thrice")["notes"]
    places = defaultdict(set)
    for note in notes:
        places[note["chorus"], note["place"]].add(note["bar"])
    assert places == {
        (0, "intro"): set(range(1, 5)),
        (1, "form"): set(range(1, 13)),
        (2, "form"): set(range(1, 13)),
        (2, "tag"): set(range(13, 17)),
        (2, "ending"): set(range(17, 22)),
    }
    order = [(note["chorus"], note["bar"], note["beat"]) for note in notes]
    assert order == sorted(order)


def test_the_sheet_boxes_intro_and_tag(endpin, chart, tmp_path):
    file = tmp_path / "form.musicxml"
    endpin("sheet", chart, "--choruses", 2, "--ending", "stop", "-o", file)
    part = music21.converter.parse(file).parts[0]
    boxes = [(mark.content, mark.measureNumber) for mark in part.recurse().getElementsByClass("RehearsalMark")]
    assert boxes == [("Intro", 1), ("A", 5), ("A", 17), ("Tag", 29)]
    measures = list(part.getElementsByClass("Measure"))
    assert len(measures) == INTRO + 2 * FORM + TAG + 1
    for measure in measures:
        assert measure.duration.quarterLength == pytest.approx(4)
    [last] = [note for note in measures[-1].notes if not isinstance(note, music21.harmony.Harmony)]
    assert last.quarterLength == 1


def test_the_page_shows_the_intro_first(endpin, chart, tmp_path):
    file = tmp_path / "form.html"
    endpin("sheet", chart, "--choruses", 2, "-o", file)
    page = file.read_text()
    assert "<h3>Intro</h3>" in page
    for words in ("Intro", "Chorus 1", "Chorus 2"):
        assert f">{words}</option>" in page


def judged(endpin, chart, file, *options):
    return json.loads(endpin("check", chart, file, *options, "--json"))


@pytest.mark.parametrize("choruses", [1, 2, 4])
@pytest.mark.parametrize("options, intro, tag", [
    (("--ending", "held"), True, True),
    (("--ending", "stop", "--count-in", 1), True, True),
    (("--ending", "thrice"), True, True),
    (("--loop-ready",), False, False),
    (("--from", 3, "--ending", "held"), False, True),
])
def test_takes_are_laid_between_intro_and_tag(endpin, chart, tmp_path, choruses, options, intro, tag):
    for seed in (2, 5, 8):
        file = tmp_path / "take.mid"
        endpin("write", chart, "--choruses", choruses, "--seed", seed, *options, "--replace", "-o", file)
        found = judged(endpin, chart, file)
        assert found["choruses"] == choruses
        assert (found["cleared"]["intro"] > 0, found["cleared"]["tag"] > 0) == (intro, tag)
        assert {note["grade"] for note in found["notes"]} <= {"good", "choice"}
        first = found["notes"][0]
        assert (first["chorus"], first["bar"], first["beat"]) == (1, 1, 1.0)


def test_a_take_without_the_intro_of_its_chart_is_judged_all_the_same(endpin, chart, tmp_path):
    bare, file = tmp_path / "bare.toml", tmp_path / "take.mid"
    bare.write_text(CHART.replace('intro = "I"\ntag = "T"\n', 'form = "A"\n'))
    endpin("write", bare, "--choruses", 2, "--ending", "held", "-o", file)
    found = judged(endpin, chart, file)
    assert (found["choruses"], found["cleared"]["intro"], found["cleared"]["tag"]) == (2, 0, 0)
    assert {note["grade"] for note in found["notes"]} <= {"good", "choice"}


BLUES = Path(__file__).parents[2] / "scenarios/breakwater-blues.toml"


@pytest.mark.parametrize("feel", ["bossa", "double-time", "half-time", "shuffle"])
def test_takes_without_a_tempo_are_heard_at_their_own(endpin, tmp_path, feel):
    """The bass alone in a file that says 120 a minute, as a recorder of MIDI leaves it. Of twelve takes one may be
    heard at another tempo: where a line repeats its notes by pairs, the ear may count pairs as well."""
    made, file, misheard = tmp_path / "made.mid", tmp_path / "take.mid", []
    for tempo, seed in itertools.product([60, 80, 100, 138, 170, 200], [1, 4]):
        endpin("write", BLUES, "--feel", feel, "--tempo", tempo, "--choruses", 2, "--ending", "held", "--seed", seed,
               "--replace", "-o", made)
        read = mido.MidiFile(made)
        [bass] = [track for track in read.tracks if track.name == "Bass"]
        ticks = 960 * 60 / tempo / read.ticks_per_beat
        take, now, last = mido.MidiFile(ticks_per_beat=480, type=0), 0, 0
        take.tracks.append(mido.MidiTrack())
        for message in bass:
            now += message.time
            if message.type in ("note_on", "note_off"):
                at = round(now * ticks) + 1000
                take.tracks[0].append(message.copy(time=at - last))
                last = at
        take.save(file)
        found = judged(endpin, BLUES, file, "--feel", feel)
        if abs(found["timing"]["tempo"] / tempo - 1) > 0.01:
            misheard.append((tempo, seed, found["timing"]["tempo"]))
            continue
        assert found["choruses"] == 2
        assert {note["grade"] for note in found["notes"]} <= {"good", "choice"}
    assert len(misheard) <= 1, misheard


@pytest.mark.skipif(not any(Path("/usr/share/sounds/sf2").glob("*.sf2")), reason="needs a sound font")
def test_stems_stand_beside_the_sound_of_all(program, tmp_path):
    soundfile = pytest.importorskip("soundfile")
    done = subprocess.run(
        [program, "write", BLUES, "--choruses", "1", "-o", tmp_path / "blues.wav", "--split", tmp_path / "stems"],
        stdin=subprocess.DEVNULL, capture_output=True, text=True, timeout=300,
    )
    assert done.returncode == 0, done.stderr
    stems = sorted(file.name for file in (tmp_path / "stems").iterdir())
    assert stems == ["blues-bass.wav", "blues-comp.wav", "blues-time.wav"]
    lengths = {soundfile.info(file).frames for file in [tmp_path / "blues.wav", *(tmp_path / "stems").iterdir()]}
    assert len(lengths) == 1
    for name in stems:
        sound, _ = soundfile.read(tmp_path / "stems" / name)
        assert abs(sound).max() > 0.01
    # Not on a terminal: a line a file.
    assert [line.split(" (")[1] for line in done.stderr.splitlines() if line.startswith("rendering")] == [
        f"{number} of 4)" for number in range(1, 5)
    ]


@pytest.mark.parametrize("instrument, interval", [("Bb", "M2"), ("Eb", "M6")])
@pytest.mark.parametrize("key", KEYS)
def test_a_part_for_another_instrument_sounds_the_same(endpin, chart, tmp_path, instrument, interval, key):
    """music21 reads the transposition and brings the part back to its sound."""

    def part(name, *options):
        file = tmp_path / name
        endpin("sheet", chart, "--key", key, "--choruses", 1, "--level", 6, *options, "-o", file)
        return music21.converter.parse(file).parts[0]

    def keys(part):
        notes = part.recurse().getElementsByClass("Note")
        return [(note.measureNumber, note.offset, note.pitch.midi) for note in notes]

    plain, written = part("plain.musicxml"), part("written.musicxml", "--transpose", instrument)
    up = music21.interval.Interval(interval)
    [moved] = [found.transposition for found in written.recurse().getElementsByClass("Instrument")
               if found.transposition] or [None]
    assert moved is None or moved.semitones == -12 - up.semitones
    assert keys(written.toSoundingPitch()) == keys(plain.toSoundingPitch())
    assert [(n, o, midi + up.semitones) for n, o, midi in keys(plain.toWrittenPitch())] == keys(written.toWrittenPitch())
    signature = written.recurse().getElementsByClass("KeySignature")[0]
    tonic = (music21.pitch.Pitch(key.replace("b", "-")).pitchClass + up.semitones) % 12
    assert abs(signature.sharps) <= 6 and signature.asKey("major").tonic.pitchClass == tonic


def test_no_page_for_another_instrument(program, chart, tmp_path):
    done = subprocess.run([program, "sheet", chart, "--transpose", "Bb", "-o", tmp_path / "page.html"],
                          stdin=subprocess.DEVNULL, capture_output=True, text=True)
    assert done.returncode == 2 and "a practice page is read as it sounds" in done.stderr
    assert not (tmp_path / "page.html").exists()

"""The written files, read back by mido and pretty_midi.

The facts of the format are those of Standard MIDI File 1.0 (MIDI Manufacturers Association, RP-001); the
programs and the percussion channel those of General MIDI System Level 1. Both from memory, and by what
the two libraries accept.
"""

import struct
from collections import defaultdict

import lead_sheet
import mido
import music21
import pretty_midi
import pytest

CHORUSES = 2


@pytest.fixture(scope="module")
def written(endpin, tmp_path_factory):
    """Each scenario written once with each set of options: its path."""
    made = {}

    def write(scenario, *options):
        key = (scenario, options)
        if key not in made:
            made[key] = tmp_path_factory.mktemp("midi") / f"{scenario.stem}.mid"
            endpin("write", scenario, "--choruses", CHORUSES, *options, "-o", made[key])
        return made[key]

    return write


def absolute(track):
    now = 0
    for message in track:
        now += message.time
        yield now, message


def notes_of(track):
    """(start, end, key, velocity) of a track, by first in, first out; fails on a note left sounding."""
    sounding = {}
    notes = []
    for now, message in absolute(track):
        if message.type == "note_on" and message.velocity > 0:
            assert message.note not in sounding, f"{message.note} struck at {now} while it sounds"
            sounding[message.note] = (now, message.velocity)
        elif message.type in ("note_on", "note_off"):
            start, velocity = sounding.pop(message.note)
            assert now > start
            notes.append((start, now, message.note, velocity))
    assert not sounding, f"left sounding: {sounding}"
    return sorted(notes)


def opened(path):
    file = mido.MidiFile(path, charset="utf-8")
    return file, {track.name: track for track in file.tracks}


def test_chunks_are_whole_and_each_track_ends_once(written, scenario):
    # RP-001: 'MThd', length 6, format, number of tracks, division; then 'MTrk' chunks to the last byte;
    # FF 2F 00 closes each and occurs nowhere else in it.
    data = written(scenario).read_bytes()
    assert struct.unpack(">4sIHHH", data[:14]) == (b"MThd", 6, 1, 4, lead_sheet.TICKS)
    at = 14
    for _ in range(4):
        kind, length = struct.unpack(">4sI", data[at : at + 8])
        track = data[at + 8 : at + 8 + length]
        assert kind == b"MTrk" and len(track) == length
        assert track.endswith(b"\xff\x2f\x00")
        at += 8 + length
    assert at == len(data)


def test_tracks_channels_and_programs(written, scenario):
    # General MIDI 1: program 33 (from 1) is Acoustic Bass, 1 Acoustic Grand Piano, channel 10 percussion.
    # pretty_midi's table gives the same names.
    file, tracks = opened(written(scenario))
    assert file.type == 1 and file.ticks_per_beat == lead_sheet.TICKS
    assert [track.name for track in file.tracks[1:]] == ["Bass", "Comp", "Time"]
    for name, channel, program in (("Bass", 0, 32), ("Comp", 1, 0), ("Time", 9, None)):
        played = [message for message in tracks[name] if not message.is_meta]
        assert {message.channel for message in played} == {channel}
        programs = [message.program for message in played if message.type == "program_change"]
        if program is not None:
            assert programs == [program]
    assert pretty_midi.program_to_instrument_name(32) == "Acoustic Bass"
    assert pretty_midi.program_to_instrument_name(0) == "Acoustic Grand Piano"


def test_every_note_ends_and_none_overlaps_itself(written, scenario):
    file, tracks = opened(written(scenario))
    assert not [message for message in file.tracks[0] if not message.is_meta]
    for name in ("Bass", "Comp", "Time"):
        notes = notes_of(tracks[name])
        assert notes, f"{name} is silent"
        assert all(1 <= velocity <= 127 for *_, velocity in notes)


def test_the_bass_is_one_voice(written, scenario):
    notes = notes_of(opened(written(scenario))[1]["Bass"])
    for (_, end, *_), (start, *_) in zip(notes, notes[1:]):
        assert end <= start


def test_tempo_meter_and_key(written, scenario):
    # RP-001: tempo in microseconds a quarter note; key signatures counted in sharps (music21's table).
    sheet = lead_sheet.read(scenario)
    conductor = list(absolute(opened(written(scenario))[0].tracks[0]))
    tempos, meters = {}, {}
    for now, message in conductor:
        if message.type == "set_tempo":
            tempos[now] = message.tempo
        if message.type == "time_signature":
            meters[now] = (message.numerator, message.denominator)

    def in_force(changes, tick):
        return changes[max(at for at in changes if at <= tick)]

    for chorus in range(CHORUSES):
        for bar in sheet.bars:
            tick = chorus * sheet.ticks + bar.start
            assert in_force(meters, tick) == (bar.beats, bar.unit)
            assert in_force(tempos, tick) == pytest.approx(60e6 / bar.tempo, abs=1)

    tonic, _, mode = sheet.key.partition(" ")
    key = music21.key.Key(tonic.replace("b", "-"), mode or "major")
    keys = [message.key for _, message in conductor if message.type == "key_signature"]
    assert {signature(name) for name in keys} == {(key.sharps, key.mode)}


def signature(name):
    minor = name.endswith("m")
    tonic = name.rstrip("m").replace("b", "-")
    key = music21.key.Key(tonic, "minor" if minor else "major")
    return key.sharps, key.mode


def test_chords_and_sections_are_marked_where_they_are(written, scenario):
    sheet = lead_sheet.read(scenario)
    texts, markers = defaultdict(list), defaultdict(list)
    for now, message in absolute(opened(written(scenario))[0].tracks[0]):
        if message.type == "text":
            texts[now].append(message.text)
        if message.type == "marker":
            markers[now].append(message.text)
    for chorus in range(CHORUSES):
        for start, *_, symbol in sheet.spans():
            at = chorus * sheet.ticks + start
            assert len(texts[at]) == 1, f"{symbol} at {at}: {texts[at]}"
            # The house spelling may differ from the hand's; the root may not.
            root = symbol[:1]
            assert texts[at][0].startswith(root), f"{symbol} at {at}: {texts[at]}"
        assert markers[chorus * sheet.ticks], "no marker where a chorus starts"
        for bar in sheet.bars:
            if bar.opens_section:
                assert markers[chorus * sheet.ticks + bar.start]


def test_it_lasts_as_long_as_the_chart(written, scenario):
    # One more bar for the held ending; --loop-ready is whole choruses exactly.
    sheet = lead_sheet.read(scenario)
    for options, more in (((), 1), (("--loop-ready",), 0)):
        file, tracks = opened(written(scenario, *options))
        ends = {max(now for now, _ in absolute(track)) for track in file.tracks}
        assert len(ends) == 1, "tracks of different lengths"
        ticks = ends.pop() - CHORUSES * sheet.ticks
        lengths = {bar.ticks for bar in sheet.bars}
        assert ticks in lengths if more else ticks == 0
        last = max(end for *_, end in ((n[0], n[1]) for t in tracks.values() for n in notes_of(t)))
        assert last <= CHORUSES * sheet.ticks + ticks


def test_pretty_midi_agrees_on_time(written, scenario):
    sheet = lead_sheet.read(scenario)
    midi = pretty_midi.PrettyMIDI(str(written(scenario, "--loop-ready")))
    assert [instrument.name for instrument in midi.instruments] == ["Bass", "Comp", "Time"]
    assert [instrument.is_drum for instrument in midi.instruments] == [False, False, True]
    # A microsecond of tempo rounding a quarter note is all that may be lost.
    starts = [sheet.seconds * chorus for chorus in range(CHORUSES)]
    downbeats = midi.get_downbeats()
    for start in starts:
        assert min(abs(downbeats - start)) < 0.005
    bars = CHORUSES * len(sheet.bars)
    assert len([beat for beat in downbeats if beat < CHORUSES * sheet.seconds - 0.01]) == bars
    assert midi.get_end_time() <= CHORUSES * sheet.seconds + 0.005


def test_straight_onsets_are_those_of_the_report(endpin, report, written, scenario):
    sheet = lead_sheet.read(scenario)
    notes = notes_of(opened(written(scenario, "--straight"))[1]["Bass"])
    told = []
    for note in report(scenario, "--choruses", CHORUSES)["notes"]:
        whole = sheet.ticks * (note["chorus"] - 1)
        bar = note["bar"]
        if bar > len(sheet.bars):  # the ending
            start, beat_ticks = sheet.ticks, sheet.bars[-1].beat_ticks
        else:
            start, beat_ticks = sheet.bars[bar - 1].start, sheet.bars[bar - 1].beat_ticks
        told.append((whole + start + round((note["beat"] - 1) * beat_ticks), note["midi"]))
    assert [(start, key) for start, _, key, _ in notes] == told


def test_arrivals_are_roots_and_strong_beats_chord_tones(written, scenario):
    # music21 reads the symbol; the tones that count are root, third, fifth and seventh (the sixth of a
    # sixth chord, the fourth of a sus chord).
    sheet = lead_sheet.read(scenario)
    notes = notes_of(opened(written(scenario, "--straight"))[1]["Bass"])
    sounding = {start: key % 12 for start, _, key, _ in notes}
    checked = 0
    for chorus in range(CHORUSES):
        for start, *_, symbol in sheet.spans():
            if symbol == "N.C.":
                continue
            root, bass, tones = spelled(symbol)
            heard = sounding.get(chorus * sheet.ticks + start)
            assert heard == bass, f"{symbol} at {start} arrives on {heard}"
            checked += 1
        for start, symbol in sheet.strong_beats():
            heard = sounding.get(chorus * sheet.ticks + start)
            if heard is not None:
                root, bass, tones = spelled(symbol)
                assert heard in tones | {bass}, f"{symbol} at {start} has {heard} on a strong beat"
                checked += 1
    assert checked > len(sheet.bars)


# Endings of symbols that music21 10 reads another way or not at all, put as it reads them; the ninths and
# thirteenths that they lose are no chord tones of the bass line anyway.
SIMPLER = {
    "alt": "7", "7alt": "7", "7#9": "7", "7b9": "7", "7b13": "7", "9": "7", "13": "7", "7#11": "7", "m9": "m7",
    "maj7#11": "maj7", "m(maj7)": "mM7", "7sus4": "7sus4", "°7": "dim7", "dim7": "dim7", "ø": "m7b5",
    "Δ7": "maj7", "6/9": "6", "7♭9": "7", "7#5": "7+", "maj7": "maj7",
}
ALTERED_FIFTHS = {"7alt", "alt"}


def spelled(symbol):
    """(root, bass, chord tones) of a symbol as pitch classes."""
    body, slash, bass = symbol.partition("/")
    if bass[:1].isdigit():  # 6/9
        body, bass = symbol, ""
    length = 2 if body[1:2] in ("b", "#", "♭", "♯") else 1
    name, rest = body[:length], body[length:]
    rest = SIMPLER.get(rest, rest)
    tonic = name.replace("b", "-").replace("♭", "-")
    chord = music21.harmony.ChordSymbol(tonic + rest)
    tones = {pitch.pitchClass for pitch in chord.pitches}
    root = music21.pitch.Pitch(tonic).pitchClass
    if body[length:] in ALTERED_FIFTHS:
        tones = {root, (root + 4) % 12, (root + 6) % 12, (root + 8) % 12, (root + 10) % 12}
    if "sus" in rest:
        tones |= {(root + 5) % 12, (root + 10) % 12}
    low = music21.pitch.Pitch(bass.replace("b", "-")).pitchClass if bass else root
    return root, low, tones


@pytest.mark.parametrize(
    ("symbol", "expected"),
    [  # this reader of symbols is checked too; by hand, common practice
        ("F7", "F A C Eb"), ("Bdim7", "B D F Ab"), ("Dm7b5", "D F Ab C"), ("Bb6", "Bb D F G"),
        ("Gm(maj7)", "G Bb D F#"), ("A7sus4", "A D E G"), ("D♭Δ7", "Db F Ab C"), ("F7#5", "F A C# Eb"),
        ("Am6", "A C E F#"), ("G♭m6", "Gb Bbb Db Eb"), ("Cø", "C Eb Gb Bb"), ("D♭6/9", "Db F Ab Bb"),
    ],
)
def test_the_symbols_are_read_right_here(symbol, expected):
    wanted = {music21.pitch.Pitch(name.replace("b", "-")).pitchClass for name in expected.split()}
    assert spelled(symbol)[2] == wanted

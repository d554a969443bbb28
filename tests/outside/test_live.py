"""`endpin live` through a pipe: what arrives, when, and what is left sounding.

The bytes are read by mido's own parser. Facts of the wire are those of the MIDI 1.0 Detailed Specification
(MIDI Manufacturers Association), from memory: 24 clocks to the quarter note, start before the first of them,
controllers 123 and 120 for silence.
"""

import os
import random
import signal
import statistics
import subprocess
import threading
import time
from pathlib import Path

import mido
import pytest

ROOT = Path(__file__).resolve().parents[2]
CHART = ROOT / "scenarios" / "breakwater-blues.toml"
pytestmark = pytest.mark.alone
# As written and without liberties, so that what is played can be told beforehand.
PLAIN = ["--straight", "--human", "0"]
# Four bars at the fastest, for tests that need an end.
BRIEF = ["--choruses", 1, "--bars-range", "1-4", "--tempo", 400]


class Pipe:
    """A named pipe, read to its end by a thread that notes when each message came."""

    def __init__(self, path):
        self.path = path
        if not path.exists():
            os.mkfifo(path)
        self.messages = []  # (seconds, message)
        self.thread = threading.Thread(target=self._read, daemon=True)
        self.thread.start()

    def _read(self):
        parser = mido.Parser()
        with open(self.path, "rb", buffering=0) as pipe:
            while chunk := pipe.read(4096):
                now = time.monotonic()
                parser.feed(chunk)
                self.messages.extend((now, message) for message in parser)

    def all(self):
        self.thread.join(timeout=60)
        assert not self.thread.is_alive(), "the pipe was never closed"
        return self.messages


@pytest.fixture
def pipe(tmp_path):
    return Pipe(tmp_path / "pipe")


@pytest.fixture
def play(program):
    """Starts `endpin live`, with standard input at its end; kills what is left at the end of the test."""
    started = []

    def start(*arguments, **how):
        how = {"stdin": subprocess.DEVNULL, "stdout": subprocess.DEVNULL, "stderr": subprocess.PIPE} | how
        player = subprocess.Popen([program, "live", *map(str, arguments)], **how)
        started.append(player)
        return player

    yield start
    for player in started:
        if player.poll() is None:
            player.kill()
        player.communicate()


def sounding(messages):
    down = set()
    for _, message in messages:
        if message.type == "note_on" and message.velocity > 0:
            down.add((message.channel, message.note))
        elif message.type in ("note_on", "note_off"):
            down.discard((message.channel, message.note))
    return down


def ons(messages):
    return [(at, m.channel, m.note) for at, m in messages if m.type == "note_on" and m.velocity > 0]


def test_what_is_written_arrives_whole_in_order_and_in_time(play, pipe, endpin, tmp_path):
    options = [CHART, "--choruses", 2, "--bars-range", "1-4", "--tempo", 400, *PLAIN]
    player = play(*options, "--raw", pipe.path)
    messages = pipe.all()
    assert player.wait(timeout=30) == 0
    endpin("write", *options, "-o", tmp_path / "written.mid")

    written, now = [], 0.0
    for message in mido.MidiFile(tmp_path / "written.mid"):
        now += message.time
        if message.type == "note_on" and message.velocity > 0:
            written.append((now, message.channel, message.note))
    played = ons(messages)
    assert len(played) == len(written)
    assert sorted(n[1:] for n in played) == sorted(n[1:] for n in written)
    for channel in (0, 1, 9):
        lines = [[n for n in notes if n[1] == channel] for notes in (played, written)]
        if channel == 0:
            assert [n[2] for n in lines[0]] == [n[2] for n in lines[1]], "the line, note by note"
        # Lateness of each note as the reader saw it. The reader waits for a turn on a machine that does other
        # things, so the most punctual notes tell: they must be so to the end, or the player drifts.
        late = [p[0] - w[0] for p, w in zip(*lines)]
        half = len(late) // 2
        assert abs(min(late[:half]) - min(late[half:])) < 0.005
        assert statistics.median(late) - min(late) < 0.1
    assert not sounding(messages)


def test_the_clock_has_24_to_the_quarter_from_start_to_stop(play, pipe):
    player = play(CHART, *BRIEF, "--loop-ready", "--raw", pipe.path)
    kinds = [message.type for _, message in pipe.all()]
    assert player.wait(timeout=30) == 0
    assert kinds.count("clock") == 4 * 4 * 24
    assert kinds.count("start") == kinds.count("stop") == 1
    assert kinds.index("start") < kinds.index("clock")
    last_clock = len(kinds) - 1 - kinds[::-1].index("clock")
    assert last_clock < kinds.index("stop")


def test_no_clock_is_sent_where_none_is_wanted(play, pipe):
    player = play(CHART, *BRIEF, "--no-clock", "--raw", pipe.path)
    kinds = {message.type for _, message in pipe.all()}
    assert player.wait(timeout=30) == 0
    assert kinds == {"program_change", "note_on", "note_off", "control_change"}


def test_nothing_is_left_sounding_wherever_it_is_killed(play, tmp_path):
    """200 with ENDPIN_KILLS=200; fewer by default, for a suite that is run often."""
    kills = int(os.environ.get("ENDPIN_KILLS", "32"))
    rng = random.Random(1)
    signals = [signal.SIGINT, signal.SIGTERM, signal.SIGHUP, signal.SIGQUIT]
    heard = 0
    for batch in range(0, kills, 8):
        players = []
        for index in range(batch, min(batch + 8, kills)):
            pipe = Pipe(tmp_path / f"pipe{index}")
            players.append((pipe, play(CHART, "--tempo", 300, "--seed", index, "--raw", pipe.path)))
        for pipe, _ in players:
            while not ons(pipe.messages):
                time.sleep(0.005)
        for index, (pipe, player) in enumerate(players):
            time.sleep(rng.uniform(0, 0.15))
            player.send_signal(signals[index % len(signals)])
        for pipe, player in players:
            messages = pipe.all()
            assert player.wait(timeout=10) == 0
            assert not sounding(messages)
            used = {m.channel for _, m in messages if hasattr(m, "channel")}
            controls = [(m.channel, m.control) for _, m in messages if m.type == "control_change"]
            assert sorted(controls) == sorted((c, k) for c in used for k in (120, 123))
            heard += len(ons(messages))
    assert heard > kills, "something sounded before the kills"


def test_it_goes_on_without_standard_input_and_output(play, pipe):
    def close_both():
        os.close(0)
        os.close(1)

    player = play(
        CHART, *BRIEF, "--raw", pipe.path, stdin=None, stdout=None, preexec_fn=close_both
    )
    messages = pipe.all()
    assert player.wait(timeout=30) == 0
    assert len([n for n in ons(messages) if n[1] == 0]) >= 16
    assert not sounding(messages)


def test_bytes_to_standard_output_and_nothing_else(program):
    done = subprocess.run(
        [program, "live", CHART, *map(str, BRIEF), "--raw", "-"],
        stdin=subprocess.DEVNULL,
        capture_output=True,
        timeout=60,
    )
    assert done.returncode == 0
    parser = mido.Parser()
    parser.feed(done.stdout)
    messages = list(parser)
    assert b"".join(bytes(m.bytes()) for m in messages) == done.stdout, "nothing but whole messages"
    assert {m.type for m in messages} >= {"start", "clock", "note_on", "note_off", "stop", "control_change"}


def test_a_reader_that_goes_away_is_reported_and_can_come_back(play, tmp_path):
    for wait in (False, True):
        path = tmp_path / f"pipe-{wait}"
        os.mkfifo(path)
        player = play(CHART, "--tempo", 300, "--raw", path, *(["--wait"] if wait else []))
        with open(path, "rb", buffering=0) as reader:
            assert reader.read(64)
        if not wait:
            _, said = player.communicate(timeout=20)
            assert player.returncode == 3
            assert "was lost" in said.decode() and "--wait" in said.decode()
            continue
        time.sleep(1.5)
        assert player.poll() is None, "it waits"
        with open(path, "rb", buffering=0) as reader:
            parser, deadline = mido.Parser(), time.monotonic() + 20
            kinds = set()
            while "note_on" not in kinds and time.monotonic() < deadline:
                parser.feed(reader.read(64))
                kinds |= {message.type for message in parser}
            assert "note_on" in kinds, "it plays on"
            player.send_signal(signal.SIGTERM)
            while chunk := reader.read(4096):
                parser.feed(chunk)
        assert player.wait(timeout=10) == 0


def test_parts_go_to_different_places(play, tmp_path):
    bass, rest = Pipe(tmp_path / "bass"), Pipe(tmp_path / "rest")
    player = play(
        CHART, *BRIEF, "--raw", f"bass={bass.path}", "--raw", rest.path
    )
    bass, rest = bass.all(), rest.all()
    assert player.wait(timeout=30) == 0
    assert {n[1] for n in ons(bass)} == {0}
    assert {n[1] for n in ons(rest)} == {1, 9}


def test_a_seed_plays_as_it_writes_and_a_mute_mutes(play, report, tmp_path):
    """Every chorus from --from on, in the key asked for; the comp is left out."""
    pipe = Pipe(tmp_path / "pipe")
    player = play(
        CHART, *BRIEF, "--from", 3, "--seed", 9, "--key", "Eb",
        "--mute", "comp", "--raw", pipe.path,
    )
    messages = pipe.all()
    assert player.wait(timeout=30) == 0
    explained = report(CHART, *BRIEF, "--from", 3, "--seed", 9, "--key", "Eb")
    line = [note["midi"] for note in explained["notes"]]
    assert [n[2] for n in ons(messages) if n[1] == 0] == line
    assert 1 not in {n[1] for n in ons(messages)}


@pytest.mark.parametrize(
    "arguments, code, said",
    [
        (["--raw", "no-such-folder/pipe"], 3, "no-such-folder/pipe"),
        (["--raw", "."], 3, "cannot write ."),
        ([], 2, "where to?"),
        (["--raw", os.devnull, "--control", "1"], 2, "--map"),
        (["--raw", os.devnull, "--level", "9"], 2, "levels go from 1 to 6"),
    ],
)
def test_what_cannot_be_is_said_at_once(play, arguments, code, said):
    player = play(CHART, *arguments)
    _, heard = player.communicate(timeout=20)
    assert player.returncode == code
    assert said in heard.decode()
    assert "panicked" not in heard.decode()


def test_a_faulty_map_is_shown_where_it_is_faulty(play, tmp_path):
    (tmp_path / "map.toml").write_text("[map]\npause = { cc = 64 }\nhalt = { cc = 65 }\n")
    player = play(CHART, "--raw", os.devnull, "--control", "1", "--map", tmp_path / "map.toml")
    _, heard = player.communicate(timeout=20)
    assert player.returncode == 2
    assert 'map.toml:3:1: "halt" is not a control; there are pause' in heard.decode()


def test_waiting_for_a_reader_can_be_given_up(play, tmp_path):
    os.mkfifo(tmp_path / "pipe")
    player = play(CHART, "--raw", tmp_path / "pipe")
    line = player.stderr.readline().decode()
    assert line.startswith("waiting for somebody to read")
    player.send_signal(signal.SIGTERM)
    assert player.wait(timeout=10) == 0

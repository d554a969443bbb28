"""Ends `endpin live` in every way that a terminal, a reader, a signal or a key can, at random moments, and measures
how long something sounded after that and how long the process was there.

    python tests/outside/live_endings.py target/debug/endpin 1000

prints a table, one row a way of ending. `test_live_endings.py` runs a few of them with every suite. With a program
built with the feature `jack` and the word `jack` after the count, it is the ways that end a play into a JACK port.
"""

import fcntl
import os
import pty
import random
import re
import select
import signal
import statistics
import struct
import subprocess
import sys
import tempfile
import termios
import threading
import time
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import mido

ROOT = Path(__file__).resolve().parents[2]
CHART = ROOT / "scenarios" / "breakwater-blues.toml"
# Seconds until something is taken not to happen at all. How long it took is told; a busy machine is no fault.
PATIENCE = 20
STILL_THERE = f"still there after {PATIENCE} seconds"


class Reader:
    """Reads MIDI from a file descriptor, and keeps when each message came and what sounds."""

    parser = mido.Parser

    def __init__(self, descriptor):
        self.descriptor = descriptor
        self.messages = []
        self.down = set()
        self.silent_at = time.monotonic()
        self.thread = threading.Thread(target=self._read, daemon=True)
        self.thread.start()

    def _read(self):
        parser = self.parser()
        while True:
            try:
                chunk = os.read(self.descriptor, 4096)
            except OSError:
                return
            now = time.monotonic()
            if not chunk:
                return
            parser.feed(chunk)
            for message in parser:
                self.messages.append((now, message))
                sounded = bool(self.down)
                if message.type == "note_on" and message.velocity:
                    self.down.add((message.channel, message.note))
                elif message.type in ("note_on", "note_off"):
                    self.down.discard((message.channel, message.note))
                if sounded and not self.down:
                    self.silent_at = now

    def heard(self):
        return sum(m.type == "note_on" for _, m in self.messages)

    def wait_for_notes(self, count=4, within=40):
        deadline = time.monotonic() + within
        while self.heard() < count:
            assert time.monotonic() < deadline, f"{self.heard()} notes in {within} s"
            time.sleep(0.002)

    def hears_more_than(self, count):
        """Whether another note comes, waited for with patience."""
        deadline = time.monotonic() + PATIENCE
        while self.heard() <= count and time.monotonic() < deadline:
            time.sleep(0.01)
        return self.heard() > count


class DumpParser(mido.Parser):
    """Reads the lines of jack_midi_dump: the sample, the bytes in hexadecimal, what they say."""

    def __init__(self):
        super().__init__()
        self.rest = ""

    def feed(self, chunk):
        *lines, self.rest = (self.rest + chunk.decode()).split("\n")
        for line in lines:
            if found := re.match(r"\s*\d+:((?: [0-9a-f]{2})+)\b", line):
                super().feed(bytes.fromhex(found[1].replace(" ", "")))


class DumpReader(Reader):
    parser = DumpParser


JACK = {"JACK_DEFAULT_SERVER": f"endpin-{os.getpid()}", "JACK_NO_START_SERVER": "1", "JACK_NO_AUDIO_RESERVATION": "1"}
RATE, PERIOD = 48_000, 64


@contextmanager
def jack_server(log):
    """jackd2 with its dummy driver. On a busy machine a reader may miss its turn: it is waited for (-S), not passed
    over. Yields whether it is there."""
    os.environ.update(JACK)
    command = ["jackd", "-n", JACK["JACK_DEFAULT_SERVER"], "--no-realtime", "-S", "-d", "dummy", "-r", RATE, "-p", PERIOD]
    with open(log, "w") as text:
        jackd = subprocess.Popen([str(word) for word in command], stdout=text, stderr=text)
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    waited = subprocess.run(["jack_wait", "-w", "-t", "20"], **quiet)
    try:
        yield waited.returncode == 0 and jackd.poll() is None
    finally:
        jackd.terminate()
        jackd.wait(timeout=20)
        for name in JACK:
            os.environ.pop(name)


def by_signal_through_jack(number):
    """Each time with a server of its own: one that waits for its clients can lose count when they come and go."""

    def end(way, program, folder, name, rng):
        with jack_server(folder / "log.txt") as is_there:
            assert is_there, "jackd does not start here"
            dump = ["stdbuf", "-oL", "jack_midi_dump", "-a", name]
            ear = subprocess.Popen(dump, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL)
            time.sleep(1)
            player = Player.__new__(Player)
            arguments = [str(program), "live", str(CHART), "--tempo", "300", "--plain", "--port", name]
            quiet = {"stdin": subprocess.DEVNULL, "stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
            player.process = subprocess.Popen(arguments, **quiet)
            player.reader = DumpReader(ear.stdout.fileno())
            player.reader.wait_for_notes()
            time.sleep(rng.uniform(0, 0.2))
            began = time.monotonic()
            player.process.send_signal(number)
            gone = player.gone_after(began)
            time.sleep(0.2)
            ear.terminate()
            ending = measured(way, player, began)
            ending.gone_ms = gone
            return ending

    return end


@dataclass
class Ending:
    way: str
    silent_ms: float | None  # after the ending began; none where nobody is left to hear
    gone_ms: float | None  # none where the process is to go on
    code: int | None
    fault: str | None = None


class Player:
    """One `endpin live`: bytes to a fifo or to standard output, with or without a terminal."""

    def __init__(self, program, folder, name, *options, terminal=False, stdout_midi=False, reads_terminal=True, **how):
        self.fifo = folder / name
        arguments = [str(program), "live", str(CHART), "--tempo", "300", *options]
        self.master = None
        how = {"stdin": subprocess.DEVNULL, "stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL} | how
        if stdout_midi:
            arguments += ["--raw", "-"]
            how["stdout"] = subprocess.PIPE
        else:
            os.mkfifo(self.fifo)
            arguments += ["--raw", str(self.fifo)]
        if terminal:
            self.master, slave = pty.openpty()
            fcntl.ioctl(slave, termios.TIOCSWINSZ, struct.pack("HHHH", 40, 120, 0, 0))
            how |= {"stdin": slave, "stdout": slave, "stderr": slave, "start_new_session": True}

            def take_terminal():
                fcntl.ioctl(0, termios.TIOCSCTTY, 0)

            how["preexec_fn"] = take_terminal
        self.process = subprocess.Popen(arguments, **how)
        if terminal:
            os.close(slave)
            self.swallows = reads_terminal
            self.screen = b""
            threading.Thread(target=self._swallow, daemon=True).start()
        if stdout_midi:
            self.reader = Reader(self.process.stdout.fileno())
        else:
            self.reader = Reader(os.open(self.fifo, os.O_RDONLY))

    def _swallow(self):
        """Reads the terminal, as its window would, until it is told to stall or the terminal is closed."""
        while self.swallows:
            try:
                if select.select([self.master], [], [], 0.02)[0] and self.swallows:
                    self.screen = (self.screen + os.read(self.master, 65536))[-65536:]
            except (OSError, ValueError, TypeError):
                return

    def close_terminal(self):
        self.swallows = False
        time.sleep(0.05)  # nobody reads it any more, so that it is closed at once
        master, self.master = self.master, None
        began = time.monotonic()
        os.close(master)
        return began

    def gone_after(self, began):
        try:
            self.process.wait(timeout=PATIENCE)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()
            return None
        return (time.monotonic() - began) * 1000


def measured(way, player, began, hears=True, codes=(0,)):
    gone = player.gone_after(began)
    player.reader.thread.join(timeout=2)
    silent = max(0.0, (player.reader.silent_at - began) * 1000) if hears else None
    fault = None
    if gone is None:
        fault = STILL_THERE
    elif player.process.returncode not in codes:
        fault = f"exit code {player.process.returncode}"
    elif hears and player.reader.down:
        fault = f"{len(player.reader.down)} notes left sounding"
    return Ending(way, silent, gone, player.process.returncode, fault)


def by_signal(number, terminal=False, **how):
    def end(way, program, folder, name, rng):
        player = Player(program, folder, name, terminal=terminal, **how)
        player.reader.wait_for_notes()
        time.sleep(rng.uniform(0, 0.2))
        began = time.monotonic()
        player.process.send_signal(number)
        return measured(way, player, began)

    return end


def by_key(keys):
    def end(way, program, folder, name, rng):
        player = Player(program, folder, name, terminal=True)
        player.reader.wait_for_notes()
        time.sleep(rng.uniform(0, 0.2))
        began = time.monotonic()
        os.write(player.master, keys)
        return measured(way, player, began)

    return end


def by_closing_the_terminal(*options):
    def end(way, program, folder, name, rng):
        player = Player(program, folder, name, *options, terminal=True)
        player.reader.wait_for_notes()
        time.sleep(rng.uniform(0, 0.2))
        began = player.close_terminal()
        return measured(way, player, began)

    return end


def by_losing_the_reader(way, program, folder, name, rng):
    player = Player(program, folder, name, reads_terminal=False)
    player.reader.wait_for_notes()
    time.sleep(rng.uniform(0, 0.2))
    began = time.monotonic()
    # The thread that reads has the descriptor open until its next read; it is told by an empty one in its place.
    nothing = os.open(os.devnull, os.O_RDONLY)
    os.dup2(nothing, player.reader.descriptor)
    return measured(way, player, began, hears=False, codes=(3,))


def while_the_terminal_stalls(number, plain):
    def end(way, program, folder, name, rng):
        options = ["--plain"] if plain else []
        player = Player(program, folder, name, *options, terminal=True)
        player.reader.wait_for_notes()
        player.swallows = False
        if not plain:
            os.write(player.master, b"\x13")  # in raw mode a key like another; the window stops reading, too
        else:
            os.write(player.master, b"\x13")  # Ctrl-S
        before = player.reader.heard()
        time.sleep(rng.uniform(0.5, 0.8))
        played_on = player.reader.heard() > before
        began = time.monotonic()
        player.process.send_signal(number)
        ending = measured(way, player, began)
        if not played_on and not ending.fault:
            ending.fault = "the music stood still with the terminal"
        return ending

    return end


def while_the_pipe_is_full(number):
    def end(way, program, folder, name, rng):
        arguments = [str(program), "live", str(CHART), "--tempo", "300", "--wait", "--raw", "-"]
        reads, writes = os.pipe()
        fcntl.fcntl(reads, 1031, 8192)  # F_SETPIPE_SZ: two pages, so that it is full soon
        process = subprocess.Popen(arguments, stdin=subprocess.DEVNULL, stdout=writes, stderr=subprocess.DEVNULL)
        os.close(writes)
        deadline = time.monotonic() + 60
        held, since = 0, time.monotonic()
        while not held or time.monotonic() - since < 0.5:
            assert time.monotonic() < deadline, "the pipe does not fill"
            time.sleep(0.02)
            now = struct.unpack("i", fcntl.ioctl(reads, termios.FIONREAD, bytes(4)))[0]
            if now != held:
                held, since = now, time.monotonic()
        time.sleep(rng.uniform(0, 1))
        began = time.monotonic()
        process.send_signal(number)
        try:
            process.wait(timeout=PATIENCE)
            gone, fault = (time.monotonic() - began) * 1000, None
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
            gone, fault = None, STILL_THERE
        os.close(reads)
        return Ending(way, None, gone, process.returncode, fault)

    return end


def is_suspended(process):
    """Whether the process is or comes to be suspended (proc(5): the state T), waited for with patience."""
    deadline = time.monotonic() + PATIENCE
    while time.monotonic() < deadline:
        if Path(f"/proc/{process.pid}/stat").read_text().rsplit(")", 1)[1].split()[0] == "T":
            return True
        time.sleep(0.001)
    return False


def anybody_can_be_suspended():
    """Whether this system suspends a program that has never heard of signals: one without job control does not."""
    witness = subprocess.Popen(["sleep", "100"], process_group=0)
    witness.send_signal(signal.SIGTSTP)
    suspended = is_suspended(witness)
    witness.kill()
    witness.wait()
    return suspended


def by_suspending(keys):
    """Ctrl-Z: silent and stopped; told to go on, it plays on; then it is ended."""

    def end(way, program, folder, name, rng):
        # A shell of its own, in whose session somebody can wake it; in the foreground, with the terminal.
        player = Player(program, folder, name, terminal=keys, **({} if keys else {"process_group": 0}))
        player.reader.wait_for_notes()
        time.sleep(rng.uniform(0, 0.2))
        began = time.monotonic()
        player.process.send_signal(signal.SIGTSTP)
        suspended = is_suspended(player.process)
        stopped = (time.monotonic() - began) * 1000
        time.sleep(0.03)
        silent = max(0.0, (player.reader.silent_at - began) * 1000)
        fault = None if suspended else "it was not suspended"
        if player.reader.down:
            fault = f"{len(player.reader.down)} notes sound while it is suspended"
        before = player.reader.heard()
        time.sleep(rng.uniform(0.05, 0.5))
        player.process.send_signal(signal.SIGCONT)
        if not player.reader.hears_more_than(before):
            fault = fault or "it does not go on"
        ended = time.monotonic()
        player.process.send_signal(signal.SIGTERM)
        last = measured(way, player, ended)
        return Ending(way, silent, stopped, last.code, fault or last.fault)

    return end


def by_stopping_it_dead(way, program, folder, name, rng):
    """SIGSTOP, which nobody can take: when it goes on there is no burst, and it comes in on a beat."""
    player = Player(program, folder, name, "--straight", "--human", "0")
    player.reader.wait_for_notes()
    time.sleep(rng.uniform(0, 0.2))
    player.process.send_signal(signal.SIGSTOP)
    time.sleep(rng.uniform(0.3, 0.45))
    before = player.reader.heard()
    player.process.send_signal(signal.SIGCONT)
    woken = time.monotonic()
    player.reader.hears_more_than(before)
    time.sleep(0.6)
    at_once = [m for at, m in player.reader.messages[:] if m.type == "note_on" and at >= woken]
    first = [at for at, m in player.reader.messages[:] if m.type == "note_on" and at >= woken][:1]
    bass = [at for at, m in player.reader.messages[:] if m.type == "note_on" and m.channel == 0]
    fault = None
    if not at_once or player.reader.heard() == before:
        fault = "it does not go on"
    else:
        # Bass notes of a straight line stand a beat apart, 200 ms at 300 a minute.
        close = [b - a for a, b in zip(bass, bass[1:]) if b >= woken and b - a < 0.12]
        if close:
            fault = f"bass notes {min(close) * 1000:.0f} ms apart"
    began = time.monotonic()
    player.process.send_signal(signal.SIGTERM)
    ending = measured(way, player, began)
    ending.fault = ending.fault or fault
    return ending


def by_killing(way, program, folder, name, rng):
    """SIGKILL with --active-sensing: no receiver has waited longer than 300 ms for the last byte (MIDI 1.0)."""
    player = Player(program, folder, name, "--active-sensing", "--no-clock")
    player.reader.wait_for_notes()
    time.sleep(rng.uniform(0.6, 0.9))
    began = time.monotonic()
    player.process.kill()
    gone = player.gone_after(began)
    player.reader.thread.join(timeout=2)
    sensed = [at for at, m in player.reader.messages if m.type == "active_sensing"]
    widest = max(b - a for a, b in zip(sensed, sensed[1:])) if len(sensed) > 2 else 9
    fault = f"active sensing {widest * 1000:.0f} ms apart" if widest > 0.33 else None
    # A receiver falls silent 300 ms after the last of them.
    return Ending(way, None, gone, player.process.returncode, fault)


WAYS = {
    "INT, fifo": by_signal(signal.SIGINT),
    "TERM, fifo": by_signal(signal.SIGTERM),
    "HUP, fifo": by_signal(signal.SIGHUP),
    "QUIT, fifo": by_signal(signal.SIGQUIT),
    "INT, bytes to a pipe": by_signal(signal.SIGINT, stdout_midi=True),
    "TERM, bytes to a pipe": by_signal(signal.SIGTERM, stdout_midi=True),
    "TERM, screen": by_signal(signal.SIGTERM, terminal=True),
    "HUP, screen": by_signal(signal.SIGHUP, terminal=True),
    "key q": by_key(b"q"),
    "key Ctrl-C": by_key(b"\x03"),
    "key Ctrl-\\": by_key(b"\x1c"),
    "terminal closed, screen": by_closing_the_terminal(),
    "terminal closed, --plain": by_closing_the_terminal("--plain"),
    "reader gone": by_losing_the_reader,
    "INT, screen stalls": while_the_terminal_stalls(signal.SIGINT, False),
    "HUP, screen stalls": while_the_terminal_stalls(signal.SIGHUP, False),
    "TERM, Ctrl-S with --plain": while_the_terminal_stalls(signal.SIGTERM, True),
    "INT, pipe full": while_the_pipe_is_full(signal.SIGINT),
    "TERM, pipe full": while_the_pipe_is_full(signal.SIGTERM),
    "TSTP, CONT, TERM": by_suspending(False),
    "STOP, CONT, TERM": by_stopping_it_dead,
    "KILL, active sensing": by_killing,
}


JACK_WAYS = {
    f"{number.name[3:]}, JACK": by_signal_through_jack(number)
    for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP, signal.SIGQUIT)
}


def endings(program, count, seed=1, ways=None):
    """So many endings, each way in turn."""
    rng = random.Random(seed)
    names = list(ways or WAYS)
    with tempfile.TemporaryDirectory() as folder:
        for index in range(count):
            way = names[index % len(names)]
            yield (WAYS | JACK_WAYS)[way](way, program, Path(folder), f"fifo{index}", rng)


def table(found):
    rows = {}
    for ending in found:
        rows.setdefault(ending.way, []).append(ending)
    print(f"{'way':28}{'n':>5}{'silent after ms (median, p95, max)':>38}{'gone after ms (median, max)':>30}  faults")
    for way, row in rows.items():
        silent = sorted(e.silent_ms for e in row if e.silent_ms is not None)
        gone = sorted(e.gone_ms for e in row if e.gone_ms is not None)
        quiet = "nobody hears" if not silent else "{:.1f} {:.1f} {:.1f}".format(
            statistics.median(silent), silent[int(len(silent) * 0.95)], silent[-1]
        )
        left = "-" if not gone else f"{statistics.median(gone):.0f} {gone[-1]:.0f}"
        faults = [e.fault for e in row if e.fault]
        print(f"{way:28}{len(row):>5}{quiet:>38}{left:>30}  {len(faults)} {faults[:2] or ''}")


def told(found):
    for ending in found:
        if ending.fault:
            print(ending, flush=True)
        yield ending


if __name__ == "__main__":
    program, count, *jack = sys.argv[1:]
    table(told(endings(program, int(count), ways=JACK_WAYS if jack else WAYS)))

"""Every way of ending `endpin live`; `live_endings.py` measures a thousand of them."""

import fcntl
import os
import signal
import struct
import subprocess
import termios
import time

import pytest

from live_endings import CHART, WAYS, Player, anybody_can_be_suspended, endings

pytestmark = pytest.mark.alone


@pytest.mark.parametrize("way", WAYS)
def test_it_falls_silent_and_goes(program, way):
    if way == "TSTP, CONT, TERM" and not anybody_can_be_suspended():
        pytest.skip("this system suspends nobody")
    # A reader that waits its turn on a busy machine sees notes closer together than they were sent: only that way
    # of ending looks at how they are spaced, and is tried again. How fast all is silent is for `live_endings.py`.
    tries = 3 if way == "STOP, CONT, TERM" else 1
    faults = [ending.fault for ending in endings(program, tries, ways=[way])]
    assert None in faults, faults


def test_nohup_is_honoured(program, tmp_path):
    player = Player(program, tmp_path, "fifo", preexec_fn=lambda: signal.signal(signal.SIGHUP, signal.SIG_IGN))
    player.reader.wait_for_notes()
    player.process.send_signal(signal.SIGHUP)
    before = player.reader.heard()
    time.sleep(0.8)
    assert player.process.poll() is None and player.reader.heard() > before
    player.process.send_signal(signal.SIGTERM)
    assert player.process.wait(timeout=5) == 0


def test_two_do_not_play_into_one_pipe(program, tmp_path):
    player = Player(program, tmp_path, "fifo")
    player.reader.wait_for_notes()
    second = subprocess.run(
        [program, "live", CHART, "--raw", player.fifo], stdin=subprocess.DEVNULL, capture_output=True, timeout=20
    )
    assert second.returncode == 3
    assert "another endpin plays there already" in second.stderr.decode()
    player.process.send_signal(signal.SIGTERM)
    assert player.process.wait(timeout=5) == 0
    assert not player.reader.down


@pytest.mark.parametrize("columns, rows", [(65_535, 65_535), (65_535, 24), (1, 1), (0, 0)])
def test_a_terminal_of_any_size_is_played_in_front_of(program, tmp_path, columns, rows):
    player = Player(program, tmp_path, "fifo", terminal=True)
    player.reader.wait_for_notes(1)
    fcntl.ioctl(player.master, termios.TIOCSWINSZ, struct.pack("HHHH", rows, columns, 0, 0))
    before = player.reader.heard()
    time.sleep(1)
    assert player.process.poll() is None and player.reader.heard() > before
    os.write(player.master, b"q")
    assert player.process.wait(timeout=5) == 0
    assert not player.reader.down


def test_the_names_of_sections_are_no_commands_to_the_terminal(program, tmp_path):
    chart = tmp_path / "chart.toml"
    chart.write_text('title = "Low Door"\nkey = "F"\n[section."A\\u001b]0;x\\u0007\\u009b2J"]\nbars = "| F7 | Bb7 |"\n')
    done = subprocess.run(
        [program, "live", chart, "--choruses", "1", "--tempo", "400", "--plain", "--raw", os.devnull],
        stdin=subprocess.DEVNULL, capture_output=True, timeout=60,
    )
    assert done.returncode == 0 and b"bar 2" in done.stdout
    said = done.stdout.decode()
    assert not [c for c in said if c != "\n" and (ord(c) < 32 or 127 <= ord(c) < 160)], repr(said)

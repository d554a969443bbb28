"""The desk, killed while it writes: what a folder then holds."""

import http.client
import json
import random
import signal
import socket
import threading
import time

import pytest
from desk_server import Desk


def test_killed_at_any_moment_a_chart_is_whole(program, tmp_path):
    """Each time some charts are kept one after the other, and the desk is killed in the midst of it."""
    base = ""
    name = None
    kills = 12
    for kill in range(kills):
        desk = Desk(program, tmp_path)
        desk.enter()
        for step in range(6):
            text = f"Killed\n{'| F7 ' * (200 + kill * 7 + step)}|\n"
            if step == 5:
                body = json.dumps({"name": name, "text": text, "base": base}).encode()
                raw = socket.create_connection(("127.0.0.1", desk.port))
                lines = [f"POST /chart/keep HTTP/1.1\r\nHost: {desk.host}\r\nContent-Length: {len(body)}\r\n"]
                lines += [f"{key}: {value}\r\n" for key, value in desk.headers().items()]
                raw.sendall("".join(lines).encode() + b"\r\n" + body)
                time.sleep(kill * 0.001)
                break
            kept = desk.ask("/chart/keep", {"name": name, "text": text, "base": base})
            name, base = kept["saved"], text
        desk.process.kill()
        desk.process.wait()
        desk.process.stdout.close()
        raw.close()
        now = (tmp_path / name).read_text(encoding="utf-8")
        # What was kept before, or what was being kept: nothing in between.
        assert now in (base, text)
        base = now
    assert sorted(path.suffix for path in tmp_path.iterdir() if path.suffix == ".txt") == [".txt"]


@pytest.mark.ci
def test_killed_two_hundred_times_only_the_last_keystroke_is_lost(program, tmp_path):
    """A chart and a class are typed a character at a time, and the desk is killed at random moments."""
    chance = random.Random(200)
    name, kept = None, {"chart": "", "class.list": ""}
    for _ in range(200):
        desk = Desk(program, tmp_path)
        desk.enter()
        coming = dict(kept)

        def type_one(file):
            nonlocal name
            if file == "chart":
                coming[file] = (kept[file] or "Typed\n") + chance.choice("F7 |")
                name = desk.ask("/chart/keep", {"name": name, "text": coming[file], "base": kept[file]})["saved"]
            else:
                coming[file] = kept[file] + chance.choice("Aé")
                desk.ask("/class", {"text": coming[file]})
            kept[file] = coming[file]

        began = time.monotonic()
        type_one("chart")
        # Within about three keystrokes from now, however busy the machine is.
        killer = threading.Timer(chance.uniform(0, 3 * (time.monotonic() - began)), desk.process.kill)
        killer.start()
        try:
            while True:
                type_one("class.list")
                type_one("chart")
        except (OSError, http.client.HTTPException):
            killer.join()
        assert desk.end() == -signal.SIGKILL
        for what, file in [("chart", name), ("class.list", "class.list")]:
            path = tmp_path / file
            now = path.read_text(encoding="utf-8") if path.exists() else ""
            # What was answered for, or what was being kept.
            assert now in (kept[what], coming[what])
            kept[what] = now
    assert len(kept["chart"]) > 200
    assert [path.name for path in tmp_path.glob("*.txt")] == [name]

"""The desk over raw HTTP: who gets in, what it answers, what it keeps. The attacks are those that the OWASP
Web Security Testing Guide names for a local server: rebinding of names, requests across sites, paths that climb,
bodies without end."""

import json
import re
import signal
import socket
import subprocess
import time
import tomllib

import numpy as np
import pytest
import soundfile
from desk_server import Desk, desk  # noqa: F401 (desk is a fixture)

BLUES = "Quay Blues\nkey: F\ntempo: 120\n| F7 | Bb7 | F7 | % |\n| Bb7 | % | F7 | D7b9 |\n| Gm7 | C7 | F7 D7 | Gm7 C7 |\n"


def wishes(text=BLUES, **more):
    return {"text": text, "seed": 1, "level": 4, **more}


def drawn(desk, **more):
    return desk.ask("/line", {"name": None, "line": wishes(**more)})


# --- Who gets in.


def test_the_key_has_128_bits_and_opens_once_for_a_strict_cookie(desk):
    assert desk.address.startswith("http://127.0.0.1:") and len(desk.key) == 32
    assert len(bytes.fromhex(desk.key)) * 8 == 128
    headers = desk.enter()
    # The key is not in the address that the browser keeps.
    assert headers["Location"] == "/"
    cookie = headers["Set-Cookie"]
    assert "HttpOnly" in cookie and "SameSite=Strict" in cookie and desk.key not in cookie


def test_it_listens_on_this_machine_only(desk):
    # Field 1 of /proc/net/tcp is the local address, in hexadecimal, least byte first; state 0A listens (proc(5)).
    lines = [line.split() for line in open("/proc/net/tcp", encoding="ascii")][1:]
    lines += [line.split() for line in open("/proc/net/tcp6", encoding="ascii")][1:]
    listening = {line[1] for line in lines if line[3] == "0A" and line[1].endswith(f":{desk.port:04X}")}
    assert listening == {f"0100007F:{desk.port:04X}"}


@pytest.mark.parametrize("path", ["/", "/?key=", "/?key=" + "0" * 32, "/desk.js", "/desk.css"])
def test_without_key_or_cookie_nothing_is_shown(desk, path):
    status, headers, body = desk.request("GET", path)
    assert status == 401 and "Set-Cookie" not in headers and b"<" not in body


def test_another_cookie_or_that_of_another_desk_is_none(desk):
    name, value = desk.cookie.split("=")
    for cookie in [f"{name}={'0' * 32}", f"{name}={value[:-1]}", f"{name}=", f"desk-1={value}", value]:
        assert desk.request("GET", "/", headers={"Cookie": cookie})[0] == 401


@pytest.mark.parametrize("host", ["evil.example", "localhost:{port}", "127.0.0.1", "127.0.0.1:1", "0.0.0.0:{port}", ""])
def test_rebound_names_are_refused(desk, host):
    headers = desk.headers(Host=host.format(port=desk.port))
    assert desk.request("GET", "/", headers=headers)[0] == 421
    assert desk.request("POST", "/charts", "{}", headers)[0] == 421


def test_two_hosts_in_one_request_are_refused(desk):
    with socket.create_connection(("127.0.0.1", desk.port)) as raw:
        raw.sendall(f"GET / HTTP/1.1\r\nHost: {desk.host}\r\nHost: evil.example\r\nCookie: {desk.cookie}\r\n\r\n".encode())
        assert raw.recv(64).split()[1] in (b"421", b"400")


@pytest.mark.parametrize("origin", ["http://evil.example", "null", "https://127.0.0.1", "http://127.0.0.1:1", None])
def test_other_sites_cannot_post(desk, origin):
    assert desk.request("POST", "/charts", "{}", desk.headers(Origin=origin))[0] == 403


def test_other_sites_cannot_read_and_no_sharing_is_offered(desk):
    headers = {"Cookie": desk.cookie, "Origin": "http://evil.example"}
    assert desk.request("GET", "/", headers=headers)[0] == 403
    preflight = {"Origin": "http://evil.example", "Access-Control-Request-Method": "POST"}
    status, found, _ = desk.request("OPTIONS", "/charts", headers={**preflight, "Cookie": desk.cookie})
    assert status in (403, 405) and not any(name.lower().startswith("access-control") for name in found)
    fetched = desk.headers(Sec_Fetch_Site="cross-site")
    assert desk.request("POST", "/charts", "{}", fetched)[0] == 403


def test_forms_of_other_pages_are_no_questions(desk):
    # What a page may send across sites without asking first (Fetch standard, "CORS-safelisted request-header").
    for kind in ["text/plain", "application/x-www-form-urlencoded", "multipart/form-data; boundary=x", None]:
        assert desk.request("POST", "/charts", "{}", desk.headers(Content_Type=kind))[0] == 415


def test_every_answer_lets_nothing_in(desk):
    for path in ["/", "/desk.js", "/no", "/?key=0"]:
        _, headers, _ = desk.request("GET", path, headers={"Cookie": desk.cookie})
        policy = headers["Content-Security-Policy"]
        assert "default-src 'none'" in policy and "unsafe" not in policy and "http" not in policy
        assert headers["X-Content-Type-Options"] == "nosniff" and headers["Cache-Control"] == "no-store"
    page = desk.request("GET", "/", headers={"Cookie": desk.cookie})[2].decode()
    assert " style=" not in page and "<style" not in page and not re.search(r"<[^>]* on[a-z]+=", page)
    assert page.count("<script") == 1 and "http://" not in page and "https://" not in page


# --- What cannot be done.


@pytest.mark.parametrize(
    "name",
    ["../secret.txt", "..%2fsecret.txt", "/etc/passwd", "sub/a.txt", "..\\secret.txt", ".hidden.txt", "link.txt", "a.txt\x00", "", "x" * 300 + ".txt"],
)
def test_no_path_leads_out_of_the_folder(desk, name):
    secret = desk.folder.parent / "secret.txt"
    secret.write_text("secret", encoding="utf-8")
    (desk.folder / "sub").mkdir(exist_ok=True)
    (desk.folder / "sub/a.txt").write_text("secret", encoding="utf-8")
    link = desk.folder / "link.txt"
    if not link.is_symlink():
        link.symlink_to(secret)
    assert "problem" in desk.ask("/chart/open", {"name": name}, 422)
    assert "problem" in desk.ask("/chart/keep", {"name": name, "text": "x", "base": "secret"}, 422)
    assert secret.read_text(encoding="utf-8") == "secret"
    assert "link.txt" not in desk.ask("/charts", {})["charts"]
    for path in ["/../secret.txt", "/sub/a.txt", "//etc/passwd", "/%2e%2e/secret.txt"]:
        assert desk.request("GET", path, headers={"Cookie": desk.cookie})[0] == 404


def test_bodies_are_bounded(desk):
    status, _, _ = desk.request("POST", "/chart/read", b" " * (9 << 20), desk.headers())
    assert status == 413
    # A body that never comes holds up nobody.
    with socket.create_connection(("127.0.0.1", desk.port)) as slow:
        slow.sendall(f"POST /charts HTTP/1.1\r\nHost: {desk.host}\r\nContent-Length: 1000\r\n\r\n".encode())
        assert desk.ask("/charts", {})["forms"]


@pytest.mark.parametrize("body", ["", "{", "[]", "null", '{"text": 1}', '{"text": "", "more": 1}', "\x00", '{"text": "\\ud800"}'])
def test_questions_that_are_none_are_answered_in_a_sentence(desk, body):
    status, _, answer = desk.request("POST", "/chart/read", body.encode(), desk.headers())
    assert status == 422 and json.loads(answer)["problem"]


@pytest.mark.parametrize(
    "text, told",
    [
        ("", "not answers"),
        ("{}", "not answers"),
        ("given:not, all", "incomplete"),
        ("given:e30", "not answers"),
        ('{"format": "endpin-given/1", "set": "0", "name": "", "given": []}', "key is not on this desk"),
    ],
)
def test_answers_that_are_none_are_told(desk, text, told):
    assert told in desk.ask("/answers", {"text": text}, 422)["problem"]


@pytest.mark.parametrize(
    "bad", [{"level": 7}, {"level": 0}, {"keep": ["1.1=H2"]}, {"keep": ["1.1"]}, {"rest": ["x"]}, {"feel": "polka"}, {"instrument": "tuba"}, {"other": ["3-1", 1]}]
)
def test_wishes_that_are_none_are_answered_in_a_sentence(desk, bad):
    answer = desk.request("POST", "/line", json.dumps({"name": None, "line": wishes(**bad)}), desk.headers())
    assert answer[0] in (200, 422)
    said = json.loads(answer[2])
    assert said.get("problem") or said["none"]["why"]


def test_it_stops_clean(program, tmp_path):
    for how in (signal.SIGTERM, signal.SIGINT):
        desk = Desk(program, tmp_path)
        desk.enter()
        # A browser's connection stays open.
        idle = socket.create_connection(("127.0.0.1", desk.port))
        began = time.monotonic()
        assert desk.end(how) == 0 and time.monotonic() - began < 10
        idle.close()
    assert list(tmp_path.iterdir()) == []


def test_a_port_that_is_taken_is_told(program, endpin, desk, tmp_path):
    endpin("desk", tmp_path, "--no-browser", "--port", desk.port, code=3)


# --- The chart.


def test_a_chart_is_read_with_every_fault_and_what_mends_it(desk):
    text = "Three Slips\nkey: F\n| f7 | | F7 Bb7 C7 | C7 |\n"
    for left in (3, 2, 1):
        view = desk.ask("/chart/read", {"text": text})
        assert len(view["faults"]) == left and view["title"] is None
        mend = view["faults"][0]["mends"][0]
        text = text[: mend["from"]] + mend["text"] + text[mend["to"] :]
    view = desk.ask("/chart/read", {"text": text})
    assert view["faults"] == [] and view["about"] == "In F, 4/4, 140 quarter notes a minute, 4 bars"
    assert view["sections"][0]["bars"] == ["F7", "F7", "F7 / Bb7 C7", "C7"]
    assert view["meanings"][0]["function"]


def test_two_windows_never_overwrite_one_another(desk):
    name = desk.ask("/chart/keep", {"name": None, "text": "Two Windows\nF7 | C7", "base": ""})["saved"]
    assert name == "two-windows.txt"
    desk.ask("/chart/keep", {"name": name, "text": "Two Windows\nF7 | D7", "base": "Two Windows\nF7 | C7"})
    late = desk.ask("/chart/keep", {"name": name, "text": "Two Windows\nF7 | E7", "base": "Two Windows\nF7 | C7"})
    assert late == {"changed": "Two Windows\nF7 | D7"}
    assert (desk.folder / name).read_text(encoding="utf-8") == "Two Windows\nF7 | D7"


# --- The line.


def test_a_line_is_what_the_same_command_makes(desk, report):
    (desk.folder / "same.txt").write_text(BLUES, encoding="utf-8")
    (desk.folder / "alto.toml").write_text("[motion.second]\noctave_up = 1000\noctave_down = 1000\n", encoding="utf-8")
    asks = [{"keep": ["3.3=A2"], "refuse": ["5.2=C3"], "rest": ["8.2"], "seed": 3}, {"other": ["3-4", 3]}]
    asks += [{"loose": "inverted:20,passing"}, {"manner": "alto.toml", "seed": 2}]
    for asked in asks:
        line = desk.ask("/line", {"name": "same.txt", "line": wishes(**asked)})["line"]
        words = line["command"].split()
        assert words[:3] == ["endpin", "explain", "same.txt"]
        # The manner lies in the folder of the desk.
        words = [str(desk.folder / word) if word == "alto.toml" else word for word in words]
        said = report(desk.folder / "same.txt", *words[3:])
        assert line["report"] == {name: value for name, value in said.items() if name in line["report"]}
        kept = [f"{note['bar']}.{note['beat']:g}={note['name']}" for note in said["notes"]]
        assert set(asked.get("keep", [])) <= set(kept) and not set(asked.get("refuse", [])) & set(kept)
        if "manner" in asked or "loose" in asked:
            usual = drawn(desk, seed=asked.get("seed", 1))["line"]
            assert line["report"]["notes"] != usual["report"]["notes"]
            # A manner prefers; a liberty allows more, and is taken from the second chorus on.
            more = int(line["count"]["exact"].replace(",", "")) - int(usual["count"]["exact"].replace(",", ""))
            assert more > 0 if "loose" in asked else more == 0
    listed = desk.ask("/charts", {})
    assert listed["manners"] == ["alto.toml"] and "alto.toml" not in listed["charts"]
    for bad in [{"loose": "inverted:200"}, {"loose": "nothing"}, {"manner": "same.txt"}, {"manner": "../alto.toml"}, {"manner": "no.toml"}]:
        desk.ask("/line/count", wishes(**bad), 422)


def test_a_plain_chart_is_read_by_every_command(desk, endpin, program):
    (desk.folder / "plain.txt").write_text(BLUES, encoding="utf-8")
    toml = endpin("chart", desk.folder / "plain.txt", "--toml")
    # Read with the standard library's reader of TOML.
    chart = tomllib.loads(toml.decode())
    assert (chart["title"], chart["key"], chart["tempo"]) == ("Quay Blues", "F", 120)
    (desk.folder / "plain.toml").write_bytes(toml)
    both = [endpin("explain", desk.folder / name, "--json") for name in ("plain.txt", "plain.toml")]
    assert both[0] == both[1]
    (desk.folder / "slips.txt").write_text("Slips\n| f7 | | F7 |\n", encoding="utf-8")
    done = subprocess.run([program, "chart", desk.folder / "slips.txt"], capture_output=True, text=True, check=False)
    assert done.returncode == 2 and done.stderr.count("slips.txt:2:") == 2


def test_what_is_kept_and_what_is_refused_are_all_lines_together(desk):
    all_lines = int(drawn(desk)["line"]["count"]["exact"].replace(",", ""))
    note = drawn(desk)["line"]["report"]["notes"][2]
    here = f"{note['bar']}.{note['beat']:g}={note['name']}"
    counts = [desk.ask("/line/count", wishes(**{how: [here]})) for how in ("keep", "refuse")]
    kept, refused = (int(count["exact"].replace(",", "")) for count in counts)
    assert 0 < kept < all_lines and kept + refused == all_lines


def test_where_no_line_is_left_the_rule_in_the_way_is_named(desk):
    answer = drawn(desk, keep=["1.1=C2"])["none"]
    assert "arrival-root" in answer["why"] and answer["rule"]
    assert desk.ask("/line/count", wishes(keep=["1.1=C2"]))["exact"] == "0"


def test_other_ways_leave_all_other_bars_alone(desk):
    def notes(line):
        return {(note["bar"], note["beat"]): note["midi"] for note in line["line"]["report"]["notes"]}

    before, seen = notes(drawn(desk)), set()
    for way in range(1, 5):
        after = notes(drawn(desk, other=["3-4", way]))
        assert {place for place in before if before[place] != after[place]} <= {
            place for place in before if place[0] in (3, 4)
        }
        seen.add(tuple(after.items()))
    assert len(seen) == 4 and tuple(before.items()) not in seen


# --- The class.


def test_a_take_is_judged_in_the_key_of_its_student(desk):
    desk.ask("/class", {"text": "Ada: key Bb, level 3\nBo\n"})
    asked = {"line": wishes(), "choruses": 1, "what": ["midi", "musicxml", "questions"], "class": True}
    made = desk.ask("/hand-out", asked)
    assert [set_["student"] for set_ in made["sets"]] == ["Ada", "Bo"] and made["problems"] == []
    take = (desk.folder / "handed-out/quay-blues-ada.mid").read_bytes()

    def verdict(student):
        over = json.dumps({"line": wishes(), "file": "take.mid", "student": student}).encode()
        headers = desk.headers(Content_Type="application/octet-stream")
        status, _, body = desk.request("POST", "/take", over + b"\n" + take, headers)
        assert status == 200, body
        return json.loads(body)["verdict"]

    broken = {name: sum(bool(note["rules_broken"]) for note in verdict(name)["notes"]) for name in ("ada", "Bo")}
    assert verdict("Ada")["key"] == "Bb" and broken["ada"] == 0 and broken["Bo"] > 10
    desk.ask("/class", {"text": "Ada: key X"}, 422)
    headers = desk.headers(Content_Type="application/octet-stream")
    for bad in [b"", b"{}\n", b"no line end", json.dumps({"line": wishes(), "file": "x", "student": ""}).encode() + b"\nnonsense"]:
        assert desk.request("POST", "/take", bad, headers)[0] == 422


def test_a_recording_made_here_is_judged_by_the_beats_that_were_heard(desk, endpin, tmp_path):
    """The bass of the line, rendered; the player is late by as much as the beats are moved ahead."""
    chart = tmp_path / "quay.txt"
    chart.write_text(BLUES, encoding="utf-8")
    sound = tmp_path / "take.wav"
    endpin("write", chart, "-o", sound, "--choruses", 1, "--straight", "--human", 0, "--mute", "comp", "--mute", "time")
    tempo = float(re.search(r"tempo: (\d+)", BLUES)[1])
    for late in (0, 60):
        beats = [round(index * 60_000 / tempo + 3 - late) for index in range(1, 48)]
        over = json.dumps({"line": wishes(), "file": "recording.wav", "student": "", "beats": beats})
        body = over.encode() + b"\n" + sound.read_bytes()
        status, _, answer = desk.request("POST", "/take", body, desk.headers() | {"Content-Type": "application/octet-stream"})
        assert status == 200, answer
        timing = json.loads(answer)["verdict"]["timing"]
        print(late, timing["mean_ms"])
        assert timing["start"] == "click" and abs(timing["mean_ms"] - late) < 25


KINDS = ["sheet", "tab", "page", "midi", "minus", "musicxml", "changes", "sound", "playalong"]


def test_what_is_handed_out_has_the_mark_of_our_files_and_is_heard(desk):
    """The mark is FNV-1a of the title (draft-eastlake-fnv); levels are those that libsndfile reads."""
    asked = {"line": wishes(keep=["3.3=A2"]), "choruses": 1, "what": KINDS, "class": False}
    files = desk.ask("/hand-out", asked)["sets"][0]["files"]
    assert len(files) == len(KINDS)
    mark = 0xCBF29CE484222325
    for byte in b"Quay Blues":
        mark = (mark ^ byte) * 0x100000001B3 % 2**64
    for name in files:
        assert f"made-by-endpin:{mark:016x}".encode() in (desk.folder / "handed-out" / name).read_bytes(), name
    status, headers, body = desk.request("GET", "/out/quay-blues.flac", headers={"Cookie": desk.cookie})
    assert status == 200 and headers["Content-Type"] == "audio/flac" and body.startswith(b"fLaC")
    both, rate = soundfile.read(desk.folder / "handed-out/quay-blues.flac")
    without, _ = soundfile.read(desk.folder / "handed-out/quay-blues-without-bass.flac")
    # Twelve bars at 120 and the ending; the bass is what lies below 100 Hz.
    assert 24 < len(both) / rate < 32 and abs(without).max() > 0.1
    low = [abs(np.fft.rfft(sound.mean(axis=1)))[: int(100 * len(sound) / rate)].mean() for sound in (both, without)]
    assert low[0] > 3 * low[1]
    steps = desk.ask("/changes", wishes())
    assert steps["format"] == "endpin-changes/1" and len(steps["steps"]) == 6


def test_what_was_handed_out_stands_apart_and_alone(desk):
    desk.ask("/hand-out", {"line": wishes(), "choruses": 1, "what": ["page"], "class": False})
    status, headers, _ = desk.request("GET", "/out/quay-blues.html", headers={"Cookie": desk.cookie})
    assert status == 200 and headers["Content-Security-Policy"].startswith("sandbox allow-scripts; default-src 'none'")
    assert desk.request("GET", "/out/quay-blues.html")[0] == 401
    for path in ["/out/../class.list", "/out/record.json", "/out/%2e%2e/class.list", "/out/", "/out/no.html"]:
        assert desk.request("GET", path, headers={"Cookie": desk.cookie})[0] == 404


@pytest.mark.ci
@pytest.mark.alone
def test_a_redraw_of_32_bars_is_quick(release, tmp_path):
    """Fifty redraws on one connection, each with another note kept: median and 99th percentile."""
    desk = Desk(release, tmp_path)
    form = next(form for form in desk.ask("/charts", {})["forms"] if form["name"] == "AABA")
    for level in (4, 6):
        line = drawn(desk, text=form["text"], level=level)["line"]
        notes = [note for note in line["report"]["notes"] if note["bar"] <= 32 and note["beat"].is_integer()]
        took = []
        for note in notes[:50]:
            here = f"{note['bar']}.{note['beat']:g}={note['name']}"
            began = time.perf_counter()
            assert "line" in drawn(desk, text=form["text"], level=level, keep=[here])
            took.append(time.perf_counter() - began)
        took.sort()
        print(f"level {level}: median {took[25] * 1000:.1f} ms, 99th percentile {took[-1] * 1000:.1f} ms")
        assert took[25] < 0.05
    desk.end()

"""The practice page in a real browser: what it plays is what our report says, it asks the net for nothing,
it keeps ahead on a slow machine, and axe-core finds nothing that keeps anyone out (WCAG 2.2 AA)."""

from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe

ROOT = Path(__file__).resolve().parents[2]
CHART = ROOT / "scenarios/breakwater-blues.toml"
CHORUSES = 3
OPTIONS = ["--choruses", CHORUSES, "--level", 6, "--seed", 4]
# Listens to what the player says that it schedules.
LISTEN = """
window.heard = [];
document.addEventListener('scheduled', event => window.heard.push({...event.detail}));
"""


@pytest.fixture(scope="module")
def file(endpin, tmp_path_factory):
    file = tmp_path_factory.mktemp("page") / "blues.html"
    endpin("sheet", CHART, "-o", file, *OPTIONS)
    return file


@pytest.fixture
def open_page(browser):
    """Opens a page; at the end it must have asked for itself only, and nothing complained."""
    opened = []

    def open_file(file):
        page = browser.new_page(viewport={"width": 800, "height": 900})
        asked = []
        page.on("request", lambda request: asked.append(request.url))
        page.on("pageerror", lambda error: asked.append(str(error)))
        page.on("console", lambda message: asked.append(message.text))
        page.add_init_script(LISTEN)
        page.goto(file.as_uri())
        page.wait_for_selector("body[data-ready]")
        page.locator("summary").click()
        opened.append((page, file, asked))
        return page

    yield open_file
    for page, file, asked in opened:
        page.close()
        assert {address.split('#')[0] for address in asked} == {file.as_uri()}


@pytest.fixture
def page(open_page, file):
    return open_page(file)


def set_tempo(page, tempo):
    page.eval_on_selector(
        "#tempo", "(range, tempo) => { range.value = tempo; range.dispatchEvent(new Event('input')); }", tempo
    )


def play(page, seconds, part=None):
    """Plays for a while; what was scheduled."""
    page.evaluate("window.heard.length = 0")
    page.click("#play")
    page.wait_for_timeout(seconds * 1000)
    if page.inner_text("#play") == "Stop":
        page.click("#play")
    heard = page.evaluate("window.heard")
    return [event for event in heard if part in (None, event["part"])]


def notes_of(report, chorus):
    notes = [note for note in report["notes"] if note["chorus"] == chorus]
    return [(note["bar"], round(note["beat"], 3), note["midi"]) for note in notes]


def played(events):
    """Bar, beat and key of bass events of a chorus in 4/4: 3840 ticks a bar, 960 a beat."""
    return [
        (event["bar"], round((event["start"] - (event["bar"] - 1) * 3840) / 960 + 1, 3), event["midi"])
        for event in events
    ]


@pytest.mark.alone
def test_plays_what_the_report_says(open_page, endpin, report, tmp_path):
    """Two choruses of four bars, one after the other, and the ending."""
    options = ["--bars", "F7 | Bb7 | F7 D7 | Gm7 C7", "--choruses", 3, "--level", 6, "--seed", 4]
    file = tmp_path / "four.html"
    endpin("sheet", *options, "-o", file)
    page, said = open_page(file), report(*options)
    page.uncheck("#count")
    page.select_option("#after", "on")
    page.select_option("#chorus", "1")
    set_tempo(page, 400)
    # 32 beats at 400 last 4.8 seconds, the ending half of one.
    heard = play(page, 6)
    bass = [event for event in heard if event["part"] == "bass"]
    for chorus in (2, 3):
        of_chorus = played(event for event in bass if event["chorus"] == chorus)
        assert of_chorus == notes_of(said, chorus) and len(of_chorus) >= 16
    comp = {(event["chorus"], event["start"], *event["keys"]) for event in heard if event["part"] == "comp"}
    assert comp == {
        (attack["chorus"], round((attack["bar"] - 1) * 3840 + (attack["beat"] - 1) * 960), *attack["midi"])
        for attack in said["comp"]
        if attack["chorus"] > 1
    }
    # Never late: each was scheduled before its time, the beats evenly.
    assert min(event["ahead"] for event in heard) > 0
    beats = [event["at"] for event in heard if event["part"] == "time"]
    gaps = [after - before for before, after in zip(beats, beats[1:])]
    assert len(beats) == 33 and gaps[:32] == pytest.approx([60 / 400] * 32)


@pytest.mark.alone
def test_a_slow_machine_keeps_ahead(page):
    page.context.new_cdp_session(page).send("Emulation.setCPUThrottlingRate", {"rate": 6})
    set_tempo(page, 240)
    heard = play(page, 2.5)
    assert len(heard) > 12
    assert min(event["ahead"] for event in heard) > 0.05


@pytest.mark.alone
def test_count_in_mute_alone_loop_tempo(page):
    set_tempo(page, 300)
    heard = play(page, 2)
    assert [event["part"] for event in heard[:4]] == ["count"] * 4
    assert heard[4]["at"] - heard[0]["at"] == pytest.approx(4 * 60 / 300)
    # Muting leaves the schedule alone and silences the part.
    page.click("[data-part=bass]")
    assert page.get_attribute("[data-part=bass]", "aria-pressed") == "false"
    assert all(event["silent"] for event in play(page, 1, "bass"))
    assert page.evaluate("band.parts.bass.level.gain.value") < 0.05
    page.click("[data-only=bass]")
    silent = {event["part"]: event["silent"] for event in play(page, 1.2) if event["part"] != "count"}
    assert silent["bass"] is False and silent["time"] is True
    # Bars 3 to 5 loop, whichever is touched first.
    page.click(".bar[data-bar='4']")
    page.click(".bar[data-bar='2']")
    assert page.inner_text("#status") == "Bars 3 to 5 loop."
    page.uncheck("#count")
    bars = [event["bar"] for event in play(page, 3, "time")]
    assert set(bars) == {3, 4, 5} and bars[:4] == [3] * 4 and bars[12:16] == [3] * 4
    page.click("#unloop")
    assert page.locator(".bar[aria-pressed=true]").count() == 0


def test_cursor_follows(page):
    page.uncheck("#count")
    set_tempo(page, 120)
    page.click("#play")
    page.wait_for_selector(".bar[data-bar='1'].now .cursor", timeout=6000)
    left = "parseFloat(document.querySelector('.cursor').style.left)"
    before = page.evaluate(left)
    page.wait_for_timeout(300)
    assert page.evaluate(left) > before
    assert page.locator(".n.now").count() >= 1
    page.keyboard.press("Space")
    page.wait_for_function("document.querySelectorAll('.now').length === 0")


@pytest.mark.parametrize("key", ["Db", "B"])
def test_other_keys_are_what_the_program_makes_there(page, report, key):
    page.select_option("#key", key)
    page.wait_for_selector(f"body[data-ready='{key}']")
    page.uncheck("#count")
    set_tempo(page, 320)
    said = notes_of(report(CHART, *OPTIONS, "--key", key), 1)
    heard = played(play(page, 4, "bass"))
    assert len(heard) > 12 and heard == said[: len(heard)]
    # Breakwater Blues opens on the tonic.
    assert page.text_content(".c >> nth=0")[0] == key[0]


def test_marks_tablature_reasons(page):
    figure = page.locator(".m text").first
    assert figure.is_visible() and page.locator("#legend").is_visible()
    page.uncheck("#marks")
    assert not figure.is_visible() and not page.locator("#legend").is_visible()
    page.check("#marks")
    page.check("#tab")
    assert page.locator(".bar svg.tab").first.is_visible()
    page.click(".bar[data-bar='0']")
    reasons = page.locator("#reasons li")
    assert "root" in reasons.first.inner_text()
    assert reasons.count() == page.locator(".bar[data-bar='0'] .staff .n .m").count()


def test_a_reload_brings_the_page_back_as_it_was(page):
    page.select_option("#key", "Bb")
    page.wait_for_selector("body[data-ready='Bb']")
    assert page.inner_text("#about").startswith("In B♭, ")
    page.select_option("#chorus", "2")
    page.click("[data-part=time]")
    page.check("#tab")
    page.uncheck("#count")
    set_tempo(page, 97)
    page.click(".bar[data-bar='4']")
    page.click(".bar[data-bar='2']")
    page.wait_for_timeout(500)
    assert "loop=2-4" in page.url
    page.reload()
    page.wait_for_selector("body[data-ready=Bb]")
    assert page.inner_text("#heading") == "Chorus 3" and page.text_content("#tempo-shown") == "97"
    assert page.get_attribute("[data-part=time]", "aria-pressed") == "false"
    assert page.is_checked("#tab") and not page.is_checked("#count")
    assert page.locator(".bar[aria-pressed=true]").count() == 3
    page.evaluate("location.hash = '#key=H&chorus=99&tempo=x&loop=9-1&off=horn&after='")
    page.reload()
    page.wait_for_selector("body[data-ready=F]")
    assert page.inner_text("#heading") == "Chorus 1" and page.locator(".bar[aria-pressed=true]").count() == 0


@pytest.mark.parametrize("width, height", [(390, 844), (844, 390), (820, 1180), (1280, 900)])
def test_music_comes_first_and_reasons_stand_by_their_bar(page, width, height):
    page.set_viewport_size({"width": width, "height": height})
    page.locator("summary").click()
    floor = page.locator("#controls").bounding_box()["y"]
    assert page.locator("svg.staff").first.bounding_box()["y"] < floor / 2
    first = page.locator(".bar[data-bar='0'] svg.staff").bounding_box()
    assert first["y"] + first["height"] < floor, "a whole line of music is seen"
    page.click(".bar[data-bar='9']")
    page.wait_for_timeout(700)
    bar, reasons = page.locator(".bar[data-bar='9']").bounding_box(), page.locator("#reasons").bounding_box()
    assert 0 <= reasons["y"] - bar["y"] - bar["height"] < 24
    assert reasons["y"] + reasons["height"] <= page.locator("#controls").bounding_box()["y"]
    page.locator("summary").click()
    small = page.eval_on_selector_all(
        "#controls :is(button, select, summary, .check, [type=range])",
        "all => all.map(one => one.getBoundingClientRect()).filter(box => box.width && (box.height < 44 || box.width < 44)).length",
    )
    assert small == 0


@pytest.mark.parametrize("width, scheme", [(360, "light"), (1280, "dark")])
def test_nobody_is_kept_out(page, width, scheme):
    page.emulate_media(color_scheme=scheme)
    page.set_viewport_size({"width": width, "height": 800})
    page.check("#tab")
    page.click(".bar[data-bar='1']")
    options = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}
    found = Axe().run(page, options=options)
    assert found.violations_count == 0, found.generate_report()
    # Nothing runs off the side of a phone.
    assert page.evaluate("document.documentElement.scrollWidth") <= width


def test_keyboard_alone_is_enough(page):
    page.locator("summary").focus()
    page.keyboard.press("Shift+Tab")
    page.evaluate("document.querySelector('.bar').focus()")
    page.keyboard.press("Enter")
    assert page.get_attribute(".bar[data-bar='0']", "aria-pressed") == "true"
    page.locator("#play").focus()
    page.keyboard.press("Enter")
    page.wait_for_selector(".bar.now")
    page.keyboard.press("Enter")


def test_titles_never_become_script(browser, endpin, tmp_path):
    title = "</title></script><script>window.hacked=1</script><img src=x onerror=hacked=1>{{music}}"
    chart, file = tmp_path / "odd.toml", tmp_path / "odd.html"
    chart.write_text(
        f'title = "{title}"\nkey = "C"\nmeter = "4/4"\ntempo = 100\nfeel = "four"\n'
        '[section."<script>window.hacked=1</script>"]\nbars = "| C | F | G7 | C |"\n',
        encoding="utf-8",
    )
    endpin("sheet", chart, "-o", file, "--choruses", 1)
    page = browser.new_page()
    asked = []
    page.on("request", lambda request: asked.append(request.url))
    page.goto(file.as_uri())
    page.wait_for_selector("body[data-ready]")
    page.click(".bar >> nth=0")
    assert page.evaluate("window.hacked") is None
    assert page.inner_text("h1") == title and page.inner_text("h3") == "<script>window.hacked=1</script>"
    assert page.locator("img").count() == 0 and asked == [file.as_uri()]
    page.close()


def test_a_page_is_light(endpin, tmp_path):
    # Level 6 has the most notes: eight choruses of twelve bars in twelve keys.
    file = tmp_path / "blues.html"
    endpin("sheet", CHART, "-o", file, "--choruses", 8, "--level", 6)
    assert file.stat().st_size < 400_000
    text = file.read_text(encoding="utf-8")
    assert "http://" not in text and "https://" not in text

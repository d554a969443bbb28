"""The desk in a real browser: a teacher's work from a chart with mistakes to a verdict, at three widths, by keyboard,
and with axe-core's rules (WCAG 2.2 AA)."""

import json
import re
import shutil
import time

import mido
import pytest
from axe_playwright_python.sync_playwright import Axe
from desk_server import desk  # noqa: F401 (a fixture)
from test_desk import BLUES

LISTEN = """
window.heard = [];
document.addEventListener('scheduled', event => window.heard.push({...event.detail}));
"""
SLIPS = "Three Slips\nkey: F\ntempo: 120\n| f7 | Bb7 | F7 | |\n| Gm7 | C7 | F7 Dm7 C7 | C7 |\n"


@pytest.fixture
def opened(browser, desk):
    """Opens the desk over a fresh browser; at the end it must have asked its own server only, and nothing complained."""
    contexts = []

    def open_desk(query="", width=1280, scheme="light"):
        context = browser.new_context(viewport={"width": width, "height": 900}, color_scheme=scheme)
        page = context.new_page()
        complaints = []
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.on("console", lambda message: complaints.append(message.text))
        page.on("request", lambda request: request.url.startswith((f"http://{desk.host}/", "data:")) or complaints.append(request.url))
        page.add_init_script(LISTEN)
        page.goto(desk.address + query)
        ready(page)
        contexts.append((context, complaints))
        return page

    yield open_desk
    for context, complaints in contexts:
        context.close()
        assert complaints == []


def ready(page):
    """All modules run, and what was asked for last stands there."""
    page.wait_for_selector("body[data-ready]:not([data-unkept])", timeout=60_000)
    drawn(page)


def drawn(page, after=None):
    """The line that was asked for last, later than a turn before it, stands there, with all that is told of it."""
    until(
        page,
        """before => {
          const { asked, drawn } = document.body.dataset;
          return asked !== before && asked === drawn && [...document.querySelectorAll('#kept .left')].every(left => left.textContent);
        }""",
        after,
    )


def turn(page):
    return page.get_attribute("body", "data-asked")


def until(page, expression, arg=None, timeout=30):
    """Waits until an expression holds. (Playwright's own wait needs `eval`, which the page's policy forbids.)"""
    end = time.monotonic() + timeout
    while not page.evaluate(expression, arg):
        assert time.monotonic() < end, expression
        page.wait_for_timeout(50)


def count(page):
    return int(page.get_attribute("#count", "data-exact").replace(",", ""))


def type_chart(page, text):
    """The page says in the moment of a keystroke that it is not kept, so no word about an older text is taken for this."""
    before = turn(page)
    page.fill("#text", text)
    page.wait_for_selector("body:not([data-unkept])")
    drawn(page, before)


def redrawn(page, act):
    before = turn(page)
    act()
    drawn(page, before)


def touch(page, bar, beat):
    page.locator(f".note[aria-label*='bar {bar}, beat {beat}']").first.click()
    page.wait_for_selector(f".note[aria-expanded=true][aria-label*='bar {bar}, beat {beat}']")
    page.wait_for_selector(f".slip[aria-label$='in bar {bar}']")


def press(page, words):
    page.locator(".slip button", has_text=re.compile(f"^{words}$")).click()


@pytest.mark.alone
def test_a_week_at_the_desk(opened, desk, report, endpin, tmp_path):
    page = opened()
    assert "key=" not in page.url
    # A chart with three mistakes, mended by what is offered.
    page.fill("#text", SLIPS)
    until(page, "document.body.dataset.faults === '3'")
    for left in (2, 1, 0):
        page.locator("#faults li button").first.click()
        until(page, "left => document.body.dataset.faults === String(left)", left)
    assert "Write" not in page.inner_text("#faults")
    until(page, "document.getElementById('saved').textContent === 'Kept as three-slips.txt.'")
    ready(page)
    assert page.inner_text("h1") == "Three Slips"
    assert page.locator("#understood .bars span").all_inner_texts() == ["F7", "B♭7", "F7", "F7", "Gm7", "C7", "F7 / Dm7 C7", "C7"]

    # Two notes kept, one refused: the count falls each time, and kept and refused make up all lines.
    counts = [count(page)]
    touch(page, 3, 1)
    assert "root" in page.inner_text(".slip") and page.locator(".slip .neck").count() == 1
    for bar, beat, words in [(2, 2, "Keep it"), (5, 3, "Keep it"), (6, 2, "Not this one")]:
        touch(page, bar, beat)
        redrawn(page, lambda: press(page, words))
        counts.append(count(page))
    assert counts == sorted(counts, reverse=True) and len(set(counts)) == 4 and counts[-1] > 0
    told = page.locator("#kept .left").all_inner_texts()
    assert len(told) == 4 and page.locator(".note.kept").count() == 2
    address = page.url

    # A reload loses nothing, and the address alone brings the line back.
    staves = "[...document.querySelectorAll('#music svg.staff')].map(staff => staff.outerHTML).join()"
    markup = page.evaluate(staves)
    page.reload()
    ready(page)
    assert page.url == address and count(page) == counts[-1] and page.input_value("#text").startswith("Three Slips")
    assert page.evaluate(staves) == markup

    # What is heard is what the report of the same command says.
    words = page.text_content("#command").split()
    said = report("--bars", "F7 | Bb7 | F7 | F7 | Gm7 | C7 | F7 / Dm7 C7 | C7", "--key", "F", "--tempo", 120, *words[3:])
    page.uncheck("#count-in", force=True) if page.locator("#hear details[open]").count() else (page.click("#hear summary"), page.uncheck("#count-in"))
    page.eval_on_selector("#tempo", "range => { range.value = 400; range.dispatchEvent(new Event('input')); }")
    page.click("#play")
    until(page, "window.heard.filter(event => event.part === 'bass').length > 16", timeout=60)
    page.click("#play")
    heard = [event for event in page.evaluate("window.heard") if event["part"] == "bass"]
    notes = [(note["bar"], note["midi"]) for note in said["notes"] if note["bar"] <= 8]
    assert len(heard) > 16 and [(event["bar"], event["midi"]) for event in heard][: len(notes)] == notes[: len(heard)]
    assert min(event["ahead"] for event in heard) > 0

    # Handed out to a class of three.
    page.click("#hand-out summary:text-is(\"The class\")")
    page.fill("#class", "Ada: key Bb, level 2\nBo: level 3, on double-bass\nCy\n")
    page.check("#what [value=midi]")
    page.click("#hand-class")
    until(page, "document.getElementById('handed').textContent.includes('9 files')", timeout=120)
    until(page, "document.querySelectorAll('#sets li').length === 3")
    folder = desk.folder / "handed-out"
    for name in ["ada", "bo", "cy"]:
        assert (folder / f"three-slips-{name}.pdf").read_bytes().startswith(b"%PDF-")
        assert mido.MidiFile(folder / f"three-slips-{name}.mid").tracks
        assert "<title>" in (folder / f"three-slips-{name}.html").read_text(encoding="utf-8")
    assert (folder / "three-slips-class.html").exists()

    # A student's take comes back: the line as Cy got it, with one note of bar 3 planted outside the harmony.
    midi = mido.MidiFile(folder / "three-slips-cy.mid")
    bass = next(track for track in midi.tracks if track.name == "Bass")
    ons = [index for index, message in enumerate(bass) if message.type == "note_on" and message.velocity]
    note = bass[ons[8]].note
    for message in bass[ons[8] : ons[8] + 4]:
        if message.type in ("note_on", "note_off") and message.note == note:
            message.note = note + 1
    midi.tracks = [midi.tracks[0], bass]
    midi.save(tmp_path / "take.mid")
    page.fill("#player-name", "Cy")
    page.set_input_files("#take", tmp_path / "take.mid")
    page.wait_for_selector("#verdict a", timeout=60_000)
    assert "against a rule" in page.inner_text("#judged") and "Bar 3" in page.inner_text("#verdict")
    assert (folder / "three-slips-cy-verdict.html").exists()

    # Questions are handed out, answered by a student on a page of her own, and marked.
    page.uncheck("#what [value=midi]")
    page.uncheck("#what [value=sheet]")
    page.uncheck("#what [value=page]")
    page.check("#what [value=questions]")
    page.click("#hand-class")
    until(page, "document.querySelectorAll('#sets li').length === 6", timeout=120)
    key = json.loads((folder / "three-slips-ada-answers.json").read_text(encoding="utf-8"))["items"]
    links = (folder / "three-slips-class.html").read_text(encoding="utf-8")
    assert "ada-questions.html" in links and "answers" not in links
    student = page.context.browser.new_page()
    student.goto((folder / "three-slips-ada-questions.html").as_uri())
    for index, item in enumerate(key[:10]):
        fields = student.locator(".item").nth(index)
        written = fields.locator("input[type=text]")
        written.fill(item["answer"]) if written.count() else fields.locator(f"input[value='{item['answer']}']").check()
    student.fill("#name", "Ada")
    with student.expect_download() as download:
        student.click("#save")
    download.value.save_as(tmp_path / "ada-given.json")
    student.click("#code")
    code = student.input_value("#copy")
    student.close()
    page.set_input_files("#take", tmp_path / "ada-given.json")
    until(page, "document.getElementById('judged').textContent.includes('10 of 12 right, 2 not answered')")
    page.eval_on_selector("#code", "field => { field.closest('details').open = true; }")
    page.fill("#code", code)
    until(page, "document.getElementById('judged').textContent.startsWith('Ada, ')")
    assert "To hear next:" in page.inner_text("#verdict")

    # And all of it is still there.
    page.reload()
    ready(page)
    assert [text.split(",")[0] for text in page.locator("#back summary").all_text_contents()] == ["Ada: 2", "Cy: 1"]
    assert page.locator("#sets li").count() == 6 and page.input_value("#class").startswith("Ada")


def test_a_handed_out_page_stands_apart(opened, desk):
    """A page from the folder plays, and cannot ask the desk for anything."""
    desk.ask("/hand-out", {"line": {"text": BLUES, "seed": 1, "level": 4}, "choruses": 1, "what": ["page"], "class": False})
    page = opened()
    page.wait_for_selector("#sets a", state="attached")
    with page.context.expect_page() as other:
        page.locator("#sets a", has_text="quay-blues.html").first.click()
    student = other.value
    student.wait_for_selector("body[data-ready]")
    assert student.evaluate("fetch('/charts', {method: 'POST'}).then(() => 'in', () => 'out')") == "out"
    assert student.evaluate("self.origin") == "null"


def test_nothing_left_says_which_rule_and_is_let_go(opened, desk):
    (desk.folder / "quay-blues.txt").write_text(BLUES, encoding="utf-8")
    page = opened("&chart=quay-blues.txt&d=keep+1.1%3DC2")
    assert page.inner_text("#count") == "0"
    assert "arrival-root" in page.inner_text("#obstacle") and "The rule asks" in page.inner_text("#obstacle")
    redrawn(page, lambda: page.locator("#kept button").first.click())
    assert page.locator("#obstacle").is_hidden() and count(page) > 1000 and "d=" not in page.url
    # A step back in the browser takes the last step back.
    redrawn(page, page.go_back)
    assert page.inner_text("#count") == "0"


def test_other_ways_and_bars_as_others(opened, desk):
    (desk.folder / "quay-blues.txt").write_text(BLUES, encoding="utf-8")
    page = opened("&chart=quay-blues.txt")
    touch(page, 3, 2)
    redrawn(page, lambda: press(page, "Another way here"))
    assert "other=3.1" in page.url
    redrawn(page, lambda: press(page, "Another way here"))
    assert "other=3.2" in page.url
    touch(page, 11, 1)
    redrawn(page, lambda: press(page, "Play these over and over") or page.click("#anew"))
    assert page.is_visible("#unloop")
    page.click("#play")


def test_liberties_and_manner_are_in_the_address_and_the_command(opened, desk):
    (desk.folder / "quay-blues.txt").write_text(BLUES, encoding="utf-8")
    (desk.folder / "alto.toml").write_text("[motion.second]\noctave_up = 1000\n", encoding="utf-8")
    page = opened("&chart=quay-blues.txt")
    page.click("#more summary")
    before = count(page)
    redrawn(page, lambda: page.select_option("[data-liberty=passing]", "20"))
    redrawn(page, lambda: page.select_option("[data-liberty=repeated]", "free"))
    assert count(page) > before
    redrawn(page, lambda: page.select_option("#manner", "alto.toml"))
    assert "--loose=passing:20,repeated --weights alto.toml" in page.text_content("#command")
    page.reload()
    ready(page)
    assert [page.input_value(f"[data-liberty={name}]") for name in ("passing", "repeated", "leaning")] == ["20", "free", ""]
    assert page.input_value("#manner") == "alto.toml"
    # A ladder is shown before it is handed out, and its sound is heard here.
    page.click("#ladder summary")
    page.wait_for_selector("#ladder li")
    assert page.locator("#ladder li").count() == 6 and "becomes" in page.locator("#ladder li").first.inner_text()
    for kind in ("sheet", "page"):
        page.uncheck(f"#what [value={kind}]")
    page.check("#what [value=playalong]")
    page.click("#hand-all")
    page.wait_for_selector("#sets audio", timeout=120_000)
    play = "document.querySelector('#sets audio').play().then(() => 'heard', problem => problem.name)"
    assert page.evaluate(play) == "heard"


@pytest.mark.alone
def test_bars_are_traded_and_left_to_the_student(opened, desk):
    (desk.folder / "quay-blues.txt").write_text(BLUES, encoding="utf-8")
    page = opened("&chart=quay-blues.txt")

    def bars(last):
        """The bars in which each part sounds, up to one."""
        page.evaluate("window.heard.length = 0")
        page.click("#play")
        until(page, f"window.heard.some(event => event.bar > {last})", timeout=60)
        page.click("#play")
        heard = [event for event in page.evaluate("window.heard") if event.get("bar", 99) <= last]
        return {part: {event["bar"] for event in heard if event["part"] == part} for part in ("bass", "comp", "time")}

    page.click("#hear summary")
    page.uncheck("#count-in")
    page.eval_on_selector("#tempo", "range => { range.value = 400; range.dispatchEvent(new Event('input')); }")
    page.select_option("#trade", "2")
    traded = bars(8)
    assert traded["bass"] == {1, 2, 5, 6} and traded["time"] == set(range(1, 9))
    # The chords are away in the student's bars but the last, which leads back.
    assert not traded["comp"] & {3, 7}
    page.select_option("#trade", "0")
    page.select_option("#silence", "2 4")
    assert bars(8)["time"] == {1, 2, 5, 6}


def test_two_windows_tell_of_one_another(opened, desk):
    (desk.folder / "shared.txt").write_text("Shared\nkey: F\nF7 | C7\n", encoding="utf-8")
    one, two = (opened("&chart=shared.txt") for _ in range(2))
    type_chart(one, "Shared\nkey: F\nF7 | D7\n")
    two.fill("#text", "Shared\nkey: F\nF7 | G7\n")
    two.wait_for_selector("#conflict:not([hidden])")
    assert "F7 | D7" in two.inner_text("#theirs")
    two.click("#keep-mine")
    until(two, "document.getElementById('saved').textContent.startsWith('Kept')")
    assert (desk.folder / "shared.txt").read_text(encoding="utf-8") == "Shared\nkey: F\nF7 | G7\n"


def test_titles_never_become_markup(opened, desk):
    title = "<img src=x onerror=hacked=1><script>window.hacked=1</script>"
    (desk.folder / "odd.txt").write_text(f"{title}\nkey: C\n[<b>A]\nC | F | G7 | C\n", encoding="utf-8")
    page = opened("&chart=odd.txt")
    assert page.inner_text("h1") == title and page.locator("h1 *, img, b#hacked").count() == 0
    assert page.evaluate("window.hacked") is None


def test_by_keyboard_alone(opened, desk):
    (desk.folder / "quay-blues.txt").write_text(BLUES, encoding="utf-8")
    page = opened("&chart=quay-blues.txt")
    page.locator(".note").first.focus()
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Enter")
    page.wait_for_selector(".slip")
    assert "bar 1, beat 2" in page.evaluate("document.activeElement.getAttribute('aria-label')")
    page.locator(".slip button").first.focus()
    redrawn(page, lambda: page.keyboard.press("Enter"))
    assert "d=keep" in page.url and page.locator(".note.kept").count() == 1
    page.keyboard.press("Escape")
    page.evaluate("document.activeElement.blur()")
    page.keyboard.press("Space")
    until(page, "document.getElementById('play').textContent === 'Stop'")
    page.keyboard.press("Space")


@pytest.mark.parametrize("width, scheme", [(390, "light"), (820, "dark"), (1280, "light"), (390, "dark")])
def test_nobody_is_kept_out(opened, desk, width, scheme, tmp_path):
    (desk.folder / "quay-blues.txt").write_text(BLUES.replace("Gm7", "gm7"), encoding="utf-8")
    page = opened("&chart=quay-blues.txt", width, scheme)
    (desk.folder / "quay-blues.txt").write_text(BLUES, encoding="utf-8")
    page.reload()
    ready(page)
    touch(page, 2, 2)
    for summary in page.locator("summary").all():
        summary.click()
    found = Axe().run(page, options={"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]})
    assert found.violations_count == 0, found.generate_report()
    # Nothing runs off the side of a phone.
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    # A thumb finds everything: 44 CSS pixels, as the WCAG's target size (enhanced) asks, 2.5.5.
    small = page.evaluate(
        """[...document.querySelectorAll('button, select, input:not([type=checkbox]):not([type=range]), label:has(input[type=checkbox]), summary, nav a')]
        .filter(element => element.checkVisibility())
        .map(element => [element.id || element.textContent || element.ariaLabel, element.getBoundingClientRect()])
        .filter(([, box]) => box.height < 43.5 || box.width < 43.5).map(([name, box]) => `${name} ${box.width}x${box.height}`)"""
    )
    assert small == []


def test_a_take_is_recorded_and_the_delay_measured(browser, desk, endpin, tmp_path):
    """A microphone that is a file, played over and over (a switch of Chromium)."""
    sound = tmp_path / "microphone.wav"
    endpin("write", "--bars", "F7 | Bb7 | F7 | F7", "--key", "F", "--tempo", 120, "-o", sound, "--mute", "comp", "--mute", "time")
    switches = ["--use-fake-ui-for-media-stream", "--use-fake-device-for-media-stream", f"--use-file-for-fake-audio-capture={sound}"]
    switches += ["--autoplay-policy=no-user-gesture-required", "--no-sandbox"]
    hearing = browser.browser_type.launch(executable_path=shutil.which("chromium") or shutil.which("google-chrome"), args=switches)
    page = hearing.new_page()
    page.add_init_script(LISTEN)
    complaints = []
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.on("console", lambda message: complaints.append(message.text))
    page.goto(desk.address)
    ready(page)
    type_chart(page, "Sea Wall\nkey: F\ntempo: 120\n\nF7 | Bb7 | F7 | F7\n")
    page.fill("#player-name", "Bo")
    page.click("#record")
    # The count and the four bars: twenty beats.
    until(page, "window.heard.filter(event => event.part === 'time').length > 16", timeout=60)
    assert page.get_attribute("#record", "aria-pressed") == "true" and page.inner_text("#judged").startswith("Recording.")
    assert not page.is_checked("[data-part=bass]"), "the student plays the bass"
    page.click("#record")
    page.wait_for_selector("#verdict a", timeout=60_000)
    assert re.match(r"recording.wav: \d\d notes", page.inner_text("#judged"))
    assert (desk.folder / "handed-out/sea-wall-bo-verdict.html").exists()

    # Claps that fall with no click are not taken for a delay; one that was measured is kept.
    page.click("#clap")
    until(page, "document.getElementById('delay').textContent.startsWith('The delay')")
    page.evaluate("localStorage.setItem('endpin delay', 0.143)")
    page.reload()
    ready(page)
    assert "143 milliseconds" in page.inner_text("#delay")
    assert complaints == []
    hearing.close()

"""The pages of an ear set in a real browser: heard, answered by keyboard, judged; nothing loaded."""

import json
import subprocess

import pytest
from axe_playwright_python.sync_playwright import Axe

from conftest import ROOT

LOUDEST = """async () => {
  const ear = new AnalyserNode(band.context, { fftSize: 2048 });
  band.master.connect(ear);
  const samples = new Float32Array(ear.fftSize);
  let loudest = 0;
  for (let i = 0; i < 60; i++) {
    await new Promise(done => setTimeout(done, 25));
    ear.getFloatTimeDomainData(samples);
    loudest = Math.max(loudest, ...samples.map(Math.abs));
  }
  return loudest;
}"""


@pytest.fixture(scope="module")
def pages(endpin, tmp_path_factory):
    folder = tmp_path_factory.mktemp("pages")
    endpin("ear", ROOT / "scenarios/breakwater-blues.toml", "--count", 40, "-o", folder)
    return folder


@pytest.fixture
def opened(browser, pages):
    """Opens a page of the set; at the end nothing was loaded besides and nothing went wrong."""
    trouble, loaded, contexts = [], [], []

    def show(name, **view):
        context = browser.new_context(**view)
        contexts.append(context)
        page = context.new_page()
        page.on("console", lambda message: trouble.append(message.text) if message.type == "error" else None)
        page.on("pageerror", lambda error: trouble.append(str(error)))
        page.on("request", lambda request: loaded.append(request.url))
        page.goto((pages / name).as_uri())
        return page

    yield show
    assert not trouble
    assert all(url.startswith("file:") and url.endswith(".html") for url in loaded), loaded
    for context in contexts:
        context.close()


def test_a_question_is_heard_and_answered_with_the_keyboard(opened):
    page = opened("questions.html")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.dataset.play") == "0"
    page.keyboard.press("Enter")
    assert page.locator("#status").text_content() == "Playing question 1"
    assert page.evaluate(LOUDEST) > 0.05
    page.keyboard.press("Enter")
    assert page.locator("#status").text_content() == ""
    page.keyboard.press("Tab")
    page.keyboard.press("Space")
    assert page.locator("input:checked").count() == 1


def test_the_learners_page_holds_no_answer(pages):
    page = (pages / "questions.html").read_text()
    script = page.index("<script>")
    assert "data-answer" not in page[:script] and "data-why" not in page[:script]


def test_answers_are_kept_and_handed_in(opened, pages, endpin, tmp_path):
    key = json.loads((pages / "answers.json").read_text())["items"]
    page = opened("questions.html")
    items = page.locator(".item")
    # All right but three: one wrong, two left out.
    for index, item in enumerate(key[:-2]):
        if items.nth(index).locator("input[type=text]").count():
            items.nth(index).locator("input").fill(item["answer"])
            continue
        values = items.nth(index).locator("input").evaluate_all("all => all.map(field => field.value)")
        given = item["answer"] if index else next(value for value in values if value != item["answer"])
        items.nth(index).locator(f"input[value='{given}']").check()
    page.fill("#name", "Ada Ö.")
    page.reload()
    assert page.text_content("#answered") == "38 of 40 answered" and page.input_value("#name") == "Ada Ö."
    with page.expect_download() as download:
        page.click("#save")
    assert download.value.suggested_filename == "ada-ö-given.json"
    download.value.save_as(tmp_path / "ada.json")
    page.click("#code")
    (tmp_path / "code.txt").write_text(page.input_value("#copy"))
    marks = json.loads(endpin("ear", "--mark", pages, tmp_path / "ada.json", tmp_path / "code.txt", "--json"))
    assert marks["format"] == "endpin-marks/1" and marks["marks"][0] == marks["marks"][1]
    mark = marks["marks"][0]
    assert (mark["name"], mark["right"], mark["of"], mark["answered"]) == ("Ada Ö.", 37, 40, 38)
    assert [missed["number"] for missed in mark["missed"]] == [1, 39, 40]
    text = endpin("ear", "--mark", pages, tmp_path / "ada.json").decode()
    assert text.startswith("Ada Ö.: 37 of 40 right, 2 not answered\n") and "hear next: " in text


def test_answers_of_another_set_are_not_marked(pages, program, tmp_path):
    answers = tmp_path / "other.json"
    answers.write_text('{"format": "endpin-given/1", "set": "0", "name": "", "given": []}')
    for file, told in [(answers, "another set"), (pages / "answers.json", "not answers"), (tmp_path, "folder")]:
        done = subprocess.run([program, "ear", "--mark", pages, file], capture_output=True, text=True, timeout=60)
        assert done.returncode == 2 and told in done.stderr and done.stderr.count("\n") == 1, done.stderr


def test_the_answers_page_judges_and_tells_why(opened):
    page = opened("answers.html")
    item = page.locator(".item", has=page.locator("input")).first
    right = item.get_attribute("data-answer")
    wrong = next(v for v in item.locator("input").evaluate_all("all => all.map(i => i.value)") if v != right)
    result = item.locator(".result")
    item.locator(f"input[value='{wrong}']").check()
    assert result.text_content().startswith("No: it is ")
    item.locator(f"input[value='{right}']").check()
    assert result.text_content().startswith("Right: ")
    assert item.get_attribute("data-why") in result.text_content()


def test_a_dictation_is_revealed_note_by_note(opened):
    page = opened("answers.html")
    item = page.locator(".item", has=page.locator("[data-do=reveal]")).first
    notes = item.get_attribute("data-answer").split()
    for shown in range(1, len(notes) + 1):
        item.locator("[data-do=reveal]").click()
        assert item.locator(".result").text_content().startswith(" ".join(notes[:shown]))


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("name", ["questions.html", "answers.html"])
def test_the_pages_keep_nobody_out_and_fit_a_phone(opened, name, scheme):
    page = opened(name, color_scheme=scheme, viewport={"width": 360, "height": 740})
    # Text that is skipped while it is out of sight has no colours to compare.
    page.add_style_tag(content=".item { content-visibility: visible !important; }")
    if name == "answers.html":
        for button in page.locator("[data-do]").all():
            button.click()
    found = Axe().run(page, options={"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]})
    assert found.violations_count == 0, found.generate_report()
    assert page.evaluate("document.documentElement.scrollWidth") <= 360

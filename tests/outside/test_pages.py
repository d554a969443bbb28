"""What every page that is handed out has in common, in a real browser: one design, nothing loaded, nothing that keeps
anyone out (axe-core's rules of WCAG 2.2 AA), targets of 44 px (Apple's Human Interface Guidelines, from memory), what
it is about in view on opening, on phones and tablets, in light and dark."""

import json

import pytest
from axe_playwright_python.sync_playwright import Axe

from conftest import ROOT
from desk_server import Desk

CHART = ROOT / "scenarios/breakwater-blues.toml"
WINDOWS = [(390, 844), (844, 390), (820, 1180), (1280, 900)]
WCAG = {"runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}}
# What is to be in view on opening.
FIRST = {
    "practice": ".music svg.staff .st",
    "questions": "button[data-play]",
    # What it comes to, before the line of which it is said.
    "verdict": "h2 + ul li",
    "class": "li a",
}
LOOK = """() => {
  const of = element => getComputedStyle(element), body = of(document.body), head = of(document.querySelector('h1'));
  const tokens = ['--paper', '--card', '--ink', '--quiet', '--accent', '--on-accent', '--touch']
    .map(name => of(document.documentElement).getPropertyValue(name).trim());
  return [tokens, body.fontFamily, body.fontSize, body.lineHeight, body.color, body.backgroundColor,
    head.fontSize, head.fontWeight, head.lineHeight, of(document.documentElement).colorScheme,
    document.fonts.check('16px Literata')];
}"""
SMALL = """() => [...document.querySelectorAll('main button, #controls button, a[href], select, input, summary')]
  .map(element => [element, (element.closest('label') ?? element).getBoundingClientRect()])
  .filter(([element, box]) => element.checkVisibility() && box.width > 0 && (box.height < 43.5 || box.width < 43.5))
  .map(([element, box]) => `${element.outerHTML.slice(0, 80)} ${box.width}x${box.height}`)"""


@pytest.fixture(scope="module")
def pages(endpin, program, tmp_path_factory):
    folder = tmp_path_factory.mktemp("pages")
    made = {name: folder / f"{name}.html" for name in ("practice", "verdict")}
    endpin("sheet", CHART, "-o", made["practice"], "--choruses", 2)
    endpin("write", CHART, "-o", folder / "take.mid", "--seed", 5)
    endpin("check", CHART, folder / "take.mid", "-o", made["verdict"])
    endpin("ear", CHART, "--count", 4, "-o", folder / "set")
    made["questions"] = folder / "set/questions.html"
    desk = Desk(program, folder / "desk")
    try:
        desk.ask("/class", {"text": "Ada\nBo: key Bb, level 3\n"})
        line = {"text": CHART.read_text(), "seed": 1, "level": 4}
        asked = {"line": line, "choruses": 1, "what": ["sheet", "page"], "class": True}
        links = desk.ask("/hand-out", asked)["links"]
    finally:
        desk.end()
    made["class"] = next((folder / "desk").rglob(links))
    return made


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_all_pages_are_of_one_design(browser, pages, scheme):
    looks = {}
    for name, file in pages.items():
        context = browser.new_context(viewport={"width": 390, "height": 844}, color_scheme=scheme)
        page = context.new_page()
        page.goto(file.as_uri())
        page.wait_for_function("document.fonts.status === 'loaded'")
        looks[name] = json.dumps(page.evaluate(LOOK))
        context.close()
    assert len(set(looks.values())) == 1, looks


@pytest.mark.parametrize("name", FIRST)
def test_a_page_opens_on_what_it_is_about_for_everyone(browser, pages, name):
    trouble = []
    for width, height in WINDOWS:
        for scheme in ("light", "dark"):
            view = f"{width}x{height} {scheme}"
            context = browser.new_context(viewport={"width": width, "height": height}, color_scheme=scheme)
            page = context.new_page()
            page.on("request", lambda request: trouble.append(request.url) if "pages" not in request.url else None)
            page.on("pageerror", lambda error: trouble.append(str(error)))
            page.goto(pages[name].as_uri())
            first = page.locator(FIRST[name]).first
            box = first.bounding_box()
            assert box["y"] >= 0 and box["y"] + box["height"] <= height, (view, box)
            if name == "verdict" and height > 600:
                staff = page.locator(".music svg.staff .st").first.bounding_box()
                assert staff["y"] + staff["height"] <= height, (view, staff)
            # It is what is seen there: no bar of controls lies over it.
            hit = page.evaluate(
                "([x, y]) => !document.elementFromPoint(x, y)?.closest('#controls, #status')",
                [box["x"] + box["width"] / 2, box["y"] + box["height"] / 2],
            )
            assert hit, view
            assert page.evaluate("document.documentElement.scrollWidth") <= width, view
            assert page.evaluate(SMALL) == [], view
            found = Axe().run(page, options=WCAG).response["violations"]
            assert [(fault["id"], fault["nodes"][0]["html"][:120]) for fault in found] == [], view
            context.close()
    assert trouble == []

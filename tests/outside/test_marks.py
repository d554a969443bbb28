"""The marks: paper, practice page, verdict, terminal and notation tell the same promises and keepings.

A reader of marks is written here from the legend alone, without our code: what it makes of the pictures and
texts, as other people's libraries read them, must be the `role` and the `approach` of the report. Ropes are
counted by their strands and posts found by their shapes, in SVG (Chromium) and PDF (PyMuPDF) alike."""

import json
import re
from dataclasses import dataclass

import music21
import pymupdf
import pytest
from axe_playwright_python.sync_playwright import Axe
from lxml import etree

from conftest import ROOT

TONES = {"1": "root", "3": "third", "4": "fourth", "5": "fifth", "6": "sixth", "7": "seventh"}
FIGURE = re.compile(r"\(?(\[[b#]*\d+\]|[b#]*\d+|/|\?)\)?")
CASES = [
    ("breakwater-blues", 4, 1),
    ("breakwater-blues", 6, 4),
    ("breakwater-blues", 5, 9),
    ("lamp-room-letter", 5, 2),
    ("pilot-boat-waltz", 4, 3),
    ("foghorn-point", 5, 1),
    ("four-winds-ledger", 6, 1),
    ("night-ferry-to-skerrow", 1, 1),
]
CASES = [pytest.param(*case, id="-".join(map(str, case))) for case in CASES]


@dataclass
class Seen:
    """A mark as seen: the figure with its brackets, the strands of its rope, whether a post stands there."""

    figure: str
    rope: str = ""
    post: bool = False


def read(seen, keys):
    """Role, approach and ghost of each note, from what the legend says of its mark and from the pitches."""
    found, pair = [], None
    for index, mark in enumerate(seen):
        lead = None
        if mark.rope:
            if pair and pair[0] == index:
                lead, pair = pair[1], None
            elif index + 2 < len(seen) and not seen[index + 1].post:
                # The rope goes on from the next figure: two notes make one promise.
                assert seen[index + 1].rope, (index, mark, seen[index + 1])
                goal = keys[index + 2]
                same_side = (keys[index] - goal) * (keys[index + 1] - goal) > 0
                lead = "double-chromatic" if same_side else "enclosure"
                pair = index + 1, lead
            elif mark.rope == ".":
                lead = "dominant"
            else:
                side = "below" if keys[index] < keys[index + 1] else "above"
                lead = f"{'chromatic' if mark.rope == '_' else 'scale'}-{side}"
        figure = mark.figure
        ghost = figure.startswith("(")
        figure = figure.strip("()")
        if figure.startswith("["):
            role, approach = lead or "scale", None
        elif figure == "/":
            role, approach = "bass", lead
        else:
            role, approach = TONES[figure.lstrip("b#")], lead
        found.append((role, approach, ghost))
    return found


def told(report):
    return [(note["role"], note["approach"], note.get("ghost", False)) for note in report["notes"]]


def keys_of(report):
    return [note["midi"] for note in report["notes"]]


def kept(report):
    """Where a promise is kept: after every approach, save the first of two that make one promise."""
    notes, posts, pair = report["notes"], set(), None
    for index, note in enumerate(notes):
        lead = note["approach"] or (note["role"] if note["role"] not in {*TONES.values(), "bass", "scale"} else None)
        if lead in ("double-chromatic", "enclosure") and pair != index:
            pair = index + 1
        elif lead:
            posts.add(index + 1)
    return [index in posts for index in range(len(notes))]


def in_text(text):
    """Marks in the text of `explain` and `check`: names in one row, marks in the next, figures under names."""
    rows = text.splitlines()
    seen = []
    for number, row in enumerate(rows):
        if not re.match(r" {0,3}\d+ \S", row) or rows[number + 1].strip() == "rest":
            continue
        names, marks = rows[number + 1], rows[number + 2].ljust(200)
        for name in re.finditer(r"\S+", names):
            column = name.start()
            figure = FIGURE.match(marks, column)
            rope = marks[figure.end()]
            seen.append(Seen(figure[0], rope if rope in "_=." else "", marks[column - 1] == "|"))
    return seen


# Every drawn note of a page: its figure, the middle of it, and the outlines drawn for its mark.
DRAWN = """within => [...document.querySelectorAll(within + ' .bar .n')].flatMap(note => {
  const text = note.querySelector('.m text');
  if (!text) return [];
  const box = text.getBBox(), paths = [...note.querySelectorAll('.m path')].map(path => path.getAttribute('d'));
  return [{ figure: text.textContent, middle: box.x + box.width / 2, drawn: paths.join('') }];
})"""


def strands(drawn, middle):
    """What is drawn for a mark in SVG: a rope that begins right of the middle of the figure, a post, underlines."""
    bows = dots = 0
    post, lines, slants = False, 0, 0
    for part in re.findall(r"M[^M]*", drawn):
        x = float(re.match(r"M(-?[\d.]+)", part)[1])
        box = re.match(r"M-?[\d.]+ -?[\d.]+h([\d.]+)v([\d.]+)h", part)
        if "q" in part:
            bows += x > middle - 0.2
        elif box and float(box[1]) == float(box[2]):
            dots += x > middle - 0.2
        elif box and float(box[2]) > 1:
            post = True
        elif box:
            lines += 1
        else:
            slants += 1
    rope = "." if dots else {0: "", 1: "_", 2: "="}[bows]
    grade = {(0, 0): "good", (1, 0): "choice", (3, 0): "unusual", (1, 2): "wrong"}[lines, slants]
    return rope, post, grade


def on_page(page, within=""):
    page.evaluate("document.fonts.ready.then(() => null)")
    notes = page.evaluate(DRAWN, within)
    seen, grades = [], []
    for note in notes:
        rope, post, grade = strands(note["drawn"], note["middle"])
        seen.append(Seen(note["figure"], rope, post))
        grades.append(grade)
    return seen, grades


def in_words(words):
    """Role, approach, ghost and post of each note of a bar in words, as a screen reader says it."""
    found = []
    for note in words.split(": ", 1)[1].rstrip(".").split("; "):
        if note == "rest":
            continue
        said = note.split(", ", 1)[1]
        ghost = said.startswith("ghost ")
        said = said.removeprefix("ghost ")
        part, *rest = said.split(", ")
        lead = None
        if "promises as dominant" in rest:
            lead = "dominant"
        for step in re.findall(r"promises a (half|whole) step (up|down)", said):
            kind = "chromatic" if step[0] == "half" else "scale"
            lead = f"{kind}-{'below' if step[1] == 'up' else 'above'}"
        if "one of two in a row" in rest:
            lead = "double-chromatic"
        if "one of two on either side" in rest:
            lead = "enclosure"
        if part == "approach":
            role, approach = lead, None
        else:
            role, approach = {"scale note": "scale", "written bass": "bass"}.get(part, part), lead
        found.append((role, approach, ghost, "keeps it" in rest))
    return found


def in_notation(document):
    """Marks in the lyrics of MusicXML, as music21 reads them; a promise and its keeping are one word."""
    score = music21.converter.parseData(document, format="musicxml")
    seen, syllables = [], []
    for note in score.parts[0].recurse().getElementsByClass(music21.note.Note):
        for lyric in note.lyrics:
            figure = FIGURE.search(lyric.text)
            seen.append(Seen(figure[0], lyric.text[figure.end() :], lyric.text.startswith("|")))
            syllables.append(lyric.syllabic)
    return seen, syllables


# A staff space of 1.9 mm in points; an em of a figure is 1.75 of them.
SPACE = 1.9 * 72 / 25.4


def in_print(file):
    """Marks in a PDF, as PyMuPDF reads it: figures by the size of their type, ropes and posts by their shapes."""
    seen, sizes = [], []
    with pymupdf.open(file) as document:
        for page in document:
            spans = [
                span
                for block in page.get_text("dict")["blocks"]
                for line in block.get("lines", [])
                for span in line["spans"]
                if abs(span["size"] - 1.75 * SPACE) < 0.01 and FIGURE.fullmatch(span["text"].strip())
            ]
            shapes = page.get_drawings()
            for span in sorted(spans, key=lambda span: (round(span["origin"][1]), span["origin"][0])):
                middle, baseline = (span["bbox"][0] + span["bbox"][2]) / 2, span["origin"][1]
                bows = dots = 0
                post = False
                for shape in shapes:
                    box = shape["rect"]
                    if not 0 < (box.y0 - baseline) / SPACE < 2.5:
                        continue
                    right = (box.x0 - middle) / SPACE
                    if any(item[0] == "c" for item in shape["items"]):
                        bows += -0.1 < right < 0.5
                    elif box.height > SPACE:
                        post |= abs((box.x0 + box.x1) / 2 - middle) < 0.3 * SPACE
                    elif abs(box.width - box.height) < 0.1:
                        dots += 0 < right < 1
                seen.append(Seen(span["text"].strip(), "." if dots else {0: "", 1: "_", 2: "="}[bows], post))
                sizes.append(span["size"])
                assert shapes and all(set(shape["fill"] or shape["color"]) == {0} for shape in shapes)
    return seen, sizes


def options(name, level, seed):
    return [ROOT / f"scenarios/{name}.toml", "--choruses", 1, "--level", level, "--seed", seed]


def check(seen, report):
    assert read(seen, keys_of(report)) == told(report)
    assert [mark.post for mark in seen] == kept(report)


@pytest.mark.parametrize("name, level, seed", CASES)
def test_terminal_notation_and_paper(endpin, report, tmp_path, name, level, seed):
    chosen = options(name, level, seed)
    said = report(*chosen)
    check(in_text(endpin("explain", *chosen).decode()), said)
    seen, syllables = in_notation(endpin("sheet", *chosen, "--marks", "-o", "-"))
    check(seen, said)
    for mark, syllable in zip(seen, syllables):
        assert (syllable in ("begin", "middle")) == bool(mark.rope), (mark, syllable)
        assert mark.post <= (syllable in ("middle", "end"))
    pdf, svg = tmp_path / "line.pdf", tmp_path / "line.svg"
    endpin("sheet", *chosen, "--marks", "-o", pdf)
    seen, sizes = in_print(pdf)
    check(seen, said)
    # On paper, black and no smaller than 8 points.
    assert min(sizes) >= 8
    endpin("sheet", *chosen, "--marks", "-o", svg)
    drawing = etree.parse(svg).getroot()
    inked = drawing.iter("{*}path", "{*}use", "{*}g")
    assert {node.get(name) for node in inked for name in ("fill", "stroke")} <= {None, "none", "currentColor"}
    words = drawing.findtext("{*}desc")
    heard = [note for line in words.splitlines() if ": " in line for note in in_words(line)]
    assert [note[:3] for note in heard] == told(said)
    assert [note[3] for note in heard] == kept(said)


@pytest.mark.parametrize("name, level, seed", CASES)
def test_practice_page_at_desk_and_phone(browser, endpin, report, tmp_path, name, level, seed):
    chosen, file = options(name, level, seed), tmp_path / "line.html"
    said = report(*chosen)
    endpin("sheet", *chosen, "-o", file)
    for width, scheme in ((360, "dark"), (1200, "light")):
        page = browser.new_page(viewport={"width": width, "height": 800}, color_scheme=scheme)
        page.goto(file.as_uri())
        page.wait_for_selector("body[data-ready]")
        seen, _ = on_page(page)
        check(seen, said)
        labels = page.locator(".bar").evaluate_all("bars => bars.map(bar => bar.ariaLabel)")
        heard = [note for label in labels for note in in_words(label)]
        assert [note[:3] for note in heard] == told(said)
        is_black_and_readable(page, 11)
        page.close()


def is_black_and_readable(page, least):
    """Notes and marks are black on white, whatever the scheme; an em of a figure has that many pixels or more."""
    colours = page.evaluate(
        """() => [...new Set([...document.querySelectorAll('.bar svg.staff *')].flatMap(shape => {
          const style = getComputedStyle(shape);
          return [style.fill, style.stroke, style.color, style.opacity < .6];
        }))]"""
    )
    assert set(map(str, colours)) == {"rgb(0, 0, 0)", "none", "False"}
    ground = page.evaluate(
        """() => { let node = document.querySelector('.music');
          while (getComputedStyle(node).backgroundColor === 'rgba(0, 0, 0, 0)') node = node.parentElement;
          return getComputedStyle(node).backgroundColor; }"""
    )
    assert ground == "rgb(255, 255, 255)"
    pixels = page.evaluate(
        """() => { const svg = document.querySelector('.bar svg.staff');
          return 1.75 * svg.getBoundingClientRect().width / svg.viewBox.baseVal.width; }"""
    )
    assert pixels >= least


@pytest.fixture(scope="module")
def takes(endpin, tmp_path_factory):
    """A line of our own as a take, and one that misses the changes."""
    folder = tmp_path_factory.mktemp("takes")
    chart, bass = ROOT / "scenarios/breakwater-blues.toml", ["--mute", "comp", "--mute", "time"]
    endpin("write", chart, "--choruses", 1, *bass, "-o", folder / "own.mid")
    plain = "F7|Bb7|F7|%|Bb7|%|F7|%|C7|Bb7|F7|C7"
    endpin("write", "--bars", plain, "--key", "F", "--tempo", 138, "--seed", 9, *bass, "-o", folder / "other.mid")
    return chart, folder


def test_a_verdict_marks_a_line_as_the_line_is_marked(browser, endpin, report, takes, tmp_path):
    chart, folder = takes
    said = report(chart, "--choruses", 1)
    take, file = folder / "own.mid", tmp_path / "verdict.html"
    judged = json.loads(endpin("check", chart, take, "--json"))
    assert told(judged) == told(said)
    text = endpin("check", chart, take).decode()
    # The ending stands in words.
    assert re.search(r"ending: F\d, good", text)
    check([*in_text(text), Seen("1", post=True)], judged)
    endpin("check", chart, take, "-o", file)
    for width in (360, 1200):
        page = browser.new_page(viewport={"width": width, "height": 800})
        page.goto(file.as_uri())
        seen, grades = on_page(page)
        check(seen, said)
        assert set(grades) == {"good"}
        page.close()


@pytest.mark.parametrize("width, scheme", [(360, "light"), (1200, "dark")])
def test_a_verdict_tells_grades_by_lines_and_in_words(browser, endpin, takes, tmp_path, width, scheme):
    chart, folder = takes
    file = tmp_path / "verdict.html"
    endpin("check", chart, folder / "other.mid", "-o", file)
    text = endpin("check", chart, folder / "other.mid").decode()
    judged = json.loads(endpin("check", chart, folder / "other.mid", "--json"))
    page = browser.new_page(viewport={"width": width, "height": 800}, color_scheme=scheme)
    asked = []
    page.on("request", lambda request: asked.append(request.url))
    page.goto(file.as_uri())
    seen, grades = on_page(page)
    assert len(seen) == len(judged["notes"])
    good = [not note["rules_broken"] for note in judged["notes"]]
    assert [grade == "good" for grade in grades] == good and {"choice", "unusual", "wrong"} <= set(grades)
    # The same grades as words on the page, and as lines of text.
    words = page.locator(".reasons b:first-child").all_inner_texts()
    assert words == [grade for grade in grades if grade != "good"]
    shapes = {"-----": "choice", "- - -": "unusual", "--x--": "wrong"}
    rows = [row for row in text.splitlines() if re.fullmatch(r"[-x ]*-[-x ]*", row)]
    lines = [shapes[line] for row in rows for line in re.findall(r"--x--|-----|- - -", row)]
    assert lines == words
    # Sentences and the line stand before any figure about it.
    titles = page.locator("h2").all_inner_texts()
    assert titles.index("What to work on") < titles.index("The line") < titles.index("Tempo")
    is_black_and_readable(page, 11)
    found = Axe().run(page, options={"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]})
    assert found.violations_count == 0, found.generate_report()
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert asked == [file.as_uri()]
    page.close()


def test_the_legend_is_two_lines(browser, endpin, tmp_path):
    chosen = options("breakwater-blues", 4, 1)
    legend = endpin("explain", *chosen).decode().splitlines()[-2:]
    assert all(40 < len(line) <= 80 for line in legend)
    pdf, html = tmp_path / "line.pdf", tmp_path / "line.html"
    endpin("sheet", *chosen, "--marks", "-o", pdf)
    endpin("sheet", *chosen, "-o", html)
    with pymupdf.open(pdf) as document:
        assert set(legend) <= {line.strip() for line in document[0].get_text().splitlines()}
    page = browser.new_page(viewport={"width": 1200, "height": 800})
    page.goto(html.as_uri())
    assert page.locator("#legend p").all_inner_texts() == legend
    page.close()

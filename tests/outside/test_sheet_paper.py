"""Pages for print, read by PyMuPDF: what a reader of PDF finds is what was written, in embedded fonts, on
paper of the right size; and the pictures are XML that lxml reads."""

import re
import subprocess
from pathlib import Path

import pymupdf
import pytest
from lxml import etree

ROOT = Path(__file__).resolve().parents[2]
CHART = ROOT / "scenarios/breakwater-blues.toml"
# Points: ISO 216 A4 is 210 by 297 mm, ANSI A (Letter) 8.5 by 11 inches.
PAPERS = {"a4": (595.3, 841.9), "letter": (612, 792)}


@pytest.mark.parametrize("paper", PAPERS)
def test_pages_of_a_line(endpin, tmp_path, paper):
    file = tmp_path / "blues.pdf"
    endpin("sheet", CHART, "-o", file, "--marks", "--tab", "--choruses", 3, "--paper", paper)
    with pymupdf.open(file) as document:
        assert document.metadata["title"] == "Breakwater Blues"
        text = ""
        for page in document:
            assert tuple(page.rect.br) == pytest.approx(PAPERS[paper], abs=0.2)
            text += page.get_text()
            for number, kind, _, name, *_ in page.get_fonts():
                # An embedded file of TrueType, and no other font.
                assert kind == "ttf" and document.extract_font(number)[3], name
        assert "Breakwater Blues" in text and "Chorus 3" in text
        # Every note shows its figure, and no bar goes missing: 36 bars and the ending.
        assert text.count("1\n") >= 36
        numbers = {line for line in text.splitlines() if line.isdigit()}
        assert {"1", "5", "9"} <= numbers
    assert endpin("sheet", CHART, "--format", "pdf", "-o", "-") == endpin(
        "sheet", CHART, "--format", "pdf", "-o", "-"
    )


def test_the_picture_has_a_page_for_each_page(endpin, tmp_path):
    svg, pdf = tmp_path / "blues.svg", tmp_path / "blues.pdf"
    for file in (svg, pdf):
        endpin("sheet", CHART, "-o", file, "--choruses", 4)
    tree = etree.parse(svg).getroot()
    pages = tree.findall("{http://www.w3.org/2000/svg}g")
    with pymupdf.open(pdf) as document:
        assert len(pages) == len(document) >= 2
    # Words are outlines: nothing depends on the fonts of the reader.
    assert not tree.findall(".//{http://www.w3.org/2000/svg}text")


@pytest.mark.parametrize("options", [[], ["--tab", "--level", 6], ["--level", 3, "--paper", "letter"]])
@pytest.mark.parametrize("chart", ["breakwater-blues", "herring-count", "pilot-boat-waltz"])
def test_a_lesson_has_four_pages_and_its_answers_a_file_of_their_own(endpin, tmp_path, chart, options):
    file = tmp_path / "lesson.pdf"
    chart = ROOT / f"scenarios/{chart}.toml"
    head = "Week 3: ways into the fourth degree"
    endpin("sheet", chart, "--lesson", "-o", file, "--head", head, *options)
    with pymupdf.open(file) as lesson, pymupdf.open(tmp_path / "lesson-answers.pdf") as key:
        texts = [page.get_text() for page in lesson]
        answers = "".join(page.get_text() for page in key)
        # The lowest ink of a page stands in its last third: pages are filled.
        for page in lesson.pages(1):
            lowest = max(drawing["rect"].y1 for drawing in page.get_drawings())
            assert lowest > page.rect.height * 2 / 3, page.number
    assert len(texts) == 4
    assert head in texts[0] and "Name" in texts[0] and head in answers
    level = options[options.index("--level") + 1] if "--level" in options else 4
    for number, text in enumerate(texts[1:], level - 2):
        assert f"(level {number})" in text and text.count("Exercise") >= 2
    exercises = [line for text in texts for line in text.splitlines() if line.startswith("Exercise")]
    answered = [line for line in answers.splitlines() if line.startswith("Exercise")]
    assert exercises == answered == [f"Exercise {n}" for n in range(1, len(exercises) + 1)]


def test_both_files_of_a_lesson_are_spared_or_written(endpin, tmp_path):
    lesson, answers = tmp_path / "lesson.pdf", tmp_path / "lesson-answers.pdf"
    answers.write_text("the teacher's own")
    endpin("sheet", CHART, "--lesson", "-o", lesson, code=2)
    assert answers.read_text() == "the teacher's own" and not lesson.exists()
    endpin("sheet", CHART, "--lesson", "-o", lesson, "--replace")
    endpin("sheet", CHART, "--lesson", "-o", lesson, "--level", 2)
    # A stream has no place beside it.
    endpin("sheet", CHART, "--lesson", "-o", "-", code=2)
    out = endpin("sheet", CHART, "--lesson", "-o", "-", "--level", 2, "--answers", answers)
    assert out == lesson.read_bytes()
    for wrong in (["--answers", lesson], ["--marks"], ["--changes", 2], ["--report", answers]):
        endpin("sheet", CHART, "--lesson", "-o", lesson, *wrong, code=2)


# Staves in millimetres: those of a stand are 7 to 8 (E. Gould, Behind Bars, 2011, from memory).
SIZES = {"small": 6.6, "stand": 7.6, "large": 9.2}
SVG = "{http://www.w3.org/2000/svg}"


@pytest.mark.parametrize("size", SIZES)
def test_staves_have_the_size_that_was_asked_for(endpin, tmp_path, size):
    file = tmp_path / "blues.pdf"
    endpin("sheet", CHART, "-o", file, "--tab", "--fingering", "--size", size, "--by", "Ж. Αλφα")
    with pymupdf.open(file) as document:
        tall = [
            path["rect"].height
            for path in document[0].get_drawings()
            # Staff lines: full width, and next to no height.
            if path["rect"].width > 60 and path["rect"].height < 100
        ]
        assert tall
        lines = sorted(
            {
                round(item[1].y0, 2)
                for path in document[0].get_drawings()
                for item in path["items"]
                if item[0] == "re" and item[1].width > 60 and item[1].height < 1
            }
        )
        assert (lines[4] - lines[0]) * 25.4 / 72 == pytest.approx(SIZES[size], abs=0.05)
        text = document[0].get_text()
        # Letters beyond Latin are found again, and the flat of a key.
        assert "Ж. Αλφα" in text
        if size != "small":
            sizes = [
                span["size"]
                for block in document[0].get_text("dict")["blocks"]
                for line in block.get("lines", [])
                for span in line["spans"]
            ]
            # Nothing to read is smaller than 8 points on a stand.
            assert min(sizes) >= 8


def test_pages_after_the_first_have_a_running_head(endpin, tmp_path):
    file = tmp_path / "blues.pdf"
    endpin("sheet", CHART, "-o", file, "--tab", "--choruses", 5)
    with pymupdf.open(file) as document:
        assert len(document) > 2
        for number, page in enumerate(document, 1):
            above = page.get_text(clip=(0, 0, 600, 40))
            assert ("Breakwater Blues" in above) == (number > 1)
            assert (f"{number} / {len(document)}" in above) == (number > 1)
        # The tempo is said once.
        text = "".join(page.get_text() for page in document)
        assert text.count("= 138") == 1


def test_letters_that_are_missing_are_named(program, tmp_path):
    chart = CHART.read_text(encoding="utf-8").replace("Breakwater Blues", "海 B♭ Øl")
    (tmp_path / "chart.toml").write_text(chart, encoding="utf-8")
    done = subprocess.run(
        [program, "sheet", tmp_path / "chart.toml", "-o", tmp_path / "a.pdf"], capture_output=True
    )
    said = done.stderr.decode()
    assert done.returncode == 0 and "no letters on paper for 海:" in said
    with pymupdf.open(tmp_path / "a.pdf") as document:
        assert "B♭ Øl" in document[0].get_text()


def test_notes_are_read_back_from_the_picture(endpin, report, tmp_path):
    """Each note is a group of its own, and the height of its head on the staff is its pitch."""
    file = tmp_path / "blues.svg"
    endpin("sheet", CHART, "-o", file, "--choruses", 1, "--seed", 5)
    tree = etree.parse(file).getroot()
    page = tree.find(f"{SVG}g")
    lines = []
    for path in page.iterfind(f".//{SVG}g[@class='st']/{SVG}path"):
        lines += [float(y) for y in re.findall(r"M[-\d.]+ ([-\d.]+)h", path.get("d"))]
    # Five lines of each staff, from the top down; rectangles begin at their upper edge.
    heights = sorted(set(lines))
    middles = [heights[index] + 0.055 for index in range(2, len(heights), 5)]
    notes = {}
    for group in page.iterfind(f".//{SVG}g[@class='n']"):
        y = float(re.search(r"translate\([-\d.]+ ([-\d.]+)\)", group.get("transform")).group(1))
        middle = min(middles, key=lambda middle: abs(middle - y))
        # The middle line is D3 as written, an octave above its sound.
        notes[int(group.get("data-n"))] = 7 * 2 + 1 - round((y - middle) * 2)
    told = report(CHART, "--choruses", 1, "--seed", 5)
    pitches = [note["name"] for note in told["notes"]]
    steps = ["CDEFGAB".index(pitch[0]) + 7 * int(pitch[-1]) for pitch in pitches]
    assert len(steps) >= 48
    assert [notes[index] for index in range(len(steps))] == steps


def test_what_makes_no_sense_is_said(endpin, tmp_path):
    for arguments in (
        ["-o", tmp_path / "line.txt"],
        ["-o", tmp_path / "line"],
        ["-o", tmp_path / "line.pdf", "--with-comp"],
        ["-o", tmp_path / "line.html", "--lesson"],
        ["-o", tmp_path / "line.pdf", "--tab", "--lowest", "E0", "--highest", "G1"],
        ["-o", tmp_path / "line.html", "--choruses", 5000],
    ):
        endpin("sheet", CHART, *arguments, code=2)
    assert list(tmp_path.iterdir()) == []

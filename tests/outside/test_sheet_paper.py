"""Pages for print, read by PyMuPDF: what a reader of PDF finds is what was written, in embedded fonts, on
paper of the right size; and the pictures are XML that lxml reads."""

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


def test_a_lesson_goes_from_the_harmony_to_the_answers(endpin, tmp_path):
    file = tmp_path / "lesson.pdf"
    endpin("sheet", CHART, "--lesson", "-o", file)
    with pymupdf.open(file) as document:
        texts = [page.get_text() for page in document]
    text = "".join(texts)
    assert "mixolydian" in texts[0]
    for number, level in enumerate([1, 2, 3, 3, 4, 4, 5, 6], 1):
        assert f"Line {number}. Level {level}:" in text
    # The answers stand on the last page, away from the questions, and show what was left out there.
    assert "Your turn 2" in text and "Your turn" not in texts[-1] and "Answers 2" in texts[-1]
    assert texts[-1].count("1\n") >= 24


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

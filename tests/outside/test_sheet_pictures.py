"""Twelve hard places of engraving as pictures, drawn from the PDF by PyMuPDF and compared by pixels with those
that were looked at. The fonts are those inside the file, so pictures are alike on every machine; a tolerance
allows for another way of smoothing edges. ENDPIN_RENEW=1 takes a change that was looked at."""

import os
from pathlib import Path

import pymupdf
import pytest

ROOT = Path(__file__).resolve().parents[2]
GOLDEN = ROOT / "tests/golden/sheet-pictures"
# A sheet at 60 dots an inch, in grey: enough to see what moved.
DPI = 60
# A pixel differs by more than this of 255, and at most so many of all pixels may.
STEP, SHARE = 80, 0.002


def chart(title="Gorse and Gannet", key="F", meter="4/4", bars="| F7 | Bb7 | F7 | C7 |", more=""):
    return (
        f'title = "{title}"\nkey = "{key}"\nmeter = "{meter}"\ntempo = 120\nfeel = "four"\n\n'
        f'[section.A]\nbars = "{bars}"\n{more}'
    )


BLUES = "| F7 | Bb7 | F7 | Cm7 / F7 / | Bb7 | Bdim7 | F7 | D7b9 | Gm7 | C7 | F7 / D7 / | Gm7 / C7 / |"
DENSE = (
    "| Gbmaj7 | Gbmaj7 Ebm7 Abm7 Db7 | Bbm7b5 / Eb7(b9,#11) / | Abm7 / Db7(b9,#11) Dbm7 | Cbmaj7 | Gb6/9 |"
)
OTHER = '\n[section.B]\nmeter = "3/4"\nbars = "| Gm7 | C7 | F7 | D7b9 |"\n'
SHORT = '\n[section.Vamp]\nbars = "| C7 |"\n\n[section.B]\nbars = "| Bb7 | Bb7 | F7 | F7 |"\n'

# Name: chart, options, page and the part of its height that is held.
PLACES = {
    "courtesy-meter": (chart(more=OTHER), [], 0, (0.1, 0.45)),
    "many-flats-dense-chords": (chart(key="Gb", bars=DENSE), ["--level", 6], 0, (0.1, 0.45)),
    "tablature-and-fingers": (chart(bars=BLUES), ["--tab", "--fingering"], 0, (0.1, 0.45)),
    "marks-over-tablature": (chart(bars=BLUES), ["--tab", "--marks"], 0, (0.1, 0.45)),
    "compound-meter": (chart(key="Bb minor", meter="12/8", bars="| Bbm7 | Ebm7 | F7 | Bbm7 |"), [], 0, (0.05, 0.35)),
    "ghosts-and-triplets": (chart(bars=BLUES), ["--level", 6], 0, (0.1, 0.45)),
    "running-head": (chart(bars=BLUES), ["--tab", "--choruses", 4], 1, (0.0, 0.3)),
    "title-in-other-letters": (
        chart(title="Οδός και улица, Żółw"),
        ["--by", "Ž. Αλφα"],
        0,
        (0.03, 0.25),
    ),
    "large-staves": (chart(bars=BLUES), ["--size", "large"], 0, (0.05, 0.4)),
    "five-in-a-bar": (chart(key="E minor", meter="5/4", bars="| Em7 | Am7 | B7b9 | Em7 |"), [], 0, (0.1, 0.35)),
    "part-in-e-flat": (chart(key="A", bars="| A7 | D7 | E7 | A7 |"), ["--transpose", "Eb"], 0, (0.05, 0.35)),
    "short-section-and-ending": (chart(more=SHORT), ["--choruses", 1], 0, (0.1, 0.45)),
}


def drawn(endpin, folder, place):
    text, options, page, (top, bottom) = PLACES[place]
    (folder / "chart.toml").write_text(text, encoding="utf-8")
    endpin("sheet", folder / "chart.toml", "-o", folder / "sheet.pdf", *options)
    with pymupdf.open(folder / "sheet.pdf") as document:
        sheet = document[page]
        area = pymupdf.Rect(0, top * sheet.rect.height, sheet.rect.width, bottom * sheet.rect.height)
        return sheet.get_pixmap(dpi=DPI, clip=area, colorspace=pymupdf.csGRAY, alpha=False)


@pytest.mark.parametrize("place", PLACES)
def test_hard_places_look_as_they_did(endpin, tmp_path, place):
    picture = drawn(endpin, tmp_path, place)
    file = GOLDEN / f"{place}.png"
    if os.environ.get("ENDPIN_RENEW") == "1":
        GOLDEN.mkdir(exist_ok=True)
        picture.save(file)
    golden = pymupdf.Pixmap(file)
    assert (picture.width, picture.height) == (golden.width, golden.height)
    moved = sum(abs(a - b) > STEP for a, b in zip(picture.samples, golden.samples, strict=True))
    inked = sum(value < 128 for value in golden.samples)
    assert inked > 1000, "nothing is in the picture"
    if moved > SHARE * len(golden.samples):
        picture.save(tmp_path / "now.png")
        pytest.fail(f"{moved} of {len(golden.samples)} pixels differ: {tmp_path / 'now.png'}")


def test_pictures_tell_other_music_apart(endpin, tmp_path):
    """The tolerance is for edges, not for notes: one other chord is seen."""
    text, options, page, part = PLACES["courtesy-meter"]
    PLACES["other"] = (text.replace("| Bb7 |", "| Bm7 |"), options, page, part)
    picture = drawn(endpin, tmp_path, "other")
    golden = pymupdf.Pixmap(GOLDEN / "courtesy-meter.png")
    del PLACES["other"]
    moved = sum(abs(a - b) > STEP for a, b in zip(picture.samples, golden.samples, strict=True))
    assert moved > SHARE * len(golden.samples)

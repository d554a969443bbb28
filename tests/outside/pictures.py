"""Makes the pictures of the documents: `ENDPIN=… python tests/outside/pictures.py`, after a page has changed its looks.

Each is a page of endpin's in Chromium, with 64 colours, so that a clone stays small.
"""

import io
import os
import shutil
import subprocess
import tempfile
from pathlib import Path

from PIL import Image
from desk_server import Desk
from play_takes import Playing, line_of, write
from playwright.sync_api import sync_playwright

ROOT = Path(__file__).resolve().parents[2]
PICTURES = ROOT / "docs/pictures"
CHART = ROOT / "scenarios/breakwater-blues.toml"
COLOURS = 64


def keep(page, name):
    """What a page shows, as a file for the documents."""
    picture = Image.open(io.BytesIO(page.screenshot())).convert("RGB")
    picture.quantize(COLOURS).save(PICTURES / f"{name}.png", optimize=True)


def looked_at(browser, address, width, height):
    page = browser.new_page(viewport={"width": width, "height": height})
    page.goto(address)
    page.evaluate("() => document.fonts.ready")
    return page


def desk(browser, program, folder):
    charts = folder / "charts"
    charts.mkdir()
    shutil.copy(CHART, charts)
    opened = Desk(program, charts)
    page = looked_at(browser, opened.address + "&chart=breakwater-blues.toml&d=keep%201.4%3DA1&d=not%202.2%3DC%232", 1000, 760)
    page.wait_for_selector("body[data-ready]:not([data-unkept])")
    page.wait_for_function("() => document.body.dataset.asked && document.body.dataset.asked === document.body.dataset.drawn")
    keep(page, "desk")
    opened.end()


def practice(browser, program, folder):
    subprocess.run([program, "sheet", CHART, "-o", folder / "practice.html"], check=True)
    keep(looked_at(browser, (folder / "practice.html").as_uri(), 390, 760), "practice")


def sheet(browser, program, folder):
    subprocess.run([program, "sheet", CHART, "-o", folder / "sheet.svg", "--choruses", "1"], check=True)
    keep(looked_at(browser, (folder / "sheet.svg").as_uri(), 800, 520), "sheet")


def verdict(browser, program, folder):
    line, beats = line_of(CHART, "--choruses", "2", program=program)
    sharp = [{**note, "midi": note["midi"] + 1} if note["bar"] in (5, 9) and note["beat"] == 1 else note for note in line]
    take = folder / "Ada.mid"
    write(take, Playing(138, late=20, drift=-40).play(sharp, beats), 138)
    judge = [program, "check", CHART, take.name, "-o", "verdict.html"]
    subprocess.run(judge, check=True, cwd=folder, stdout=subprocess.DEVNULL)
    keep(looked_at(browser, (folder / "verdict.html").as_uri(), 800, 1000), "verdict")


def main():
    program = os.environ["ENDPIN"]
    PICTURES.mkdir(exist_ok=True)
    with sync_playwright() as playwright, tempfile.TemporaryDirectory() as folder:
        browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox"])
        for picture in [desk, practice, sheet, verdict]:
            picture(browser, program, Path(folder))
        browser.close()


if __name__ == "__main__":
    main()

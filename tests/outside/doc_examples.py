"""The commands shown in the documents, with what they print.

A block fenced as `console` holds commands after `$ ` and their output; a line of `…` stands for lines left
out. `python tests/outside/doc_examples.py` runs them all and writes the output into the documents; the test
beside it fails when a document shows what endpin no longer prints.
"""

import os
import re
import subprocess
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
DOCUMENTS = [ROOT / "README.md", ROOT / "DEVELOPERS.md", ROOT / "scenarios/README.md"]
DOCUMENTS += sorted((ROOT / "docs").glob("*.md"))
BLOCK = re.compile(r"^```console\n(.*?)^```$", re.MULTILINE | re.DOTALL)
LEFT_OUT = "…"


def commands(block):
    """[(command, lines shown under it)] of a block."""
    found = []
    for line in block.splitlines():
        if line.startswith("$ "):
            found.append((line[2:], []))
        else:
            found[-1][1].append(line)
    return found


class Desk:
    """A folder with the scenarios in it and endpin on the path, where a block's commands run."""

    def __init__(self, program):
        self.folder = tempfile.TemporaryDirectory()
        here = Path(self.folder.name)
        (here / "bin").mkdir()
        (here / "bin/endpin").symlink_to(program)
        (here / "scenarios").symlink_to(ROOT / "scenarios")
        self.environment = dict(os.environ, PATH=f"{here}/bin:{os.environ['PATH']}", HOME=str(here), COLUMNS="100")

    def run(self, command):
        done = subprocess.run(
            command,
            shell=True,
            cwd=self.folder.name,
            env=self.environment,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            timeout=120,
        )
        return [line.rstrip() for line in done.stdout.splitlines()]


def agrees(shown, printed):
    """Whether the lines printed are those shown, `…` standing for any number of lines."""
    pattern = "".join(
        r"(?:.*\n)*?" if line.strip() == LEFT_OUT else re.escape(line.rstrip()) + r"\n" for line in shown
    )
    return re.fullmatch(pattern, "".join(line + "\n" for line in printed)) is not None


def renewed(shown, printed):
    """The lines to show now: as many before and after a `…` as before."""
    marks = [place for place, line in enumerate(shown) if line.strip() == LEFT_OUT]
    if not marks:
        return printed
    head, tail = marks[0], len(shown) - marks[0] - 1
    return printed[:head] + [shown[head]] + (printed[-tail:] if tail else [])


def renew(program):
    for document in DOCUMENTS:
        def fill(match):
            desk = Desk(program)
            lines = []
            for command, shown in commands(match[1]):
                lines += [f"$ {command}", *renewed(shown, desk.run(command))]
            return "```console\n" + "\n".join(lines) + "\n```"

        text = document.read_text(encoding="utf-8")
        document.write_text(BLOCK.sub(fill, text), encoding="utf-8")


if __name__ == "__main__":
    renew(Path(os.environ.get("ENDPIN", ROOT / "target/debug/endpin")))

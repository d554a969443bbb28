"""What `completions` and `man` print, given to the programs it is meant for: bash and groff; and what long work says."""

import os
import re
import shutil
import subprocess

import pytest
from conftest import ROOT

SHELLS = ["bash", "elvish", "fish", "powershell", "zsh"]


def test_every_shell_gets_every_command(endpin):
    for shell in SHELLS:
        script = endpin("completions", shell).decode()
        assert all(name in script for name in ["write", "explain", "check", "choruses"]), shell


def test_bash_reads_the_script_and_completes_with_it(endpin, program, tmp_path):
    script = tmp_path / "endpin"
    script.write_bytes(endpin("completions", "bash"))
    subprocess.run(["bash", "-n", script], check=True)

    def completed(*words):
        # As bash calls a completion: the words so far, the last one unfinished (bash manual, 8.6).
        ask = (
            f'source "{script}"; COMP_WORDS=("$@"); COMP_CWORD=$(($# - 1)); COMP_LINE="$*"; COMP_POINT=${{#COMP_LINE}}; '
            '_endpin endpin "${COMP_WORDS[COMP_CWORD]}" "${COMP_WORDS[COMP_CWORD - 1]}"; printf "%s\\n" "${COMPREPLY[@]}"'
        )
        done = subprocess.run(["bash", "-c", ask, "bash", *words], capture_output=True, text=True, check=True)
        return done.stdout.split()

    assert completed("endpin", "expl") == ["explain"]
    assert completed("endpin", "write", "--chor") == ["--choruses"]
    assert completed("endpin", "completions", "fi") == ["fish"]


@pytest.mark.skipif(not shutil.which("groff"), reason="groff is not installed")
def test_groff_sets_the_manual_page_without_a_warning(endpin):
    done = subprocess.run(
        ["groff", "-man", "-Tutf8", "-ww", "-P-c"], input=endpin("man"), capture_output=True, check=True
    )
    assert done.stderr == b""
    # groff may underline and embolden by backspaces.
    text = subprocess.run(["col", "-b"], input=done.stdout, capture_output=True, check=True).stdout.decode()
    for words in ["endpin write [OPTIONS] [CHART]", "-o, --output <DIR>", "[default: bass]", "Example: endpin ports"]:
        assert words in text, words


@pytest.mark.skipif(not shutil.which("man"), reason="man is not installed")
def test_man_shows_the_page(endpin, tmp_path):
    page = tmp_path / "endpin.1"
    page.write_bytes(endpin("man"))
    settings = {**os.environ, "MANWIDTH": "100", "MAN_KEEP_FORMATTING": "", "LC_ALL": "C.UTF-8"}
    done = subprocess.run(["man", "-l", page], capture_output=True, env=settings, check=True)
    assert done.stderr == b""
    assert b"endpin" in done.stdout and b"COMMANDS" in done.stdout


def test_long_work_says_how_far_it_is_where_there_is_no_terminal(program):
    asked = [program, "explain", ROOT / "scenarios/breakwater-blues.toml", "--choruses"]
    said = [subprocess.run([*asked, count], check=True, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True).stderr for count in ["1", "2000"]]
    assert said[0] == ""
    lines = said[1].splitlines()
    assert lines and all(re.fullmatch(r"making choruses: \d+% done, about \d+ \w+ left", line) for line in lines), lines
    shares = [int(re.search(r"\d+", line)[0]) for line in lines]
    assert shares == sorted(shares)

"""A teacher's defaults in `endpin.toml`, from the folder where endpin is run."""

import json
import subprocess

import pytest

CHART = ["--bars", "F7 | Bb7 | F7 | C7"]


@pytest.fixture
def in_folder(program, tmp_path):
    """Runs the program in a folder of its own, with these settings."""

    def run(settings, *arguments):
        if settings is not None:
            (tmp_path / "endpin.toml").write_text(settings, encoding="utf-8")
        return subprocess.run([program, *arguments], cwd=tmp_path, capture_output=True, text=True, timeout=60)

    return run


def test_settings_are_defaults_and_the_command_line_outranks_them(in_folder):
    usual = in_folder(None, "explain", *CHART, "--json").stdout
    in_two = in_folder('level = 2\ninstrument = "double-bass"\n', "explain", *CHART, "--json").stdout
    assert in_two == in_folder(None, "explain", *CHART, "--json", "--level", "2", "--instrument", "double-bass").stdout
    assert in_two != usual
    assert in_folder(None, "explain", *CHART, "--json", "--level", "4", "--instrument", "bass").stdout == usual
    told = in_folder(None, "--settings").stdout
    assert "level       2\n" in told and "paper       (not set)\n" in told


def test_a_mistake_stops_every_command_but_help(in_folder):
    done = in_folder("levle = 2\n", "explain", *CHART)
    assert done.returncode == 2 and done.stdout == ""
    assert done.stderr.startswith('endpin: endpin.toml:1:1: no setting is called "levle" (did you mean "level"?)')
    assert in_folder(None, "explain", "--help").returncode == 0


def test_json_in_ascii_says_the_same(in_folder, tmp_path):
    (tmp_path / "quay.toml").write_text('title = "Quay ♭ 𝄢 \\u202e"\nkey = "F"\n[section.A]\nbars = "| F7 | Bb7 |"\n', encoding="utf-8")
    plain, escaped = (in_folder(None, "chart", "quay.toml", signs).stdout for signs in ["--json", "--json=ascii"])
    assert json.loads(plain) == json.loads(escaped)
    assert escaped.isascii() and not plain.isascii() and "\u202e" not in plain

"""A debug build and a release build, which differ in all that a compiler may change, write the same."""

import subprocess

import pytest

COMMANDS = [
    ["write", "-o", "-"],
    ["write", "-o", "-", "--seed", "12345678901234567890", "--choruses", "5", "--key", "Db"],
    ["explain"],
    ["explain", "--json", "--level", "3", "--from", "9"],
    ["explain", "--json", "--level", "2"],
    ["chart", "--json"],
    ["changes", "--steps", "6", "--json"],
]


@pytest.mark.ci
@pytest.mark.parametrize("command", COMMANDS, ids=" ".join)
def test_builds_agree(program, release, scenario, command):
    made = []
    for build in (program, release):
        run = [build, command[0], scenario, *command[1:]]
        done = subprocess.run(run, stdin=subprocess.DEVNULL, capture_output=True, timeout=120)
        assert done.returncode == 0, done.stderr.decode()
        made.append(done.stdout)
    assert made[0] and made[0] == made[1]

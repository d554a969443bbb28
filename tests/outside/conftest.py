"""What the outside tests share: the built program, the scenarios, a way to run one on the other."""

import json
import os
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
SCENARIOS = sorted((ROOT / "scenarios").glob("*.toml"))


def built(variable, profile):
    program = Path(os.environ.get(variable, ROOT / "target" / profile / "endpin"))
    if not program.exists():
        pytest.exit(f"{program} is not there: `make test` builds it, or set {variable}", 2)
    return program


@pytest.fixture(scope="session")
def program():
    return built("ENDPIN", "debug")


@pytest.fixture(scope="session")
def release():
    return built("ENDPIN_RELEASE", "release")


@pytest.fixture(scope="session")
def endpin(program):
    """Runs the program; its output as bytes. A failure shows what it said."""

    def run(*arguments, code=0):
        done = subprocess.run(
            [program, *map(str, arguments)],
            stdin=subprocess.DEVNULL,
            capture_output=True,
            timeout=120,
        )
        assert done.returncode == code, done.stderr.decode()
        return done.stdout

    return run


@pytest.fixture(scope="session")
def report(endpin):
    """`endpin explain --json`, read."""
    return lambda *arguments: json.loads(endpin("explain", *arguments, "--json"))


def pytest_generate_tests(metafunc):
    if "scenario" in metafunc.fixturenames:
        charts = [path for path in SCENARIOS if "section" in path.read_text(encoding="utf-8")]
        metafunc.parametrize("scenario", charts, ids=lambda path: path.stem)

"""What the outside tests share: the built program, the scenarios, a way to run one on the other."""

import json
import os
import shutil
import subprocess
from pathlib import Path

import pytest
from playwright.sync_api import sync_playwright

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


@pytest.fixture(scope="session")
def browser():
    """The system's Chromium; nothing is downloaded."""
    found = shutil.which("chromium") or shutil.which("google-chrome")
    if not found:
        pytest.skip("no Chromium here: .ci/install tests brings it")
    with sync_playwright() as playwright:
        arguments = ["--autoplay-policy=no-user-gesture-required", "--no-sandbox"]
        browser = playwright.chromium.launch(executable_path=found, args=arguments)
        yield browser
        browser.close()


def pytest_generate_tests(metafunc):
    if "scenario" in metafunc.fixturenames:
        charts = [path for path in SCENARIOS if "section" in path.read_text(encoding="utf-8")]
        metafunc.parametrize("scenario", charts, ids=lambda path: path.stem)

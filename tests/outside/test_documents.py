"""What the documents show is what endpin prints, and what they point at is there."""

import re
import subprocess

import doc_examples
import pytest

BLOCKS = [
    pytest.param(document, match[1], id=f"{document.name}:{document.read_text('utf-8')[: match.start()].count(chr(10)) + 1}")
    for document in doc_examples.DOCUMENTS
    for match in doc_examples.BLOCK.finditer(document.read_text("utf-8"))
]


@pytest.mark.parametrize(("document", "block"), BLOCKS)
def test_commands_print_what_is_shown(program, document, block):
    desk = doc_examples.Desk(program)
    for command, shown in doc_examples.commands(block):
        printed = desk.run(command)
        assert doc_examples.agrees(shown, printed), f"$ {command}\n" + "\n".join(printed)


@pytest.mark.parametrize("document", doc_examples.DOCUMENTS, ids=lambda path: path.name)
def test_links_lead_somewhere(document):
    text = document.read_text("utf-8")
    for target in re.findall(r"\]\(([^)#]+)(?:#[^)]*)?\)", text):
        if not target.startswith("http"):
            assert (document.parent / target).exists(), target


def test_every_module_is_on_the_map():
    """DEVELOPERS.md has each module of each crate, and no other; `room/module` where it shows what a folder holds."""
    text = (doc_examples.ROOT / "DEVELOPERS.md").read_text("utf-8")
    table = text.partition("| crate | module | holds |")[2].partition("\n\n")[0]
    crate, told = None, {}
    for row in table.splitlines()[2:]:
        _, name, modules, *_ = row.split("|")
        crate = name.strip() or crate
        told.setdefault(crate, []).extend(re.findall("`([^`]+)`", modules))
    assert set(told) == {folder.name for folder in (doc_examples.ROOT / "crates").iterdir()}
    for crate, modules in told.items():
        source = doc_examples.ROOT / "crates" / crate / "src"
        rooms = {module.partition("/")[0] for module in modules if "/" in module}
        there = {path.stem for path in source.iterdir()} - {"lib", "main"} - rooms
        for room in rooms:
            there |= {f"{room}/{path.stem}" for path in (source / room).iterdir() if path.stem != "mod"}
        assert sorted(modules) == sorted(there), crate


def test_every_command_has_an_example(endpin):
    """Each command that `--help` lists is shown in the README."""
    lines = endpin("--help").decode().partition("Commands:")[2].partition("\n\n")[0].splitlines()
    names = [line.split()[0] for line in lines if re.match(r"  [a-z]", line)]
    assert len(names) >= 3
    readme = (doc_examples.ROOT / "README.md").read_text("utf-8")
    for name in names:
        if name not in ("help",):
            assert f"$ endpin {name}" in readme, name


def test_the_files_of_the_readme_can_be_used_as_they_stand(program, tmp_path):
    """Whoever has nothing but the README saves its chart and its term under the names it gives them."""
    readme = (doc_examples.ROOT / "README.md").read_text("utf-8")
    files = re.findall(r"```toml\n(.*?)```", readme, re.DOTALL)
    (term,) = [text for text in files if "[[week]]" in text]
    (chart,) = [text for text in files if "[section.A]" in text]
    (tmp_path / "term.toml").write_text(term, "utf-8")
    (tmp_path / "breakwater.toml").write_text(chart, "utf-8")
    for words in ["write breakwater.toml", "ear --term term.toml --week 1 -o week-1"]:
        assert f"endpin {words}" in " ".join(readme.split()), words
        subprocess.run([program, *words.split()], cwd=tmp_path, check=True, timeout=60)
    assert (tmp_path / "breakwater.mid").read_bytes().startswith(b"MThd")
    assert (tmp_path / "week-1/play-along/breakwater.mid").exists()
    assert len(list((tmp_path / "week-1/questions").iterdir())) == 24


def test_a_rule_can_be_added_from_outside(program, endpin):
    """The example that `How to add` points to: under sixty lines, and its count without its rules is endpin's own."""
    assert len((doc_examples.ROOT / "examples/own_rule.rs").read_text("utf-8").splitlines()) < 60
    said = subprocess.run([program.parent / "examples/own_rule"], capture_output=True, check=True).stdout.decode()
    fewer, all_lines = (int(number) for number in re.findall(r"^(\d+) (?:lines|without)", said, re.M))
    chart = endpin("chart", doc_examples.ROOT / "scenarios/breakwater-blues.toml").decode()
    assert f"{all_lines:,} lines" in chart and 0 < fewer < all_lines
    assert "open string" in said

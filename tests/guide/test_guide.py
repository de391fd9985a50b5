"""The guide: its commands run, what it shows is what they print, and every command and key has its place in it."""

from __future__ import annotations

import doctest
import io
import re
from pathlib import Path

import pytest

from synth.cli import COMMANDS, main
from synth.designs.circuit_templates import CIRCUITS
from synth.designs.part_rows import KINDS
from synth.designs.sections import KEYS
from synth.designs.template import circuit_template_text
from synth.report.guide import folder, keys_page, page, shown, topics
from synth.terminal import paged
from tests.guide.guide_blocks import once, prepare, renewed


@pytest.fixture
def run(tmp_path, monkeypatch, capsys):
    """Run a command in a folder of its own; what it prints."""
    monkeypatch.chdir(tmp_path)
    prepare(tmp_path)

    def run(command: list[str]) -> str:
        assert main(command) == 0, command
        return capsys.readouterr().out

    return once(run)


@pytest.mark.parametrize(("file", "least"), [("05-physics.md", 9), ("10-library.md", 9)])
def test_the_formulas_of_a_page_give_what_it_shows(file, least):
    found = doctest.testfile(str(folder() / file), module_relative=False)
    assert found.attempted >= least
    assert found.failed == 0


@pytest.mark.slow
@pytest.mark.parametrize("topic", [name for name in topics() if name != "keys"])
def test_the_commands_of_a_page_print_what_it_shows(topic, run):
    assert renewed(page(topic), run) == page(topic), "renew it with: python -m tests.guide.renew_guide"


def test_the_rows_of_the_builders_page_are_those_of_the_circuit_that_it_writes():
    rows = [
        row for block in re.findall(r"^```toml\n(.*?)^```\n", page("build"), re.M | re.S) for row in block.splitlines()
    ]
    assert len(rows) >= 5
    assert [row for row in rows if f"\n{row}\n" not in circuit_template_text("hartley")] == []
    assert all(name in page("build") for name in CIRCUITS)


def test_the_page_of_keys_is_that_of_the_declarations():
    text = keys_page()
    assert page("keys") == text, "renew it with: python -m tests.guide.renew_guide"
    assert all(f"`{key.name}`" in text for key in KEYS)
    assert all(f"- `{word}`" in text for word in KINDS)


def test_every_command_stands_in_the_page_of_commands():
    text = page("commands")
    assert [name for name in COMMANDS if f"beatfield {name}" not in text] == []


class Terminal(io.StringIO):
    """A terminal that text is written to."""

    def isatty(self) -> bool:
        return True


def test_a_terminal_shows_headings_in_bold(monkeypatch):
    monkeypatch.delenv("NO_COLOR", raising=False)
    monkeypatch.setenv("TERM", "xterm")
    lines = shown("# The first hour\n\n**Quiet** first.\n", Terminal()).splitlines()
    assert lines == ["\x1b[1mThe first hour\x1b[0m", "", "\x1b[1mQuiet\x1b[0m first."]


def test_a_pager_that_is_not_there_hides_nothing(monkeypatch):
    terminal = Terminal()
    monkeypatch.setattr("sys.stdout", terminal)
    monkeypatch.setenv("PAGER", "no-pager-of-this-name 2>&-")
    paged("line\n" * 300)
    assert terminal.getvalue() == "line\n" * 300


def test_topics_are_listed_read_and_asked_for_again(capsys):
    assert main(["guide"]) == 0
    said = capsys.readouterr().out
    assert all(f"\n  {name} " in said for name in topics())
    assert main(["guide", "START"]) == 0
    said = capsys.readouterr().out
    assert said.startswith("# The first hour")
    assert "```" not in said
    assert "**" not in said
    assert main(["guide", "buidl"]) == 2
    assert "did you mean 'build'?" in capsys.readouterr().err


def test_a_command_that_reads_no_file_is_run_once(tmp_path, monkeypatch):
    asked: list[list[str]] = []

    def run(command: list[str]) -> str:
        asked.append(command)
        (Path(command[-1]) / "part").mkdir(parents=True)
        return f"wrote {command[-1]}"

    for name in ("one", "two"):
        (tmp_path / name).mkdir()
        monkeypatch.chdir(tmp_path / name)
        assert once(run)(["nonsense", "-o", "given"]) == "wrote given"
        assert Path("given/part").is_dir()
    assert len(asked) == 1
    with pytest.raises(FileExistsError):  # it reads what lies there: run again
        once(run)(["nonsense", "-o", "given"])


def test_what_differs_is_seen():
    text = "```sh\nbeatfield field heron\n```\n```text\nzero beat   45.0 cm\n```\n"
    assert renewed(text, lambda _: "design  Heron\nzero beat   46.0 cm\n") == text.replace("45.0", "46.0")
    with pytest.raises(LookupError, match="zero beat"):
        renewed(text, lambda _: "design  Heron\n")


@pytest.mark.parametrize("width", [60, 80, 140])
def test_every_page_fits_a_terminal_and_is_the_same_text(width, monkeypatch):
    monkeypatch.setenv("COLUMNS", str(width))
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.delenv("NO_COLOR", raising=False)
    for topic in topics():
        said = shown(page(topic), Terminal())
        assert "\x1b[1m" in said
        plain = re.sub(r"\x1b\[\d*m", "", said)
        assert all(len(line) <= width or " " not in line.strip() for line in plain.splitlines()), topic
        assert plain.split() == re.sub(r"^#+ ", "", shown(page(topic), io.StringIO()), flags=re.MULTILINE).split()

"""README and DEVELOPERS: their examples run, their figures are those the commands print, their lists are complete."""

from __future__ import annotations

import doctest
import re
import shlex
import shutil
from pathlib import Path

import pytest

from synth.cli import COMMANDS, build_parser, main

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text("utf-8")
SHELL_BLOCKS = re.findall(r"^```sh\n(.*?)^```", README, re.MULTILINE | re.DOTALL)
EXAMPLES = [
    shlex.split(line, comments=True)[1:]
    for block in SHELL_BLOCKS
    for line in block.splitlines()
    if line.startswith("beatfield ")
]
ELSEWHERE = {  # command: why its example is not run here
    "play": "needs a window; run by tests/live",
    "doctor": "looks at the machine; run by tests/synth/test_cli.py",
    "devices": "depends on the machine; run by tests/synth/test_cli.py",
    "hand": "asks for a minute of play; run by tests/synth/commands/test_practice_and_hand_commands.py",
    "benchmark": "takes minutes; run by tests/synth/commands/test_benchmark_command.py",
    "linearise": "searches for long; run by tests/synth/commands/test_linearise_command.py",
    "plan": "searches for long; run by tests/synth/commands/test_plan_command.py",
}
FILE_OPTIONS = ("-o", "--plot", "--csv", "--transient")
READINGS = 'fitted_capacitor,frequency\n"330 pF","205.3 kHz"\n"120 pF","231.4 kHz"\n'
TRACE = "time_s,distance_m,volume\n0,0.4,0.5\n0.5,0.2,0.8\n1,0.3,0\n"


def table_rows(header: str) -> list[list[str]]:
    """The rows of the table in the README whose header line starts so, as lists of cells."""
    lines = README[README.index(header) :].splitlines()[2:]
    return [
        [cell.strip() for cell in line.strip("|").split("|")]
        for line in lines[: next(place for place, line in enumerate(lines) if not line.startswith("|"))]
    ]


def words(text: str) -> str:
    """The text with every run of blanks as one."""
    return " ".join(text.replace("`", "").split())


@pytest.fixture
def report(monkeypatch, capsys):
    """What a command of the README prints, run in the folder of the clone, blanks collapsed line by line."""
    monkeypatch.chdir(ROOT)

    def run(command: str) -> list[str]:
        program, *arguments = shlex.split(command.strip("`"))
        assert program == "beatfield"
        assert main(arguments) == 0
        return [words(line) for line in capsys.readouterr().out.splitlines()]

    return run


def test_the_python_example_does_what_it_says(monkeypatch):
    monkeypatch.chdir(ROOT)
    found = doctest.testfile(str(ROOT / "README.md"), module_relative=False)
    assert found.attempted >= 8
    assert found.failed == 0


@pytest.mark.parametrize("row", table_rows("| design | zero beat |"), ids=lambda row: row[0])
def test_the_figures_of_a_design_are_those_of_its_report(row, report):
    name, zero_beat, playable, range_, unevenness, command = row
    lines = report(command)
    assert f"demos/{name}.toml" in command
    for title, figure in (("zero beat", zero_beat), ("playable", playable), ("lowest and highest", range_)):
        assert f"{title} {figure}" in lines, title
    assert any(line.startswith(f"unevenness {unevenness} ") for line in lines)


@pytest.mark.parametrize("row", table_rows("| question | the report says |"), ids=lambda row: words(row[1]))
def test_the_worked_example_is_what_the_reports_say(row, report):
    _, said, command = row
    assert any(line.startswith(words(said)) for line in report(command)), said


def test_every_figure_of_the_tables_stands_beside_a_command():
    figures = table_rows("| design | zero beat |") + table_rows("| question | the report says |")
    assert len(figures) >= 8
    assert all(row[-1].startswith("`beatfield ") for row in figures)


def test_every_command_is_named_and_every_example_is_understood():
    shown = {example[0] for example in EXAMPLES}
    assert set(COMMANDS) - shown <= {"demo"}  # demo is what the first set-up command runs
    assert shown <= set(COMMANDS)
    parser = build_parser()
    for example in EXAMPLES:
        parser.parse_args(example)  # exits where the example is wrong


def test_the_shell_examples_run_one_after_the_other(tmp_path, monkeypatch, capsys):
    """In the order of the page, in a folder that holds what the page takes for granted."""
    monkeypatch.chdir(tmp_path)
    shutil.copytree(ROOT / "demos", tmp_path / "demos")
    shutil.copy(ROOT / "demos" / "heron.toml", tmp_path / "other.toml")
    Path("trace.csv").write_text(TRACE)
    Path("readings.csv").write_text(READINGS)
    short = [example for example in told_once(EXAMPLES) if example[0] not in ELSEWHERE and not takes_long(example)]
    for example in short:
        assert main(example) == 0, (example, capsys.readouterr().err)
        assert all(Path(place).exists() for place in written(example)), example
    assert len(short) >= 15


@pytest.mark.slow
def test_the_long_shell_examples_run_too(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("synth.analysis.start_up.LONGEST_CYCLES", 300)  # the rest would be more of the same
    assert main(["new", "mine.toml"]) == 0
    assert main(["new", "--circuit", "hartley", "first.toml"]) == 0
    assert main(["new", "--circuit", "hartley", "drawn.toml"]) == 0
    long = [example for example in told_once(EXAMPLES) if takes_long(example)]
    assert long
    for example in long:
        assert main(example) == 0, (example, capsys.readouterr().err)
        assert all(Path(place).exists() for place in written(example))


def takes_long(example: list[str]) -> bool:
    """An integration in time, the lesson of seven lessons, and what is read of the drawn design."""
    drawn = not {"first.toml", "drawn.toml"}.isdisjoint(example) and example[0] != "new"
    return "--transient" in example or example[:2] == ["lesson", "path"] or drawn


def told_once(examples: list[list[str]]) -> list[list[str]]:
    """The examples without those that differ from one before in the name of a written file alone."""
    kept: dict[tuple[str, ...], list[str]] = {}
    for example in examples:
        places = [place + 1 for place, word in enumerate(example) if word in FILE_OPTIONS]
        words = tuple(Path(word).suffix if place in places else word for place, word in enumerate(example))
        kept.setdefault(words, example)
    return list(kept.values())


def written(example: list[str]) -> list[str]:
    """The files an example says it writes."""
    return [value for option, value in zip(example, example[1:], strict=False) if option in FILE_OPTIONS]


def test_the_index_of_the_demos_is_complete():
    listed = set(re.findall(r"`demos/(tour_\w+\.py)`", README))
    assert listed == {script.name for script in (ROOT / "demos").glob("tour_*.py")}
    designs = set(re.findall(r"`(?:demos/)?(\w+\.toml)`", README))
    assert {design.name for design in (ROOT / "demos").glob("*.toml")} <= designs


def test_the_documents_name_only_what_exists():
    for document in ("README.md", "DEVELOPERS.md"):
        text = (ROOT / document).read_text("utf-8")
        named = set(re.findall(r"`((?:models|synth|tests|demos)/[\w/.-]+)`", text))
        for name in named:
            there = any((ROOT / f"{name}{ending}").exists() for ending in ("", ".py"))
            assert there, f"{document} names {name}"

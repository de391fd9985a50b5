"""README and DEVELOPERS: the stories run and print what they promise, the lists are complete, what is named exists."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest

from synth.cli import build_parser, main
from synth.report.guide import folder, page, topics
from tests.guide.guide_blocks import once, prepare, renewed

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text("utf-8")
WAYS = README.split("## Three ways in")[1].split("## Everything else")[0]
STORIES = dict(re.findall(r"^\*\*You (\w+).*?\*\*(.*?)(?=^\*\*You|\Z)", WAYS, re.MULTILINE | re.DOTALL))
EXAMPLES = [
    shlex.split(line, comments=True)[1:]
    for block in re.findall(r"^```sh\n(.*?)^```", README, re.MULTILINE | re.DOTALL)
    for line in block.splitlines()
    if line.startswith("beatfield ")
]
FILE_OPTIONS = ("-o", "--plot", "--csv", "--diagram")


def written(example: list[str]) -> list[str]:
    """The files an example says it writes."""
    return [value for option, value in zip(example, example[1:], strict=False) if option in FILE_OPTIONS]


def test_every_story_has_five_commands_that_are_understood_and_what_comes_out():
    assert list(STORIES) == ["design", "play", "teach"]
    for text in STORIES.values():
        assert len(re.findall(r"^beatfield ", text, re.MULTILINE)) == 5
        assert "```text\n" in text
    parser = build_parser()
    for example in EXAMPLES:
        parser.parse_args(example)  # exits where the example is wrong


@pytest.mark.slow
@pytest.mark.parametrize("story", STORIES)
def test_the_commands_of_a_story_run_and_print_what_it_shows(story, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    prepare(tmp_path)

    def run(command: list[str]) -> str:
        if command[0] == "play":  # needs a window; run by tests/live
            return ""
        assert main(command) == 0, (command, capsys.readouterr().err)
        assert all(Path(place).exists() for place in written(command)), command
        return capsys.readouterr().out

    assert renewed(STORIES[story], once(run)) == STORIES[story], "write the line as it is printed now"


def test_every_topic_of_the_guide_is_named_in_its_order():
    assert re.findall(r"^\| `(\w+)` \|", README, re.MULTILINE) == list(topics())


def test_the_index_of_the_demos_is_complete():
    listed = set(re.findall(r"`demos/(tour_\w+\.py)`", page("library")))
    assert listed == {script.name for script in (ROOT / "demos").glob("tour_*.py")}
    designs = set(re.findall(r"`(?:demos/)?(\w+\.toml)`", page("start")))
    assert {design.name for design in (ROOT / "demos").glob("*.toml")} <= designs


def test_the_documents_name_only_what_exists():
    for document in (ROOT / "README.md", ROOT / "DEVELOPERS.md", *folder().glob("*.md")):
        named = set(re.findall(r"`((?:models|synth|tests|demos)/[\w/.-]+)`", document.read_text("utf-8")))
        for name in named:
            there = any((ROOT / f"{name}{ending}").exists() for ending in ("", ".py"))
            assert there, f"{document.name} names {name}"

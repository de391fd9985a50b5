"""The guide: plain Markdown in `demos/guide/`, one file a topic, and how a terminal shows it.

A file begins with a heading `# Title` and a line that says what it is for. Commands stand in blocks marked `sh`; a
block marked `text` after one holds lines of what the last command prints, with `...` where lines are left out.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import TextIO

from synth.designs.schema import did_you_mean
from synth.designs.shipped import demo_folder
from synth.errors import DesignError
from synth.files.plain_text import shows_colour

_STYLES = ((re.compile(r"^#+ (.*)$", re.MULTILINE), "1"), (re.compile(r"\*\*(.+?)\*\*"), "1"))


def folder() -> Path:
    """Where the guide lies."""
    return demo_folder() / "guide"


def topics() -> dict[str, Path]:
    """The topics in the order in which they are read, each with its file: the number before a name is its place."""
    return {path.stem.split("-", 1)[1]: path for path in sorted(folder().glob("[0-9][0-9]-*.md"))}


def page(topic: str) -> str:
    """The text of a topic, letter case aside. Raises DesignError for another."""
    found = topics()
    if topic.lower() not in found:
        raise DesignError(f"no topic {topic!r}; choose {', '.join(found)}{did_you_mean(topic, tuple(found))}")
    return found[topic.lower()].read_text("utf-8")


def listed() -> str:
    """The topics with what each is for."""
    lines = ["Read a topic with: beatfield guide TOPIC", ""]
    for name, path in topics().items():
        title, purpose = _head(path.read_text("utf-8"))
        lines.append(f"  {name:<12}{title}: {purpose}")
    return "\n".join(lines) + "\n"


def _head(text: str) -> tuple[str, str]:
    lines = [line for line in text.splitlines() if line]
    return lines[0].removeprefix("# "), lines[1]


def shown(text: str, stream: TextIO) -> str:
    """A topic as a terminal shows it: fences left out, headings bold where the stream shows that."""
    plain = re.sub(r"^```.*\n", "", text, flags=re.MULTILINE).replace("`", "")
    if not shows_colour(stream):
        return plain.replace("**", "")
    for pattern, style in _STYLES:
        plain = pattern.sub(rf"\x1b[{style}m\1\x1b[0m", plain)
    return plain

"""The guide: plain Markdown in `demos/guide/`, one file a topic, and how a terminal shows it.

A file begins with a heading `# Title` and a line that says what it is for. Commands stand in blocks marked `sh`; a
block marked `text` after one holds lines of what the last command prints, with `...` where lines are left out.
"""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterator
from pathlib import Path
from typing import TextIO

from synth.designs.part_rows import kinds_text
from synth.designs.schema import REQUIRED, did_you_mean, domain_text, write_value
from synth.designs.sections import SECTIONS
from synth.designs.shipped import demo_folder
from synth.errors import DesignError
from synth.files.plain_text import shows_colour
from synth.terminal import columns, fitted

INDENT = "    "
_PICTURE = re.compile(r"^!\[(.*?)\]\((.*?)\)$", re.MULTILINE)
_BEGINS = re.compile(r"- |\d+\. |#+ ")
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
    """The topics with their titles."""
    lines = ["Read a topic with: beatfield guide TOPIC", ""]
    for name, path in topics().items():
        title = path.read_text("utf-8").splitlines()[0].removeprefix("# ")
        lines.append(f"  {name:<12}{title}")
    return "\n".join(lines) + "\n"


def keys_page() -> str:
    """The page of every design key, from their declarations."""
    lines = [
        "# Every key of a design file",
        "",
        "What each key means, what it takes, and what holds where it is left out.",
        "",
    ]
    for section in SECTIONS.values():
        there = " This section may be left out." if section.optional else ""
        lines += [f"## [{section.name}]", "", f"{section.help[0].upper()}{section.help[1:].rstrip('.')}.{there}", ""]
        for key in section.keys.values():
            written = None if key.default is REQUIRED else write_value(key, key.default)
            default = "must be given" if key.default is REQUIRED else "may be left out" if written is None else written
            lines.append(f"- `{key.name}`: {key.help}. It takes {domain_text(key)}; {_without(default)}.")
        lines.append("")
        if section.name == "circuit":
            lines += [*_rows_page(), ""]
    return "\n".join(lines)


def _rows_page() -> Iterator[str]:
    """What the rows of a drawn circuit may be."""
    yield "## [circuit.parts], [reference.parts], [variable.parts], [volume.parts], [detector.parts]"
    yield ""
    yield (
        "Every oscillator drawn part by part: a row names a part, says what it is and the node at each of its ends. "
        "The rows of one oscillator replace those of [circuit.parts] by name. Two rows are no parts: "
        '`output = { at = "NODE" }`, and `antenna`, which may be left out (the hot end of the tank). [detector.parts] '
        "draws the mixer from the same rows; there `reference` and `variable` say at which node the output resistor of "
        "each oscillator ends, and `tone` where the tone is taken; no other key of [detector] counts then."
    )
    yield ""
    yield from (f"- `{line.removeprefix('# ').replace(' = ', '`: ', 1)}." for line in kinds_text())


def _without(default: str) -> str:
    return default if " " in default and not default.startswith('"') else f"left out: {default}"


def shown(text: str, stream: TextIO) -> str:
    """A topic as a terminal shows it: in lines of its width, what stands in fences indented, headings bold where that
    is shown.
    """
    plain = "\n".join(_laid_out(text, columns(stream)))
    if not shows_colour(stream):
        return plain.replace("**", "")
    for pattern, style in _STYLES:
        plain = pattern.sub(f"\x1b[{style}m\\1\x1b[0m", plain)
    return plain


def _laid_out(text: str, width: int | None) -> Iterator[str]:
    """The lines of a page: paragraphs and entries of lists go on to the `width`; what stands in fences or is indented
    keeps its lines; of a picture it is said what it shows and where it lies.
    """
    fenced, paragraph = False, ""
    for line in _PICTURE.sub(lambda found: f"[picture: {found[1]}: {(folder() / found[2]).resolve()}]", text).split(
        "\n"
    ):
        fence = line.startswith("```")
        fenced ^= fence
        kept = fenced or line.startswith(INDENT)
        if paragraph and (kept or fence or not line or _BEGINS.match(line)):
            yield from _wrapped(paragraph, width)
            paragraph = ""
        if fence:
            continue
        if kept:
            whole = INDENT + line.removeprefix(INDENT)
            yield from fitted(whole, width or len(whole)).split("\n")
        elif not line:
            yield line
        else:
            paragraph = f"{paragraph} {line.strip()}".lstrip() if width else f"{paragraph}\n{line}".lstrip("\n")
    if paragraph:
        yield from _wrapped(paragraph, width)


def _wrapped(paragraph: str, width: int | None) -> list[str]:
    """A paragraph or an entry of a list in lines of the `width`, or as it is."""
    plain = paragraph.replace("`", "")
    if width is None:
        return plain.split("\n")
    begin = _BEGINS.match(plain)
    indent = "" if begin is None else begin[0] if plain.startswith("#") else " " * len(begin[0])
    return textwrap.wrap(plain, width, subsequent_indent=indent, break_long_words=False, break_on_hyphens=False)

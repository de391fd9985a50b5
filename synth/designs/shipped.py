"""The designs and tunes that come with Beatfield, by their names: the built-in design and those of the demos.

In a clone the demos lie in `demos/`, beside this package; an install carries them within it.
"""

from __future__ import annotations

from pathlib import Path

PACKAGE = Path(__file__).parents[1]
BUILT_IN = "lantern"


def demo_folder() -> Path:
    """The folder of the demo designs and tunes."""
    within = PACKAGE / "demos"
    return within if within.is_dir() else PACKAGE.parent / "demos"


def shipped_names() -> tuple[str, ...]:
    """What `beatfield field NAME` and the other commands take in place of a file; the built-in design first."""
    return (BUILT_IN, *sorted(path.stem for path in demo_folder().glob("*.toml")))


def shipped_text(name: str) -> str | None:
    """The text of the design of this name, letter case aside; None where there is none."""
    from synth.designs.template import template_text

    wanted = name.casefold()
    if wanted == BUILT_IN:
        return template_text()
    path = demo_folder() / f"{wanted}.toml"
    return path.read_text("utf-8") if wanted in shipped_names() else None


def shipped_tune(name: str) -> Path | None:
    """The file of the tune of this name, letter case aside; None where there is none."""
    found = {path.stem: path for path in demo_folder().glob("*.txt")}
    return found.get(name.casefold())

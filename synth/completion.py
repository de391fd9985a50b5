"""Completion in a shell: commands, options, files, and the names of the designs that come with Beatfield."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any


def complete(parser: ArgumentParser) -> None:
    """Answer a shell that asks how a line may go on, and end; argcomplete tells both how."""
    from argcomplete import autocomplete
    from argcomplete.completers import FilesCompleter

    from synth.designs.shipped import shipped_names

    class Values(FilesCompleter):
        """Files, and designs where one is asked for."""

        def __call__(self, prefix: str, **rest: Any) -> list[str]:
            named = shipped_names() if rest["action"].metavar == "DESIGN" else ()
            return [*(name for name in named if name.startswith(prefix)), *super().__call__(prefix, **rest)]

    autocomplete(parser, default_completer=Values())

"""Write the figures of the guide and its page of keys anew: python -m tests.guide.renew_guide [TOPIC...]"""

from __future__ import annotations

import contextlib
import io
import os
import sys
import tempfile
from pathlib import Path

from synth.cli import main
from synth.report.guide import folder, keys_page, topics
from tests.guide.guide_blocks import prepare, renewed


def run(command: list[str]) -> str:
    """What a command prints."""
    said = io.StringIO()
    with contextlib.redirect_stdout(said):
        code = main(command)
    if code != 0:
        raise SystemExit(f"beatfield {' '.join(command)} ends with {code}")
    return said.getvalue()


if __name__ == "__main__":
    (folder() / "03-keys.md").write_text(keys_page(), "utf-8")
    for name, path in topics().items():
        if name == "keys" or (sys.argv[1:] and name not in sys.argv[1:]):
            continue
        with tempfile.TemporaryDirectory() as place:
            prepare(Path(place))
            os.chdir(place)
            text = path.read_text("utf-8")
            path.write_text(renewed(text, run), "utf-8")
            print(f"{name}: written")
            os.chdir(folder())

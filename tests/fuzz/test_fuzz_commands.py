"""Designs of wild but allowed values through every command that reads one: figures, or one message that names the file.

The hand field is not solved here: curves of our own stand in for it.
"""

from __future__ import annotations

import contextlib
import io
import json
import math
import os
import tempfile
from pathlib import Path
from typing import Any

import pytest
import wild
from hypothesis import strategies as st
from small_instrument import RING_CURVE, small_field

from synth.cli import main
from synth.designs.sections import KEYS
from synth.designs.template import template_text

DEMOS = Path(__file__).parents[2] / "demos"
BASES = {name: (DEMOS / f"{name}.toml").read_text("utf-8") for name in ("heron", "meadow")}
BASES["lantern"] = template_text()
SHAPES = ("antenna", "cabinet", "player", "volume_antenna")  # of the field that is not solved here
WILD = [
    key
    for key in KEYS
    if key.section not in ("design", "circuit", "transistor", *SHAPES) or key.name in ("stray", "body_capacitance")
]
COMMANDS = {
    "field": ["field", "FILE", "--json"],
    "sensitivity": ["sensitivity", "FILE", "--json"],
    "tolerance": ["tolerance", "FILE", "--builds", "100", "--json"],
    "drift": ["drift", "FILE", "--json"],
    "sheet": ["sheet", "FILE", "-o", "out.html"],
    "choose": ["choose", "FILE", "--which", "reference", "--target-frequency", "294 kHz", "--json"],
    "render": ["render", "FILE", "--gesture", "still", "--seconds", "1", "-o", "out.wav"],
    "compare": ["compare", "FILE", "heron", "--json"],
    "page": ["page", "FILE", "-o", "out.html"],
}


@pytest.fixture(autouse=True)
def own_curves(monkeypatch):
    """Every scene gets the same hand field at once."""
    fields = {True: small_field(ring=RING_CURVE), False: small_field()}
    for place in ("build.workbench", "analysis.moves"):
        monkeypatch.setattr(f"synth.{place}.field_for", lambda scene, notice, *_: fields[scene.ring is not None])


def _no_number_is_missing(value: Any) -> None:
    if isinstance(value, dict | list):
        for part in value.values() if isinstance(value, dict) else value:
            _no_number_is_missing(part)
    assert not isinstance(value, float) or math.isfinite(value)


def _attacked(chosen: tuple[str, str, list[Any]]) -> None:
    name, base, changes = chosen
    command = COMMANDS[name]
    out, err = io.StringIO(), io.StringIO()
    before = os.getcwd()
    with tempfile.TemporaryDirectory() as folder, contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        os.chdir(folder)
        try:
            Path("given.toml").write_text(wild.with_changes(BASES[base], changes), encoding="utf-8")
            code = main(["given.toml" if word == "FILE" else word for word in command])
            left = set(os.listdir(folder)) - {"given.toml"}
        finally:
            os.chdir(before)
    said = err.getvalue()
    assert "Traceback" not in said, said
    assert "fault of the program" not in said, (name, said)
    assert "nan" not in said.split(), said
    assert code in (0, 2, 3), (name, said)
    if code == 2:
        assert left == set(), "nothing half written"
        assert out.getvalue() == ""
        last = [line for line in said.splitlines() if line.startswith("beatfield: ")]
        assert last, (name, said)
        wild.fit_to_read("\n".join(last), "beatfield: ")
        assert any("given.toml" in line for line in last), (name, said)
        assert not any("given.toml: given.toml" in line for line in last), (name, said)
    else:
        assert left == {"out.html", "out.wav"} & set(command)
        if "--json" in command:
            _no_number_is_missing(json.loads(out.getvalue(), parse_constant=pytest.fail))


_CHOSEN = st.tuples(st.sampled_from(sorted(COMMANDS)), st.sampled_from(sorted(BASES)), wild.changes(WILD, 5))
test_wild_designs_few, test_wild_designs = wild.quick_and_slow(_attacked, _CHOSEN, 4, 40)

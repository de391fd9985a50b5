"""Damaged files through the whole command line: exit code 2, one message naming the file, no output file, no traceback.

The hand field is not solved here: curves of our own stand in for it.
"""

from __future__ import annotations

import contextlib
import io
import os
import tempfile
from pathlib import Path
from typing import Any

import pytest
import wild
from hypothesis import strategies as st
from small_instrument import RING_CURVE, small_field

from synth.cli import main

DEMOS = Path(__file__).parents[2] / "demos"
HERON = DEMOS / "heron.toml"
MIDI = bytes.fromhex("4d546864 00000006 0000 0001 0060 4d54726b 0000001400904540 60904500 30904840 60904800 00ff2f00")

# what is damaged -> (a good one, its ending, the command with FILE in it)
KINDS: dict[str, tuple[bytes, str, list[str]]] = {
    "design": (HERON.read_bytes(), ".toml", ["field", "FILE", "--json"]),
    "trace": (
        b"time_s,distance_m,volume\n0,0.5,1\n0.05,0.25,0.5\n0.1,0.1,0\n",
        ".csv",
        ["render", str(HERON), "--hand", "FILE", "-o", "out.wav"],
    ),
    "notes": (
        b"tempo 600\nA3 1/16, rest 1/16, C4 1/16 # end\nlegato\nBb3 1/8\n",
        ".txt",
        ["tune", "FILE", str(HERON), "--csv", "out.csv"],
    ),
    "MIDI": (MIDI, ".mid", ["tune", "FILE", str(HERON), "--json"]),
    "readings": (
        b"fitted_capacitor,frequency\n100 pF,412.3 kHz\n220 pF,301.1 kHz\n330 pF,256.2 kHz\n",
        ".csv",
        ["fit", "FILE", "--json", "-o", "out.toml"],
    ),
}


@pytest.fixture(autouse=True)
def own_curves(monkeypatch):
    """Every scene gets the same hand field at once."""
    fields = {True: small_field(ring=RING_CURVE), False: small_field()}
    for place in ("build.workbench", "analysis.moves"):
        monkeypatch.setattr(f"synth.{place}.field_for", lambda scene, notice, *_: fields[scene.ring is not None])


def _through(chosen: tuple[str, bytes]) -> None:
    kind, content = chosen
    _, ending, command = KINDS[kind]
    out, err = io.StringIO(), io.StringIO()
    before = os.getcwd()
    with tempfile.TemporaryDirectory() as folder, contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        os.chdir(folder)
        try:
            name = f"given{ending}"
            Path(name).write_bytes(content)
            code = main([name if word == "FILE" else word for word in command])
            left = set(os.listdir(folder)) - {name}
        finally:
            os.chdir(before)
    said = err.getvalue()
    assert "Traceback" not in said
    assert "fault of the program" not in said, said
    assert code in (0, 2), said
    assert all(letter.isprintable() or letter == "\n" for letter in said.replace("\r", "")), said
    wanted = {"out.wav", "out.csv", "out.toml"} & set(command)
    if code == 0:
        assert left == wanted
    else:
        assert left == set(), "nothing half written"
        assert out.getvalue() == ""
        last = [line for line in said.splitlines() if line.startswith("beatfield: ")]
        assert last
        wild.fit_to_read("\n".join(last), "beatfield: ")
        assert kind == "design" or name in said, said


def _cases() -> st.SearchStrategy[Any]:
    return st.one_of([st.tuples(st.just(kind), wild.damaged([good])) for kind, (good, _, _) in KINDS.items()])


@pytest.mark.parametrize("kind", KINDS)
def test_the_undamaged_files_are_taken(kind):
    _through((kind, KINDS[kind][0]))


test_damaged_files_few, test_damaged_files = wild.quick_and_slow(_through, _cases(), 15, 100)

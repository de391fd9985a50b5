"""Designs of wild but allowed values, put together: a sound instrument, or one clear message; no warnings, no NaN."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import wild
from hypothesis import strategies as st
from small_instrument import RING_CURVE, ROD

from models.circuit.work import counted_work
from synth.analysis.field_figures import field_figures
from synth.build import workbench
from synth.build.circuit_assembly import MOST_WORK
from synth.build.workbench import OpenedDesign, assemble
from synth.designs.circuit_templates import CIRCUITS, MIXERS
from synth.designs.design_file import Design, design_text, read_design
from synth.designs.part_rows import KINDS, Rows, kind_of
from synth.designs.schema import Key
from synth.designs.sections import KEYS, SECTIONS
from synth.designs.template import circuit_template_text, template_text
from synth.errors import DesignError
from synth.report.field import FIELD
from synth.sound.voice import Voice

DEMOS = Path(__file__).parents[2] / "demos"
PLAIN = [key for key in KEYS if key.section not in ("circuit", "transistor", "tolerances", "temperature", "goals")]


HUNG = 30.0  # s: the work of circuits is counted; the clock only tells what hangs


def _key(path: str) -> Key:
    section, name = path.split(".")
    return SECTIONS[section].keys[name]


def _finite(value: Any) -> None:
    """No NaN and no infinity anywhere in a document."""
    if isinstance(value, dict):
        for part in value.values():
            _finite(part)
    elif isinstance(value, list | tuple):
        for part in value:
            _finite(part)
    elif isinstance(value, float):
        assert math.isfinite(value)


def assembled(design: Design) -> OpenedDesign:
    """The design in fields of our own, as `open_loaded` makes it from computed ones."""
    with counted_work() as work:
        try:
            return assemble(design, ROD, None if design.volume is None else RING_CURVE)
        finally:
            assert work[0] <= MOST_WORK  # all of it within one bound, on machines fast and slow


def _use(text: str) -> None:
    try:
        design = read_design(text, "a.toml")
        workpiece = assembled(design)
    except DesignError as error:
        wild.fit_to_read(str(error), "")
        return
    report = field_figures(workpiece)
    document = FIELD.document(report)
    _finite(document)
    json.dumps(document, allow_nan=False)
    FIELD.text(report)
    voice = wild.told(lambda: Voice(workpiece.instrument, 48000), "")
    if voice is not None:
        assert np.isfinite(voice.render(np.linspace(0.6, 0.02, 256), 256)).all()
    for notice in workpiece.notices:
        wild.fit_to_read(notice, "")
        assert "nan" not in notice.split()
        assert "inf" not in notice.split()


BASES = [template_text(), *((DEMOS / name).read_text("utf-8") for name in ("heron.toml", "meadow.toml"))]


def _lossless(chosen: tuple[str, list[tuple[Key, Any]]]) -> None:
    _use(wild.with_changes(*chosen))


CIRCUIT = (DEMOS / "willow.toml").read_text("utf-8")


def _circuit(changes: list[tuple[Key, Any]]) -> None:
    _use(wild.with_changes(CIRCUIT, changes))


test_lossless_designs_few, test_lossless_designs = wild.quick_and_slow(
    _lossless, st.tuples(st.sampled_from(BASES), wild.changes(PLAIN, 6)), 4, 80
)
DRAWN = [circuit_template_text(name) for name, circuit in CIRCUITS.items() if circuit.rows]


def _drawn(chosen: tuple[str, list[tuple[int, int, float]]]) -> None:
    """A drawn circuit with some values of its rows multiplied, each kept in its domain."""
    text, changes = chosen
    design = read_design(text)
    assert design.circuit is not None
    parts = _changed_rows(design.circuit.parts or (), changes)
    _use(design_text(replace(design, circuit=replace(design.circuit, parts=parts))))


def _changed_rows(parts: Rows, changes: list[tuple[int, int, float]]) -> Rows:
    rows = [(name, dict(values)) for name, values in parts]
    for place, which, power in changes:
        name, values = rows[place % len(rows)]
        if next(iter(values)) not in KINDS:
            continue
        kind = kind_of((name, tuple(values.items())))
        keys = [key for key in (kind.value, *kind.keys.values()) if isinstance(values.get(key.name), float)]
        if keys:
            key = keys[which % len(keys)]
            values[key.name] = min(max(values[key.name] * 10.0**power, key.low), key.high)
    return tuple((name, tuple(values.items())) for name, values in rows)


def _mixer(chosen: tuple[str, list[tuple[int, int, float]]]) -> None:
    """A drawn mixer, changed in the same way."""
    text, changes = chosen
    design = read_design(text)
    parts = _changed_rows(design.detector.parts or (), changes)
    _use(design_text(replace(design, detector=replace(design.detector, parts=parts))))


_ROWS = st.lists(st.tuples(st.integers(0, 40), st.integers(0, 6), st.floats(-3.0, 3.0)), min_size=1, max_size=4)
test_drawn_circuits_few, test_drawn_circuits = wild.quick_and_slow(
    _drawn, st.tuples(st.sampled_from(DRAWN), _ROWS), 1, 6, HUNG
)
GIVEN_LOCK = {("coupling", "lock_range"): "1.5 Hz"}  # computed, with advice on it, everything is solved once more
MIXED = [circuit_template_text("common-base", GIVEN_LOCK, mixer=name) for name in MIXERS]
_, test_drawn_mixers = wild.quick_and_slow(_mixer, st.tuples(st.sampled_from(MIXED), _ROWS), 1, 2, HUNG)
PARTS = [
    key for section in ("circuit", "transistor", "variable", "coupling") for key in SECTIONS[section].keys.values()
]
test_circuit_designs_few, test_circuit_designs = wild.quick_and_slow(_circuit, wild.changes(PARTS, 4), 2, 16, HUNG)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"reference.inductance": 1e-6}, "sample_rate must be >="),
        ({"coupling.reference_resistor": 1.0, "coupling.lock_range": None}, "lock_range must be below a quarter"),
    ],
)
def test_an_instrument_that_no_voice_can_sound_is_told_with_a_remedy(changes, words):
    design = read_design(wild.with_changes(BASES[1], [(_key(path), value) for path, value in changes.items()]))
    with pytest.raises(DesignError, match=words):
        Voice(assembled(design).instrument, 48000)


def test_all_that_is_solved_for_a_design_is_within_one_bound(monkeypatch):
    monkeypatch.setattr(workbench, "MOST_WORK", 1.0)
    with pytest.raises(DesignError, match="work allowed"):
        assemble(read_design(CIRCUIT), ROD)


@pytest.mark.slow
def test_a_reach_whose_offsets_are_all_beyond_hearing_is_silent_not_an_error():
    _circuit(
        [
            (_key("reference.self_capacitance"), 3.8e-10),
            (_key("variable.trimmer"), 0.63),
            (_key("transistor.saturation_current"), 6.34e-9),
        ]
    )

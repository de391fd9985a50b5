"""The figures of every command on the demo designs stay what they are, on any machine.

A figure may differ by 1e-6 of itself, or of the largest in its column where rounding is all that is left of it; a
sample of sound by 1e-4 of full scale. The seeded searches take other paths on other processors: `renew_golden.py
--compare` holds them and the bits of the sounds on one machine. A figure that was changed on purpose:
`python -m tests.golden.renew_golden NAME`.
"""

from __future__ import annotations

import json

import pytest

from tests.golden.golden_cases import CASES, FIGURES, SEARCHES, SOUNDS, differences, figures_of, sound_of

RELATIVE = 1e-6
SAMPLE = 1e-4


# As "field-meadow" and "sensitivity-meadow": beside a cabinet, every change of the scene solved. As
# "oscillator-willow-variable": the other oscillator, another pot, and with default parts.
SLOW = (
    "field-heron",
    "sensitivity-heron",
    "oscillator-willow-reference",
    "oscillator-willow-pot",
    "oscillator-heron-reference",
    "oscillator-heron-variable",
)


@pytest.mark.parametrize(
    "name", [pytest.param(name, marks=[pytest.mark.slow] if name in SLOW else []) for name in CASES]
)
def test_figures_stay(name, tmp_path):
    golden = json.loads((FIGURES / f"{name}.json").read_text())
    assert differences(figures_of(CASES[name], tmp_path), golden, RELATIVE, of_column=True) == []


@pytest.mark.parametrize("name", SOUNDS)
def test_sound_stays(name, tmp_path):
    golden = json.loads((FIGURES / f"sound-{name}.json").read_text())
    found = sound_of(SOUNDS[name], tmp_path)
    assert found["samples"] == pytest.approx(golden["samples"], rel=0.0, abs=SAMPLE)
    assert found["rms"] == pytest.approx(golden["rms"], rel=1e-5)


def test_every_golden_file_belongs_to_a_case():
    expected = {*CASES, *SEARCHES, *(f"sound-{name}" for name in SOUNDS)}
    assert {path.stem for path in FIGURES.glob("*.json")} == expected


def test_a_changed_figure_is_noticed():
    golden = {"rows": [{"x": 1.0}, {"x": 3e-15}], "name": "a"}
    assert differences({"rows": [{"x": 1.00001}, {"x": 0.0}]}, golden, RELATIVE, of_column=True) == [
        "/rows/0/x: 1.00001, golden 1.0"
    ]
    assert differences({"rows": [{"x": 1.0}]}, golden, RELATIVE) == ["/rows/1/x: missing"]

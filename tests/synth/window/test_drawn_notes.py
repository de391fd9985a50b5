"""The picture's notes against the field's own."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from synth.build.workbench import open_design
from synth.window.note_lines import drawn_notes

DEMOS = Path(__file__).resolve().parents[3] / "demos"


@pytest.mark.parametrize("name", ["meadow", "heron", "puddle"])
def test_notes_lie_where_the_field_has_them(name: str) -> None:
    field = open_design(DEMOS / f"{name}.toml").field
    exact, drawn = field.notes(), drawn_notes(field)
    assert [(line.number, line.name, line.frequency) for line in drawn] == [
        (line.number, line.name, line.frequency) for line in exact
    ]
    assert len(drawn) > 20
    found = np.array([line.distance for line in drawn])
    np.testing.assert_allclose(found, [line.distance for line in exact], rtol=0.0, atol=1e-6)

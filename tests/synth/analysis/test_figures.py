"""Figures that are declared with the place they are read from."""

from __future__ import annotations

from dataclasses import dataclass, replace
from types import SimpleNamespace

import numpy as np
import pytest
from small_instrument import ROD

from synth.analysis.field_figures import field_figures
from synth.analysis.figures import collected, known, of, playable, played_numbers
from synth.build.workbench import assemble, open_design, open_loaded
from synth.designs.template import template_design
from synth.report.field import FIELD


@dataclass(frozen=True, kw_only=True)
class Card:
    name: str = of("tank.name")
    second: float = of("tank.span.1")
    missing: float | None = of("tank.branch.inductance")
    given: int


def test_figures_are_read_from_where_they_are_declared():
    tank = SimpleNamespace(name="a", span=(1.0, 2.0), branch=None)
    assert collected(Card, {"tank": tank}, given=3) == Card(name="a", second=2.0, missing=None, given=3)


def test_a_path_that_leads_nowhere_is_refused():
    with pytest.raises(AttributeError, match="span"):
        collected(Card, {"tank": SimpleNamespace(name="a", branch=None)}, given=3)


def test_what_is_not_declared_must_be_given():
    with pytest.raises(TypeError, match="given"):
        collected(Card, {"tank": SimpleNamespace(name="a", span=(1.0, 2.0), branch=None)})


def test_no_number_is_known_as_none():
    assert known(float("nan")) is None
    assert known(np.float64(2.5)) == 2.5


def test_notes_are_numbered_only_where_they_can_be_played():
    opened = assemble(template_design(), ROD)
    places = np.linspace(0.02, 0.75, 40)
    inside, numbers = playable(opened.field, places), played_numbers(opened.field, places, 440.0)
    assert 0 < inside.sum() < inside.size
    assert np.array_equal(~np.isnan(numbers), inside)
    assert opened.field.frequency_at(places[inside]) == pytest.approx(440.0 * 2.0 ** ((numbers[inside] - 69.0) / 12.0))


def test_everything_of_a_design_is_made_once():
    opened = assemble(template_design(), ROD)
    assert opened.instrument is opened.instrument
    assert opened.tanks["variable"] is opened.tanks["variable"]
    assert opened.pair is opened.pair
    assert field_figures(opened).reference_frequency_hz == opened.pair.reference_frequency


def test_a_field_tells_where_zero_beat_put_the_trimmer(demos):
    """Set by hand to where it was put, and without tuning, the design has the same reference and nothing was turned."""
    opened = open_design(demos / "heron.toml")
    found = field_figures(opened)
    assert found.reference_trimmer_set is not None
    assert f"at {found.reference_trimmer_set:.3f} of its turn: retuned for zero beat" in FIELD.text(found)
    design = opened.design
    by_hand = replace(
        design,
        reference=replace(design.reference, trimmer=found.reference_trimmer_set),
        tuning=replace(design.tuning, zero_beat=None),
    )
    again = field_figures(open_loaded(by_hand))
    assert again.reference_trimmer_set is None
    assert again.reference_frequency_hz == pytest.approx(found.reference_frequency_hz, rel=1e-9)

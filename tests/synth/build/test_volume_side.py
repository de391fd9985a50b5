"""From designs to volume antennas: every key arrives, full volume is where asked for, faults name their remedy."""

from __future__ import annotations

import pytest
from small_instrument import RING_CURVE, ROD

from models.hand.capacitance_curve import CapacitanceCurve
from synth.build.assembly import assemble_volume, scene_of
from synth.build.workbench import OpenedDesign, assemble
from synth.designs.design_file import Design, read_design
from synth.designs.template import template_design
from synth.errors import DesignError

# Made-up but plausible curves: these tests are of the assembling, not of the field.

PITCH = """
[variable]
inductance = "2.7 mH"
capacitance = "85 pF"
[reference]
inductance = "2.7 mH"
capacitance = "82 pF"
"""
RING = """
[volume_antenna]
diameter = "24 cm"
tube_diameter = "6 mm"
height = "0.95 m"
offset = "50 cm"
stray = "4 pF"
[volume]
inductance = "2.2 mH"
capacitance = "33 pF"
stray = "12 pF"
trimmer_minimum = "5 pF"
trimmer_maximum = "30 pF"
trimmer = 0.4
quality_factor = 80
[volume_response]
inductance = "2.2 mH"
capacitance = "73 pF"
quality_factor = 110
amplitude = "9 V"
diode_drop = "0.25 V"
detector_resistance = "47k"
detector_capacitance = "10n"
threshold = "3 V"
full = "7 V"
"""


def _made(text: str) -> Design:
    return read_design(PITCH + text)


def test_every_key_reaches_the_volume_antenna() -> None:
    design = _made(RING)
    loop = scene_of(design).ring
    assert loop is not None
    assert (loop.diameter, loop.tube_diameter, loop.height, loop.offset) == (0.24, 0.006, 0.95, 0.5)
    volume = assemble(design, ROD, RING_CURVE).volume
    assert volume is not None
    assert volume.curve is RING_CURVE
    assert volume.ring_stray == 4e-12
    assert (volume.tank.inductance, volume.tank.total_capacitance) == pytest.approx((2.2e-3, 60e-12), rel=1e-9, abs=0.0)
    assert volume.tank.quality_factor == 80.0
    resonator = volume.resonator
    assert (resonator.inductance, resonator.total_capacitance, resonator.quality_factor) == (2.2e-3, 73e-12, 110.0)
    rectifier = volume.rectifier
    assert (rectifier.amplitude, rectifier.diode_drop) == (9.0, 0.25)
    assert (rectifier.resistance, rectifier.capacitance) == (47e3, 1e-8)
    assert (volume.stage.threshold, volume.stage.full) == (3.0, 7.0)


def test_full_height_sets_the_trimmer() -> None:
    volume, notices = assemble_volume(_made(RING + 'full_height = "30 cm"'), _tank(), RING_CURVE)
    assert volume.distance_at(1.0) == pytest.approx(0.30, abs=1e-8)
    assert not any("trimmer" in notice for notice in notices)


def test_a_trimmer_out_of_reach_stays_and_says_why() -> None:
    volume, notices = assemble_volume(
        _made(RING.replace("73 pF", "120 pF") + 'full_height = "30 cm"'), _tank(), RING_CURVE
    )
    assert volume.tank == _tank()
    assert "pF of trimmer for full volume at 30.0 cm" in notices[0]
    assert len(notices) == len(set(notices)) > 1


def test_full_volume_higher_than_the_arm_reaches_names_key_and_remedy() -> None:
    low = CapacitanceCurve(RING_CURVE.distances[:-8], RING_CURVE.capacitances[:-8], RING_CURVE.empty_capacitance)
    with pytest.raises(DesignError, match=r"volume_response\.full_height = 0\.6 m: .* choose a lower height"):
        assemble_volume(_made(RING + 'full_height = "60 cm"'), _tank(), low)


def _tank():
    volume = assemble(_made(RING), ROD, RING_CURVE).volume
    assert volume is not None
    return volume.tank


def test_without_the_sections_the_volume_hand_is_a_plain_gain() -> None:
    design = _made("")
    assert scene_of(design).ring is None
    assert assemble(design, ROD, RING_CURVE).volume is None
    assert assemble(_made(RING), ROD).volume is None
    with pytest.raises(DesignError, match="has no volume antenna"):
        assemble_volume(design, _tank(), RING_CURVE)


@pytest.mark.slow
def test_the_built_in_design_has_a_volume_antenna_that_works() -> None:
    """Solved for real: silent with the hand down, full at the height it was set up for, nothing to complain of."""
    volume = OpenedDesign(template_design()).volume
    assert volume is not None
    assert volume.faults() == ()
    assert 0.1 < volume.tank.trimmer_setting < 0.9
    assert volume.gain(0.015) == 0.0
    assert volume.gain(0.26) == 1.0
    span = volume.span()
    assert span is not None
    assert 0.02 < span[0] < 0.05
    assert 0.10 < span[1] < 0.25


@pytest.mark.parametrize(
    ("change", "parts"),
    [
        (("[volume]", '[design]\nname = "a"\n[nothing]'), ["unknown section"]),
        (('full = "7 V"', 'full = "3 V"'), ["volume_response.full", "not above threshold"]),
        (
            ('full = "7 V"', 'full = "7 V"\nfull_height = "0.2 m"', 'maximum = "30 pF"', 'maximum = "5 pF"'),
            ["volume_response.full_height", "needs a trimmer"],
        ),
        (
            ('tube_diameter = "6 mm"', 'tube_diameter = "100 mm"', 'diameter = "24 cm"', 'diameter = "18 cm"'),
            ["volume_antenna.tube_diameter", "make the ring larger"],
        ),
        (('minimum = "5 pF"', 'minimum = "50 pF"'), ["volume.trimmer_minimum", "exchange the two"]),
        (
            ('inductance = "2.2 mH"\ncapacitance = "33 pF"', 'inductance = "1 uH"\ncapacitance = "1 pF"\n'),
            ["volume.inductance", "resonates at"],
        ),
        (('diode_drop = "0.25 V"', 'diode_drop = "-1 V"'), ["volume_response.diode_drop", "out of its domain"]),
    ],
)
def test_faults_are_named_with_their_remedy(change: tuple[str, ...], parts: list[str]) -> None:
    text = RING
    for old, new in zip(change[::2], change[1::2], strict=True):
        assert old in text
        text = text.replace(old, new)
    with pytest.raises(DesignError) as caught:
        _made(text)
    assert all(part in str(caught.value) for part in parts), str(caught.value)


def test_the_three_sections_come_together() -> None:
    with pytest.raises(DesignError) as caught:
        _made("[volume_antenna]\n")
    assert "volume_antenna.diameter: belongs to a volume antenna; add [volume] and [volume_response]" in str(
        caught.value
    )


def test_a_ring_inside_the_cabinet_is_refused_when_it_is_solved() -> None:
    from synth.build.workbench import open_loaded

    design = _made(RING.replace("50 cm", "20 cm").replace("0.95 m", "0.9 m") + "[cabinet]\n")
    with pytest.raises(
        DesignError, match=r"volume_antenna\.offset: must be larger: the volume antenna meets the cabinet"
    ):
        open_loaded(design)

"""From designs to instruments; the demo designs do what their texts say."""

from __future__ import annotations

import dataclasses
import functools
import math
from pathlib import Path

import pytest
from slow_ones import slow_ones
from small_instrument import ROD

from models.branch.antenna_branch import DIRECT
from models.hand.capacitance_curve import CapacitanceCurve
from models.hand.earthing import Earthing
from models.injection import OutputCoupling, lock_range
from models.pitch_field import PitchField, pitch_field
from models.tank import resonant_frequency
from synth.build.assembly import earthing_of, scene_of, tuned_reference
from synth.build.circuit_assembly import tank_of
from synth.build.workbench import OpenedDesign, assemble
from synth.designs.design_file import Design, design_text, load_design, read_design
from synth.designs.template import template_design
from synth.errors import DesignError

DEMOS = Path(__file__).parents[3] / "demos"

BARE = """
[antenna]
stray = "3 pF"
[variable]
inductance = "2.7 mH"
capacitance = "85 pF"
stray = "15 pF"
[reference]
inductance = "2.7 mH"
capacitance = "82 pF"
stray = "12 pF"
trimmer_minimum = "5 pF"
trimmer_maximum = "30 pF"
[tuning]
zero_beat = "45 cm"
"""


def _field(assembly: OpenedDesign) -> PitchField:
    return pitch_field(assembly.instrument)


def test_zero_beat_is_where_it_was_asked_for() -> None:
    assembly = assemble(read_design(BARE), ROD)
    assert assembly.instrument.offset_frequency(0.45) == pytest.approx(0.0, abs=1e-6)
    assert _field(assembly).zero_beat_distance == pytest.approx(0.45, abs=1e-6)
    # at zero beat both tanks hold the same capacitance, the antenna and its stray counted (same inductance)
    total = 100e-12 + 3e-12 + float(ROD.capacitance(0.45))
    assert assembly.reference_tank.total_capacitance == pytest.approx(total, rel=1e-9)
    assert assembly.notices == ()


def test_without_zero_beat_the_trimmer_stays() -> None:
    design = read_design(BARE.replace('[tuning]\nzero_beat = "45 cm"', ""))
    assembly = assemble(design, ROD)
    assert assembly.reference_tank.trimmer_setting == 0.5
    assert assembly.instrument.reference_frequency == pytest.approx(
        float(resonant_frequency(2.7e-3, 111.5e-12)), rel=1e-12
    )


def test_a_trimmer_out_of_reach_says_what_is_missing_and_what_helps() -> None:
    far_off = read_design(BARE.replace('"82 pF"', '"100 pF"'))
    assembly = assemble(far_off, ROD)
    assert assembly.reference_tank.trimmer_setting == 0.0
    notice = assembly.notices[0]
    assert "cannot reach zero beat at 0.45 m" in notice
    assert "below the" in notice
    # the capacitor it names does bring zero beat there, with the trimmer in the middle
    value = notice.split("reference.capacitance of ")[1].split(" (now 100 pF)")[0]
    better = assemble(read_design(BARE.replace('"82 pF"', f'"{value}"')), ROD)
    assert better.reference_tank.trimmer_setting == pytest.approx(0.5, abs=0.01)
    assert better.notices == ()


def test_a_trimmer_too_high_names_the_side() -> None:
    assembly = assemble(read_design(BARE.replace('"82 pF"', '"60 pF"')), ROD)
    assert assembly.reference_tank.trimmer_setting == 1.0
    assert "above the" in assembly.notices[0]


def test_an_inductor_too_large_asks_for_a_smaller_one() -> None:
    reference = tank_of(read_design(BARE).reference)
    _, notices = tuned_reference(reference, 2.0 * reference.trimmer_range()[1], 0.45)
    assert "choose a smaller reference.inductance" in notices[0]


def test_a_trimmer_near_its_end_is_mentioned() -> None:
    reference = tank_of(read_design(BARE).reference)
    tuned, notices = tuned_reference(reference, reference.with_trimmer(0.97).frequency, 0.45)
    assert tuned.trimmer_setting == pytest.approx(0.97, rel=1e-6)
    assert "3.0 % of its turn from its end" in notices[0]


def test_every_key_reaches_the_instrument() -> None:
    extra = """
    [branch]
    inductance = "40 mH"
    quality_factor = 70
    self_capacitance = "1 pF"
    [coupling]
    lock_range = "3 Hz"
    [detector]
    kind = "junction"
    amplitude_ratio = 0.5
    drive = 2
    [tone]
    low_pass = "4 kHz"
    dc_block = "20 Hz"
    level = "25 %"
    """
    made = assemble(read_design(BARE.replace("[tuning]", '[tuning]\nmode = "low"') + extra), ROD).instrument
    assert (made.branch.inductance, made.branch.quality_factor, made.branch.self_capacitance) == (0.04, 70.0, 1e-12)  # type: ignore[union-attr]
    assert (made.detector.kind, made.detector.amplitude_ratio, made.detector.drive) == ("junction", 0.5, 2.0)
    assert (made.tone_low_pass, made.dc_block, made.level, made.lock_range) == (4000.0, 20.0, 0.25, 3.0)
    assert (made.mode, made.antenna_stray) == ("low", 3e-12)
    assert made.variable_tank.total_capacitance == pytest.approx(100e-12, rel=1e-9, abs=0.0)
    assert made.curve is ROD


def test_every_key_of_the_diode_reaches_the_detector() -> None:
    extra = """
    [detector]
    kind = "diode"
    amplitude_ratio = 0.5
    amplitude = "2 V"
    load_resistance = "220k"
    load_capacitance = "470p"
    source_resistance = "1k5"
    saturation_current = "5 nA"
    emission_factor = 1.7
    """
    detector = assemble(read_design(BARE + extra), ROD).instrument.detector
    assert (detector.kind, detector.amplitude_ratio, detector.amplitude) == ("diode", 0.5, 2.0)
    reference = resonant_frequency(2.7e-3, 111.5e-12)  # with the trimmer in the middle; where it ends up hardly matters
    assert detector.diode.radio_frequency == pytest.approx(float(reference), rel=0.02)
    parts = dataclasses.astuple(detector.diode)[:5]
    assert parts == pytest.approx((220e3, 470e-12, 5e-9, 1.7, 1500.0), rel=1e-12, abs=0.0)


COUPLED = """
[coupling]
lock_range = "computed"
reference_resistor = "10M"
variable_resistor = "4M7"
node_resistance = "10k"
node_capacitance = "33 pF"
"""


def test_computed_lock_range_follows_the_parts() -> None:
    made = assemble(read_design(BARE + COUPLED), ROD)
    parts = OutputCoupling(10e6, 4.7e6, 10e3, 33e-12)
    reference = made.reference_tank
    seen = made.instrument.variable_tank.total_capacitance + float(made.instrument.antenna_capacitance(0.45))
    ratio = 1.0 * 4.7 / 10.0
    expected = lock_range(parts, reference.frequency, reference.total_capacitance, seen, ratio)
    # the antenna straight across the tank adds to it; the trimmer moves the frequency after the lock range is taken
    assert made.instrument.lock_range == pytest.approx(expected, rel=0.02)
    assert 0.1 < made.instrument.lock_range < 10.0
    (notice,) = made.notices
    assert "tells the order of magnitude alone" in notice
    assert "add a [circuit] section" in notice


def test_a_strong_coupling_is_mentioned() -> None:
    strong = COUPLED.replace('"10M"', '"47k"').replace('"4M7"', '"47k"')
    notices = assemble(read_design(BARE + strong), ROD).notices
    assert any("is not small against half the bandwidth of the tanks" in notice for notice in notices)


def test_computed_lock_range_is_written_and_read_back() -> None:
    design = read_design(BARE + COUPLED)
    assert design.coupling.lock_range is None
    assert 'lock_range = "computed"' in design_text(design)
    assert read_design(design_text(design)) == design


@pytest.mark.parametrize("inductance", ["20 mH", "40 mH"])
def test_auto_takes_the_mode_that_is_mostly_the_tank(inductance: str) -> None:
    """The tank's own frequency is 306 kHz; the branch resonates at some 370 and 260 kHz."""
    made = assemble(read_design(BARE + f'[branch]\ninductance = "{inductance}"\n'), ROD).instrument
    assert made.mode == {"20 mH": "low", "40 mH": "high"}[inductance]


def test_a_zero_beat_outside_the_field_is_refused() -> None:
    short = CapacitanceCurve(ROD.distances[:15], ROD.capacitances[:15], ROD.empty_capacitance)
    with pytest.raises(DesignError, match="the hand field reaches from 10 mm to"):
        assemble(read_design(BARE), short)


def test_scene_takes_the_geometry() -> None:
    design = read_design(
        BARE.replace('stray = "3 pF"', 'length = "60 cm"\ndiameter = "8 mm"\nbase_height = "90 cm"', 1)
        + '[cabinet]\nwidth = "30 cm"\ndepth = "10 cm"\nheight = "8 cm"\ngap = "1 cm"\n'
        + '[player]\nbody_capacitance = "bonded"\nstand_distance = "80 cm"\nhand_height = "1.1 m"\n'
    )
    scene = scene_of(design)
    assert (scene.antenna.length, scene.antenna.diameter, scene.antenna.base_height) == (0.6, 0.008, 0.9)
    assert scene.cabinet is not None
    assert (scene.cabinet.width, scene.cabinet.depth, scene.cabinet.height, scene.cabinet.gap) == (0.3, 0.1, 0.08, 0.01)
    assert scene.player.stand_distance == 0.8
    assert earthing_of(design) == Earthing(math.inf, math.inf)
    assert scene.hand_height == 1.1
    assert scene_of(read_design(BARE)).cabinet is None


DESIGNS = {
    design.name: design for design in (template_design(), *(load_design(path) for path in sorted(DEMOS.glob("*.toml"))))
}


@functools.cache
def in_its_field(name: str) -> tuple[Design, OpenedDesign, PitchField]:
    """A template or demo design in its own hand field, which other tests need as well."""
    design = DESIGNS[name]
    assembly = assemble(design, OpenedDesign(design).curve)
    return design, assembly, assembly.field


def test_the_demo_designs_are_these() -> None:
    assert set(DESIGNS) == {"Lantern", "Heron", "Meadow", "Puddle", "Willow"}


@pytest.mark.parametrize("name", [*slow_ones("Lantern"), "Meadow"])
def test_series_inductor_designs_are_even(name: str) -> None:
    design, assembly, field = in_its_field(name)
    assert assembly.notices == ()
    assert assembly.instrument.mode == "high"
    assert field.zero_beat_distance == pytest.approx(design.tuning.zero_beat, abs=1e-4)
    far, near = field.distance_at([65.4064, 1046.502])  # C2 and C6
    assert far - near > 0.25
    assert field.linearity_error_between(65.4064, 1046.502) < 40.0
    # the same tank and zero beat with the antenna straight on it: fewer notes, and those less even
    made = assembly.instrument
    silent = float(made.variable_tank.with_antenna(made.antenna_capacitance(design.tuning.zero_beat)))
    bare = pitch_field(dataclasses.replace(made, branch=DIRECT, mode="low", reference_frequency=silent))
    assert len(bare.octaves()) < len(field.octaves())
    top = 0.99 * bare.highest_frequency
    assert bare.linearity_error_between(65.4064, top) > 2.0 * field.linearity_error_between(65.4064, top)


def test_the_bare_design_plays_three_octaves() -> None:
    _, assembly, field = in_its_field("Heron")
    assert assembly.notices == ()
    assert assembly.instrument.branch.direct
    assert len(field.octaves()) >= 3
    even = in_its_field("Meadow")[2]
    assert field.linearity_error_between(65.4064, 1046.502) > even.linearity_error_between(65.4064, 1046.502)


def test_the_bad_design_is_told_so() -> None:
    _, assembly, field = in_its_field("Puddle")
    assert "cannot reach zero beat" in assembly.notices[0]
    assert len(field.octaves()) < len(in_its_field("Heron")[2].octaves())
    assert assembly.instrument.lock_range == 40.0
    assert field.playable_far is not None
    assert field.playable_far < 0.12

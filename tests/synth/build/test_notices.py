"""What the program says of an instrument before it is soldered."""

from __future__ import annotations

from dataclasses import replace

import pytest
from small_instrument import tuned

from models.branch.antenna_branch import SeriesInductor
from models.circuit.bias import Bias
from models.circuit.common_base import OscillatorCircuit
from models.circuit.small_signal import DoesNotStartError, small_signal
from synth.build.notices import explained, instrument_notices


def test_nothing_is_said_of_a_sound_design() -> None:
    assert instrument_notices(tuned(0.45)) == ()
    assert instrument_notices(tuned(0.45, SeriesInductor(1e-3))) == ()


def test_notices_name_what_is_wrong() -> None:
    sound = tuned(0.45)
    farthest, nearest = sound.variable_frequency([0.8, 0.01])
    (beyond,) = instrument_notices(replace(sound, reference_frequency=float(farthest) + 37.0))
    assert beyond == "zero beat is out of reach: with the hand at 80.0 cm the oscillators are still 37.0 Hz apart"
    (falling,) = instrument_notices(replace(sound, reference_frequency=float(nearest) - 25.0))
    assert (
        "the pitch falls as the hand comes nearer: at 1.0 cm the variable oscillator is still 25.0 Hz above" in falling
    )
    (locked,) = instrument_notices(replace(sound, lock_range=1e4))
    assert "stay locked, and silent, at every hand distance" in locked
    (hop,) = instrument_notices(tuned(0.45, SeriesInductor(0.038, 100.0), "low"))
    assert "starts in its high mode with the hand at 1.0 to " in hop
    (lossy,) = instrument_notices(tuned(0.45, SeriesInductor(0.3, 60.0), "low"))
    assert "only the high mode starts, not the low one" in lossy


def test_a_field_of_few_notes_says_why() -> None:
    """A large tank: what the hand adds, and how far that goes."""
    heavy = tuned(0.45)
    tank = replace(heavy.variable_tank, capacitance=2e-9)
    heavy = replace(heavy, variable_tank=tank, reference_frequency=1.0)
    nearest, farthest = (float(value) for value in heavy.offset_frequency([heavy.curve.nearest, heavy.curve.farthest]))
    found = instrument_notices(replace(heavy, reference_frequency=1.0 - 0.5 * (nearest + farthest)))
    (why,) = (text for text in found if "hand moves" in text)
    assert f"by {abs(nearest - farthest):.0f} Hz only" in why
    assert "a smaller tank" in why.lower()
    assert "linearise" in why


@pytest.mark.parametrize(
    ("said", "helped"),
    [
        ("start-up: the threshold of oscillation does not settle", True),
        ("harmonic balance: the equations are singular", True),
        ("steady state: 512 harmonics do not suffice (the waveform is too abrupt)", True),
        ("the oscillation is not steady: it squegs; check the capacitors that hold the bias", False),
        ("operating point: the base does not settle at 0.3 of the supply; check what biases it", False),
    ],
)
def test_a_message_of_a_method_gets_a_remedy(said, helped):
    text = explained(ValueError(said))
    assert text.startswith(said)
    assert ("change one back at a time" in text) == helped


def test_a_swing_that_only_the_rising_supply_gives_is_told() -> None:
    """It may be of volts, as long as the bias passes through the window in which it grows."""
    signal = small_signal(OscillatorCircuit(bias=Bias(emitter_resistor=1e7)))
    plain, passing = (explained(DoesNotStartError(signal, times)) for times in (None, 43.5))
    assert passing == plain + " (while the supply rises it begins to swing, but dies away again)"

"""Bad numbers end in one ValueError that names the parameter: the checks, and the free functions that take them."""

import numpy as np
import pytest

from models.checks import finite, finite_array, one_of
from models.circuit.common_base import OscillatorCircuit
from models.circuit.oscillator import steady_state
from models.circuit.oscillator_start import relative_transconductance
from models.circuit.transient import simulate
from models.detector.diode import DiodeLoad, sum_envelope
from models.detector.diode_response import beat_cycle
from models.detector.memoryless import envelope_harmonics, envelope_waveform, junction_harmonics, junction_waveform


@pytest.mark.parametrize("bad", [1 + 2j, [1 + 1j], [True, 1.0], [[1.0], [1.0, 2.0]], [1.0, float("nan")], "1", None])
def test_arrays_of_anything_but_finite_real_numbers_are_refused(bad):
    with pytest.raises(ValueError, match="^size must be"):
        finite_array("size", bad)


@pytest.mark.parametrize("bad", [10**400, True, float("inf"), "1", 1j])
def test_numbers_beyond_a_float_are_refused(bad):
    with pytest.raises(ValueError, match="^size must be a finite number"):
        finite("size", bad)


def test_a_choice_must_be_a_word():
    with pytest.raises(ValueError, match="^mode must be one of"):
        one_of("mode", np.array(["low", "high"]), ("low", "high"))


@pytest.mark.parametrize(
    ("name", "call"),
    [
        ("amplitude_ratio", lambda: envelope_waveform(0.1, -1.0)),
        ("amplitude_ratio", lambda: envelope_harmonics(4, float("nan"))),
        ("count", lambda: envelope_harmonics(2.5, 0.5)),
        ("drive", lambda: junction_waveform(0.1, -1.0, 1.0)),
        ("weaker_drive", lambda: junction_harmonics(4, 1.0, float("inf"))),
        ("drive", lambda: relative_transconductance(-5.0)),
        ("first", lambda: sum_envelope(-1.0, 1.0, 0.0)),
        ("reference", lambda: beat_cycle(DiodeLoad(), -1.0, 0.5, [100.0])),
        ("points", lambda: beat_cycle(DiodeLoad(), 1.0, 0.5, [100.0], points=0)),
        ("offset", lambda: beat_cycle(DiodeLoad(), 1.0, 0.5, [])),
        ("harmonics", lambda: steady_state(OscillatorCircuit(), harmonics=16.5)),
        ("near_frequency", lambda: steady_state(OscillatorCircuit(), near_frequency=-1.0)),
        ("keep_from", lambda: simulate(OscillatorCircuit(), 1e-3, keep_from=-1e-4)),
    ],
)
def test_free_functions_name_what_is_wrong(name, call):
    with pytest.raises(ValueError, match=f"^{name} must be"):
        call()

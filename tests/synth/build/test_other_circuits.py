"""Textbook circuits unlike the templates, each from rows of its own: started, balanced, and integrated in time.

Values are our own. What they must show is known from outside: two devices of opposite kinds are mirror images, a
trimmer is a capacitor, power is kept, and an integration of the same parts in time by another rule swings alike.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from numpy.testing import assert_allclose

from models.circuit.drawing import Drawing, without_load
from models.circuit.implicit_run import stepped
from models.circuit.oscillator import SteadyState, small_signal, steady_state
from models.circuit.start_up import start_up
from models.circuit.transient import cycle_swings, measure, simulate
from synth.build.circuit_assembly import circuit_of
from synth.designs.design_file import Design, read_design

TANK = """
[{which}]
inductance = "{coil}"
quality_factor = 80.0
self_capacitance = "5 pF"
stray = "10 pF"
capacitance = "{capacitor}"
trimmer_minimum = "5 pF"
trimmer_maximum = "50 pF"
"""
PARALLEL = """
coil = { coil = "tank", from = "ground", to = "hot" }
tuning = { capacitor = "tank", from = "hot", to = "ground" }
"""
AT_SUPPLY = PARALLEL.replace("ground", "supply")
CLAPP = """
series = { capacitor = "220 pF", from = "hot", to = "gate" }
leak = { resistor = "1 Mohm", from = "gate", to = "ground" }
upper = { capacitor = "470 pF", from = "gate", to = "source" }
lower = { capacitor = "1 nF", from = "source", to = "ground" }
fet = { field_effect = "n-channel", gate = "gate", drain = "supply", source = "source" }
"source resistor" = { resistor = "3.3 kohm", from = "source", to = "ground" }
output = { at = "source" }
"""
ROWS = {
    "Clapp, junction FET": PARALLEL + CLAPP,
    "transformer feedback, bipolar": AT_SUPPLY
    + """
feedback = { coil = "20 uH", coupled_to = "coil", coupling = -0.3, from = "bias", to = "base" }
damping = { resistor = "470 ohm", from = "bias", to = "base" }
upper = { resistor = "100 kohm", from = "supply", to = "bias" }
lower = { resistor = "33 kohm", from = "bias", to = "ground" }
"bias capacitor" = { capacitor = "22 nF", from = "bias", to = "ground" }
q = { transistor = "npn", base = "base", collector = "hot", emitter = "emitter" }
"emitter resistor" = { resistor = "22 kohm", from = "emitter", to = "ground" }
"emitter capacitor" = { capacitor = "10 nF", from = "emitter", to = "ground" }
output = { at = "hot" }
""",
    "Colpitts, common emitter": """
coil = { coil = "tank", from = "base end", to = "hot" }
tuning = { capacitor = "tank", from = "hot", to = "base end" }
"at collector" = { capacitor = "2.2 nF", from = "hot", to = "ground" }
"at base" = { capacitor = "4.7 nF", from = "base end", to = "ground" }
couple = { capacitor = "22 nF", from = "base end", to = "base" }
upper = { resistor = "100 kohm", from = "supply", to = "base" }
lower = { resistor = "22 kohm", from = "base", to = "ground" }
q = { transistor = "npn", base = "base", collector = "collector", emitter = "emitter" }
"collector resistor" = { resistor = "10 kohm", from = "supply", to = "collector" }
block = { capacitor = "22 nF", from = "collector", to = "hot" }
leak = { resistor = "1 Mohm", from = "hot", to = "ground" }
"emitter resistor" = { resistor = "4.7 kohm", from = "emitter", to = "ground" }
"emitter capacitor" = { capacitor = "100 nF", from = "emitter", to = "ground" }
output = { at = "hot" }
""",
    "emitter-coupled pair": AT_SUPPLY
    + """
q1 = { transistor = "npn", base = "first base", collector = "supply", emitter = "tail" }
q2 = { transistor = "npn", amplifies = "no", base = "bias", collector = "hot", emitter = "tail" }
feedback = { capacitor = "47 pF", from = "hot", to = "first base" }
"base resistor" = { resistor = "220 kohm", from = "bias", to = "first base" }
upper = { resistor = "47 kohm", from = "supply", to = "bias" }
lower = { resistor = "22 kohm", from = "bias", to = "ground" }
"bias capacitor" = { capacitor = "100 nF", from = "bias", to = "ground" }
"tail resistor" = { resistor = "33 kohm", from = "tail", to = "ground" }
output = { at = "hot" }
""",
    "common base with two buffers": PARALLEL
    + """
feedback = { capacitor = "100 pF", from = "hot", to = "emitter" }
"emitter capacitor" = { capacitor = "2.2 nF", from = "emitter", to = "ground" }
q = { transistor = "pnp", base = "base", collector = "hot", emitter = "emitter" }
"emitter resistor" = { resistor = "100 kohm", from = "supply", to = "emitter" }
upper = { resistor = "33 kohm", from = "supply", to = "base" }
lower = { resistor = "47 kohm", from = "base", to = "ground" }
"base capacitor" = { capacitor = "22 nF", from = "base", to = "ground" }
first = { capacitor = "10 pF", from = "hot", to = "gate" }
leak = { resistor = "1 Mohm", from = "gate", to = "ground" }
fet = { field_effect = "n-channel", amplifies = "no", gate = "gate", drain = "supply", source = "source" }
"source resistor" = { resistor = "4.7 kohm", from = "source", to = "ground" }
second = { capacitor = "100 pF", from = "source", to = "last base" }
"last upper" = { resistor = "220 kohm", from = "supply", to = "last base" }
"last lower" = { resistor = "220 kohm", from = "last base", to = "ground" }
last = { transistor = "npn", amplifies = "no", base = "last base", collector = "supply", emitter = "out" }
"last resistor" = { resistor = "4.7 kohm", from = "out", to = "ground" }
output = { at = "out" }
""",
    "junction FET with a diode at its gate": PARALLEL
    + """
"gate capacitor" = { capacitor = "150 pF", from = "hot", to = "gate" }
leak = { resistor = "470 kohm", from = "gate", to = "ground" }
limiter = { diode = "2 nA", anode = "gate", cathode = "ground" }
upper = { capacitor = "330 pF", from = "gate", to = "source" }
lower = { capacitor = "680 pF", from = "source", to = "ground" }
fet = { field_effect = "n-channel", gate = "gate", drain = "supply", source = "source" }
"source resistor" = { resistor = "10 kohm", from = "source", to = "ground" }
output = { at = "source" }
""",
}
TANKS = {
    "Clapp, junction FET": ("1 mH", "150 pF"),
    "Colpitts, common emitter": ("470 uH", "100 pF"),
    "common base with two buffers": ("1 mH", "220 pF"),
    "junction FET with a diode at its gate": ("1 mH", "150 pF"),
}
SLOW = [pytest.param(name, marks=pytest.mark.slow) for name in ROWS]
QUICK = ("Clapp, junction FET", "transformer feedback, bipolar", "common base with two buffers")


def design_of(rows: str, tank: tuple[str, str] = ("1 mH", "330 pF"), more: str = "") -> Design:
    tanks = "".join(TANK.format(which=which, coil=tank[0], capacitor=tank[1]) for which in ("reference", "variable"))
    return read_design(f"{tanks}\n[circuit]\n[circuit.parts]\n{rows}\n{more}", "mine.toml")


@cache
def circuit(name: str) -> Drawing:
    drawing = circuit_of(design_of(ROWS[name], TANKS.get(name, ("1 mH", "330 pF"))), "reference")
    assert isinstance(drawing, Drawing)
    return drawing


@cache
def solved(name: str) -> SteadyState:
    return steady_state(without_load(circuit(name)))


@pytest.mark.parametrize("name", [pytest.param(name, marks=[] if name in QUICK else pytest.mark.slow) for name in ROWS])
def test_it_starts_and_keeps_the_books(name: str) -> None:
    assert small_signal(circuit(name)).starts
    state = solved(name)
    assert 150e3 < state.frequency < 320e3
    assert_allclose(sum(state.powers.values()), state.supply_power, rtol=1e-5)


@pytest.mark.parametrize("name", SLOW)
def test_an_integration_in_time_swings_alike(name: str) -> None:
    """20 ppm in frequency, 1 % in amplitude, from the balanced oscillation on: a wrong one would leave it."""
    state = solved(name)
    run = simulate(state.circuit, 20.0 / state.frequency, start=state, frequency=state.frequency)
    read = measure(run, cycles=12, allowed_drift=None)
    assert_allclose(read.frequency, state.frequency, rtol=20e-6)
    assert_allclose(read.amplitude, state.tank_amplitude, rtol=0.01)


@pytest.mark.slow
def test_a_swing_that_is_limited_within_the_first_cycles_starts_as_an_integration_has_it() -> None:
    name = "Colpitts, common emitter"
    state, run = solved(name), start_up(solved(name).circuit, longest=1e-3)
    assert run.started is not None
    record = stepped(state.circuit, int(1.1 * run.started * state.frequency), state.frequency)
    swings = cycle_swings(record, "tank")
    place = int(np.argmax(swings >= 0.9 * state.peak_to_peak("tank")))
    assert_allclose((place + 0.5) / state.frequency, run.started, rtol=0.03)


def test_a_p_channel_circuit_is_the_mirror_image_of_an_n_channel_one() -> None:
    name = "Clapp, junction FET"
    turned = ROWS[name].replace('"supply"', '"?"').replace('"ground"', '"supply"').replace('"?"', '"ground"')
    other = circuit_of(design_of(turned.replace("n-channel", "p-channel"), TANKS[name]), "reference")
    state, own = steady_state(without_load(other)), solved(name)
    assert_allclose(state.frequency, own.frequency, rtol=1e-8)
    assert_allclose(state.tank_amplitude, own.tank_amplitude, rtol=1e-6)
    assert_allclose(state.supply_current, own.supply_current, rtol=1e-6)


def test_a_trimmer_is_a_capacitor_of_its_setting() -> None:
    rows, tank = ROWS["Clapp, junction FET"], TANKS["Clapp, junction FET"]
    both = [
        circuit_of(design_of(rows + f'more = {{ {part}, from = "gate", to = "ground" }}\n', tank), "reference")
        for part in ('trimmer = "30 pF", minimum = "5 pF", setting = 0.4', 'capacitor = "15 pF"')
    ]
    ways = [steady_state(without_load(each)).frequency for each in both]
    assert_allclose(ways[0], ways[1], rtol=1e-9)
    assert ways[0] < solved("Clapp, junction FET").frequency


def test_one_oscillator_may_have_parts_of_its_own() -> None:
    more = """
[variable.parts]
lower = { capacitor = "820 pF", from = "source", to = "ground" }
[volume_antenna]
[volume]
inductance = "1 mH"
capacitance = "100 pF"
[volume_response]
inductance = "1 mH"
capacitance = "100 pF"
[volume.parts]
"source resistor" = { resistor = "4.7 kohm", from = "source", to = "ground" }
"""
    design = design_of(ROWS["Clapp, junction FET"], TANKS["Clapp, junction FET"], more)
    found = {which: circuit_of(design, which).drawing().network() for which in ("reference", "variable", "volume")}
    capacitances = [found[which].capacitance[found[which].index("source")].sum() for which in found]
    assert_allclose(capacitances[0] - capacitances[1], 180e-12, rtol=1e-6)
    ohms = [
        next(1.0 / part.weight for part in network.resistors if part.name == "source resistor")
        for network in found.values()
    ]
    assert_allclose(ohms, [3.3e3, 3.3e3, 4.7e3], rtol=1e-9)

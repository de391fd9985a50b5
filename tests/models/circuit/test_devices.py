"""Each device of a drawing against its equation, its derivatives against differences, charges kept, power taken in."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose

from models.circuit.devices import Devices
from models.circuit.diode import Diode, DiodePorts
from models.circuit.drawing import Capacitance, Coil, Drawing, Part, Resistance
from models.circuit.field_effect import FieldEffect, FieldEffectPorts
from models.circuit.inverter import Inverter, InverterPorts
from models.circuit.operating_point import operating_point
from models.circuit.transistor import Transistor, TransistorPorts
from models.circuit.triode import Triode, TriodePorts

LAWS = {
    "diode": DiodePorts(Diode()),
    "field effect": FieldEffectPorts(FieldEffect()),
    "triode": TriodePorts(Triode()),
    "inverter": InverterPorts(Inverter()),
    "npn": TransistorPorts(Transistor()),
    "two": Devices([FieldEffectPorts(FieldEffect()), DiodePorts(Diode())], np.array([1e-4, 0.0, 0.0])),
}
SPANS = {"triode": (-5.0, 120.0), "inverter": (0.2, 9.0)}


def points(name: str, count: int = 60) -> np.ndarray:
    low, high = SPANS.get(name, (-6.0, 0.62))
    found = np.random.default_rng(7).uniform(low, high, (len(LAWS[name].knees), count))
    if name == "triode":
        found[0] = 0.05 * found[0]
    if name == "inverter":
        found[1] = np.linspace(0.0, 1.0, count) * (found[0] + found[2])
    return found


@pytest.mark.parametrize("name", LAWS)
def test_derivatives_are_those_of_currents_and_charges(name: str) -> None:
    law, voltages = LAWS[name], points(name)
    state = law.evaluate(voltages)
    for port in range(len(voltages)):
        step = np.zeros_like(voltages)
        step[port] = 1e-5
        above, below = law.evaluate(voltages + step), law.evaluate(voltages - step)
        for values, slopes, unit in (("currents", "conductances", 1e-9), ("charges", "capacitances", 1e-18)):
            found = (getattr(above, values) - getattr(below, values)) / 2e-5
            assert_allclose(getattr(state, slopes)[:, port], found, rtol=2e-4, atol=unit)


@pytest.mark.parametrize("name", LAWS)
def test_the_short_way_gives_the_same_currents_and_capacitances(name: str) -> None:
    law, voltages = LAWS[name], points(name)
    currents, capacitances = law.currents_and_capacitances(voltages)
    state = law.evaluate(voltages)
    assert_allclose(currents, state.currents, rtol=1e-12, atol=0)
    assert_allclose(capacitances, np.einsum("ppm->pm", state.capacitances), rtol=1e-12, atol=0)
    whole = np.abs(state.capacitances).sum(axis=(0, 1))  # a charge hangs on the voltage of its own port alone
    assert_allclose(whole, capacitances.sum(axis=0), rtol=1e-12, atol=0)


@pytest.mark.parametrize("name", LAWS)
def test_plain_numbers_of_one_instant_give_the_same(name: str) -> None:
    law, voltages = LAWS[name], points(name)
    currents, capacitances = law.currents_and_capacitances(voltages)
    whole = Devices([law])
    for place, instant in enumerate(voltages.T.tolist()):
        found = whole.at_instant(instant)
        assert_allclose(found[0], currents[:, place], rtol=1e-13, atol=1e-25)
        assert_allclose(found[1], capacitances[:, place], rtol=1e-13, atol=0)


@pytest.mark.parametrize("name", LAWS)
def test_charge_taken_round_a_cycle_is_zero(name: str) -> None:
    """A charge that is a function of the voltages alone: the current dq/dt of a periodic voltage has no mean."""
    turn = np.linspace(0.0, 2.0 * np.pi, 257)
    law = LAWS[name]
    voltages = -1.0 + 0.5 * np.cos(turn + np.arange(len(law.knees))[:, None])
    charges = law.evaluate(voltages).charges
    assert_allclose(charges[:, -1], charges[:, 0], rtol=1e-12, atol=0)


@pytest.mark.parametrize("name", ["diode", "field effect", "inverter", "npn"])
def test_no_device_gives_power(name: str) -> None:
    """Power into the ports is not negative: there is no source in it (a triode's heater is one)."""
    voltages = points(name, 400)
    power = np.sum(voltages * LAWS[name].evaluate(voltages).currents, axis=0)
    assert power.min() >= -1e-15


def test_a_triode_takes_power_but_for_the_electrons_own_speed() -> None:
    voltages = points("triode", 400)
    currents = LAWS["triode"].evaluate(voltages).currents
    assert (voltages[1] * currents[1]).min() >= 0.0
    assert (voltages[0] * currents[0]).min() > -2e-6  # W: softness of the grid's cut-off near 0 V


def test_diode_is_shockleys() -> None:
    diode = Diode(saturation_current=1e-9, emission_factor=2.0)
    volts = np.array([[-1.0, 0.1, 0.5]])
    thermal = 1.380649e-23 * 300.0 / 1.602176634e-19
    expected = 1e-9 * np.expm1(volts / (2.0 * thermal))  # I = I_s (exp(V / n V_T) - 1), textbook
    assert_allclose(DiodePorts(diode).evaluate(volts).currents, expected, rtol=1e-12)


@pytest.mark.parametrize(("gate", "drain"), [(0.0, 5.0), (-1.0, 3.0), (-0.5, 0.4), (-1.0, 0.2)])
def test_field_effect_follows_the_square_law(gate: float, drain: float) -> None:
    """I_D = I_DSS (1 - V_GS / V_P)^2 in saturation; below it I_DSS / V_P^2 (2 (V_GS - V_P) V_DS - V_DS^2), textbook."""
    part = FieldEffect(pinch_off=-2.0, factor=1.5e-3, channel_slope=0.0)
    current = FieldEffectPorts(part).evaluate(np.array([[gate], [gate - drain]])).currents
    over = gate + 2.0
    expected = 6e-3 * (1.0 - gate / -2.0) ** 2 if drain > over else 1.5e-3 * (2.0 * over * drain - drain**2)
    assert_allclose(-current[1, 0], expected, rtol=1e-4)
    assert_allclose(current.sum(), 0.0, atol=1e-10)  # no gate current


def test_field_effect_may_be_turned_round() -> None:
    ports = FieldEffectPorts(FieldEffect())
    one = ports.evaluate(np.array([[-0.5], [-3.0]])).currents[:, 0]
    other = ports.evaluate(np.array([[-3.0], [-0.5]])).currents[:, 0]
    assert_allclose(one, other[::-1], rtol=1e-12)


def test_triode_follows_the_three_halves_law() -> None:
    part = Triode(amplification=20.0, perveance=1e-3, grid_perveance=2e-4)
    grid, anode = np.array([-4.0, -8.0, 1.0]), np.array([150.0, 250.0, 100.0])
    currents = TriodePorts(part).evaluate(np.stack([grid, anode])).currents
    assert_allclose(currents[1], 1e-3 * (grid + anode / 20.0) ** 1.5, rtol=1e-5)  # Child and Langmuir
    assert_allclose(currents[0, 2], 2e-4, rtol=0.01)
    assert currents[0, :2].max() < 1e-9


def test_triode_has_its_amplification_factor() -> None:
    """mu = -dV_a/dV_g at constant current = g_m r_a (Barkhausen), textbook."""
    state = TriodePorts(Triode(amplification=30.0)).evaluate(np.array([[-3.0], [200.0]]))
    assert_allclose(state.conductances[1, 0] / state.conductances[1, 1], 30.0, rtol=1e-4)


def test_inverter_unloaded_has_its_gain_in_the_middle_and_its_rails_at_the_ends() -> None:
    part = Inverter(gain=15.0, output_resistance=300.0, rated_supply=9.0)
    supply = 9.0

    def open_output(into: float) -> float:
        # the output where upper and lower current are equal: v_1 g_1 = v_3 g_3
        both = InverterPorts(part).evaluate(np.array([[1.0], [into], [supply - 1.0]])).currents[:, 0]
        upper, lower = both[0] / 1.0, both[2] / (supply - 1.0)
        return float(supply * upper / (upper + lower))

    slope = (open_output(4.501) - open_output(4.499)) / 0.002
    assert_allclose(slope, -15.0, rtol=1e-3)
    assert_allclose([open_output(0.5), open_output(8.5)], [9.0, 0.0], atol=1e-6)
    state = InverterPorts(part).evaluate(np.array([[1.0], [4.0], [8.0]]))
    shared = state.conductances[0, 0, 0] - state.conductances[0, 2, 0]
    other = state.conductances[2, 2, 0] - state.conductances[2, 0, 0]
    assert_allclose(shared + other, 1.0 / 300.0, rtol=1e-4)  # the output resistance, whatever the input
    straight = InverterPorts(part).evaluate(np.array([[4.5], [4.5], [4.5]])).currents[:, 0]
    assert_allclose(straight, [9.0 / 1200.0, 0.0, 9.0 / 1200.0], rtol=1e-3)  # V / (4 R) straight through
    half = InverterPorts(part).evaluate(np.array([[2.25], [2.25], [2.25]])).currents[:, 0]
    assert_allclose(half, straight / 4.0, rtol=1e-2)  # at half the supply its channels conduct half as well


def test_a_pnp_is_an_npn_with_all_signs_turned() -> None:
    """The same amplifier drawn with either: equal currents, the voltages counted from the other rail."""
    parts = (
        Part("upper", Resistance(47e3), ("supply", "base")),
        Part("lower", Resistance(22e3), ("base", "ground")),
        Part("emitter", Resistance(1e3), ("emitter", "ground")),
        Part("collector", Resistance(2.2e3), ("supply", "collector")),
        Part("coil", Coil(1e-3, 1.0), ("ground", "hot")),
        Part("tank", Capacitance(1e-9), ("hot", "ground")),
    )
    npn = (*parts, Part("q", Transistor(), ("base", "collector", "emitter")))
    turned = {"supply": "ground", "ground": "supply"}
    pnp = tuple(
        Part(part.name, part.what, tuple(turned.get(node, node) for node in part.ends), part.name == "q")
        for part in npn
    )
    points = [
        operating_point(Drawing(drawn, "q", "coil", ("hot", "ground"), "hot", supply_resistor=1e-3))
        for drawn in (npn, pnp)
    ]
    assert_allclose(points[0].collector_current, points[1].collector_current, rtol=1e-6)
    assert_allclose(points[0].base_voltage, 9.0 - points[1].base_voltage, rtol=1e-6)
    assert points[1].region == "active"


def densities(law, voltages: list[float]) -> dict[str, float]:
    """Density, A^2/Hz, of each noise current of a device, counted over frequencies of both signs."""
    ports = np.array(voltages)
    currents = law.evaluate(ports[:, None]).currents[:, 0]
    return {source.name: float(np.squeeze(source.density)) for source in law.noise(ports, currents)}


def test_the_noise_of_each_device() -> None:
    """Shot noise q I and thermal noise 2 k T G over both signs (2 q I and 4 k T G over one, any textbook)."""
    charge, thermal = 1.602176634e-19, 1.380649e-23 * 300.0
    diode = Diode(saturation_current=1e-9, emission_factor=2.0)
    current = 1e-9 * math.expm1(0.5 * charge / (2.0 * thermal))
    assert_allclose(densities(DiodePorts(diode), [0.5])["diode current"], charge * current, rtol=1e-9)
    # a saturated channel: two thirds of its transconductance (A. van der Ziel, Proc. IRE 50 (1962) 1808, from memory)
    part = FieldEffect(pinch_off=-2.0, factor=1.5e-3, channel_slope=0.0)
    slope = 2.0 * 1.5e-3 * 1.0
    found = densities(FieldEffectPorts(part), [-1.0, -6.0])["channel"]
    assert_allclose(found, 2.0 * thermal * slope * 2.0 / 3.0, rtol=1e-3)
    # space charge smooths that of a triode to something like a tenth; not that of its grid
    triode = Triode(amplification=20.0, perveance=1e-3, grid_perveance=2e-4)
    found = densities(TriodePorts(triode), [1.0, 100.0])
    assert 0.05 * charge < found["anode current"] / (1e-3 * 6.0**1.5) < 0.2 * charge
    assert_allclose(found["grid current"], charge * 2e-4, rtol=0.01)
    # both halves of an inverter together are its output resistance
    found = densities(InverterPorts(Inverter(output_resistance=300.0, rated_supply=9.0)), [4.0, 4.5, 5.0])
    assert_allclose(sum(found.values()), 2.0 * thermal / 300.0, rtol=1e-3)


def test_values_out_of_their_domain_are_refused() -> None:
    with pytest.raises(ValueError, match="pinch_off must be < 0"):
        FieldEffect(pinch_off=1.0)
    with pytest.raises(ValueError, match="amplification"):
        Triode(amplification=0.0)
    with pytest.raises(ValueError, match="threshold"):
        Inverter(threshold=math.pi)
    with pytest.raises(ValueError, match="emission_factor"):
        Diode(emission_factor=-1.0)

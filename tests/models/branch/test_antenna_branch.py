"""The antenna branch with loss: starting conditions, and where it may hop."""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from oracles import natural_modes

from models.branch.antenna_branch import DIRECT, SeriesInductor, mode_hop, preferred_mode, starting_conductances
from models.branch.loss import mode_starts
from models.branch.modes import mode_frequencies
from models.tank import Tank, resonant_frequency

L0, C0, LA, CS, R0, RA = 1e-3, 400e-12, 30e-3, 1e-12, 15.0, 800.0
ANTENNA = np.linspace(7e-12, 14e-12, 15)
CIRCUIT = (L0, C0, LA, ANTENNA, CS, R0, RA)


def admittance(s: complex, l0: float, c0: float, la: float, ca: float, cs: float, r0: float, ra: float) -> complex:
    """Admittance of tank and branch, term by term as the circuit is drawn."""
    coil = s * cs + 1.0 / (ra + s * la)
    return s * c0 + 1.0 / (r0 + s * l0) + 1.0 / (1.0 / coil + 1.0 / (s * ca))


def newton(circuit: tuple[float, ...], start: complex, conductance: float = 0.0) -> complex:
    """Root of the drawn circuit's admittance near a start, by Newton's method with a numerical slope."""
    s = start
    for _ in range(40):
        step = 1e-7 * abs(s)
        value = admittance(s, *circuit) + conductance
        s -= value * 2.0 * step / (admittance(s + step, *circuit) - admittance(s - step, *circuit))
    return s


def test_the_oracle_solves_the_circuit_as_drawn() -> None:
    modes = natural_modes(*CIRCUIT)
    for index, antenna in enumerate(ANTENNA):
        circuit = (L0, C0, LA, float(antenna), CS, R0, RA)
        for own, lossless in zip(modes, mode_frequencies(*circuit[:5]), strict=True):
            assert_allclose(own[index], newton(circuit, 2j * np.pi * complex(lossless)), rtol=1e-9)


def test_a_branch_of_no_account_leaves_the_plain_tank() -> None:
    quality = 2.0 * np.pi * float(resonant_frequency(L0, C0)) * L0 / R0
    circuit = (L0, C0, 1e-7, 1e-16, 0.0, R0, 0.0)
    frequency = resonant_frequency(L0, C0 + 1e-16)
    # where the susceptances of C and of the lossy coil cancel
    assert_allclose(mode_starts(*circuit).frequencies[0], frequency * np.sqrt(1.0 - quality**-2.0), rtol=1e-9)
    # a coil with series resistance r tuned by C looks like a conductance r C / L
    assert_allclose(mode_starts(*circuit).conductances[0], R0 * C0 / L0, rtol=1e-6)


def test_modes_stand_on_the_axis_at_their_starting_conductance() -> None:
    conductances = mode_starts(*CIRCUIT).conductances
    for mode in (0, 1):
        s = natural_modes(*CIRCUIT, conductance=-conductances[mode])[mode]
        assert np.all(np.abs(s.real) < 1e-11 * s.imag)
        assert_allclose(s.imag / (2.0 * np.pi), mode_starts(*CIRCUIT).frequencies[mode], rtol=1e-11)
        assert np.all(natural_modes(*CIRCUIT, conductance=-1.01 * conductances[mode])[mode].real > 0.0)
        assert np.all(natural_modes(*CIRCUIT, conductance=-0.99 * conductances[mode])[mode].real < 0.0)


def test_below_the_smaller_starting_conductance_nothing_starts() -> None:
    # random circuits, some very lossy: the smaller of the two is where the first of all roots crosses the axis
    rng = np.random.default_rng(5)
    count = 3000
    c0, ca = 10.0 ** rng.uniform(-11, -9, count), 10.0 ** rng.uniform(-11.7, -10.3, count)
    la, cs = 10.0 ** rng.uniform(-4, -1, count), 10.0 ** rng.uniform(-13, -11.5, count)
    omega = 1.0 / np.sqrt(L0 * c0)
    r0 = omega * L0 / 10.0 ** rng.uniform(0.5, 2.5, count)
    ra = omega * la / 10.0 ** rng.uniform(-1.0, 2.5, count)
    circuit = (L0, c0, la, ca, cs, r0, ra)
    first = np.minimum(*mode_starts(*circuit).conductances)
    assert np.all(np.isfinite(first))
    below = np.maximum(*(s.real for s in natural_modes(*circuit, conductance=-0.999 * first)))
    above = np.maximum(*(s.real for s in natural_modes(*circuit, conductance=-1.001 * first)))
    assert np.all(below < 0.0)
    assert np.all(above > 0.0)


def test_loss_shifts_the_starting_frequency_by_the_documented_order() -> None:
    # both coils at Q: the mode that lives in the tank starts about f / (2 Q^2) low; the one in the branch some ten
    # times as much, still as 1 / Q^2
    shifts = []
    for quality in (100.0, 200.0):
        tank, branch = Tank(L0, C0, quality_factor=quality), SeriesInductor(20e-3, quality, CS)
        losses = (tank.series_resistance, branch.series_resistance(tank.frequency))
        lossy = mode_starts(L0, C0, 20e-3, 10e-12, CS, *losses).frequencies
        shift = 1.0 - np.array(lossy) / np.array(mode_frequencies(L0, C0, 20e-3, 10e-12, CS))
        shifts.append(shift * 2.0 * quality**2)
    assert_allclose(shifts[0], shifts[1], rtol=0.03)
    assert 0.8 < shifts[1][0] < 1.0
    assert 8.0 < shifts[1][1] < 14.0


@pytest.mark.parametrize("quality", [60.0, 100.0])
def test_loss_moves_a_tuned_beat_by_a_cent_or_so(quality: float) -> None:
    # the lossless law used for playing, against the lossy circuit tuned to zero beat at the same place
    tank, branch = Tank(L0, C0, quality_factor=100.0), SeriesInductor(20e-3, quality, CS)
    antenna = 7.3e-12 + np.geomspace(0.1e-12, 3e-12, 30)
    losses = (tank.series_resistance, branch.series_resistance(tank.frequency))
    lossless = mode_frequencies(L0, C0, 20e-3, antenna, CS)[0]
    lossy = mode_starts(L0, C0, 20e-3, antenna, CS, *losses).frequencies[0]
    difference = 1200.0 * np.log2((lossy[0] - lossy[1:]) / (lossless[0] - lossless[1:]))
    assert np.all(np.abs(difference) < 1.5)


TANK, BRANCH = Tank(L0, C0, quality_factor=100.0), SeriesInductor(LA, 60.0, CS)
DISTANCES = np.linspace(0.6, 0.02, 15)


def test_preferred_mode_follows_the_smaller_conductance() -> None:
    low, high = starting_conductances(TANK, BRANCH, ANTENNA)
    modes = [preferred_mode(TANK, BRANCH, float(antenna)) for antenna in ANTENNA]
    assert modes == ["low" if first <= second else "high" for first, second in zip(low, high, strict=True)]
    assert modes[0] == "low"
    assert modes[-1] == "high"
    assert preferred_mode(TANK, DIRECT, 1e-11) == "low"


def test_the_mode_that_lives_in_the_tank_starts_first() -> None:
    # a branch resonance far above leaves the low mode in the tank, one far below the high mode
    assert preferred_mode(TANK, SeriesInductor(1e-3, 60.0), 10e-12) == "low"
    assert preferred_mode(TANK, SeriesInductor(0.3, 60.0), 10e-12) == "high"


def test_a_hop_is_told_with_its_place() -> None:
    hop = mode_hop(TANK, BRANCH, DISTANCES, ANTENNA, "low")
    assert hop is not None
    low, high = starting_conductances(TANK, BRANCH, ANTENNA)
    risky, worst = DISTANCES[high < 1.5 * low], int(np.argmin(high / low))
    assert (hop.rival, hop.near, hop.far, hop.worst) == ("high", risky.min(), risky.max(), DISTANCES[worst])
    assert hop.needed == (low[worst], high[worst])
    assert high[worst] < low[worst]


def test_no_hop_where_there_is_room() -> None:
    assert mode_hop(TANK, DIRECT, DISTANCES, ANTENNA, "low") is None
    assert mode_hop(TANK, SeriesInductor(1e-3, 60.0), DISTANCES, ANTENNA, "low") is None
    assert mode_hop(TANK, SeriesInductor(1e-3, 60.0), DISTANCES, ANTENNA, "high") is not None
    # the same field is safe at a small ratio and at risk at a large one
    low, high = starting_conductances(TANK, SeriesInductor(18e-3, 60.0), ANTENNA)
    ratio = float((high / low).min())
    assert ratio > 1.0
    arguments = (TANK, SeriesInductor(18e-3, 60.0), DISTANCES, ANTENNA, "low")
    assert mode_hop(*arguments, ratio=0.5 * (1.0 + ratio)) is None
    assert mode_hop(*arguments, ratio=1.1 * ratio) is not None


def test_a_very_lossy_branch_merges_the_modes() -> None:
    low, high = starting_conductances(TANK, SeriesInductor(LA, 1.0, CS), ANTENNA)
    assert np.all(np.isinf(low) ^ np.isinf(high))
    hop = mode_hop(TANK, SeriesInductor(LA, 1.0, CS), DISTANCES, ANTENNA, "low")
    assert hop is not None
    assert hop.needed is None
    gone = DISTANCES[np.isinf(low)]
    assert (hop.rival, hop.near, hop.far) == ("high", gone.min(), gone.max())


def test_a_branch_of_nothing_is_a_tank_with_a_larger_capacitor() -> None:
    """The textbook parallel circuit, r in series with L: omega^2 = 1 / (L C) - (r / L)^2, conductance r C / L; and the
    limit of a branch that shrinks."""
    frequencies, conductances = mode_starts(L0, C0, np.array([0.0, 1e-9, LA]), 10e-12, 0.0, R0, 0.0)
    total, w = C0 + 10e-12, 2.0 * np.pi * frequencies[0][0]
    coil = 1.0 / (R0 + 1j * w * L0)
    assert_allclose(w * total, -coil.imag, rtol=1e-12)
    assert_allclose(conductances[0][0], coil.real, rtol=1e-12)
    assert_allclose(frequencies[0][1], frequencies[0][0], rtol=1e-6)
    assert_allclose(conductances[0][1], conductances[0][0], rtol=1e-6)
    assert np.isinf([frequencies[1][0], conductances[1][0]]).all()
    assert frequencies[0][2] == mode_starts(L0, C0, LA, 10e-12, 0.0, R0, 0.0).frequencies[0]
    assert starting_conductances(TANK, DIRECT, 10e-12)[1] == np.inf
    assert DIRECT.direct
    assert not BRANCH.direct


def test_bad_values_are_refused() -> None:
    with pytest.raises(ValueError, match="tank_resistance must be >= 0"):
        mode_starts(L0, C0, LA, 1e-11, tank_resistance=-1.0)
    with pytest.raises(ValueError, match="mode must be one of low, high"):
        mode_hop(TANK, BRANCH, DISTANCES, ANTENNA, "middle")
    with pytest.raises(ValueError, match="two rows of one length"):
        mode_hop(TANK, BRANCH, DISTANCES[1:], ANTENNA, "low")
    with pytest.raises(ValueError, match="ratio must be >= 1"):
        mode_hop(TANK, BRANCH, DISTANCES, ANTENNA, "low", ratio=0.5)
    for values in ((-1e-3, 60.0, 0.0), (1e-3, 0.0, 0.0), (1e-3, 60.0, -1e-12), (np.nan, 60.0, 0.0)):
        with pytest.raises(ValueError, match="must be"):
            SeriesInductor(*values)

"""The steady state of an oscillator, as it is drawn: frequency, amplitude, waveforms, harmonics, powers.

Harmonic balance (models.circuit.harmonic_balance) starts from the describing function of a bipolar transistor; when
that fails or ends at rest, and with another device, the oscillation is followed up from nothing: a conductance across
the tank, chosen so that the tank swings by a given amount, is followed until it vanishes. A solution that has not
converged, whose harmonics are cut off, or that is not stable (models.circuit.orbit_stability) is never returned:
ValueError says what happened.
Looked for are oscillations that grow from rest and those that grow only while the supply rises and then hold themselves
(models.circuit.switch_on, models.circuit.envelope); no other hard excitation.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np

from models.arrays import Floats
from models.checks import positive
from models.circuit.common_base import OscillatorCircuit
from models.circuit.devices import DeviceLaw
from models.circuit.drawing import Drawable, Drawing, drawn
from models.circuit.harmonic_balance import Balance, NotConvergedError, balance, resized
from models.circuit.network import Network
from models.circuit.operating_point import describe, operating_point, solve
from models.circuit.oscillator_start import PHASE_PORT, first_guess, followed_up, threshold
from models.circuit.small_signal import DoesNotStartError, Obstacle, SmallSignal, analyse, small_signal
from models.circuit.steady_state import NotSteadyError, SteadyState, finished
from models.circuit.switch_on import HIGH_NOISE, LINEAR, rising_bias, step_swing, thermal_swing

__all__ = [
    "NotSteadyError",
    "OscillatorCircuit",
    "SteadyState",
    "operating_point",
    "pot_sweep",
    "small_signal",
    "steady_state",
]

FIRST_HARMONICS = 16
MOST_HARMONICS = 512
CUT_OFF = 1e-4
"""Largest share of the last harmonic in a port voltage, of the collector junction's fundamental."""
NEAR_MODE = 0.05
"""Largest relative distance of an oscillation from the frequency near which it is asked for."""
FREQUENCY_SETTLED = 3e-6
"""The number of harmonics is raised until the frequency moves by less than this, relative (what is left is some
tenth). At MOST_HARMONICS it may move by more where the moves shrink so fast that no more than this is left.
"""


def steady_state(
    circuit: Drawable,
    harmonics: int | None = None,
    warm_start: SteadyState | None = None,
    near_frequency: float | None = None,
) -> SteadyState:
    """Return the steady oscillation of `circuit`.

    harmonics: the number kept; None doubles it from FIRST_HARMONICS until the frequency stands still, or takes that of
    the warm start. warm_start: the solution of a circuit with the same states and slightly different values.
    near_frequency: choose the mode nearest to it, Hz (default: the one that needs the least transconductance).
    Raises ValueError: does not start (DoesNotStartError, with the cause), not converged, harmonics cut off, not stable.
    """
    whole = isinstance(harmonics, int | np.integer) and not isinstance(harmonics, bool)
    if harmonics is not None and not (whole and 3 <= harmonics <= MOST_HARMONICS):
        raise ValueError(f"harmonics must be a whole number between 3 and {MOST_HARMONICS}; got {harmonics!r}")
    if near_frequency is not None:
        positive("near_frequency", near_frequency)
    _, linear, ports = drawn(circuit)
    if warm_start is not None:
        warm = _warmly(linear, ports, warm_start, harmonics)
        if warm is not None:
            return finished(circuit, linear, ports, warm, "warm start")
    point = describe(circuit, linear, ports, solve(linear, ports, circuit.supply_voltage))
    signal = analyse(linear, ports, point)
    if not signal.starts:
        return _switched_on(circuit, signal, near_frequency, harmonics)
    try:
        return _from_rest(circuit, linear, ports, signal, near_frequency, harmonics)
    except NotSteadyError as error:
        others = _growing_modes(signal, near_frequency or signal.critical_frequency or 0.0)
        if not others:
            raise
        if near_frequency is None:
            for other in others:
                try:
                    return _from_rest(circuit, linear, ports, signal, other, harmonics)
                except ValueError:
                    continue
        named = ", ".join(f"{other / 1e3:.4g} kHz" for other in others)
        raise NotSteadyError(
            f"the oscillation is not steady: another mode grows as well (near {named}): it takes over, or both "
            "sound at once; set the modes further apart or lower the emitter current"
        ) from error


def _switched_on(
    circuit: Drawable, signal: SmallSignal, near_frequency: float | None, harmonics: int | None
) -> SteadyState:
    """Return the oscillation that grows only while the supply rises; DoesNotStartError if none lasts.

    It does not start if what grows on the way stays small beside the thermal voltage, or if its envelope dies away even
    from a thermal swing that only 1 % of all switchings-on exceed.
    """
    from models.circuit.envelope import Outcome  # these need the oscillator's own modules
    from models.circuit.start_up import start_up

    if isinstance(circuit, Drawing) and signal.obstacle not in (Obstacle.SATURATED, Obstacle.SHORTED_FEEDBACK):
        raise DoesNotStartError(signal)  # less current starts it even less
    floor, way = HIGH_NOISE * thermal_swing(circuit), rising_bias(circuit)
    if way.largest_swing(step_swing(circuit), floor) < LINEAR:
        raise DoesNotStartError(signal, way.growth_times)
    run = start_up(circuit)
    if run.outcome is Outcome.DIES:
        run = start_up(circuit, least_swing=floor)
    if run.outcome is Outcome.DIES:
        raise DoesNotStartError(signal, way.growth_times)
    if run.outcome in (Outcome.SQUEGS, Outcome.TWO_TONES, Outcome.PATTERN, Outcome.WANDERS):
        raise NotSteadyError(
            "the oscillation is not steady: it grows while the supply rises and does not settle; check the "
            "capacitors that hold the bias against the resistors they discharge by, and the drive"
        )
    if run.state is None:
        raise ValueError("steady state not found: an oscillation grows while the supply rises, and has no end in sight")
    found = run.state
    if near_frequency is not None and abs(found.frequency / near_frequency - 1.0) > NEAR_MODE:
        raise ValueError(
            f"steady state not found: while the supply rises the oscillation settles at {found.frequency / 1e3:.4g} "
            f"kHz, not near {near_frequency / 1e3:.4g} kHz"
        )
    _, linear, ports = drawn(circuit)
    orbit = Balance(found.port_coefficients, 2.0 * math.pi * found.frequency, 0.0, found.residual, found.iterations)
    finer = _finer(linear, ports, orbit, harmonics or max(FIRST_HARMONICS, found.harmonics))
    if finer is None:
        raise ValueError("steady state not found: the oscillation grown while the supply rises is lost")
    orbit = _refined(linear, ports, finer, harmonics, _lost)
    return finished(circuit, linear, ports, orbit, "grown while the supply rose")


def _lost(harmonics: int) -> Balance:
    raise ValueError(f"steady state not found: {harmonics} harmonics lose the oscillation grown while the supply rises")


def _refined(
    linear: Network, ports: DeviceLaw, orbit: Balance, harmonics: int | None, cold: Callable[[int], Balance]
) -> Balance:
    """Return a solution with as many harmonics as hold its frequency still, or as it has where that is what was asked.

    cold: solves it anew with so many harmonics where Newton loses it.
    """
    if harmonics is not None:
        if _last_share(orbit) > CUT_OFF:
            raise ValueError(f"steady state: {harmonics} harmonics do not suffice (the waveform is too abrupt)")
        return orbit
    count, moved = orbit.coefficients.shape[1] - 1, math.inf
    while True:
        count, coarse, before = 2 * count, orbit.angular_frequency, moved
        if count > MOST_HARMONICS:
            raise ValueError(f"steady state: {MOST_HARMONICS} harmonics do not suffice (the waveform is too abrupt)")
        orbit = _finer(linear, ports, orbit, count) or cold(count)
        moved = abs(orbit.angular_frequency / coarse - 1.0)
        left = moved * moved / (before - moved) if count == MOST_HARMONICS and moved < 0.25 * before else moved
        if left < FREQUENCY_SETTLED and _last_share(orbit) < CUT_OFF:
            return orbit


def pot_sweep(circuit: Drawable, positions: Sequence[float]) -> tuple[Floats, tuple[SteadyState, ...]]:
    """Return the positions (n,) and the steady states with the fine-tune pot there.

    The frequency moves for several reasons at once: the collector junction's capacitance follows its reverse voltage
    (higher base: more capacitance, lower frequency), and the current changes drive, pulse shape and the phase at the
    emitter.
    """
    states: list[SteadyState] = []
    for position in positions:
        states.append(steady_state(circuit.with_pot(position), warm_start=states[-1] if states else None))
    return np.array(positions, dtype=np.float64), tuple(states)


def _growing_modes(signal: SmallSignal, taken: float) -> list[float]:
    """Return the frequencies, Hz, of the modes that grow from rest, but for the one nearest to `taken`."""
    growing = [float(root.imag) / (2.0 * math.pi) for root in signal.roots if root.imag > 0.0 and root.real > 0.0]
    return sorted(growing, key=lambda frequency: abs(frequency - taken))[1:]


def _from_rest(
    circuit: Drawable,
    linear: Network,
    ports: DeviceLaw,
    signal: SmallSignal,
    near_frequency: float | None,
    harmonics: int | None,
) -> SteadyState:
    """Return the steady state of one mode without a neighbouring solution."""
    methods: list[str] = []

    def cold(count: int) -> Balance:
        orbit, method = _coldly(circuit.drawing(), linear, ports, signal, near_frequency, count)
        methods.append(method)
        return orbit

    orbit = _refined(linear, ports, cold(harmonics or FIRST_HARMONICS), harmonics, cold)
    return finished(circuit, linear, ports, orbit, methods[-1])


def _warmly(linear: Network, ports: DeviceLaw, before: SteadyState, harmonics: int | None) -> Balance | None:
    """Return the solution from a neighbouring one, or None when that does not lead to an oscillation."""
    coefficients = resized(before.port_coefficients, harmonics or before.harmonics)
    omega = _detuned(linear, before)
    many = coefficients.shape[1] > 4 * FIRST_HARMONICS + 1  # a start from few harmonics then costs some ten steps
    try:
        orbit = balance(linear, ports, coefficients, omega, phase_port=PHASE_PORT, iterations=12 if many else 25)
    except NotConvergedError:
        return None
    return orbit if _oscillates(orbit, ports) and _last_share(orbit) < CUT_OFF else None


def _detuned(linear: Network, before: SteadyState) -> float:
    """Return the angular frequency, rad/s, near which the oscillation `before` goes on in a changed network.

    Symbols: of the fundamental before, v the node voltages and i the inductor currents; C, L before; C', L' now.
    w'^2 = w^2 (v* C v) / (v* C' v) (sum |L i|^2 / L') / (sum |L i|^2 / L)
    Electric and magnetic energy stay in balance with voltages and fluxes held; losses and junctions are neglected.
    """
    omega, former = 2.0 * math.pi * before.frequency, before.circuit.drawing().network()
    if former.names != linear.names:
        return omega
    coils = np.array([name in linear.coils for name in linear.names])
    voltages = np.where(coils, 0.0, before.spectra[:, 1])
    fluxes = (former.capacitance.diagonal() * before.spectra[:, 1])[coils]

    def ratio(capacitance: Floats) -> float:
        magnetic = np.sum(np.abs(fluxes) ** 2 / capacitance.diagonal()[coils])
        return float(magnetic / (voltages.conj() @ capacitance @ voltages).real)

    return omega * math.sqrt(ratio(linear.capacitance) / ratio(former.capacitance))


def _finer(linear: Network, ports: DeviceLaw, orbit: Balance, harmonics: int) -> Balance | None:
    """Return the same solution with more harmonics, or None when Newton loses it."""
    start = resized(orbit.coefficients, harmonics)
    try:
        finer = balance(linear, ports, start, orbit.angular_frequency, phase_port=PHASE_PORT, iterations=40)
    except NotConvergedError:
        return None
    return finer if _oscillates(finer, ports) else None


def _last_share(orbit: Balance) -> float:
    """Return the last two harmonics of the port voltages over the collector junction's fundamental."""
    return float(np.max(np.abs(orbit.coefficients[:, -2:])) / np.abs(orbit.coefficients[PHASE_PORT, 1]))


def _oscillates(orbit: Balance, ports: DeviceLaw) -> bool:
    """Tell an oscillation from rest (and from one turned by half a cycle, which the phase condition also allows)."""
    return float(orbit.coefficients[PHASE_PORT, 1].real) < -1e-3 * ports.thermal


def _coldly(
    drawing: Drawing, linear: Network, ports: DeviceLaw, signal: SmallSignal, near: float | None, harmonics: int
) -> tuple[Balance, str]:
    """Return a solution without a neighbouring one, and how it was found."""
    point, mode = signal.point, threshold(linear, ports, signal, near)
    if ports.exponential:
        coefficients, omega = first_guess(linear, ports, point, mode, harmonics)
        try:
            orbit = balance(linear, ports, coefficients, omega, phase_port=PHASE_PORT, iterations=40)
            if _oscillates(orbit, ports) and abs(orbit.angular_frequency / omega - 1.0) < 0.2:
                return orbit, "describing function"
        except NotConvergedError:
            pass
    try:
        orbit = followed_up(linear, ports, point, mode, drawing.tank, harmonics)
    except NotConvergedError as error:
        raise ValueError(f"steady state not found: {error}") from error
    if not _oscillates(orbit, ports):
        raise ValueError("steady state not found: the oscillation falls back to rest")
    return orbit, "followed up from rest"

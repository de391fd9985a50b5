"""The steady state of the tuned common-base oscillator: frequency, amplitude, waveforms, harmonics, powers.

Harmonic balance (models.circuit.harmonic_balance) starts from the describing function; when that fails or lands on
rest, the oscillation is followed up from nothing: a conductance across the tank, chosen so that the tank swings by a
given amount, is traced until it vanishes. A solution that has not converged, whose harmonics are cut off, or that is
not stable (models.circuit.orbit_stability) is never returned: ValueError says what happened.
Looked for are oscillations that grow from rest and, where the current at rest is too high for that, those that grow
while the supply rises and then hold themselves (models.circuit.switch_on); no other hard excitation.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

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
from models.circuit.switch_on import followed_on, rising_bias

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
    drawing, linear, ports = drawn(circuit)
    if warm_start is not None:
        warm = _warmly(linear, ports, warm_start, harmonics)
        if warm is not None:
            return finished(circuit, linear, ports, warm, "warm start")
    point = describe(drawing, linear, ports, solve(linear, ports, circuit.supply_voltage))
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
    """Return the oscillation that grows only while the supply rises; DoesNotStartError if none grows enough."""
    if signal.obstacle not in (Obstacle.SATURATED, Obstacle.SHORTED_FEEDBACK):
        raise DoesNotStartError(signal)  # less current starts it even less
    way = rising_bias(circuit)
    if way.caught is None:
        raise DoesNotStartError(signal, way.growth_times)

    def solver(lowered: Drawable, before: SteadyState | None) -> SteadyState:
        if before is None:
            if not small_signal(lowered).starts:
                raise ValueError("it does not grow from rest there either")
            return steady_state(lowered, harmonics, near_frequency=near_frequency)
        _, linear, ports = drawn(lowered)
        orbit = _warmly(linear, ports, before, harmonics)
        if orbit is None:
            raise ValueError("the oscillation breaks off")
        return finished(lowered, linear, ports, orbit, "followed up while the supply rises")

    try:
        return followed_on(circuit, solver)
    except NotSteadyError:
        raise
    except ValueError as error:
        raise ValueError(
            "steady state not found: an oscillation grows while the supply rises and is lost on the way to the full "
            f"supply: {error}"
        ) from error


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
    if harmonics is not None:
        orbit, method = _coldly(circuit.drawing(), linear, ports, signal, near_frequency, harmonics)
        if _last_share(orbit) > CUT_OFF:
            raise ValueError(f"steady state: {harmonics} harmonics do not suffice (the waveform is too abrupt)")
        return finished(circuit, linear, ports, orbit, method)
    orbit, method = _coldly(circuit.drawing(), linear, ports, signal, near_frequency, FIRST_HARMONICS)
    count, moved = FIRST_HARMONICS, math.inf
    while True:
        count, coarse, before = 2 * count, orbit.angular_frequency, moved
        if count > MOST_HARMONICS:
            raise ValueError(f"steady state: {MOST_HARMONICS} harmonics do not suffice (the waveform is too abrupt)")
        finer = _finer(linear, ports, orbit, count)
        if finer is None:
            finer, method = _coldly(circuit.drawing(), linear, ports, signal, near_frequency, count)
        orbit = finer
        moved = abs(orbit.angular_frequency / coarse - 1.0)
        left = moved * moved / (before - moved) if count == MOST_HARMONICS and moved < 0.25 * before else moved
        if left < FREQUENCY_SETTLED and _last_share(orbit) < CUT_OFF:
            return finished(circuit, linear, ports, orbit, method)


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
    coils = np.isin(linear.names, linear.coils)
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

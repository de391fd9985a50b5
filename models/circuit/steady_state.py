"""A steady oscillation: its spectra, waveforms, powers and readings, worked out from the port voltages."""

from __future__ import annotations

import math

import numpy as np

from models.arrays import Complexes, Floats
from models.circuit.devices import DeviceLaw
from models.circuit.drawing import LOAD, Drawable
from models.circuit.harmonic_balance import Balance, waveform
from models.circuit.network import GROUND, Network
from models.circuit.orbit_stability import MARGIN, multipliers, settling_time
from models.circuit.small_signal import small_signal
from models.circuit.transistor import EMITTER_PORT, Transistor
from models.quick_dataclass import dataclass


class NotSteadyError(ValueError):
    """A periodic solution exists, but disturbances grow away from it."""


def reading_instants(harmonics: int) -> int:
    """Return the number of instants of a cycle on which the extremes of a waveform of so many harmonics are read."""
    return max(2048, 8 * harmonics)


@dataclass(frozen=True, slots=True, eq=False)
class SteadyState:
    """The periodic solution. SI units; amplitudes are peak values.

    spectra: complex coefficients (n, K + 1) of the states `names` (voltages, V, inductor currents, A):
    x(t) = sum over k of X_k exp(j k w t), negative k conjugate; the collector peaks near t = 0.
    powers: mean power of each loss, W, the devices' included; supply_power what the source delivers, W.
    settling_time: time constant, s, of the slowest disturbance. residual: largest error of the equations, V.
    method: how it was found: "warm start", "describing function", "followed up from rest", "grown while the supply
    rose" or "start-up followed".
    """

    circuit: Drawable
    frequency: float
    names: tuple[str, ...]
    spectra: Complexes
    port_coefficients: Complexes
    supply_current: float
    supply_power: float
    powers: dict[str, float]
    settling_time: float
    residual: float
    iterations: int
    method: str

    @property
    def harmonics(self) -> int:
        """Number of harmonics in the solution."""
        return int(self.spectra.shape[1]) - 1

    def coefficients(self, name: str) -> Complexes:
        """Return the coefficients (K + 1,) of a state, of "tank" (hot end over cold end) or of "output".

        The output is the voltage across the load; without a load, that of the open end (the swing where it is taken).
        """
        if name == "tank":
            hot, cold = self.circuit.drawing().tank
            return self.coefficients(hot) - self.coefficients(cold)
        if name == "output":
            if self.circuit.load is not None:
                return self.coefficients(LOAD)
            swing: Complexes = self.coefficients(self.circuit.drawing().output_node).copy()
            swing[0] = 0.0
            return swing
        if name == GROUND:
            return np.zeros_like(self.spectra[0])
        state: Complexes = self.spectra[self.names.index(name)]
        return state

    def waveform(self, name: str, count: int = 256) -> Floats:
        """Return `count` (more than twice the harmonics) equally spaced instants of one cycle."""
        if count <= 2 * self.harmonics:
            raise ValueError(f"count must be above twice the {self.harmonics} harmonics; got {count}")
        return waveform(self.coefficients(name), count)

    @property
    def hot(self) -> str:
        """The node at the hot end of the tank."""
        return self.circuit.drawing().hot

    def harmonic_amplitudes(self, name: str | None = None) -> Floats:
        """Return the peak amplitudes of harmonics 1..K of a voltage, V; None: of the hot end of the tank."""
        return 2.0 * np.abs(self.coefficients(name or self.hot)[1:])

    def total_harmonic_distortion(self, name: str | None = None) -> float:
        """Return the THD as a ratio: root of the summed squares of harmonics 2..K over the fundamental."""
        amplitudes = self.harmonic_amplitudes(name)
        return float(np.linalg.norm(amplitudes[1:]) / amplitudes[0])

    def peak_to_peak(self, name: str) -> float:
        """Return the peak-to-peak voltage, V, read on `reading_instants`."""
        wave = self.waveform(name, reading_instants(self.harmonics))
        return float(wave.max() - wave.min())

    @property
    def tank_amplitude(self) -> float:
        """Peak fundamental across the tank, V."""
        return float(self.harmonic_amplitudes("tank")[0])

    @property
    def output_peak_to_peak(self) -> float:
        """Peak-to-peak output, V."""
        return self.peak_to_peak("output")

    @property
    def thd(self) -> float:
        """THD of the voltage at the hot end of the tank, as a ratio."""
        return self.total_harmonic_distortion()

    @property
    def grows_from_rest(self) -> bool:
        """Whether it starts again by itself; if not, it starts only when the supply is switched on quickly."""
        return small_signal(self.circuit).starts

    @property
    def reverse_emitter_peak(self) -> float:
        """Largest reverse base-emitter voltage, V, of a bipolar transistor that amplifies; of another device 0. Above
        some 5 V a real emitter junction breaks down (not modelled).
        """
        if not isinstance(self.circuit.drawing().devices[0].what, Transistor):
            return 0.0
        return float(-waveform(self.port_coefficients[EMITTER_PORT], 2048).min())


def finished(circuit: Drawable, linear: Network, ports: DeviceLaw, orbit: Balance, method: str) -> SteadyState:
    """Return the steady state of a solved orbit; raise NotSteadyError when disturbances grow away from it."""
    count = orbit.coefficients.shape[1]
    instants = max(512, 16 * count)
    voltages = waveform(orbit.coefficients, instants)
    device = ports.evaluate(voltages)
    order = np.arange(count)
    current = np.fft.rfft(device.currents, axis=-1)[:, :count] / instants
    charge = np.fft.rfft(device.charges, axis=-1)[:, :count] / instants
    total = current + 1j * orbit.angular_frequency * order * charge
    drive = -linear.ports @ total
    drive[:, 0] += linear.source
    turn = 1j * orbit.angular_frequency * order[:, None, None]
    spectra = np.linalg.solve(linear.conductance + turn * linear.capacitance, drive.T[:, :, None])[:, :, 0].T
    velocity = 2.0 * np.real(1j * orbit.angular_frequency * (spectra @ order))
    turned = multipliers(linear, ports, orbit, velocity)
    if float(np.max(np.abs(turned[1:]))) > 1.0 + MARGIN:
        raise NotSteadyError(
            "the oscillation is not steady: disturbances grow from cycle to cycle, so it squegs (comes in bursts) or "
            "wanders; check the capacitors that hold the bias against the resistors they discharge by, and the drive"
        )
    frequency = orbit.angular_frequency / (2.0 * math.pi)
    weights = np.where(order == 0, 1.0, 2.0)
    drawing = circuit.drawing()
    dissipated = np.mean(voltages * drawing.whole_currents(voltages, device.currents), axis=1)
    powers, place = {}, 0
    for device_part in drawing.devices:
        powers[device_part.name] = float(np.sum(dissipated[place : place + len(device_part.ports)]))
        place += len(device_part.ports)
    for part in linear.resistors:
        values = part.coefficients @ spectra
        values[0] += part.offset
        powers[part.name] = part.weight * float(weights @ np.abs(values) ** 2)
    supplied = (circuit.supply_voltage - float(spectra[linear.index(drawing.rail), 0].real)) / drawing.supply_resistor
    return SteadyState(
        circuit=circuit,
        frequency=frequency,
        names=linear.names,
        spectra=spectra,
        port_coefficients=orbit.coefficients,
        supply_current=supplied,
        supply_power=supplied * circuit.supply_voltage,
        powers=powers,
        settling_time=settling_time(turned, 1.0 / frequency),
        residual=orbit.residual,
        iterations=orbit.iterations,
        method=method,
    )

"""Several devices as one of all their ports, in the form in which every solver takes them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike

from models.arrays import Floats
from models.circuit.transistor import NoiseSource, PortState
from models.junction import THERMAL_VOLTAGE


class DeviceLaw(Protocol):
    """The law of one device of p ports; its capacitances lie each across one port.

    exponential: whether the current of the first port's junction amplifies (the describing function of Bessel functions
    holds). thermal: V; knees (p,): V beyond which Newton's step at a port is limited, infinite where it need not be.
    transfer gives the transconductance from the port `control`, S, and how its current flows in the ports (p,); region
    says where the device rests; noise lists its white sources along port voltages and currents (p, m).
    """

    exponential: bool
    control: int
    thermal: float
    knees: Floats

    def evaluate(self, voltages: Floats, /) -> PortState: ...

    def currents_and_capacitances(self, voltages: Floats, /) -> tuple[Floats, Floats]: ...

    def at_instant(self, voltages: Sequence[float], /) -> tuple[Sequence[float], Sequence[float]]: ...

    def transfer(self, voltages: Floats, /) -> tuple[float, Floats]: ...

    def region(self, voltages: Floats, currents: Floats, /) -> str: ...

    def noise(self, voltages: Floats, currents: Floats, /) -> tuple[NoiseSource, ...]: ...


class Devices:
    """Several devices as one law: their ports one after the other, the amplifying device's first; what is asked of one
    device (transfer, region, thermal voltage) is the amplifying one's.

    carried (p,): S at each port that the network carries in the devices' stead, so that no node of it floats for direct
    current; `evaluate` and `currents_and_capacitances` leave it out.
    """

    def __init__(self, laws: Sequence[DeviceLaw], carried: Floats | None = None) -> None:
        self.laws = tuple(laws)
        self.carried = np.zeros(sum(len(law.knees) for law in self.laws)) if carried is None else carried
        self._direct, self._carried = len(self.laws) == 1 and not self.carried.any(), self.carried.tolist()
        self.knees = np.concatenate([law.knees for law in self.laws]) if self.laws else np.empty(0)
        ends = np.cumsum([len(law.knees) for law in self.laws])
        self.places = tuple(
            slice(int(end) - len(law.knees), int(end)) for law, end in zip(self.laws, ends, strict=True)
        )

        self.thermal = self.laws[0].thermal if self.laws else THERMAL_VOLTAGE
        self.control = self.laws[0].control if self.laws else 0
        self.exponential = bool(self.laws) and self.laws[0].exponential

    def transfer(self, voltages: Floats) -> tuple[float, Floats]:
        """Return the amplifying device's transconductance, S, at port voltages (p,), and its ports (p,)."""
        first = self.places[0]
        size, own = self.laws[0].transfer(voltages[first])
        flows = np.zeros(len(self.knees))
        flows[first] = own
        return size, flows

    def region(self, voltages: Floats, currents: Floats) -> str:
        """Return where the amplifying device rests, from port voltages and whole currents (p,)."""
        first = self.places[0]
        return self.laws[0].region(voltages[first], currents[first])

    def noise(self, voltages: Floats, currents: Floats) -> tuple[NoiseSource, ...]:
        """Return the noise of every device along port voltages and currents (p, m)."""
        found = []
        for law, place in zip(self.laws, self.places, strict=True):
            for source in law.noise(voltages[place], currents[place]):
                flows = np.zeros(len(self.knees))
                flows[place] = source.flows
                found.append(NoiseSource(source.name, flows, source.density))
        return tuple(found)

    def currents_and_capacitances(self, voltages: ArrayLike) -> tuple[Floats, Floats]:
        """Return currents (p, m), A, and capacitances (p, m), F, of port voltages (p, m) or (p,)."""
        if not self.laws:
            return np.zeros((0, 1)), np.zeros((0, 1))
        ports = np.asarray(voltages, dtype=np.float64).reshape(len(self.knees), -1)
        if self._direct:
            return self.laws[0].currents_and_capacitances(ports)
        found = [law.currents_and_capacitances(ports[place]) for law, place in zip(self.laws, self.places, strict=True)]
        currents = np.concatenate([one[0] for one in found]) - self.carried[:, None] * ports
        return currents, np.concatenate([one[1] for one in found])

    def at_instant(self, voltages: Sequence[float]) -> tuple[Sequence[float], Sequence[float]]:
        """Return currents, A, and capacitances, F, of plain port voltages (p), as the arrays above have them."""
        if self._direct:
            return self.laws[0].at_instant(voltages)
        currents = [-conductance * at for conductance, at in zip(self._carried, voltages, strict=True)]
        capacitances: list[float] = []
        for law, place in zip(self.laws, self.places, strict=True):
            own, held = law.at_instant(voltages[place])
            for port, current in enumerate(own, place.start):
                currents[port] += current
            capacitances += held
        return currents, capacitances

    def evaluate(self, voltages: ArrayLike) -> PortState:
        """Return currents, charges and both Jacobians for port voltages (p, m), V."""
        size = len(self.knees)
        ports = np.asarray(voltages, dtype=np.float64).reshape(size, -1)
        if self._direct:
            return self.laws[0].evaluate(ports)
        whole = PortState(
            np.zeros_like(ports),
            np.zeros_like(ports),
            np.zeros((size, size, ports.shape[1])),
            np.zeros((size, size, ports.shape[1])),
        )
        for law, place in zip(self.laws, self.places, strict=True):
            state = law.evaluate(ports[place])
            whole.currents[place], whole.charges[place] = state.currents, state.charges
            whole.conductances[place, place] = state.conductances
            whole.capacitances[place, place] = state.capacitances
        whole.currents[:] -= self.carried[:, None] * ports
        every = np.arange(size)
        whole.conductances[every, every] -= self.carried[:, None]
        return whole

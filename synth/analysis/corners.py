"""A design at the corners of what a builder meets: supply and transistor weak and strong, pots and trimmers at an end.

Each corner is the design itself with other values, opened as any design is: the reference is tuned to zero beat again.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from models.circuit.small_signal import small_signal
from models.circuit.transistor import Transistor
from models.quick_dataclass import dataclass
from synth.analysis.figures import over_notes
from synth.analysis.fit_devices import GAINS, device_of, device_values, with_fitted_device
from synth.build.circuit_assembly import blaming
from synth.build.workbench import OpenedDesign, open_loaded
from synth.designs.oscillator_sections import TransistorSection
from synth.designs.sections import Design
from synth.errors import DesignError

SUPPLY, GAIN = 0.10, 0.50  # shares of the supply voltage and of the current gain, either way
SAFE_MARGIN_DB = 6.0  # of loop gain: our rule of thumb, so that a weak transistor on a cold day still starts
TRIMMER = "variable trimmer all"  # the corners of it, which only who tunes meets
EXTREMES = ("gain low, pots low", "gain high, pots high")
NEAR_ZERO = 1e-3  # m, by which zero beat may lie off where it was asked for


@dataclass(frozen=True, slots=True)
class CornerFigure:
    """What a design does in one corner. margin_db: loop gain above what starts, the smaller of the two oscillators';
    None without circuits. tuned: whether zero beat is reached where it was asked for. held: whether all notes asked for
    are played; cents RMS from a straight line over them. for_notes: whether a player meets the corner, so that the
    notes must be there, or only who tunes. why: why it does not run at all, else "".
    """

    name: str
    margin_db: float | None = None
    carrier_hz: float | None = None
    tuned: bool = False
    held: bool = False
    rms_cents: float | None = None
    why: str = ""
    for_notes: bool = True

    @property
    def plays(self) -> bool:
        """Whether it runs and, where a player meets the corner, is tuned and plays the notes."""
        return not self.why and (not self.for_notes or (self.held and self.tuned))

    @property
    def fault(self) -> str:
        """What is wrong there in words; "" where it plays and starts with room to spare."""
        if self.why:
            return f"{self.name}: {self.why}"
        if self.for_notes and not self.tuned:
            return f"{self.name}: the reference's trimmer does not reach zero beat"
        if self.for_notes and not self.held:
            return f"{self.name}: it does not play all the notes"
        if self.margin_db is not None and self.margin_db < SAFE_MARGIN_DB:
            return f"{self.name}: only {self.margin_db:.1f} dB of loop gain above what starts"
        return ""


def corners(
    opened: OpenedDesign, low_frequency: float, high_frequency: float, extremes: bool = False
) -> Iterator[CornerFigure]:
    """What an opened design does as it is and in every corner, over the notes between two frequencies, Hz; `extremes`:
    of the corners with a circuit only the weakest, in which it may not start, and the strongest, in which another mode
    wakes first, and not those of who tunes.
    """
    yield _corner("as designed", opened, low_frequency, high_frequency)
    for name, design in _corner_designs(opened.design):
        if extremes and not name.endswith(EXTREMES):
            continue
        found = _at(name, design, opened, low_frequency, high_frequency)
        yield replace(found, for_notes=not name.startswith(TRIMMER))


def least_margin(opened: OpenedDesign, design: Design) -> float:
    """The least loop gain above what starts, dB, of `design` in every corner that a player meets, at rest and nothing
    solved for its swing: much quicker than `corners`. The antenna's capacitance and the trimmers are those of `opened`,
    which `design` is with other parts around its devices. Raises DesignError where a corner has no rest.
    """
    setting, capacitance = opened.reference_tank.trimmer_setting, opened.tuning_capacitance
    found = []
    for name, there in (("", design), *_corner_designs(design)):
        if name.startswith(TRIMMER):
            continue
        piece = OpenedDesign(there)
        reference = piece.circuits["reference"].with_trimmer(setting)
        for which, circuit in (("reference", reference), ("variable", piece.loaded_variable(capacitance))):
            with blaming(there, which):
                found.append(float(small_signal(circuit).margin_db))
    return min(found)


def _at(name: str, design: Design, near: OpenedDesign, low_frequency: float, high_frequency: float) -> CornerFigure:
    try:
        found = _corner(name, open_loaded(design, near), low_frequency, high_frequency)
        if found.margin_db is not None and found.margin_db < 0.0:  # it goes on, and may not start by itself
            return _corner(name, open_loaded(design), low_frequency, high_frequency)
        return found
    except DesignError as error:
        return CornerFigure(name, why=" ".join(str(error).split()))


def _corner(name: str, opened: OpenedDesign, low_frequency: float, high_frequency: float) -> CornerFigure:
    held = over_notes(opened.field, low_frequency, high_frequency)
    wanted, found = opened.design.tuning.zero_beat, opened.field.zero_beat_distance
    margin = None
    if opened.design.law == "circuit":
        both = opened.tuned_reference, opened.loaded_variable(opened.tuning_capacitance)
        margin = min(float(small_signal(circuit).margin_db) for circuit in both)
    return CornerFigure(
        name,
        margin,
        opened.instrument.reference_frequency,
        wanted is None or (found is not None and abs(found - wanted) <= NEAR_ZERO),
        held is not None,
        None if held is None else held.rms_cents,
    )


def _corner_designs(design: Design) -> Iterator[tuple[str, Design]]:
    """The design in each corner, by the corner's name."""
    section = design.variable
    if section.trimmer_maximum > section.trimmer_minimum:
        for end, words in ((0.0, "out"), (1.0, "in")):
            yield f"{TRIMMER} {words}", replace(design, variable=replace(section, trimmer=end))
    circuit = design.circuit
    if circuit is None or design.law != "circuit":
        return
    for sign, words in ((-1.0, "low"), (1.0, "high")):
        supply = circuit.supply_voltage * (1.0 + sign * SUPPLY)
        spread = _with_gain(design, 1.0 + sign * GAIN)
        for pot in (0.0, 1.0):
            turned = replace(circuit, supply_voltage=supply, reference_pot=pot, variable_pot=pot)
            name = f"supply and gain {words}, pots {'low' if pot == 0.0 else 'high'}"
            yield name, replace(spread, circuit=turned)


def _with_gain(design: Design, factor: float) -> Design:
    """The design whose devices have `factor` times the gain: of other kinds than transistors, the value of GAINS."""
    transistor = design.transistor or TransistorSection()
    spread = replace(design, transistor=replace(transistor, forward_gain=transistor.forward_gain * factor))
    opened = OpenedDesign(design)
    for which in ("reference", "variable"):
        circuit = opened.circuits[which]
        device = device_of(circuit)
        if isinstance(device, Transistor):
            continue
        found = {one.name: factor * one.read(device) for one in device_values(circuit) if one.name in GAINS}
        spread = with_fitted_device(spread, which, circuit, found)
    return spread

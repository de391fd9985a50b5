"""From a design with a [circuit] to its oscillators as circuits: parts, the solved variable oscillator, the tuned
reference.

Whatever cannot be solved (does not start, two modes at once, hops, not converged) becomes one DesignError that names
the oscillator, its sections and the cause.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import fields, replace
from functools import lru_cache
from typing import Any

import numpy as np

from models.arrays import Complexes, Floats
from models.branch.antenna_branch import SeriesInductor
from models.branch.modes import MODES, mode_frequencies
from models.branch.tapped_coil import Tap, seen_from_tap
from models.circuit.bias import Bias
from models.circuit.common_base import OscillatorCircuit
from models.circuit.coupled import Through
from models.circuit.drawing import Drawable, Drawing, Load, Trimmer
from models.circuit.mixer import SOURCES, Drive, Mixer
from models.circuit.mixer_table import MixerTable, loads_at_rest, mixer_loads, mixer_table
from models.circuit.mixing import Mixed, MixerSolver, solver_for
from models.circuit.network import GROUND
from models.circuit.operating_point import operating_point
from models.circuit.oscillator import steady_state
from models.circuit.resonance import resonance
from models.circuit.steady_state import SteadyState
from models.circuit.transistor import COLLECTOR_PORT, DepletionJunction, Transistor, TransistorPorts
from models.circuit.variable_law import VariableLaw
from models.circuit.variable_oscillator import VariableOscillator, law_capacitances, solve_along
from models.circuit.work import bounded_work
from models.hand.capacitance_curve import CapacitanceCurve
from models.quick_dataclass import dataclass
from models.roots import root
from models.tank import Tank
from synth.build.drawing_assembly import drawing_of, mixer_of
from synth.build.notices import explained, margin_notice, out_of_reach_notice, start_notice
from synth.designs.oscillator_sections import ReferenceSection, TransistorSection, VariableSection, VolumeSection
from synth.designs.part_rows import merged
from synth.designs.sections import Design
from synth.errors import DesignError
from synth.progress_line import ProgressLine

Circuit = OscillatorCircuit | Drawing
OSCILLATORS = ("reference", "variable", "volume")
TankSection = ReferenceSection | VariableSection | VolumeSection
SETTING_TOLERANCE = 1e-10  # of the trimmer's turn
MOST_SECANTS, SECANT_TOLERANCE = 6, 1e-9  # solutions, and of the turn: what is left goes with its square
MOST_WORK = 4e7
"""Work (see `models.circuit.work`) that the circuits of one design may take together, oscillators, mixer and all that
is asked of them while it is put together: some three and a half seconds of processor time, twice
what the hungriest usual mixer takes."""
MIXER = "mixer"
START_WORK = 1.1e8
"""Work of following one start-up: some six seconds of processor time."""


@dataclass(frozen=True, slots=True)
class TunedPair:
    """Both oscillators after tuning: resonances without loss, the variable one's `mode`, the reference's frequency, Hz.

    Of solved circuits also `law`, the variable oscillator against the antenna's capacitance, `node_amplitude`, the
    reference's peak voltage at the common node, V, and `states`, the reference's as tuned and the variable one's with
    (nearly) the antenna's capacitance that it is tuned at.
    """

    variable: Tank
    reference: Tank
    mode: str
    reference_frequency: float
    notices: tuple[str, ...] = ()
    law: VariableLaw | None = None
    node_amplitude: float | None = None
    states: tuple[SteadyState, SteadyState] | None = None


@dataclass(frozen=True, slots=True)
class SolvedVariable:
    """The variable oscillator along the hand's range; `mode` "low" or "high"; `tank` its resonance without loss, as the
    antenna branch sees it.
    """

    oscillator: VariableOscillator
    tank: Tank
    mode: str


def circuit_pair(
    design: Design,
    variable: Callable[[], SolvedVariable],
    capacitance: float,
    distance: float,
    near: SteadyState | None = None,
) -> TunedPair:
    """Both oscillators of `design` as solved circuits, the reference tuned where tuning.zero_beat asks for it.

    `variable` solves the variable oscillator, within the work allowed for both; `capacitance`, F, is the antenna's
    with its stray at the hand `distance`, m, of zero beat. near: the tuned reference of a design much like this one.
    """
    with bounded_work(MOST_WORK):
        solved = variable()
        law = solved.oscillator.law()
        target = None if design.tuning.zero_beat is None else float(law.frequency(capacitance))
        state, setting, notices = tuned_reference_circuit(design, target, distance, near)
    place = int(np.argmin(np.abs(solved.oscillator.capacitances - capacitance)))
    pair = {"reference": state, "variable": solved.oscillator.states[place]}
    notices += tuple(start_notice(which) for which, one in pair.items() if not one.grows_from_rest)
    return TunedPair(
        variable=solved.tank,
        reference=resonance_of(design, "reference").with_trimmer(setting),
        mode=solved.mode,
        reference_frequency=state.frequency,
        notices=notices,
        law=law,
        node_amplitude=float(state.harmonic_amplitudes("output")[0]),
        states=(state, solved.oscillator.states[place]),
    )


@contextmanager
def blaming(design: Design, which: str, work: float = MOST_WORK) -> Iterator[None]:
    """Turn a ValueError of the models into one DesignError that names the oscillator and its sections; what is solved
    inside may take so much `work`. which = MIXER: the drawn mixer.
    """
    named = "the mixer ([detector.parts])" if which == MIXER else f"the {which} oscillator ([{which}] with [circuit])"
    try:
        with bounded_work(work):
            yield
    except DesignError:
        raise
    except ValueError as error:
        text = " ".join(explained(error).split())
        raise DesignError(f"{design.place}: {named}: {text}") from error


def circuit_of(design: Design, which: str) -> Circuit:
    """The `which` ("reference", "variable", "volume") oscillator without its antenna, its trimmer as written: its fixed
    form, or as [circuit.parts] draws it.

    Its output resistor is that of [coupling] (the volume oscillator is given the reference's); its load is the common
    node: the detector's input, and for the two pitch oscillators the other's resistor, whose far end is taken as earth;
    where the mixer is drawn, what that presents to it (`mixer_loads_of`).
    The coil's Q holds at the resonance of coil and linear capacitances.
    Raises DesignError for a design without [circuit] or without that oscillator.
    """
    _tank_section(design, which)
    if design.circuit is None:
        raise DesignError(f"{design.place}: has no [circuit]; add the section (an empty one takes default parts)")
    if which == "volume":
        return loaded_circuit(design, which, _load(design, None))
    if design.detector.parts is not None:
        return loaded_circuit(design, which, mixer_loads_of(design)[SOURCES.index(which)])
    other = design.coupling.reference_resistor if which == "variable" else design.coupling.variable_resistor
    return loaded_circuit(design, which, _load(design, other))


def mixer_of_design(design: Design) -> Mixer:
    """The mixer that [detector.parts] draws. Raises DesignError for a design without it or without [circuit]."""
    circuit, part, tank = design.circuit, design.detector.parts, tank_of(design.reference)
    if circuit is None or part is None:
        raise DesignError(f"{design.place}: draws no mixer; add [detector.parts] and [circuit]")
    resistors = design.coupling.reference_resistor, design.coupling.variable_resistor
    with blaming(design, MIXER):
        return mixer_of(part, circuit, resistors, _transistor(design.transistor), tank.frequency)


@lru_cache(maxsize=32)
def mixer_loads_of(design: Design) -> tuple[Load, Load]:
    """What the drawn mixer loads the reference and the variable oscillator with: that at the swings that both have with
    their trimmers as written and without an antenna, each loaded as if the mixer were at rest.
    """
    mixer, begin = mixer_of_design(design), tank_of(design.reference).frequency
    with blaming(design, MIXER):
        resting = loads_at_rest(mixer, begin)
    states = []
    for which, load in zip(SOURCES, resting, strict=True):
        circuit = loaded_circuit(design, which, load)
        with blaming(design, which):
            states.append(steady_state(circuit))
    with blaming(design, MIXER):
        return mixer_loads(mixer, drive_of(*states))


def drive_of(reference: SteadyState, variable: SteadyState) -> Drive:
    """What two steady oscillations drive a mixer with, the fundamental of each at its peak where its phase is 0."""

    def swing(state: SteadyState) -> Complexes:
        row = state.coefficients(state.circuit.drawing().output_node)
        return np.asarray(row * np.exp(-1j * np.angle(row[1]) * np.arange(row.size)))

    return Drive(reference.frequency, swing(reference), swing(variable))


def standing_mixer(design: Design, states: tuple[SteadyState, SteadyState] | None) -> tuple[MixerSolver, Mixed]:
    """The drawn mixer driven by both oscillators as tuned: what solves it, and its quasi-static law."""
    if states is None:
        raise DesignError(f"{design.place}: [detector.parts] needs solved oscillators")
    with blaming(design, MIXER):
        return solver_for(mixer_of_design(design), drive_of(*states))


def sent_by(still: Mixed) -> Through:
    """What a mixer sends into both oscillators."""
    return Through(*(still.sent(which) for which in SOURCES))


def mixer_at_every_beat(design: Design, pair: TunedPair, solver: MixerSolver, still: Mixed) -> MixerTable:
    """Its tone at every beat and all amplitudes that the hand makes, from its quasi-static law."""
    if pair.states is None or pair.law is None:
        raise DesignError(f"{design.place}: [detector.parts] needs solved oscillators")
    reference, variable = (float(state.harmonic_amplitudes("output")[0]) for state in pair.states)
    spread = float(np.abs(pair.law.amplitudes / variable - 1.0).max())
    with blaming(design, MIXER), ProgressLine("solving the mixer at every beat") as line:
        return mixer_table(solver, still, (reference, variable), spread, line)


def loaded_circuit(design: Design, which: str, load: Load) -> Circuit:
    """The oscillator with a load of its own on its output."""
    section, part = _tank_section(design, which), design.circuit
    assert part is not None
    pot = getattr(part, f"{which}_pot")
    own = design.coupling.variable_resistor if which == "variable" else design.coupling.reference_resistor
    leak = 0.0 if which == "volume" else design.coupling.tank_to_tank_capacitance
    with blaming(design, which):
        if part.parts is not None:
            rows = merged(part.parts, section.parts)
            drawing = drawing_of(rows, section, part, pot, _transistor(design.transistor), own, load)
            return replace(drawing, tank_to_tank_capacitance=leak)
        circuit = OscillatorCircuit(
            inductance=section.inductance,
            inductor_q=section.quality_factor,
            inductor_self_capacitance=section.self_capacitance,
            fixed_capacitor=section.capacitance,
            trimmers=_trimmers(section),
            board_stray=section.stray,
            bias=Bias(**same_keys(Bias, part), position=pot),
            transistor=_transistor(design.transistor),
            output_resistor=own,
            load=load,
            tank_to_tank_capacitance=leak,
            **same_keys(OscillatorCircuit, part),
        )
        resonance = 1.0 / (2.0 * math.pi * math.sqrt(circuit.inductance * circuit.tank_capacitance))
        return replace(circuit, inductor_q_frequency=resonance)


def resonance_of(design: Design, which: str) -> Tank:
    """The `which` oscillator's resonance without loss: its tank, with the capacitive divider, the collector junction's
    capacitance at rest and a capacitance to the other tank counted as stray.
    """
    section, circuit = _tank_section(design, which), circuit_of(design, which)
    with blaming(design, which):
        rest = operating_point(circuit).port_voltages
        if isinstance(circuit, Drawing):
            return _drawn_tank(section, circuit, rest)
        junctions = TransistorPorts(circuit.transistor).currents_and_capacitances(rest)[1]
        around = circuit.divider_capacitance, circuit.tank_to_tank_capacitance
        return tank_of(section, *around, float(junctions[COLLECTOR_PORT, 0]))


def _drawn_tank(section: TankSection, drawing: Drawing, rest: Floats) -> Tank:
    """The tank that an antenna at its node of a drawing sees, without loss (models.circuit.resonance)."""
    seen = resonance(drawing, (drawing.antenna_node, GROUND), rest)
    trimmers = sum(drawing.value(name, Trimmer).capacitance for name in drawing.trimmers)
    own = section.capacitance + section.stray + trimmers
    tank = tank_of(section)
    return replace(tank, inductance=seen.inductance, board_stray=max(0.0, section.stray + seen.capacitance - own))


def tank_of(section: TankSection, *beside: float) -> Tank:
    """The tank that a section describes, its trimmer as given, with `beside`, F, counted as stray too."""
    return Tank(
        **same_keys(Tank, section) | {"board_stray": sum(beside, section.stray + section.self_capacitance)},
        trimmer_setting=section.trimmer,
    )


def same_keys(kind: Any, section: object) -> dict[str, Any]:
    """The keys of a design's section that the dataclass `kind` has under the same name."""
    return {part.name: getattr(section, part.name) for part in fields(kind) if hasattr(section, part.name)}


def solved_variable(
    design: Design, curve: CapacitanceCurve, branch: SeriesInductor, near_state: SteadyState | None = None
) -> SolvedVariable:
    """The variable oscillator of `design` for every hand distance of `curve`, and for the empty room. near_state: that
    of a design much like this one, with the least capacitance.
    """
    tap = tap_of(design)
    circuit, tank = circuit_of(design, "variable"), seen_from_tap(resonance_of(design, "variable"), tap)
    antenna_stray = design.antenna.stray
    lowest = min(curve.empty_capacitance, float(curve.capacitances[-1])) + antenna_stray
    capacitances = law_capacitances(lowest, float(curve.capacitances[0]) + antenna_stray)
    inductance, own = branch.inductance, branch.self_capacitance
    both = mode_frequencies(tank.inductance, tank.total_capacitance, inductance, lowest, own)
    modes = [float(frequency) for frequency in both]
    asked = design.tuning.mode
    near = None if asked == "auto" or branch.direct else modes[MODES.index(asked)]
    with blaming(design, "variable"), ProgressLine("solving the variable oscillator along the hand") as line:
        solved = solve_along(circuit, branch, capacitances, near, tap.ratio, near_state, line)
    first = solved.states[0].frequency
    mode = min(MODES, key=lambda name: abs(modes[MODES.index(name)] - first))
    return SolvedVariable(solved, tank, mode)


def tap_of(design: Design) -> Tap:
    """Where the antenna branch is joined to the variable oscillator's coil."""
    return Tap(design.variable.tap, design.variable.tap_coupling)


def tuned_reference_circuit(
    design: Design, target: float | None, distance: float, near: SteadyState | None = None
) -> tuple[SteadyState, float, tuple[str, ...]]:
    """The reference tuned by its trimmer to `target`, Hz (None: as written): its state, the trimmer's setting, and what
    to say about it. Out of reach, the trimmer stays at the nearer end. `distance`, m, is only named in the notices.
    near: the tuned reference of a design much like this one, from which it is found in fewer steps.
    """
    circuit, written = circuit_of(design, "reference"), design.reference.trimmer
    with blaming(design, "reference"), ProgressLine("tuning the reference oscillator"):
        if target is None or not circuit.trimmers:
            return steady_state(circuit, warm_start=near), written, ()
        tuned = None if near is None else _tuned_from(circuit, target, near)
        if tuned is None:
            state = steady_state(circuit, warm_start=near)
            tuned = _tuned_from(circuit, target, state)
        if tuned is not None:
            return *tuned, margin_notice(tuned[1], distance)
        solved = {written: state}

        def at(setting: float) -> SteadyState:
            """The steady state with the trimmer there, from the nearest of those that are solved."""
            if setting not in solved:
                nearest = min(solved, key=lambda other: abs(other - setting))
                solved[setting] = steady_state(circuit.with_trimmer(setting), warm_start=solved[nearest])
            return solved[setting]

        def excess(setting: float) -> float:
            return (target / at(setting).frequency) ** 2 - 1.0  # nearly straight in the setting

        lowest, highest = at(1.0), at(0.0)
        if lowest.frequency <= target <= highest.frequency:
            setting = root(excess, 0.0, 1.0, xtol=SETTING_TOLERANCE)
            return at(setting), setting, margin_notice(setting, distance)
        setting, end = (1.0, lowest) if target < lowest.frequency else (0.0, highest)
        fixed = _fixed_capacitor_for(circuit.with_trimmer(0.5), target, state)
    now = design.reference.capacitance
    return end, setting, (out_of_reach_notice(end.frequency, target, distance, fixed, now),)


def _trimmers_of(circuit: Drawable) -> tuple[Trimmer, ...]:
    if isinstance(circuit, Drawing):
        return tuple(circuit.value(name, Trimmer) for name in circuit.trimmers)
    return circuit.trimmers if isinstance(circuit, OscillatorCircuit) else ()


def _tuned_from(circuit: Circuit, target: float, near: SteadyState) -> tuple[SteadyState, float] | None:
    """The reference tuned to `target`, Hz, by a secant from the solution of a circuit like it; None where that does not
    lead to a setting within the trimmer's turn. First slope: that of a plain tank, d(1/f^2)/ds = 4 pi^2 L dC/ds.
    """
    trimmers, former = _trimmers_of(circuit), _trimmers_of(near.circuit)
    if not trimmers or len(former) != len(trimmers):
        return None
    turn = sum(trimmer.maximum - trimmer.minimum for trimmer in trimmers)
    setting, state = former[0].setting, near
    before: tuple[float, float] | None = None
    for _ in range(MOST_SECANTS):
        now = circuit.with_trimmer(setting)
        state = state if state.circuit == now else steady_state(now, warm_start=state)
        excess = (target / state.frequency) ** 2 - 1.0
        slope = (2.0 * math.pi * target) ** 2 * circuit.inductance * turn
        if before is not None and before[0] != setting:
            slope = (excess - before[1]) / (setting - before[0])
        if not slope > 0.0:
            return None
        before, next_setting = (setting, excess), setting - excess / slope
        if not 0.0 <= next_setting <= 1.0:
            return None
        if abs(next_setting - setting) < SECANT_TOLERANCE:
            return state, setting
        setting = next_setting
    return None


def _fixed_capacitor_for(circuit: Circuit, target: float, start: SteadyState) -> float:
    """The fixed capacitor, F, that brings `circuit` to `target`, Hz; not above 0 where none does.

    C' = C + (1/f_t^2 - 1/f^2) / (4 pi^2 L), from f = 1 / (2 pi sqrt(L C_total)), repeated once for the losses.
    """
    fixed, state = circuit.fixed_capacitor, start
    for _ in range(2):
        state = steady_state(circuit.with_fixed_capacitor(fixed), warm_start=state)
        fixed += (target**-2.0 - state.frequency**-2.0) / (4.0 * math.pi**2 * circuit.inductance)
        if fixed <= 0.0:
            break
    return fixed


def _tank_section(design: Design, which: str) -> TankSection:
    if which not in OSCILLATORS:
        raise DesignError(f"oscillator must be one of {', '.join(OSCILLATORS)}; got {which!r}")
    section: TankSection | None = getattr(design, which)
    if section is None:
        missing = "[volume_antenna], [volume] and [volume_response]"
        raise DesignError(f"{design.place}: has no volume oscillator; add {missing}")
    return section


def _trimmers(section: TankSection) -> tuple[Trimmer, ...]:
    if section.trimmer_maximum == 0.0:
        return ()
    return (Trimmer(section.trimmer_minimum, section.trimmer_maximum, section.trimmer),)


def _load(design: Design, other: float | None) -> Load:
    node = design.coupling
    conductance = 1.0 / node.node_resistance + (0.0 if other is None else 1.0 / other)
    return Load(1.0 / conductance, node.node_capacitance)


def _transistor(part: TransistorSection | None) -> Transistor:
    typical = Transistor()
    if part is None:
        return typical
    emitter: DepletionJunction = replace(
        typical.emitter_junction, zero_bias_capacitance=part.emitter_capacitance, transit_time=part.forward_transit
    )
    collector: DepletionJunction = replace(
        typical.collector_junction, zero_bias_capacitance=part.collector_capacitance, transit_time=part.reverse_transit
    )
    return Transistor(**same_keys(Transistor, part), emitter_junction=emitter, collector_junction=collector)

"""One oscillator of a design, prepared with antenna, trimmer, pot and load, and what is read on it, as figures."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import field, replace
from typing import Any

import numpy as np

from models.arrays import Floats
from models.branch.antenna_branch import DIRECT
from models.circuit.adjoint import Adjoint, oscillator_adjoint
from models.circuit.drawing import Load
from models.circuit.envelope import Outcome
from models.circuit.oscillator import NotSteadyError, steady_state
from models.circuit.small_signal import small_signal
from models.circuit.start_up import StartUp, start_up
from models.circuit.steady_state import SteadyState
from models.circuit.switch_on import LOW_NOISE, thermal_swing
from models.circuit.variable_oscillator import with_antenna
from models.quick_dataclass import dataclass
from synth.analysis.adjoint_figures import (
    Hum,
    NoiseFigures,
    Sensitivity,
    hum,
    noise_figures,
    pushing,
    sensitivities,
)
from synth.analysis.circuit_points import (
    control_end,
    current_at_rest,
    hot_name,
    output_end,
    test_points,
    with_probe,
)
from synth.analysis.figures import DENSE, OfDesign, collected, explanation, of
from synth.analysis.mixer_figures import MixerFigures, mixer_figures
from synth.analysis.pulling_figures import LockPath, PullingFigures, lock_paths, pulling_figures
from synth.analysis.start_up import start_up_curves
from synth.analysis.start_up_picture import OscillatorPicture, PotPicture
from synth.build.assembly import no_volume_antenna
from synth.build.circuit_assembly import START_WORK, Circuit, blaming, tap_of
from synth.build.notices import explained, voltage_notices
from synth.build.workbench import OpenedDesign
from synth.designs.build_sections import TemperatureSection
from synth.designs.quantity import format_quantity, parse
from synth.designs.sections import Design
from synth.errors import DesignError

NO_LOAD = "none"


@dataclass(frozen=True, slots=True)
class PreparedOscillator:
    """The `which` oscillator of `design`, ready to be read.

    `design_load` is what hangs on its output as designed; the circuit's own may differ. `hand_distance`, m, is where
    the hand is held (None: nobody there, or no antenna). `pair`: the design opened, where the oscillator is one of the
    two that it solves, and as designed.
    """

    design: Design
    which: str
    circuit: Circuit
    trimmer: float
    design_load: Load | None
    hand_distance: float | None
    notices: tuple[str, ...]
    pair: OpenedDesign | None = None


def load_of(text: str, circuit: Circuit) -> Load | None:
    """The load that `--load` names: a resistance in place of the designed one, or "none". Raises DesignError."""
    if text.strip().lower() == NO_LOAD:
        return None
    try:
        resistance = parse(text, "ohm")
    except DesignError as error:
        raise DesignError(f'--load {text}: {error}, or "{NO_LOAD}"') from None
    if not 1.0 <= resistance <= 1e9:
        raise DesignError(f'--load {text}: is out of its domain; it must be between 1 ohm and 1 Gohm, or "{NO_LOAD}"')
    capacitance = Load().capacitance if circuit.load is None else circuit.load.capacitance
    return Load(resistance, capacitance)


@dataclass(frozen=True, slots=True)
class BenchSetting:
    """How an oscillator is set at the bench in place of the design's: F, position 0 to 1, m. None: as designed.

    hand: m, "away" with nobody near, or "unplugged" for an antenna taken off.
    """

    fitted_capacitor: float | None = None
    trimmer: float | None = None
    hand: float | str | None = None


AS_DESIGNED = BenchSetting()
AWAY, UNPLUGGED = "away", "unplugged"


def as_set(design: Design, which: str, setting: BenchSetting) -> Design:
    """The design with the capacitor and the trimmer of one oscillator as set; the reference then is not tuned."""
    changed: dict[str, Any] = {}
    if setting.fitted_capacitor is not None:
        changed["capacitance"] = setting.fitted_capacitor
    if setting.trimmer is not None:
        changed["trimmer"] = setting.trimmer
    if not changed or getattr(design, which) is None:
        return design
    if which == "reference":
        design = replace(design, tuning=replace(design.tuning, zero_beat=None))
    sections: dict[str, Any] = {which: replace(getattr(design, which), **changed)}
    return replace(design, **sections)


def prepared_oscillator(
    design: Design,
    which: str,
    pot: float | None = None,
    load: str | None = None,
    setting: BenchSetting = AS_DESIGNED,
) -> PreparedOscillator:
    """The oscillator as the instrument has it: the reference tuned for zero beat, the variable one with the hand at
    that distance, the volume one with nobody there. `pot`, `load` and `setting` replace those of the design.
    Raises DesignError for one without [circuit], of which `synth.analysis.oscillator_resonance` tells what is known.
    """
    design = as_set(design, which, setting)
    notices: tuple[str, ...] = ()
    opened = OpenedDesign(design)
    circuit = opened.circuits[which]
    trimmer: float = getattr(design, which).trimmer
    distance: float | None = None
    if which == "reference":
        trimmer, remarks = _tuned_trimmer(opened)
        circuit, notices = circuit.with_trimmer(trimmer), notices + remarks
    elif which == "variable":
        distance = design.tuning.zero_beat
        if setting.hand is not None:
            distance = setting.hand if isinstance(setting.hand, float) else None
        if setting.hand == UNPLUGGED:
            circuit = opened.lifted.circuits[which]
        else:
            try:
                own = opened.curve.empty_capacitance if distance is None else float(opened.curve.capacitance(distance))
            except ValueError as error:
                raise DesignError(f"--hand: {error}") from None
            circuit = opened.loaded_variable(own + opened.wired.antenna.stray)
    elif opened.loop_curve is None or design.volume_antenna is None:
        raise DesignError(no_volume_antenna(design))
    else:
        circuit = with_antenna(circuit, opened.loop_curve.empty_capacitance + design.volume_antenna.stray, DIRECT)
    designed = circuit.load
    notices += voltage_notices(circuit.supply_voltage)
    with blaming(design, which):
        if pot is not None:
            circuit = circuit.with_pot(pot)
        if load is not None:
            circuit = replace(circuit, load=load_of(load, circuit))
    as_designed = design.law == "circuit" and which != "volume" and pot is None and load is None
    as_designed = as_designed and setting == AS_DESIGNED
    pair = opened if as_designed else None
    return PreparedOscillator(design, which, circuit, trimmer, designed, distance, notices, pair)


def _tuned_trimmer(opened: OpenedDesign) -> tuple[float, tuple[str, ...]]:
    """The reference's trimmer after tuning, where the design is tuned as a circuit; else as written."""
    if opened.design.law != "circuit" or opened.design.tuning.zero_beat is None:
        return opened.design.reference.trimmer, ()
    try:
        return opened.pair.reference.trimmer_setting, opened.pair.notices
    except ValueError as error:
        written = opened.design.reference.trimmer
        return written, (f"the trimmer stays as written, there is nothing to tune to: {error}",)


STOPS = (("low", 0.0), ("mid", 0.5), ("high", 1.0))
POT_POSITIONS = np.linspace(0.0, 1.0, 11)
PROBE = 10e-12  # F, of a usual probe on the collector
LOWEST_FUNDAMENTAL = 1e-6  # V, below which a THD says nothing
REVERSE_EMITTER_LIMIT = 5.0  # V, common for small-signal parts, from memory
FOLLOWED, INTEGRATED, UNKNOWN = "by its envelope", "integrated in time", "not known"
ALONE, SWITCHED, BY_CHANCE = (
    "by itself",
    "when switched on quickly; would not start again by itself",
    "when switched on quickly, and then not every time: it depends on the noise; would not start again by itself",
)
LEAST_LOSS = 1e-3  # share that is told
SMALLEST = 1e-3  # V peak to peak, below which a node's start-up cannot be seen
SAME_FREQUENCY = 1e-5  # relative difference below which two settled oscillations are the same
NEAR_SWING, NEAR_FREQUENCY = 1e-2, 1e-3  # relative: a start-up that has come so near to an oscillation leads to it


@dataclass(frozen=True, slots=True)
class TestPoint:
    """One point of the circuit, read while it oscillates; thd is a ratio, None where the point hardly swings."""

    name: str
    dc_v: float
    peak_to_peak_v: float
    frequency_hz: float
    thd: float | None
    startup_s: float | None


@dataclass(frozen=True, slots=True)
class Loss:
    """A resistance by name, and its share in the power that the oscillation loses where it just begins."""

    part: str
    share: float


@dataclass(frozen=True, slots=True)
class AdjustedReading:
    """The oscillator with one thing changed; None and a `remark` where it does not oscillate."""

    name: str
    setting: float | None
    frequency_hz: float | None
    shift_hz: float | None
    hot_end_pp_v: float | None
    output_pp_v: float | None
    remark: str


@dataclass(frozen=True, slots=True, kw_only=True)
class OscillatorFigures(OfDesign):
    """Every figure of an oscillator, SI units in the names; None where there is no such thing."""

    which: str = of("prepared.which")
    frequency_hz: float = of("state.frequency")
    pot: float | None = of("circuit.pot_position")
    trimmer: float | None
    antenna_f: float | None
    hand_distance_m: float | None = of("prepared.hand_distance")
    load_ohm: float | None = of("circuit.load.resistance")
    load_f: float | None = of("circuit.load.capacitance")
    supply_v: float = of("circuit.supply_voltage")
    supply_current_a: float = of("state.supply_current")
    supply_power_w: float = of("state.supply_power")
    current_at_rest_a: float = of("circuit", current_at_rest)
    growth_rate_per_s: float = of("signal.growth_rate")
    loop_gain_margin_db: float = of("signal.margin_db")
    losses: tuple[Loss, ...]  # largest first
    startup_s: float | None
    startup_by: str
    starts: str
    settling_s: float = of("state.settling_time")
    probe_shift_hz: float | None = of("probed.shift_hz")
    pushing_hz_per_v: float = of("adjoint", pushing)
    sensitivities: tuple[Sensitivity, ...]  # largest first
    hum: tuple[Hum, ...]
    ripple_v: float | None = of("design.supply.ripple")  # that of [supply], and where it enters
    ripple_hz: float | None = of("design.supply.ripple_frequency")
    ripple_at: str | None = of("design.supply.ripple_at")
    noise: NoiseFigures = of("adjoint", noise_figures)
    lock_range_hz: float | None = of("pair.instrument.lock_range")  # None, as the two below, of a lone oscillator
    lock_paths: tuple[LockPath, ...] | None = of("pair.pulling", lock_paths)
    pulling: PullingFigures | None = of("pair", pulling_figures)
    mixer: MixerFigures | None = of("pair", mixer_figures)  # what it is loaded with, where the design draws one
    stray_f: float = of("circuit.board_stray")
    board: str | None = of("design.circuit.board")
    stray_explanation: str | None
    hot_end: str = field(metadata=DENSE)
    output_end: str = field(metadata=DENSE)
    control_end: str = field(metadata=DENSE)
    test_points: tuple[TestPoint, ...]
    pot_readings: tuple[AdjustedReading, ...]
    trimmer_readings: tuple[AdjustedReading, ...]
    load_readings: tuple[AdjustedReading, ...]
    notices: tuple[str, ...]


def steady(prepared: PreparedOscillator) -> SteadyState | None:
    """The steady oscillation of it; None where it does not settle. DesignError names the oscillator and why there is
    none.
    """
    known = _of_pair(prepared)
    if known is not None:
        return known.state
    with blaming(prepared.design, prepared.which):
        try:
            return steady_state(prepared.circuit)
        except NotSteadyError:
            return None


def _of_pair(prepared: PreparedOscillator) -> Adjoint | None:
    """What is known of it where the pair it belongs to is solved as designed."""
    try:
        both = None if prepared.pair is None else prepared.pair.adjoints
    except DesignError:
        return None
    return next((one for one in both or () if one.state.circuit == prepared.circuit), None)


def switched_on(prepared: PreparedOscillator) -> StartUp:
    """Its start-up from switching on; DesignError names the oscillator where an integration gives up."""
    with blaming(prepared.design, prepared.which, START_WORK):
        return start_up(prepared.circuit)


def oscillator_figures(
    prepared: PreparedOscillator, state: SteadyState, run: StartUp, turned: tuple[AdjustedReading, ...] = ()
) -> OscillatorFigures:
    """Collect the readings of `prepared`, whose steady state is `state` and whose start-up is `run`.

    turned: readings of its pot that are known already (`turned_pot`).
    """
    circuit, design = prepared.circuit, prepared.design
    known = _of_pair(prepared)
    adjoint = oscillator_adjoint(state) if known is None or known.state is not state else known
    signal = small_signal(circuit)
    pair, alone = _pair(prepared)
    board = None if design.circuit is None else design.circuit.board
    probed = _read("", None, with_probe(circuit, PROBE), state)
    run = _concluded(run, state)
    remarks, settles = _start_remarks(run, state)
    temperature = design.temperature or TemperatureSection()
    return collected(
        OscillatorFigures,
        {
            "design": design,
            "prepared": prepared,
            "state": state,
            "circuit": circuit,
            "signal": signal,
            "probed": probed,
            "adjoint": adjoint,
            "pair": pair,
        },
        sensitivities=sensitivities(adjoint, temperature.gain),
        trimmer=prepared.trimmer if circuit.trimmers else None,
        antenna_f=_at_the_tap(prepared),
        hum=hum(adjoint, None if design.supply is None else design.supply.ripple_frequency),
        startup_s=run.started if settles else None,
        startup_by=_followed_by(run),
        starts=_starts(prepared, signal.starts),
        hot_end=hot_name(circuit),
        output_end=output_end(circuit),
        control_end=control_end(circuit),
        losses=tuple(Loss(*each) for each in signal.loss_shares.items() if each[1] >= LEAST_LOSS),
        stray_explanation=None if board is None else explanation(circuit.board_stray, board),
        test_points=tuple(
            _test_point(name, node, state, run if settles else None) for name, node in test_points(circuit)
        ),
        pot_readings=_readings(circuit.with_pot, STOPS, state, turned) if circuit.pot_position is not None else (),
        trimmer_readings=_readings(circuit.with_trimmer, STOPS, state) if circuit.trimmers else (),
        load_readings=_load_readings(prepared, state),
        notices=prepared.notices + _remarks(state) + remarks + alone,
    )


def _pair(prepared: PreparedOscillator) -> tuple[OpenedDesign | None, tuple[str, ...]]:
    """The pair that the oscillator belongs to, None where there is none, and why, where the pair cannot be had."""
    try:
        if prepared.pair is not None:
            _ = prepared.pair.instrument
        return prepared.pair, ()
    except DesignError as error:
        return None, (f"how the two oscillators pull each other is not told: {error}",)


def _at_the_tap(prepared: PreparedOscillator) -> float | None:
    """The antenna's capacitance with its stray, F, where it is joined: a circuit has it as the whole coil sees it."""
    antenna = prepared.circuit.antenna
    if antenna is None:
        return None
    return antenna.capacitance / (tap_of(prepared.design).ratio ** 2 if prepared.which == "variable" else 1.0)


def _concluded(run: StartUp, state: SteadyState) -> StartUp:
    """The start-up with what the solved steady oscillation `state` tells of its end.

    An envelope is followed with few harmonics, and its end lies beside the oscillation by what they leave out: it is
    solved with as many as `state` has. A run that was given up when it had all but come to `state` leads to it.
    """
    if run.outcome is Outcome.UNDECIDED and run.times.size > 0:
        far = abs(run.tank[-1] / state.peak_to_peak("tank") - 1.0) > NEAR_SWING
        far |= abs(run.frequency[-1] / state.frequency - 1.0) > NEAR_FREQUENCY
        return run if far else replace(run, outcome=Outcome.SETTLES, state=state)
    if run.state is None or _same(run.state, state) or run.state.harmonics >= state.harmonics:
        return run
    try:
        finer = steady_state(run.circuit, harmonics=state.harmonics, warm_start=run.state)
    except ValueError:
        return run
    return replace(run, state=finer) if finer.method == "warm start" else run


def _same(one: SteadyState, other: SteadyState) -> bool:
    return abs(one.frequency / other.frequency - 1.0) <= SAME_FREQUENCY


def _followed_by(run: StartUp) -> str:
    """How the time of a start-up was found."""
    if run.outcome is Outcome.UNDECIDED:
        return UNKNOWN
    return FOLLOWED if run.late is None else INTEGRATED


def _start_remarks(run: StartUp, state: SteadyState) -> tuple[tuple[str, ...], bool]:
    """What there is to say of a start-up that does not lead to `state`, and whether it does."""
    match run.outcome:
        case Outcome.SETTLES if run.state is not None:
            if _same(run.state, state):
                return (), True
            there = format_quantity(run.state.frequency, "Hz", 6)
            return (f"switched on in one step, the oscillator settles at {there} instead",), False
        case Outcome.SQUEGS:
            text = "switched on in one step, the oscillator comes in bursts and does not settle: the usual remedy is"
            return (f"{text} smaller capacitors that hold its bias, or less current",), False
        case Outcome.TWO_TONES:
            return ("switched on in one step, the oscillator sounds in two modes at once and does not settle",), False
        case Outcome.PATTERN:
            return ("switched on in one step, its cycles are unlike and repeat only after several of them",), False
        case Outcome.WANDERS:
            return ("switched on in one step, the oscillation is irregular and does not settle",), False
        case Outcome.DIES:
            return ("switched on in one step, the oscillation dies away before it is steady",), False
        case _:
            after = format_quantity(float(run.times[-1]), "s", 3)
            text = f"the start-up was followed for {after} and had not come to its end: its time is not known"
            return (text,), False


def _starts(prepared: PreparedOscillator, by_itself: bool) -> str:
    """How the oscillation comes about; by chance where the weakest thermal noise of a hundred times starts nothing."""
    if by_itself:
        return ALONE
    circuit = prepared.circuit
    with blaming(prepared.design, prepared.which, START_WORK):
        weak = start_up(circuit, least_swing=LOW_NOISE * thermal_swing(circuit))
    return BY_CHANCE if weak.outcome is Outcome.DIES else SWITCHED


def _test_point(name: str, node: str, state: SteadyState, run: StartUp | None) -> TestPoint:
    fundamental = float(state.harmonic_amplitudes(node)[0])
    swings = fundamental >= LOWEST_FUNDAMENTAL
    peak_to_peak = state.peak_to_peak(node)
    return TestPoint(
        name=name,
        dc_v=float(state.coefficients(node)[0].real),
        peak_to_peak_v=peak_to_peak,
        frequency_hz=state.frequency,
        thd=state.total_harmonic_distortion(node) if swings else None,
        startup_s=run.started_at(node) if run is not None and peak_to_peak >= SMALLEST else None,
    )


def _readings(
    change: Callable[[float], Circuit],
    stops: Iterable[tuple[str, float]],
    state: SteadyState,
    known: tuple[AdjustedReading, ...] = (),
) -> tuple[AdjustedReading, ...]:
    """A reading at each of the named settings; what is `known` is not solved again."""
    found = {reading.setting: reading for reading in known}
    return tuple(
        replace(found[setting], name=name) if setting in found else _read(name, setting, change(setting), state)
        for name, setting in stops
    )


def _load_readings(prepared: PreparedOscillator, state: SteadyState) -> tuple[AdjustedReading, ...]:
    """Without a load, with that of the design, and with the one asked for where that is another."""
    loads: list[tuple[str, Load | None]] = [("none", None), ("as designed", prepared.design_load)]
    if prepared.circuit.load not in (None, prepared.design_load):
        loads.append(("as asked", prepared.circuit.load))
    return tuple(
        _read(name, None if load is None else load.resistance, replace(prepared.circuit, load=load), state)
        for name, load in loads
    )


def _read(name: str, setting: float | None, circuit: Circuit, base: SteadyState) -> AdjustedReading:
    """The oscillator `circuit`, compared with the steady state `base`; a remark where it does not oscillate."""
    try:
        same_states = (circuit.load is None) == (base.circuit.load is None)
        state = steady_state(circuit, warm_start=base if same_states else None) if circuit != base.circuit else base
    except ValueError as error:
        return AdjustedReading(name, setting, None, None, None, None, " ".join(explained(error).split()))
    hot_end, output = state.peak_to_peak(state.hot), state.output_peak_to_peak
    return AdjustedReading(name, setting, state.frequency, state.frequency - base.frequency, hot_end, output, "")


def turned_pot(circuit: Circuit, base: SteadyState, positions: Floats = POT_POSITIONS) -> tuple[AdjustedReading, ...]:
    """Readings at the positions of the pot, beside the steady state `base`; none without a pot."""
    if circuit.pot_position is None:
        return ()
    return _readings(circuit.with_pot, [(f"{place:.2f}", float(place)) for place in positions], base)


def oscillator_picture(prepared: PreparedOscillator, state: SteadyState, run: StartUp) -> OscillatorPicture:
    """What the plot shows of the start-up `run` to `state`."""
    run = _concluded(run, state)
    return OscillatorPicture(
        design=prepared.design.name,
        which=prepared.which,
        frequency=state.frequency,
        started=run.started if _start_remarks(run, state)[1] else None,
        curves=start_up_curves(run),
    )


def pot_picture(prepared: PreparedOscillator, turned: tuple[AdjustedReading, ...]) -> PotPicture:
    """What the plot shows of the pot as it is `turned`."""
    return PotPicture(
        position=prepared.circuit.pot_position,
        positions=np.array([reading.setting for reading in turned], dtype=np.float64),
        shifts=np.array([math.nan if reading.shift_hz is None else reading.shift_hz for reading in turned]),
    )


def _remarks(state: SteadyState) -> tuple[str, ...]:
    peak = state.reverse_emitter_peak
    if peak <= REVERSE_EMITTER_LIMIT:
        return ()
    return (
        f"the emitter junction is driven {peak:.1f} V backwards; above some {REVERSE_EMITTER_LIMIT:.0f} V a real one "
        "breaks down, which is not computed: lower the feedback capacitor or the supply",
    )

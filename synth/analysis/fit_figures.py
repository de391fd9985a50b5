"""The fit of bench readings as one set of figures."""

from __future__ import annotations

from dataclasses import dataclass

from scipy.stats import chi2

from models.readings.fit import Fit
from models.readings.identify import best_next_reading, entangled, open_unknowns, sums_held
from models.stray import BOARDS, tank_from_readings
from synth.analysis.figures import collected, explanation, of
from synth.analysis.fit_target import TargetFigure, Wish, counted_beside, targets
from synth.analysis.fitting import SolvedBench, candidates
from synth.designs.quantity import format_quantity
from synth.errors import DesignError

POT_NOTICE = (
    "a pot position counts through the collector junction's computed voltage at rest alone; what the swing and the "
    "emitter side do to the frequency is left out"
)
ASSUMED_Q = 100.0  # of the coil where no design states it
CIRCUIT_PULL = 5e-4, 7e-4  # of the frequency: demos/willow.toml solved at three pots and two emitter resistors
UNLIKELY = 0.025  # chance of residuals as large, or as small, from which a remark is made


@dataclass(frozen=True, slots=True)
class Inferred:
    """One unknown or sum of unknowns, H or F, with its 95 % interval."""

    name: str
    unit: str
    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Residual:
    """One reading and the fit to it; `sigmas`: residual over the counter's standard deviation."""

    line: int = of("row.line")
    fitted_capacitor_f: float = of("reading.fitted_capacitor")
    trimmer: float | None = of("reading.trimmer")
    antenna_f: float | None = of("reading.antenna")
    reverse_voltage_v: float | None = of("reading.reverse_voltage")
    frequency_hz: float = of("row.frequency")
    fit_hz: float
    residual_hz: float
    sigmas: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Next:
    """The further reading that tells most; None: that part away. remaining: share of the relative variances left."""

    fitted_capacitor_f: float = of("reading.fitted_capacitor")
    trimmer: float | None = of("reading.trimmer")
    antenna_f: float | None = of("reading.antenna")
    reverse_voltage_v: float | None = of("reading.reverse_voltage")
    separates: bool = of("best.new_directions", bool)
    remaining: float | None
    half_widths: dict[str, float] = of("best.half_widths")


@dataclass(frozen=True, slots=True, kw_only=True)
class FitFigures:
    """Every figure of a fit, SI units in the names; None where there is no such thing."""

    source: str
    design: str | None = of("bench.design.name")
    which: str = of("bench.which")
    counter_limit_ratio: float = of("errors.counter_ratio")
    counter_limit_hz: float = of("errors.counter_frequency")
    capacitor_limit_ratio: float = of("errors.capacitor_ratio")
    inferred: tuple[Inferred, ...]
    sums: tuple[Inferred, ...]
    closed_form: tuple[float, float] | None
    residuals: tuple[Residual, ...]
    capacitor_errors: dict[str, float]
    freedom: int = of("fit.freedom")
    misfit: float = of("fit.fit_quality")
    misfit_chance: float | None
    not_told: tuple[str, ...] = of("fit", open_unknowns)
    hardly_told: tuple[tuple[str, str, float], ...] = of("fit", entangled)
    next_reading: Next | None
    board: str | None
    board_says: str | None
    targets: tuple[TargetFigure, ...]
    notices: tuple[str, ...]


def fit_figures(bench: SolvedBench, source: str, wish: Wish) -> FitFigures:
    """Collect all figures of the fit. Raises DesignError where a wish cannot be met."""
    fit, errors = bench.fit, bench.fit.given.errors
    board = wish.board or _board_of(bench)
    if wish.other_board and (wish.target_hz is None or board is None):
        raise DesignError("--other-board needs --target-frequency, and --board for the board the readings are of")
    chance = float(chi2.sf(fit.fit_quality, fit.freedom)) if fit.freedom > 0 else None
    return collected(
        FitFigures,
        {"bench": bench, "errors": errors, "fit": fit},
        source=source,
        inferred=tuple(_inferred(fit)),
        sums=tuple(Inferred(sum_text(part.parts), "F", part.value, part.low, part.high) for part in sums_held(fit)),
        closed_form=_closed_form(bench),
        residuals=tuple(_residuals(bench)),
        capacitor_errors={format_quantity(part, "F"): ratio for part, ratio in fit.capacitor_errors.items()},
        misfit_chance=chance,
        next_reading=_next(fit),
        board=board,
        board_says=None if board is None else _board_says(bench, board),
        targets=targets(bench, wish, board),
        notices=(
            *_notices(fit, chance),
            *([POT_NOTICE] if any(row.pot is not None for row in bench.rows) else []),
            neglected(bench),
        ),
    )


def sum_text(parts: tuple[tuple[str, int], ...]) -> str:
    """A sum of unknowns in words: "stray + trimmer_minimum"."""
    words = [f"{' - ' if sign < 0 else ' + '}{name}" for name, sign in parts]
    return "".join(words).removeprefix(" + ")


def _inferred(fit: Fit) -> list[Inferred]:
    found = []
    for name in fit.names:
        interval = fit.interval(name)
        if interval is not None:
            found.append(Inferred(name, "H" if name == "inductance" else "F", *interval))
    return found


def _residuals(bench: SolvedBench) -> list[Residual]:
    fit = bench.fit
    return [
        collected(
            Residual,
            {"row": row, "reading": reading},
            fit_hz=row.frequency - float(off),
            residual_hz=float(off),
            sigmas=float(off) / row.frequency / fit.given.errors.counter_deviation(row.frequency),
        )
        for row, reading, off in zip(bench.rows, fit.given.readings, fit.residuals, strict=True)
    ]


def _closed_form(bench: SolvedBench) -> tuple[float, float] | None:
    """Inductance, H, and the rest of the tank, F, of two readings with nothing else changed."""
    readings = bench.fit.given.readings
    if len(readings) != 2 or len(bench.fit.names) != 2 or bench.fit.given.known:
        return None
    (first, first_hz), (second, second_hz) = ((row.fitted_capacitor, row.frequency) for row in bench.rows)
    try:
        reading = tank_from_readings(first, first_hz, second, second_hz)
    except ValueError:
        return None  # the same capacitor twice, or a stray below zero: the report says so elsewhere
    return reading.inductance, reading.elsewhere


def _next(fit: Fit) -> Next | None:
    best = best_next_reading(fit, candidates(fit))
    if best is None:
        return None
    remaining = None if best.new_directions else best.remaining
    return collected(Next, {"reading": best.reading, "best": best}, remaining=remaining)


def _board_of(bench: SolvedBench) -> str | None:
    design = bench.design
    return None if design is None or design.circuit is None else design.circuit.board


def _board_says(bench: SolvedBench, board: str) -> str:
    """Whether the board explains the stray, less what the design counts beside it."""
    fit = bench.fit
    stray, label = fit.interval("stray"), ""
    if stray is None:
        held = next((part for part in sums_held(fit) if part.parts[0] == ("stray", 1)), None)
        if held is None:
            return "the readings do not give the stray"
        stray, label = (held.value, held.low, held.high), f"{sum_text(held.parts)} together: "
    beside = counted_beside(bench)
    told = label + explanation(stray[0] - beside, board)
    rest = f" (less {format_quantity(beside, 'F')} that the design counts for coil and circuit)" if beside else ""
    if stray[1] - beside <= BOARDS[board][1] < stray[0] - beside:
        rest += "; but the lower end of its interval lies within"
    return told + rest


def neglected(bench: SolvedBench) -> str:
    """What the fit leaves out, and its order: loss, 1 / (2 Q^2) of the frequency (`models.tank`); the transistor."""
    section = None if bench.design is None else getattr(bench.design, bench.which)
    quality = ASSUMED_Q if section is None else section.quality_factor
    loss = 0.5 / quality**2
    low, high = CIRCUIT_PULL
    return (
        f"left out of the fit: coil loss, which lowers a reading by some {1e6 * loss:.2g} ppm "
        f"(1 / (2 Q^2), Q {quality:g}{'' if section else ' assumed'}) and so counts as {200.0 * loss:.2g} % more "
        f"inductance; and the transistor's pull, of the order of {1e6 * low:.0f} to {1e6 * high:.0f} ppm in a solved "
        f"one-transistor circuit, which counts as {200.0 * low:.2g} to {200.0 * high:.2g} % of inductance or "
        "capacitance: the intervals do not hold them"
    )


def _notices(fit: Fit, chance: float | None) -> list[str]:
    notices = []
    if fit.freedom == 0:
        notices.append("as many unknowns as readings: the fit is exact and cannot show a slip; one more reading can")
    if "junction" in fit.names:
        law = fit.given.surroundings
        notices.append(
            f"junction at zero bias, by its depletion law with {law.junction_potential:g} V and exponent "
            f"{law.junction_grading:.3g} (typical, from memory)"
        )
    if chance is not None and chance < UNLIKELY:
        worst = max(fit.capacitor_errors.items(), key=lambda item: abs(item[1]), default=None)
        if worst is not None:
            notices.append(
                f"the capacitor marked {format_quantity(worst[0], 'F')} would be off the most, "
                f"{100.0 * worst[1]:+.2g} %"
            )
        notices.append(
            f"the residuals are larger than the stated errors explain (chance {100.0 * chance:.2g} %): look for a "
            "misread capacitor, a part that drifted, or state larger errors; the intervals are then too narrow"
        )
    if chance is not None and chance > 1.0 - UNLIKELY and fit.freedom > 1:
        notices.append("the residuals are much smaller than the stated errors: those may be stated too large")
    for name in fit.names:
        interval = fit.interval(name)
        if interval is not None and name != "inductance" and interval[2] < 0.0:
            notices.append(f"{name} comes out below zero: a capacitor is less than its marking, or a reading is wrong")
    if all(reading.trimmer is None for reading in fit.given.readings):
        notices.append("no trimmer column: a trimmer that was there counts as stray, at whatever it stood")
    return notices

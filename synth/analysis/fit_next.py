"""Further readings worth a thought: what could be set next, and what each would tell."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from models.arrays import Floats
from models.preferred_values import values_in_range
from synth.analysis.fitting import SolvedBench
from synth.analysis.readings import BARE, Setting

_FINEST, _COARSEST = 10e-12, 10e-9  # F, of capacitors suggested for the next reading
_MOST_AGAIN = 12  # markings used before that are all suggested again
_USUAL: dict[str, tuple[float, ...]] = {"trimmer": (0.0, 1.0), "fine_trimmer": (0.0, 1.0)}


def candidates(bench: SolvedBench) -> tuple[Setting, ...]:
    """E3 capacitors and those used, with every part that was turned at its ends, plugged and unplugged."""
    inner = bench.bench
    last = bench.last(bench.which) or next((one for one in reversed(inner.settings) if not one.tuned), None)
    if last is None:
        return ()
    used = list(inner.markings)
    low, high = (max(0.25 * used[0], _FINEST), min(4.0 * used[-1], _COARSEST)) if used else (_FINEST, 1e-9)
    again = used if len(used) <= _MOST_AGAIN else [used[0], used[-1]]
    fitted = sorted({*again, *(values_in_range("E3", low, high) if low <= high else ())})
    made = [replace(last, fitted_capacitor=value) for value in fitted]
    for name in ("trimmer", "fine_trimmer", "pot", "reverse_voltage"):
        states = _states(bench, name)
        made = [_with(one, name, state) for one in made for state in states] if states else made
    if any(one.antenna_plugged for one in inner.settings):
        places: list[dict[str, Any]] = [{"hand_distance": None, "away": False}, {"hand_distance": None, "away": True}]
        distances = sorted({one.hand_distance for one in inner.settings if one.hand_distance is not None})
        places += [{"hand_distance": one, "away": False} for one in dict.fromkeys([*distances[:1], *distances[-1:]])]
        made = [replace(one, **place) for one in made for place in places]
    if inner.named("self_capacitance", last.oscillator) in inner.index:
        made += [Setting(value, oscillator=last.oscillator, board=BARE) for value in fitted]
    return tuple(made)


def rows_of_candidates(bench: SolvedBench, found: tuple[Setting, ...]) -> list[Floats]:
    """Of each its derivatives by the values of the unknowns, over its standard deviation, to which a new capacitor and
    the hand's distance add."""
    if not found:
        return []
    inner = bench.bench
    rows = inner.rows_of(found, bench.solved, bench.fit.values)
    logarithms, slopes = rows.log_frequencies(bench.fit.values)
    moved = inner.with_hands_off(found, rows, bench.fit.values).log_frequencies(bench.fit.values)[0]
    made = []
    for row, setting in enumerate(found):
        counted = inner.errors.counter_deviation(float(np.exp(logarithms[row])))
        deviation = float(np.hypot(counted, moved[row] - logarithms[row]))
        fitted = inner.fitted(setting)
        if inner.capacitor_name(fitted) not in inner.index:
            across = "self_capacitance" if setting.bare else "stray"
            place = inner.index.get(inner.named(across, setting.oscillator, setting.board))
            own = 0.0 if place is None else float(slopes[row, place]) * fitted * inner.capacitor_deviation
            deviation = float(np.hypot(deviation, own))
        made.append(np.asarray(slopes[row] / deviation))
    return made


def _with(setting: Setting, name: str, state: float | None) -> Setting:
    changed: dict[str, Any] = {name: state}
    return replace(setting, **changed)


def _states(bench: SolvedBench, name: str) -> tuple[float | None, ...]:
    """The usual states and the extremes read; nothing for a part that was never turned."""
    seen = [value for one in bench.bench.settings if (value := getattr(one, name)) is not None]
    if not seen:
        return ()
    kept: tuple[float | None, ...] = (None,) if name != "pot" else ()
    return (*kept, *sorted({*_USUAL.get(name, ()), min(seen), max(seen)}))

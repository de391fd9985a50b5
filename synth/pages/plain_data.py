"""Recipes, courses and axes as the page's code reads them: plain numbers, each from the place where it is computed."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

import numpy as np

from models.hand.meshes import HAND_HALF_SIZES
from models.instrument import Instrument
from synth.lessons.live import Axis
from synth.lessons.passage import MOVE, SAMPLE_RATE, Passage
from synth.lessons.recipes import (
    DC_BLOCK,
    PAIRS,
    PEAK,
    ROOM,
    Instrumental,
    Mixture,
    Pulled,
    Recipe,
    Rectified,
    steady_part,
)
from synth.lessons.waves import Tone, Waves
from synth.pages.document import packed
from synth.sound.filters import dc_block_coefficients, low_pass_coefficients
from synth.sound.wavetable import significant_harmonics

FIELD_POINTS = 4096  # of the table of free differences, even in the logarithm of the distance
FAINTEST, MOST_HARMONICS = 1e-5, 160  # of a detector: weaker ones, and higher ones, are left out of a page


def waves_data(waves: Waves) -> dict[str, Any]:
    """The waves of a picture."""
    return {
        "first": _tone(waves.first),
        "second": _tone(waves.second),
        "ratio": waves.ratio,
        "bend": waves.bend,
        "heard": waves.heard,
        "curvature": waves.curvature,
        "lock": waves.lock_range,
        "slowed": waves.slowed,
        "drive": waves.drive,
    }


def recipe_data(recipe: Recipe, hand: dict[str, float] | None = None) -> dict[str, Any]:
    """A recipe with the waves behind it, and for an instrument the hand to draw. ValueError for one without waves."""
    if recipe.waves is None:
        raise ValueError("a recipe must say which waves stand behind it to be drawn in a page")
    return {**_sound(recipe), "hand": hand, "waves": waves_data(recipe.waves)}


def _sound(recipe: Recipe) -> dict[str, Any]:
    match recipe:
        case Mixture():
            scale = recipe.gain * PEAK / sum(abs(amplitude) for _, _, amplitude in recipe.parts)
            drawn = recipe.waves is not None and recipe.waves.heard == "filtered"
            return {
                "kind": "mixture",
                "first": _tone(recipe.first),
                "second": _tone(recipe.second),
                "parts": recipe.parts,
                "slow": recipe.slow_too,
                "gain": scale,
                "beatOf": "first" if drawn else "both",
            }
        case Rectified():
            return {
                "kind": "rectified",
                "first": _tone(recipe.first),
                "second": _tone(recipe.second),
                "ratio": recipe.ratio,
                "pairs": PAIRS,
                "steady": steady_part(recipe.ratio),
                "gain": PEAK / (1.0 + recipe.ratio),
                "slow": False,
                "parts": _rectified_lines(recipe),
            }
        case Pulled():
            gain = ROOM * PEAK
            return {"kind": "pulled", "lock": recipe.lock_range, "gain": gain, "block": _block(DC_BLOCK)}
        case Instrumental():
            return instrument_data(recipe.instrument, PEAK, even_shape(recipe.instrument))
    raise ValueError(f"a page cannot play {type(recipe).__name__}")


def _rectified_lines(recipe: Rectified) -> list[tuple[int, int, float]]:
    """The strongest lines, as `Rectified.lines` names them."""
    amplitudes = [amplitude for _, amplitude in recipe.lines(1.0)]
    return [(p, q, size) for (p, q), size in zip(((1, 0), (0, 1), (1, -1), (2, 0), (1, 1)), amplitudes, strict=True)]


def instrument_data(instrument: Instrument, level: float, shape: dict[str, Any]) -> dict[str, Any]:
    """An instrument: field, lock, harmonics (`shape`) and tone filter."""
    curve = instrument.curve
    distances = np.geomspace(curve.nearest, curve.farthest, FIELD_POINTS)
    added = instrument.antenna_capacitance(distances) - (curve.empty_capacitance + instrument.antenna_stray)
    return {
        "kind": "instrument",
        "field": _table(curve.nearest, curve.farthest, instrument.offset_frequency(distances)),
        "capacitance": _table(curve.nearest, curve.farthest, added),
        "lock": instrument.lock_range,
        "gain": level,
        "shape": shape,
        "tone": _first_order(low_pass_coefficients(instrument.tone_low_pass, SAMPLE_RATE)),
        "block": _block(instrument.dc_block),
    }


def even_shape(instrument: Instrument) -> dict[str, Any]:
    """The detector's harmonics, the same at every distance, at a peak of 1."""
    detector = instrument.fixed_detector
    harmonics = significant_harmonics(detector)[1:] / detector.peak
    kept = np.flatnonzero(np.abs(harmonics) > FAINTEST * np.abs(harmonics).max())[-1] + 1
    even = harmonics[: min(int(kept), MOST_HARMONICS)]
    return {"width": even.size, "even": packed(even)}


def hand_data(posture: str, rod: float, reach: float) -> dict[str, float]:
    """Sizes of what is drawn to scale from the side, m: rod, hand on edge, and the farthest place."""
    length, _, height = (2.0 * half for half in HAND_HALF_SIZES["fist" if posture == "fist" else "open"])
    return {"rod": rod, "length": length, "breadth": height, "reach": reach}


def passage_data(passage: Passage, number: int) -> dict[str, Any]:
    """A passage; `number`: its recipe's place among those of the page."""
    return {
        "recipe": number,
        "instants": passage.instants,
        "values": passage.values,
        "evenPitch": passage.even_pitch,
        "volumes": passage.volumes,
    }


def axis_data(axis: Axis) -> dict[str, Any]:
    """An axis under a slider."""
    return asdict(axis)


def stage_seconds(passages: tuple[Passage, ...]) -> float:
    """How long the passages last with the pauses between them, s."""
    return sum(passage.seconds for passage in passages) + MOVE * (len(passages) - 1)


def _tone(tone: Tone) -> tuple[float, float]:
    return tone.steady, tone.share


def _table(nearest: float, farthest: float, points: Any) -> dict[str, Any]:
    step = float(np.log(farthest / nearest)) / (FIELD_POINTS - 1)
    return {"nearest": nearest, "step": step, "points": packed(points)}


def _first_order(coefficients: tuple[Any, Any]) -> list[float]:
    numerator, denominator = coefficients
    return [float(numerator[0]), float(numerator[1]), float(denominator[1])]


def _block(corner: float) -> list[float]:
    return _first_order(dc_block_coefficients(corner, SAMPLE_RATE))

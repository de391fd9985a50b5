"""How often the 95 % intervals of `beatfield fit` hold the truth, over many made-up benches of each kind.

By hand: `python tests/benchmarks/fitted_benches.py 1000 [KIND...]`. Every bench is drawn from what is assumed
beforehand of capacitors, counter, windings and chokes, and from a spread of coils and strays; those of the solved kinds
are made by the circuit. Prints for each kind and unknown the share held; ends with 1 where one is below 93 %, or all
hold everything.
"""

from __future__ import annotations

import math
import sys
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.random import Generator

from models.circuit.oscillator import steady_state
from models.readings.unknowns import NORMAL_95
from models.tank import resonant_frequency
from synth.analysis.fit_unknowns import COIL_SELF_SHARE, Errors
from synth.analysis.fitting import solved_bench
from synth.analysis.readings import read_readings
from synth.build.circuit_assembly import circuit_of
from synth.build.workbench import OpenedDesign
from synth.designs.design_file import Design, load_design

DEMOS = Path(__file__).parents[2] / "demos"
P = 1e-12
LEAST = 0.93
COUNTER, CAPACITOR = 1e-4, 0.01  # 95 % limit and tolerance, as by default
HAND = Errors().hand_distance

Truth = dict[str, float]
Made = tuple[str, Design | None, Truth]


def header(*columns: str) -> list[str]:
    return [",".join(("fitted_capacitor", "frequency", *columns))]


def off(generator: Generator, limit: float) -> float:
    return 1.0 + limit / NORMAL_95 * float(generator.normal())


def windings_of(generator: Generator, designed: float) -> float:
    """A coil's own capacitance, F, as it may be where the design has `designed`."""
    return abs(designed * off(generator, COIL_SELF_SHARE))


def parts(generator: Generator, values: tuple[float, ...]) -> dict[float, float]:
    """Capacitors as they are, F, by their marking in pF."""
    return {value: value * P * (1.0 + generator.uniform(-CAPACITOR, CAPACITOR)) for value in dict.fromkeys(values)}


def plain(generator: Generator) -> Made:
    """A tank of nothing else, with a trimmer at its ends and away."""
    truth = {
        "inductance": 1e-3 * math.exp(generator.normal()),
        "stray": float(generator.uniform(3, 200)) * P,
        "trimmer_minimum": float(generator.uniform(1, 12)) * P,
        "trimmer_maximum": float(generator.uniform(40, 100)) * P,
    }
    rows = ((47, ""), (100, ""), (220, ""), (470, ""), (100, "0"), (100, "1"), (330, "0.5"))
    real, lines = parts(generator, tuple(value for value, _ in rows)), header("trimmer")
    for value, at in rows:
        turned = 0.0
        if at:
            turned = truth["trimmer_minimum"] + float(at) * (truth["trimmer_maximum"] - truth["trimmer_minimum"])
        frequency = float(resonant_frequency(truth["inductance"], real[value] + truth["stray"] + turned))
        lines.append(f"{value} pF,{frequency * off(generator, COUNTER)!r} Hz,{at}")
    return "\n".join(lines) + "\n", None, truth


def boards(generator: Generator) -> Made:
    """One coil on two boards."""
    coil = 1e-3 * math.exp(generator.normal())
    truth = {"inductance": coil, **{f"stray on {name}": float(generator.uniform(3, 300)) * P for name in "AB"}}
    rows = ((47, "A"), (220, "A"), (100, "B"), (470, "B"), (220, "B"))
    real, lines = parts(generator, tuple(value for value, _ in rows)), header("board")
    for value, board in rows:
        frequency = float(resonant_frequency(coil, real[value] + truth[f"stray on {board}"]))
        lines.append(f"{value} pF,{frequency * off(generator, COUNTER)!r} Hz,{board}")
    return "\n".join(lines) + "\n", None, truth


def handed(generator: Generator) -> Made:
    """A meadow built otherwise, read with the hand at three places behind its chokes."""
    design = opened().design
    curve = opened().curve
    branch = design.branch
    assert branch is not None
    truth = {
        "inductance": design.variable.inductance * off(generator, 0.05),
        "stray": float(generator.uniform(5, 80)) * P,
        "antenna_stray": float(generator.uniform(1, 6)) * P,
    }
    chokes = replace(branch, inductance=branch.inductance * off(generator, 0.05))
    windings = windings_of(generator, design.variable.self_capacitance)
    rows = ((180, None), (270, 0.1), (270, 0.3), (330, 0.1), (680, None), (680, 0.1), (1000, 0.3))
    real, lines = parts(generator, tuple(value for value, _ in rows)), header("hand_distance")
    for value, distance in rows:
        there = replace(
            design.variable,
            capacitance=real[value],
            stray=truth["stray"],
            inductance=truth["inductance"],
            self_capacitance=windings,
        )
        antenna = replace(design.antenna, stray=truth["antenna_stray"])
        made = OpenedDesign(replace(design, variable=there, antenna=antenna, branch=chokes), (curve, None))
        if distance is None:
            frequency = made.lifted.tanks["variable"].frequency
        else:
            held = distance + HAND / NORMAL_95 * float(generator.normal())
            hand = float(curve.capacitance(held)) + made.wired.antenna.stray
            frequency = float(made.instrument.frequency_with(hand))
        at = "" if distance is None else f"{100 * distance:g} cm"
        lines.append(f"{value} pF,{frequency * off(generator, COUNTER)!r} Hz,{at}")
    return "\n".join(lines) + "\n", design, truth


_OPENED: list[OpenedDesign] = []


def opened() -> OpenedDesign:
    """The meadow, opened once, without zero beat."""
    if not _OPENED:
        design = load_design(DEMOS / "meadow.toml")
        _OPENED.append(OpenedDesign(replace(design, tuning=replace(design.tuning, zero_beat=None))))
    return _OPENED[0]


def circuit(generator: Generator) -> Made:
    """A willow's reference, made by the solved circuit with a supply capacitor of 10 nF to 1 uF, fitted without it."""
    text, _, truth = told(generator)
    return text, None, {"inductance": truth["inductance"]}


def told(generator: Generator) -> Made:
    """The same, fitted with the design that tells the circuit."""
    design = load_design(DEMOS / "willow.toml")
    design = replace(design, tuning=replace(design.tuning, zero_beat=None))
    bypass = float(10.0 ** generator.uniform(-8, -6))
    design = replace(design, circuit=replace(design.circuit, supply_capacitor=bypass))
    truth = {
        "inductance": design.reference.inductance * off(generator, 0.05),
        "stray": float(generator.uniform(5, 80)) * P,
    }
    built = {**truth, "self_capacitance": windings_of(generator, design.reference.self_capacitance)}
    values = (47.0, 100.0, 220.0, 470.0)
    real, lines = parts(generator, values), header()
    for value in values:
        section = replace(design.reference, capacitance=real[value], **built)
        state = steady_state(circuit_of(replace(design, reference=section), "reference"))
        lines.append(f"{value:g} pF,{state.frequency * off(generator, COUNTER)!r} Hz")
    return "\n".join(lines) + "\n", design, truth


KINDS: dict[str, Callable[[Generator], Made]] = {
    "plain": plain,
    "boards": boards,
    "handed": handed,
    "circuit": circuit,
    "told": told,
}


def shares(kind: str, count: int, seed: int = 1) -> dict[str, float]:
    """Share of `count` benches of a kind whose intervals hold the truth, by unknown."""
    generator, held = np.random.default_rng(seed), Counter[str]()
    for _ in range(count):
        text, design, truth = KINDS[kind](generator)
        which = "variable" if kind == "handed" else "reference"
        fit = solved_bench(read_readings(text), Errors(COUNTER, 0.0, CAPACITOR), {}, design, which).fit
        for name, value in truth.items():
            _, low, high = fit.interval(fit.place(name))
            held[name] += low <= value <= high
    return {name: held[name] / count for name in truth}


def main() -> int:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    failed = False
    for kind in sys.argv[2:] or KINDS:
        begun = time.process_time()
        found = shares(kind, count)
        told = ", ".join(f"{name} {100 * share:.1f} %" for name, share in found.items())
        print(f"{kind}: {count} benches, {told} ({time.process_time() - begun:.0f} s)", flush=True)
        failed = failed or min(found.values()) < LEAST or min(found.values()) == 1.0
    return int(failed)


if __name__ == "__main__":
    sys.exit(main())

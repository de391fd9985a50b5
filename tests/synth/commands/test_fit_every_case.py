"""`beatfield fit`: whatever was read of the reference, the written design swings at the last reading of it.

Trimmer at an end, no trimmer column, two trimmers, one reading with the inductance known, two boards in one file; for
every circuit that `beatfield new --circuit` writes, and for the same tanks without [circuit].
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from models.circuit.oscillator import steady_state
from synth.analysis.fit_design import fitted_design
from synth.analysis.fit_figures import fit_figures
from synth.analysis.fit_target import Wish
from synth.analysis.fit_unknowns import Errors, known_of
from synth.analysis.fitting import solved_bench
from synth.analysis.readings import read_readings
from synth.build.assembly import tank_in
from synth.build.circuit_assembly import circuit_of
from synth.designs.circuit_templates import CIRCUITS
from synth.designs.design_file import Design, read_design
from synth.designs.edited import edited_text
from synth.designs.template import circuit_template_text

P = 1e-12
LEAST = 5.0  # ppm beside the fit's residual: values are written with the digits that their readings give them
FINE = (3.0 * P, 21.0 * P)  # ends of a second trimmer

# columns beside fitted_capacitor and frequency; rows of capacitor (times the design's), trimmer, second trimmer, board
CASES = {
    "trimmer at an end": ("trimmer", ((1.2, 0.5, "", ""), (1.0, 1.0, "", ""), (1.0, 0.0, "", "")), ()),
    "no trimmer column": ("", ((1.5, None, "", ""), (1.0, None, "", "")), ()),
    "two trimmers": (
        "trimmer,fine_trimmer",
        ((1.2, 0.5, 0.5, ""), (1.0, 1.0, 0.0, ""), (1.0, 0.5, 1.0, ""), (1.0, 0.5, 0.25, "")),
        (),
    ),
    "one reading": ("", ((1.0, None, "", ""),), ("inductance",)),
    "two boards": ("board", ((1.0, None, "", "plug"), (1.5, None, "", "plug"), (1.0, None, "", "etched")), ()),
}
BOARDS = {"": 21 * P, "plug": 44 * P, "etched": 17 * P}


def swings(design: Design) -> float:
    """Frequency, Hz, of the reference as the design has it."""
    untuned = replace(design, tuning=replace(design.tuning, zero_beat=None))
    if design.circuit is None:
        return float(tank_in(untuned, "reference").frequency)
    return steady_state(circuit_of(untuned, "reference")).frequency


def gives_back(text: str, source: str, case: str) -> None:
    design = read_design(text, source)
    columns, rows, known = CASES[case]
    names = [name for name in columns.split(",") if name]
    built = replace(design.reference, inductance=1.012 * design.reference.inductance)
    lines = [",".join(("fitted_capacitor,frequency", *names))]
    for times, trimmer, fine, board in rows:
        more = FINE[0] + fine * (FINE[1] - FINE[0]) if fine != "" else 0.0
        section = replace(
            built,
            capacitance=times * built.capacitance,
            stray=BOARDS[board] + more,
            trimmer=built.trimmer if trimmer is None else trimmer,
        )
        cells = {"trimmer": f"{trimmer}", "fine_trimmer": f"{fine}", "board": board}
        frequency = swings(replace(design, reference=section))
        marking = f"{times * built.capacitance / P:g} pF"
        lines.append(",".join((marking, f"{frequency!r} Hz", *(cells[name] for name in names))))
    told = known_of([f"inductance={built.inductance!r} H"]) if known else {}
    bench = solved_bench(read_readings("\n".join(lines) + "\n"), Errors(), told, design, "reference")
    assert bench.slips == ()
    report = fit_figures(bench, "r.csv", Wish())
    assert all(part.low >= 0.0 for part in report.inferred)
    assert all(part.low <= part.value <= part.high for part in report.inferred)
    found = {part.name: part for part in report.inferred}
    if not known:
        assert found["inductance"].low <= built.inductance <= found["inductance"].high
    for board in {row[3] for row in rows}:
        name = f"stray on {board}" if board else "stray"
        if case != "two trimmers":  # its ends are told with the stray only together
            assert found[name].low <= BOARDS[board] <= found[name].high
    written = read_design(edited_text(text, design, fitted_design(bench, None).design), source)
    last = report.residuals[-1]
    off = 1e6 * (abs(swings(written) / last.read - 1.0) - abs(last.residual / last.read))
    assert off < LEAST
    assert written.variable == design.variable, "of which nothing was read"


@pytest.mark.parametrize("case", CASES)
def test_a_tank_without_a_circuit(case, demos):
    gives_back((demos / "heron.toml").read_text("utf-8"), "heron", case)


@pytest.mark.slow
@pytest.mark.parametrize("case", CASES)
@pytest.mark.parametrize("name", ["common-base", "inverter"])
def test_a_circuit(name, case):
    gives_back(circuit_template_text(name), name, case)


@pytest.mark.soak  # by hand: half a minute
@pytest.mark.parametrize("case", CASES)
@pytest.mark.parametrize("name", [name for name in CIRCUITS if name not in ("common-base", "inverter")])
def test_every_other_circuit(name, case):
    gives_back(circuit_template_text(name), name, case)

"""`beatfield fit`: the device of every circuit, told by pot, supply and volts, and written back into its row."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from models.circuit.drawing import ends_of
from models.circuit.oscillator import steady_state
from synth.analysis.fit_devices import device_of, device_values, with_device_values
from synth.analysis.fit_figures import fit_figures
from synth.analysis.fit_target import Wish
from synth.analysis.fit_unknowns import Errors
from synth.analysis.fitting import solved_bench
from synth.analysis.readings import read_readings
from synth.build.circuit_assembly import circuit_of
from synth.cli import main
from synth.designs.design_file import load_design, read_design
from synth.designs.template import circuit_template_text
from synth.errors import DesignError

P = 1e-12
# circuit: factor of each value of its device, and whether the readings tell one of them
BUILT = {
    "hartley": ({"junction": 1.1, "pinch_off": 0.8, "drain_current": 1.3}, ("pinch_off",)),
    "tickler": ({"amplification": 1.08, "perveance": 0.75}, ()),
    "inverter": ({"inverter_gain": 1.2, "output_resistance": 0.8, "input_capacitance": 1.2}, ()),
    "colpitts": ({"junction": 1.15, "gain": 0.75}, ()),
}


@pytest.mark.slow
@pytest.mark.parametrize("name", BUILT)
def test_the_device_is_told_and_written_back(name, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    factors, told = BUILT[name]
    text = circuit_template_text(name)
    Path("design.toml").write_text(text, "utf-8")
    design = read_design(text, name)
    design = replace(design, tuning=replace(design.tuning, zero_beat=None))
    device = device_of(circuit_of(design, "reference"))
    values = {one.name: one for one in device_values(circuit_of(design, "reference"))}
    assert set(values) == set(factors)
    truth = {key: one.read(device) * factors[key] for key, one in values.items()}
    built = replace(design, reference=replace(design.reference, inductance=1.01 * design.reference.inductance))
    volts = design.circuit.supply_voltage
    ends = [f"dc_{end}" for end in ends_of(device)[:3] if end not in ("supply", "ground")]
    lines = [",".join(("fitted_capacitor,frequency,trimmer,pot,supply,swing", *ends))]
    pots = ("0", "1", "0.5") if name != "inverter" else ("", "", "")
    for times, pot, supply in zip((1.0, 1.2, 1.0), pots, (volts, volts, 1.1 * volts), strict=True):
        section = replace(built.reference, capacitance=times * built.reference.capacitance)
        there = replace(built, reference=section, circuit=replace(built.circuit, supply_voltage=supply))
        circuit = with_device_values(circuit_of(there, "reference"), truth)
        state = steady_state(circuit if pot == "" else circuit.with_pot(float(pot)))
        part = state.circuit.drawing().devices[0]
        nodes = dict(zip(ends_of(part.what), part.ends, strict=True))
        read = [
            0.0 if (node := nodes[end[3:]]) == "ground" else float(state.coefficients(node)[0].real) for end in ends
        ]
        cells = f"{times * built.reference.capacitance / P:g} pF,{state.frequency!r} Hz,{section.trimmer},{pot}"
        lines.append(
            f"{cells},{supply!r} V,{state.peak_to_peak(state.hot)!r} V,{','.join(f'{one!r} V' for one in read)}"
        )
    Path("readings.csv").write_text("\n".join(lines) + "\n", "utf-8")
    benches = []  # the command's own, which is solved once for all that is asked here

    def kept(*asked):
        benches.append(solved_bench(*asked))
        return benches[-1]

    monkeypatch.setattr("synth.analysis.fitting.solved_bench", kept)
    assert main(["fit", "readings.csv", "--design", "design.toml", "--which", "reference", "-o", "built.toml"]) == 0
    report = fit_figures(benches[0], "readings.csv", Wish())
    assert report.slips == ()
    found = {part.name: part for part in report.inferred}
    for key, value in truth.items():
        assert found[key].low <= value <= found[key].high, key
    for key in told:
        assert found[key].told
        assert found[key].value == pytest.approx(truth[key], rel=0.1)
    written = load_design("built.toml")
    after = device_of(circuit_of(written, "reference"))
    for key, one in values.items():
        assert one.read(after) == pytest.approx(found[key].value, rel=0.02), "written with the digits that count"
    last = next(row for row in reversed(report.residuals) if row.what == "frequency")
    again = steady_state(circuit_of(replace(written, tuning=replace(written.tuning, zero_beat=None)), "reference"))
    assert abs(again.frequency / last.read - 1.0) < abs(last.residual / last.read) + 5e-6
    assert device_of(circuit_of(written, "variable")) == (device if name != "colpitts" else after)
    comments = [line.split("#", 1)[1] for line in text.splitlines() if "#" in line]
    kept = Path("built.toml").read_text("utf-8")
    assert all(one in kept for one in comments)


def test_an_end_that_the_device_does_not_have_is_named():
    text = circuit_template_text("hartley")
    readings = "fitted_capacitor,frequency,dc_base\n330 pF,250 kHz,2 V\n"
    with pytest.raises(DesignError, match="dc_base: the device of this oscillator has no base; its ends are dc_gate"):
        solved_bench(read_readings(readings), Errors(), {}, read_design(text, "h"), "reference")

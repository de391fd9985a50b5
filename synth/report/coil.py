"""The figures of a coil as text: what it has, and how far each formula can be trusted."""

from __future__ import annotations

from synth.analysis.coil import WoundCoil, millimetres
from synth.designs.quantity import format_quantity
from synth.report.written import Form, finished


def coil_text(coil: WoundCoil) -> str:
    """The report for people."""

    def told(value: float | None, unit: str, digits: int = 3) -> str:
        return "no formula" if value is None else format_quantity(value, unit, digits)

    deep = "" if coil.depth_m is None else f", {millimetres(coil.depth_m)} deep"
    more = f"{coil.skin_factor:.3g} by skin effect, {coil.proximity_factor:.3g} more by the neighbouring turns"
    at = told(coil.frequency_hz, "Hz", 4)
    rows = {
        "turns": f"{coil.turns:.1f}",
        "inductance": told(coil.inductance_h, "H", 4),
        "winding": f"{millimetres(coil.length_m)} long{deep}, {millimetres(coil.pitch_m)} from turn to turn",
        "mean diameter": millimetres(coil.mean_diameter_m),
        "self-capacitance": told(coil.self_capacitance_f, "F"),
        "self-resonance": told(coil.self_resonance_hz, "Hz"),
        "wire": f"{told(coil.wire_length_m, 'm', 4)} of {millimetres(coil.wire_m)} copper",
        "resistance": f"{told(coil.dc_resistance_ohm, 'ohm')} at {coil.temperature_degc:g} degC, direct current",
        f"at {at}": f"{coil.skin_factor + coil.proximity_factor:.3g} times that: {more}",
        "Q, about": f"{coil.quality_factor:.0f} at {at}",
    }
    kind = "single layer" if coil.depth_m is None else "many layers"
    lines = [f"Air-core coil on a {millimetres(coil.former_m)} former, {kind}", ""]
    lines += [f"{name:<20}{text}" for name, text in rows.items()]
    return finished(lines, coil_notices(coil))


def coil_notices(coil: WoundCoil) -> list[str]:
    """How far the formulas hold for this coil, and what they leave out."""
    found = []
    if coil.formula_balance is None:
        found.append(
            "the inductance is exact for an even sheet of current (Lorenz, Nagaoka); the gaps between round wires and "
            "the leads are left out: below 1 % for some hundred close turns, several per cent for ten (from memory)"
        )
    else:
        found.append("the inductance is by Wheeler's formula for many layers (1928), at best good to about 1 %")
    if coil.formula_balance is not None and coil.formula_balance > 3.0:
        found.append(
            "radius, length and depth are far from the shape for which that formula is best: count on several per "
            "cent; it is best where 3 x diameter, 9 x length and 10 x depth are alike"
        )
    if coil.most_turns is not None and coil.turns > coil.most_turns:
        found.append(f"about {coil.most_turns:.0f} turns of this wire fit: make the winding longer or deeper")
    if coil.turns < 10.0:
        found.append("with fewer than ten turns the leads and the gaps count: measure it")
    if coil.self_capacitance_f is not None:
        found.append("the self-capacitance is by Medhurst's table (1947), for one end earthed and no dielectric former")
    elif coil.depth_m is None:
        found.append("Medhurst's table of self-capacitance covers lengths of 0.1 to 50 diameters: measure this one")
    else:
        found.append(
            "many layers have far more self-capacitance than one: find it from two resonances (`beatfield fit`)"
        )
    if coil.self_resonance_hz is not None and coil.frequency_hz > coil.self_resonance_hz / 3.0:
        found.append(
            "the frequency is above a third of the self-resonance: there the coil acts as a larger inductance with a "
            "lower Q; take fewer turns or a shorter winding"
        )
    found.append(
        "Q is an estimate by the wire's loss alone. The share of the neighbouring turns (proximity effect) is that of "
        "a long coil: too large by a quarter at a length of five diameters, by half at two, twofold at one, threefold "
        "for many layers in a short winding. Former, enamel and metal nearby are left out and lower Q"
    )
    return found


COIL = Form("beatfield.coil/1", coil_text)

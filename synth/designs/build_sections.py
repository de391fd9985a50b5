"""The sections of a design about builds of it: what parts may be off, how they go with temperature, what is asked."""

from __future__ import annotations

from synth.designs.schema import SectionValues, choice, design_section, quantity


def _limit(help: str, default: float) -> float:
    """A key for how far parts may be off, either way."""
    return quantity(help, ("percent", 0.0, 0.9), default=default)


def _coefficient(help: str, default: float, most: float = 5e-3) -> float:
    """A key for a temperature coefficient of at most `most` (1/K) either way."""
    return quantity(help, ("ppm/K", -most, most), default=default)


@design_section("tolerances", "How far real parts may be off; without the section, these defaults.")
class TolerancesSection(SectionValues):
    """Limits either way, as fractions, and how parts scatter within them."""

    inductor: float = _limit("of the tank coils, either way", 0.05)
    capacitor: float = _limit("of the fixed capacitors (and of the divider in [circuit])", 0.05)
    trimmer: float = _limit("of both ends of a trimmer together", 0.10)
    branch_inductor: float = _limit("of the series inductor", 0.05)
    stray: float = _limit("spread of the board stray: what board, wiring and coil windings add", 0.20)
    antenna_stray: float = _limit("spread of the antenna stray: of mount and lead", 0.20)
    junction: float = _limit("spread of the transistor's capacitance, with [circuit] only", 0.30)
    gain: float = _limit("spread of the transistors' current gain, with [circuit] only", 0.50)
    resistor: float = _limit("of the resistors, with [circuit] only, as all below", 0.01)
    potentiometer: float = _limit("of the pots, whole track", 0.20)
    supply: float = _limit("spread of the supply voltage, the same for both oscillators", 0.02)
    temperature: float = quantity(
        "spread of the transistors' temperature while builds are tuned, the same for both",
        ("K", 0.0, 50.0),
        default=5.0,
    )
    parts: str = choice(
        "how bought parts scatter in their limits (normal: limits at 3 sigma, cut there)",
        ("uniform", "normal"),
        default="uniform",
    )
    reel: float = quantity(
        "share of their deviation that parts of one kind have in common in both oscillators, as from one reel",
        ("fraction", 0.0, 1.0),
        default=0.0,
    )
    spreads: str = choice(
        "how stray, junction, gain, supply and temperature scatter", ("uniform", "normal"), default="normal"
    )


@design_section("temperature", "How parts go with temperature; without the section, these defaults.")
class TemperatureSection(SectionValues):
    """Temperature coefficients, 1/K, mismatch of the two oscillators, 1/K, and warm-up, K and s."""

    coil: float = _coefficient("of the tank coils (from memory: air core +10 to +50, ferrite +100 to +1000)", 30e-6)
    capacitor: float = _coefficient("of the fixed capacitors (C0G 0 +-30; polystyrene about -125, from memory)", 0.0)
    stray: float = _coefficient("of board stray, coil windings and trimmers; 0 until measured", 0.0)
    branch_coil: float = _coefficient("of the series inductor (ferrite, from memory +100 to +1000)", 200e-6)
    antenna_stray: float = _coefficient("of the antenna stray, its mount and lead; 0 until measured", 0.0)
    coil_mismatch: float = _coefficient("reference coil above the variable one", 10e-6)
    capacitor_mismatch: float = _coefficient("reference capacitor above the variable one", 30e-6)
    gain: float = _coefficient(
        "of the transistors' current gain, with [circuit] (from memory +3000 to +7000)", 5e-3, most=2e-2
    )
    warm_up_rise: float = quantity("of the parts from cold to warm", ("K", 0.0, 100.0), default=10.0)
    warm_up_time: float = quantity("time constant of that rise: 63 % of it is done", ("s", 1.0, 1e5), default=600.0)


@design_section("goals", "What builds of this design must do; without the section nothing is asked.")
class GoalsSection(SectionValues):
    """What builds must do, shares as fractions, m, Hz, unevenness in cents; None: not asked."""

    zero_beat: float | None = quantity(
        "share of builds whose trimmer must reach zero beat", ("percent", 0.0, 1.0), default=None
    )
    nearest: float = quantity(
        "nearest playing distance of the hand: where the highest note is read", ("m", 0.011, 0.5), default=0.05
    )
    farthest: float = quantity(
        "farthest playing distance: where the lowest note is read", ("m", 0.02, 0.8), default=0.40
    )
    lowest: float | None = quantity("a build must go down to this note or lower", ("Hz", 20.0, 2e4), default=None)
    highest: float | None = quantity("a build must go up to this note or higher", ("Hz", 20.0, 2e4), default=None)
    even_from: float = quantity("lowest note of the range whose evenness is judged", ("Hz", 20.0, 2e4), default=65.406)
    even_to: float = quantity("highest note of that range", ("Hz", 20.0, 2e4), default=1046.502)
    unevenness: float | None = quantity(
        "cents RMS from a straight line over that range that a build may have at most",
        ("ratio", 0.1, 1e4),
        default=None,
    )
    good_builds: float = quantity(
        "share of builds that must meet all goals of a build", ("percent", 0.0, 1.0), default=0.90
    )

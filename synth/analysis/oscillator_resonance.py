"""What is known of an oscillator of a design without [circuit]: its resonance, and nothing of what keeps it going."""

from __future__ import annotations

from models.quick_dataclass import dataclass
from models.tank import Tank
from synth.analysis.figures import OfDesign, collected, of
from synth.analysis.oscillator import AS_DESIGNED, UNPLUGGED, BenchSetting, as_set
from synth.build.assembly import no_volume_antenna
from synth.build.workbench import OpenedDesign
from synth.designs.sections import Design
from synth.errors import DesignError


@dataclass(frozen=True, slots=True, kw_only=True)
class ResonanceFigures(OfDesign):
    """The figures, SI units. antenna_f: of the antenna with its stray, None where none is on the tank. frequency_hz:
    with it; trimmer_in_hz, trimmer_out_hz: of the tank alone, None without a trimmer.
    """

    which: str
    frequency_hz: float
    antenna_f: float | None
    hand_m: float | None
    inductance_h: float = of("tank.inductance")
    capacitor_f: float = of("tank.capacitance")
    trimmer: float = of("tank.trimmer_setting")
    trimmer_f: float = of("tank.trimmer_capacitance")
    beside_f: float
    tank_f: float = of("tank.total_capacitance")
    quality_factor: float = of("tank.quality_factor")
    trimmer_in_hz: float | None
    trimmer_out_hz: float | None
    notices: tuple[str, ...] = of("opened.notices")


def resonance_figures(design: Design, which: str, setting: BenchSetting = AS_DESIGNED) -> ResonanceFigures:
    """The `which` oscillator as the instrument has it: the reference tuned for zero beat, the variable one with the
    hand at that distance, the volume one with nobody there. `setting` replaces what the design says.
    """
    opened = OpenedDesign(as_set(design, which, setting))
    hand: float | None = None
    farads: float | None = None
    if which == "reference":
        tank = opened.reference_tank
        frequency = tank.frequency
    elif which == "volume":
        volume = opened.volume
        if volume is None:
            raise DesignError(no_volume_antenna(design))
        tank, farads = volume.tank, volume.curve.empty_capacitance + volume.ring_stray
        frequency = float(tank.with_antenna(farads))
    else:
        tank = opened.tanks["variable"]
        hand = setting.hand if isinstance(setting.hand, float) else opened.design.tuning.zero_beat
        if setting.hand is not None and not isinstance(setting.hand, float):
            hand = None
        if setting.hand == UNPLUGGED:
            frequency = tank.frequency
        else:
            try:
                own = opened.curve.empty_capacitance if hand is None else float(opened.curve.capacitance(hand))
            except ValueError as error:
                raise DesignError(f"--hand: {error}") from None
            farads = own + opened.wired.antenna.stray
            frequency = float(opened.instrument.frequency_with(farads))
    turns = tank.trimmer_maximum > tank.trimmer_minimum
    return collected(
        ResonanceFigures,
        {"design": opened.design, "opened": opened, "tank": tank},
        which=which,
        frequency_hz=float(frequency),
        antenna_f=farads,
        hand_m=hand,
        beside_f=tank.total_capacitance - tank.capacitance - tank.trimmer_capacitance,
        trimmer_in_hz=_at(tank, 1.0) if turns else None,
        trimmer_out_hz=_at(tank, 0.0) if turns else None,
    )


def _at(tank: Tank, place: float) -> float:
    return float(tank.with_trimmer(place).frequency)

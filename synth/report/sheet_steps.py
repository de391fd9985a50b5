"""What to do in which order: cautions, checks while building, tuning, and what a reading that is off means."""

from __future__ import annotations

from synth.analysis.sheet_figures import SheetFigures
from synth.analysis.sheet_readings import CauseFigure, ReadingFigure, TrimmerFigure
from synth.analysis.sheet_stations import CURRENT
from synth.report.sheet_markup import centimetres, percent, quantity, reading, span

REACHED = 5e-4  # m from the zero beat asked for that counts as reached
PROBE = 10e-12  # F, of a usual probe


def cautions(figures: SheetFigures) -> list[str]:
    """Supply, earthing, hearing, radio."""
    supply = "the supply" if figures.supply_v is None else f"{quantity(figures.supply_v, 'V')} of direct current"
    return [
        *(notice for notice in figures.notices if notice.startswith("CAUTION")),
        f"Supply: feed {supply} from an approved, isolated source with a current limit, or from a battery. Never open "
        "or build mains parts for this; check polarity before switching on; switch off before touching parts.",
        "Earthing: pitch and volume need an earth reference, so tie the common rail to one good earth. Never lift the "
        "protective earth of any mains equipment to cure hum. Bring no antenna near overhead lines; none outdoors.",
        "Hearing: turn the volume down before switching on and before every adjustment, and take headphones off: "
        "oscillators that start, stop or hop make sudden loud tones, and high notes may be loud before they are "
        "noticed.",
        "Radio: antennas and leads carry radio frequency. The rules of your place come first: limits for equipment "
        "without a licence, and for those who hold one, licensed practice. Keep amplitude and leads small; if anything "
        "is disturbed, switch off.",
        "Workshop: solder with ventilation, and cap the antenna's ends and edges: they stand near the height of eyes.",
    ]


def checks(figures: SheetFigures) -> list[str]:
    """Checks in the order of assembly."""
    tight = {figure.kind: figure.fraction for figure in figures.tolerances}
    found = [
        "Before soldering, measure coils and tank capacitors where you can: "
        f"coils within {percent(tight['inductor'])}, capacitors within {percent(tight['capacitor'])} of the list.",
        "Mount the coils of the two oscillators apart and at right angles, each beside its own circuit; short leads "
        "from coil, capacitor and trimmer. Coupling between them widens the silent zone around zero beat.",
    ]
    places = [f"{row.oscillator} {_place(row.setting)}" for row in figures.trimmers]
    pots = "" if figures.supply_v is None else "; every fine-tune pot as designed"
    found += [f"Set the trimmers: {', '.join(places)}{pots}."] if places else []
    found += _supply_checks(figures)
    found.append(
        "Read frequencies through a few picofarads or with a loop of wire beside the coil, never with a probe on the "
        f"tank{_probe_shift(figures)}."
    )
    found += [
        f"Read {row.code}: {what(row)}. Expected {reading(row.expected, row.unit)}, allowed "
        f"{span(row.low, row.high, row.unit)}."
        for row in figures.readings
        if row.unit == "Hz"
    ]
    return found


def tuning(figures: SheetFigures) -> list[str]:
    """The procedure with trimmers and pots, once every check is passed."""
    found = [
        "Let everything warm up for a quarter of an hour where it will be played, earthed as it will be played, with "
        "a metre free around the antenna."
    ]
    found += [_variable_step(figures)] if _trimmer(figures, "variable") else []
    found += _zero_beat_steps(figures)
    found += _pot_steps(figures)
    found += _playing_steps(figures)
    found += _volume_steps(figures)
    found.append("Write the readings and trimmer places into this sheet and keep it with the instrument.")
    return found


def patterns(figures: SheetFigures) -> list[str]:
    """What readings tell together."""
    found = [
        "All frequencies off by the same percentage: the counter, or a batch of coils. Off by 1 % means 2 % of "
        "every inductance.",
        "The reference right, the variable oscillator off without its antenna: tank coil, capacitor or trimmer of "
        "the variable one.",
    ]
    bare, on = _row(figures, "V1"), _row(figures, "V2")
    if bare is not None and on is not None:
        found.append(
            f"V1 right, V2 off: what was connected between them. The step from V1 to V2 should be "
            f"{quantity(on.expected - bare.expected, 'Hz')}; {_lead(figures)}"
        )
    if figures.supply_v is not None:
        found += [
            "Volts right but no oscillation: a part of the feedback, or a coil with shorted turns.",
            *_junction_pattern(figures),
            "Every voltage off in the same proportion: the supply.",
        ]
    found += [
        "No beat at all while both frequencies are right: the joint of both outputs, or the detector.",
        "A wider silent zone than on the ruler: the oscillators couple through coils, supply or outputs.",
    ]
    if figures.direction == "rising":
        found.append("Notes nearer to the antenna than on the ruler: zero beat is set too near.")
    series = " series inductor," if any(part.kind == "branch_inductor" for part in figures.tolerances) else ""
    return [
        *found,
        f"Notes right at one place and wrong elsewhere: antenna,{series} stray or the player's earth differ from the "
        "design.",
    ]


def _junction_pattern(figures: SheetFigures) -> list[str]:
    """What base and emitter tell of a bipolar transistor; nothing where there are no such points."""
    volts = {row.point: row.expected for row in figures.readings if row.oscillator == "reference" and row.unit == "V"}
    base, emitter = volts.get("DC at the base"), volts.get("DC at the emitter")
    if base is None or emitter is None:
        return []
    cut_off = "0" if base > emitter else "the supply"
    return [
        f"Base right, emitter near {cut_off}: transistor open or the wrong way round. Emitter equal to base: junction "
        "shorted."
    ]


def what(row: ReadingFigure) -> str:
    """The set-up a reading is taken in."""
    if row.code.startswith("B"):
        return f"the beat, {row.condition}"
    return f"{row.oscillator} oscillator, {row.condition}"


def _row(figures: SheetFigures, code: str) -> ReadingFigure | None:
    """The reading of that code; of the letter V only frequencies count for the patterns."""
    return next((row for row in figures.readings if row.code == code and row.unit == "Hz"), None)


def _cause(figures: SheetFigures, code: str, kind: str) -> CauseFigure | None:
    return next((cause for cause in figures.causes if cause.code == code and cause.kind == kind), None)


def _trimmer(figures: SheetFigures, oscillator: str) -> TrimmerFigure | None:
    return next((row for row in figures.trimmers if row.oscillator == oscillator), None)


def _hertz_per_farad(figures: SheetFigures, code: str) -> float | None:
    """How far a capacitance across the tank moves the frequency of a reading: from what explains 1 %."""
    row, cause = _row(figures, code), _cause(figures, code, "stray")
    return None if row is None or cause is None else -0.01 * row.expected / cause.amount


def _probe_shift(figures: SheetFigures) -> str:
    slope = _hertz_per_farad(figures, "R1")
    if slope is None:
        return ""
    return f": {quantity(PROBE, 'F')} there lower the reference by {quantity(-slope * PROBE, 'Hz', 3)}"


def _supply_checks(figures: SheetFigures) -> list[str]:
    total = figures.supply_current_a
    if figures.supply_v is None or total is None:
        return [
            "The design has no [circuit] section, so that currents and volts cannot be given: check the supply of "
            "each stage against its own schematic before going on, or add the section."
        ]
    volts = ", ".join(row.code for row in figures.readings if row.unit == "V")
    currents = ", ".join(row.code for row in figures.readings if row.point == CURRENT)
    return [
        "Without supply, measure from the supply rail to earth, red lead to the rail, once the capacitors are "
        f"charged: at least {quantity(0.5 * figures.supply_v / total, 'ohm', 2)}. Much less is a short or a part "
        "the wrong way round.",
        f"Set the supply to {quantity(figures.supply_v, 'V')} and its current limit as low as it goes. The "
        f"oscillators together take {quantity(total, 'A', 3)} ({currents}); the stages behind come on top.",
        f"Read the volts of every oscillator ({volts}) against common with a meter of 10 MΩ or more, its lead short: "
        "the lead's capacitance may shift or stop an oscillation, so read volts and frequencies one after the other.",
    ]


def _variable_step(figures: SheetFigures) -> str:
    trimmer, row = _trimmer(figures, "variable"), _row(figures, "V2")
    if trimmer is None or row is None:
        return ""
    return (
        f"Variable oscillator, no player near: with its trimmer at {_place(trimmer.setting)} it reads "
        f"{reading(trimmer.set_hz, 'Hz')}. Turn the trimmer until it does; it covers {_covers(trimmer)}."
    )


def _zero_beat_steps(figures: SheetFigures) -> list[str]:
    trimmer = _trimmer(figures, "reference")
    asked = figures.zero_beat_asked_m
    if figures.zero_beat_m is None:
        return ["No zero beat is reached with these values (see what stands behind the figures): change the design."]
    where = centimetres(figures.zero_beat_m)
    missed = asked is not None and abs(figures.zero_beat_m - asked) > REACHED
    if trimmer is None:
        return [f"The reference has no trimmer: zero beat lies where the parts put it, expected at {where}."]
    reach = f" The {centimetres(asked)} asked for are out of the trimmer's reach." if missed and asked else ""
    hand = "fist" if figures.posture == "fist" else "open hand"
    found = [
        f"Stand {centimetres(figures.stand_distance_m)} from the antenna, hold the {hand} at {where} from it (use the "
        "ruler), and turn the reference's trimmer until the note falls into silence: expected at "
        f"{_place(trimmer.setting)}, {reading(trimmer.set_hz, 'Hz')}; it covers {_covers(trimmer)}.{reach}"
    ]
    if figures.direction != "rising":
        return [
            *found,
            "In this design the note falls as the hand comes nearer: the reference lies below the variable oscillator "
            "on purpose, or its trimmer does not reach further (see what stands behind the figures).",
        ]
    beat = _row(figures, "B1")
    away = "" if beat is None else f" Step away: a low note of about {reading(beat.expected, 'Hz')} must remain."
    found.append(
        "Come nearer: the note must rise all the way. If it falls as the hand comes nearer, the reference lies too "
        f"low: turn its trimmer outward through silence and set zero beat again.{away}"
    )
    return found


def _pot_steps(figures: SheetFigures) -> list[str]:
    found = []
    for pot in figures.pots:
        ends = [end for end in (pot.low_hz, pot.high_hz) if end is not None]
        if pot.oscillator == "volume" or len(ends) < 2:
            continue
        low, high = (f"{end:+.0f}".replace("-", "\N{MINUS SIGN}") + "\N{NO-BREAK SPACE}Hz" for end in ends)
        found.append(
            f"Fine-tune pot of the {pot.oscillator} oscillator: from its designed place {low} at the low end, {high} "
            "at the high end. Use it for the last hertz, and to bring zero beat back while playing."
        )
    return found


def _playing_steps(figures: SheetFigures) -> list[str]:
    marks = [note for note in figures.notes if note.note.startswith("C") and "#" not in note.note]
    if not marks:
        return []
    middle = marks[len(marks) // 2]
    return [
        "Lay the ruler with its 0 at the antenna's surface and compare the notes. "
        f"{middle.note} ({reading(middle.frequency_hz, 'Hz')}) belongs at {centimetres(middle.distance_m)}, where 1 mm "
        f"is {middle.cents_per_mm:.0f} cents. A few millimetres off everywhere: move zero beat. More: see the table "
        "of causes."
    ]


def _volume_steps(figures: SheetFigures) -> list[str]:
    volume, trimmer = figures.volume, _trimmer(figures, "volume")
    if volume is None:
        return []
    full, silent = volume.full_from_m, volume.silent_below_m
    found = []
    if trimmer is not None:
        goal = "full volume is just reached" if full is None else f"full volume is just reached at {centimetres(full)}"
        found.append(
            f"Volume: hold the hand over the ring and turn the volume oscillator's trimmer until {goal} (expected at "
            f"{_place(trimmer.setting)}, {reading(trimmer.set_hz, 'Hz')} with nobody near; it covers "
            f"{_covers(trimmer)}; the resonator stands at {reading(volume.resonance_hz, 'Hz')})."
        )
    if silent is not None:
        found.append(f"Lower the hand: silence must begin at {centimetres(silent)} above the ring.")
    return found


def _lead(figures: SheetFigures) -> str:
    lead, series = _cause(figures, "V2", "antenna_stray"), _cause(figures, "V2", "branch_inductor")
    words = []
    if lead is not None:
        words.append(f"V2 1 % low is {quantity(lead.amount, 'F', 2)} more at the antenna's mount and lead")
    if series is not None:
        words.append(f"{percent(series.change, 2, True)} of series inductance")
    return " or ".join(words) + "." if words else "look at the antenna and its lead."


def _place(setting: float) -> str:
    return f"{100.0 * setting:.0f}\N{NO-BREAK SPACE}% of its turn inward"


def _covers(trimmer: TrimmerFigure) -> str:
    if trimmer.out_hz is None or trimmer.in_hz is None:
        return "less than its whole turn (it stops oscillating at an end)"
    return f"{span(trimmer.in_hz, trimmer.out_hz, 'Hz')} (in to out)"

"""The live controls as one table, and the values they are set to.

The table drives the drawer of controls, the keys that step them, the undo and the tests. What a control does to the
instrument is worked out in `synth/window/retune.py`, by the models alone.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import field, replace

from models.detector.memoryless import DETECTORS
from models.hand.earthing import USUAL_SHOES
from models.pitch import NAMES, note_name, parse_note
from models.quick_dataclass import dataclass

OFF = "off"
SCALES: dict[str, tuple[int, ...]] = {
    "every note": tuple(range(12)),
    "major": (0, 2, 4, 5, 7, 9, 11),
    "minor": (0, 2, 3, 5, 7, 8, 10),
    "five-note": (0, 2, 4, 7, 9),
    "whole-tone": (0, 2, 4, 6, 8, 10),
}
COMMONS: Mapping[str, float] = {
    "bonded": math.inf,
    "1 nF": 1e-9,
    "100 pF": 100e-12,
    "20 pF": 20e-12,
    "none": 0.0,
}
"""What may join the circuit's common to earth beside the field, F."""
BYSTANDERS: Mapping[str, float | None] = {"nobody": None, "1.5 m": 1.5, "1 m": 1.0, "0.7 m": 0.7}
"""How far beside the antenna a second person stands, m."""
LOWEST_DRONE, HIGHEST_DRONE = 36, 84  # note numbers, C2 and C6
LEVERS: Mapping[str, str] = {
    "zero beat": "zero_beat",
    "tanks": "register",
    "inductor": "inductor",
    "antenna": "antenna",
}
"""What may steer the sensitivity: the name of a choice -> the control that is moved."""
Value = float | str


@dataclass(frozen=True, slots=True)
class Control:
    """One control. A number from `low` to `high` in steps of `step` (of a factor where `logarithmic`), in `unit`; or,
    with `choices`, one of them. A drag has `drag_steps` places to a step. `hint` says in one sentence what it changes
    in the instrument.
    """

    name: str
    label: str
    hint: str
    default: Value
    unit: str = ""
    low: float = 0.0
    high: float = 1.0
    step: float = 0.01
    logarithmic: bool = False
    choices: tuple[str, ...] = ()
    drag_steps: int = 1

    def checked(self, value: Value) -> Value:
        """`value`, if the control can be set to it; else ValueError."""
        if self.choices:
            if value not in self.choices:
                raise ValueError(f"{self.name} must be one of {', '.join(self.choices)}; got {value!r}")
            return value
        if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
            raise ValueError(f"{self.name} must be a finite number; got {value!r}")
        if not self.low <= value <= self.high:
            raise ValueError(f"{self.name} must be from {self.low:g} to {self.high:g} {self.unit}; got {value:g}")
        return float(value)

    def share_of(self, value: Value) -> float:
        """Where `value` lies along the control, 0 to 1."""
        if self.choices:
            return self.choices.index(str(value)) / max(1, len(self.choices) - 1)
        number = float(value)
        if self.logarithmic:
            return math.log(number / self.low) / math.log(self.high / self.low)
        return (number - self.low) / (self.high - self.low)

    def value_at(self, share: float) -> Value:
        """The value at `share` of the way along (kept within 0 to 1), on the places of a drag."""
        inside = min(max(share, 0.0), 1.0)
        if self.choices:
            return self.choices[round(inside * (len(self.choices) - 1))]
        if self.logarithmic:
            return self._on_step(self.low * (self.high / self.low) ** inside, self.drag_steps)
        return self._on_step(self.low + inside * (self.high - self.low), self.drag_steps)

    def stepped(self, value: Value, steps: int) -> Value:
        """`value` moved by whole steps, kept within the control's range; choices do not wrap around."""
        if self.choices:
            place = self.choices.index(str(value)) + steps
            return self.choices[min(max(place, 0), len(self.choices) - 1)]
        number = float(value)
        moved = number * math.pow(self.step, steps) if self.logarithmic else number + steps * self.step
        return self._on_step(moved, self.drag_steps)

    def _on_step(self, number: float, places: int = 1) -> float:
        """The nearest of `places` to a step to `number`, counted from 1 (factors) or 0 (sums), within the range."""
        if self.logarithmic:
            near = math.pow(self.step, round(places * math.log(number) / math.log(self.step)) / places)
        else:
            near = round(places * number / self.step) * self.step / places
        return min(max(round(near, 12), self.low), self.high)


_HINTS = {
    "sensitivity": "Cents to a centimetre of hand (ct/cm) at the chosen note. Moved, it changes the part below it.",
    "lever": "The part that Sensitivity changes. Each moves the notes, too; the tanks' L/C does little else.",
    "at_note": "The note whose sensitivity is shown and steered.",
    "register": "More L and less C in both tanks, at the same radio frequency: every note lies farther out.",
    "inductor": "The series inductor between tank and antenna; zero beat stays where it was.",
    "antenna": "Length of the rod; the field is solved anew, zero beat stays where it was.",
    "pull": "An aid, no physics: draws the pitch to the marked scale, all the way at 100 %; vibrato shrinks too.",
    "zero_beat": "Tunes the reference so that both oscillators agree with the hand there, its fingers as designed.",
    "pot": "Turns the reference's trimmer by this much of its way.",
    "detector": "How the two signals become one sound.",
    "coupling": "Lock range: closer than this they lock and the note vanishes.",
    "tone": "Corner of the low-pass filter after the detector.",
    "temperature": "Coils and capacitors have warmed up by this since zero beat was tuned; transistors stay cool.",
    "jitter": "How much the hand shakes (RMS).",
    "shoes": "Shoes and floor: what joins the player to earth beside the field; the tuning stays.",
    "common": "What joins the circuit's common to earth: a wire, a supply's capacitor, an adapter, nothing.",
    "lean": "How far the body leans to the antenna, the hands where they are. Solved anew, beside the window.",
    "hand_height": "Height of the pitch hand above the floor. Solved anew, beside the window.",
    "bystander": "A second person so far beside the antenna. Solved anew, beside the window.",
    "reference_a": "What the tuner and the note lines call A4.",
    "guide": "Marks the notes of a scale on the stage; the sound is untouched.",
    "guide_root": "First note of the marked scale.",
    "drone": "A steady tone to play against; it is heard in recordings too.",
}


SMOOTH = ("sensitivity", "register", "inductor", "tone")
"""Controls of few steps that are heard at once: a drag has a place for every pixel."""


def _number(
    name: str, label: str, default: float, unit: str, ends: tuple[float, float], step: float, factor: bool = False
) -> Control:
    places = 10 if name in SMOOTH else 1
    return Control(name, label, _HINTS[name], default, unit, *ends, step, logarithmic=factor, drag_steps=places)


def _choice(name: str, label: str, default: str, choices: tuple[str, ...]) -> Control:
    return Control(name, label, _HINTS[name], default, choices=choices)


CONTROLS: tuple[Control, ...] = (
    _number("sensitivity", "Sensitivity", 200.0, "cents/cm", (5.0, 5000.0), 2.0 ** (1.0 / 24.0), factor=True),
    _choice("lever", "Steered by", "zero beat", tuple(LEVERS)),
    _choice("at_note", "At note", "A4", tuple(note_name(number) for number in range(LOWEST_DRONE, HIGHEST_DRONE + 1))),
    _number("register", "Register", 1.0, "x", (0.5, 2.0), 2.0 ** (1.0 / 12.0), factor=True),
    _number("inductor", "Inductor", 1.0, "x", (0.5, 2.0), 2.0 ** (1.0 / 12.0), factor=True),
    _number("antenna", "Antenna", 1.0, "x", (0.5, 2.0), 2.0 ** (1.0 / 8.0), factor=True),
    _number("zero_beat", "Zero beat", 0.5, "m", (0.05, 0.8), 0.005),
    _number("pot", "Fine tune", 0.0, "%", (-0.002, 0.002), 1e-5),
    _choice("detector", "Detector", "product", DETECTORS),
    _number("coupling", "Coupling", 0.0, "Hz", (0.0, 120.0), 0.5),
    _number("tone", "Tone", 8000.0, "Hz", (250.0, 16000.0), 2.0 ** (1.0 / 6.0), factor=True),
    _number("temperature", "Warm-up", 0.0, "degC", (-20.0, 40.0), 0.5),
    _number("jitter", "Tremor", 0.0, "mm", (0.0, 3.0), 0.05),
    _number("shoes", "Shoes", USUAL_SHOES, "pF", (0.0, 400e-12), 5e-12),
    _choice("common", "Common", "bonded", tuple(COMMONS)),
    _number("lean", "Lean", 0.0, "m", (-0.10, 0.20), 0.01),
    _number("hand_height", "Hand height", 1.2, "m", (1.0, 1.4), 0.01),
    _choice("bystander", "Bystander", "nobody", tuple(BYSTANDERS)),
    _number("reference_a", "Reference A", 440.0, "Hz", (400.0, 480.0), 0.5),
    _choice("guide", "Scale", OFF, (OFF, *SCALES)),
    _choice("guide_root", "Key note", "C", NAMES),
    _number("pull", "Pull", 0.0, "share", (0.0, 1.0), 0.05),
    _choice("drone", "Drone", OFF, (OFF, *(note_name(number) for number in range(LOWEST_DRONE, HIGHEST_DRONE + 1)))),
)
CONTROL_NAMES = tuple(control.name for control in CONTROLS)


@dataclass(frozen=True, slots=True)
class Stance:
    """What of the scene the controls change: lean and height of the pitch hand, m (None: as the design has it, also
    with another antenna), and the name of where a second person stands.
    """

    lean: float = 0.0
    hand_height: float | None = None
    bystander: str = "nobody"


@dataclass(frozen=True, slots=True)
class Tuning:
    """How things stood when the player tuned zero beat: rise of temperature, K, fine tuning, shoes, F, the name of what
    joins the common to earth, and the stance.
    """

    rise: float
    pot: float
    shoes: float
    common: str
    stance: Stance = Stance()


@dataclass(frozen=True, slots=True)
class Settings:
    """A value for every control of `controls` (by default the table's own), and how things stood when zero beat was
    tuned; `tuning` None: the reference is tuned as the design says. Raises ValueError for values that the controls do
    not take.
    """

    values: Mapping[str, Value] = field(default_factory=dict)
    controls: tuple[Control, ...] = CONTROLS
    tuning: Tuning | None = None

    def __post_init__(self) -> None:
        unknown = set(self.values) - {control.name for control in self.controls}
        if unknown:
            raise ValueError(f"controls must be among {', '.join(CONTROL_NAMES)}; got {', '.join(sorted(unknown))}")
        whole = {one.name: one.checked(self.values.get(one.name, one.default)) for one in self.controls}
        object.__setattr__(self, "values", whole)

    def __getitem__(self, name: str) -> Value:
        return self.values[name]

    def number(self, name: str) -> float:
        """The value of a control that is a number."""
        return float(self.values[name])

    def text(self, name: str) -> str:
        """The value of a control that is a choice."""
        return str(self.values[name])

    def control(self, name: str) -> Control:
        """The control called `name`; KeyError for no such one."""
        for one in self.controls:
            if one.name == name:
                return one
        raise KeyError(name)

    def with_value(self, name: str, value: Value) -> Settings:
        """The same with one control set to `value`; a new zero beat is tuned with the hand and parts as they are."""
        changed = {**self.values, name: self.control(name).checked(value)}
        tuning = self.tuning
        if name == "zero_beat":
            tuning = self.as_now
        return replace(self, values=changed, tuning=tuning)

    @property
    def as_now(self) -> Tuning:
        """How things stand."""
        return Tuning(
            self.number("temperature"),
            self.number("pot"),
            self.number("shoes"),
            self.text("common"),
            self.stance,
        )

    @property
    def stance(self) -> Stance:
        """How player and second person stand."""
        height = self.number("hand_height")
        designed = height == self.control("hand_height").default
        return Stance(self.number("lean"), None if designed else height, self.text("bystander"))

    def stepped(self, name: str, steps: int) -> Settings:
        """The same with one control moved by `steps`."""
        return self.with_value(name, self.control(name).stepped(self[name], steps))

    def at_share(self, name: str, share: float) -> Settings:
        """The same with one control moved to `share` of its way."""
        return self.with_value(name, self.control(name).value_at(share))

    def without(self, name: str) -> Settings:
        """The same with one control at its default; zero beat then as the design has it."""
        values = {**self.values, name: self.control(name).default}
        return replace(self, values=values, tuning=None if name == "zero_beat" else self.tuning)

    def reset(self) -> Settings:
        """Every control at its default."""
        return Settings(controls=self.controls)

    @property
    def guide_notes(self) -> frozenset[int] | None:
        """Note numbers of the marked scale, 0 to 127; None while there is none."""
        steps = SCALES.get(self.text("guide"))
        if steps is None:
            return None
        root = NAMES.index(self.text("guide_root"))
        return frozenset(number for number in range(128) if (number - root) % 12 in steps)

    @property
    def drone_note(self) -> int | None:
        """Note number of the drone, or None."""
        name = self.text("drone")
        return None if name == OFF else parse_note(name)


LONGEST = 500  # steps kept


@dataclass(frozen=True, slots=True)
class History:
    """The settings now, those before (oldest first) and those undone (next first).

    `merging`: what the newest step belongs to; changes with the same name go into it until `settled`.
    """

    now: Settings
    before: tuple[Settings, ...] = ()
    undone: tuple[Settings, ...] = ()
    merging: str | None = None

    def changed(self, settings: Settings, merge: str | None = None) -> History:
        """The history after a change. Same settings: no step. `merge`: one step with the last change of that name."""
        if settings == self.now:
            return self
        if merge is not None and merge == self.merging and self.before:
            return replace(self, now=settings, undone=())
        return History(settings, (*self.before, self.now)[-LONGEST:], (), merge)

    def settled(self) -> History:
        """The drag has ended: the next change is a step of its own. A drag that led back is no step."""
        if self.merging is not None and self.before and self.before[-1] == self.now:
            return History(self.now, self.before[:-1], self.undone)
        return replace(self, merging=None)

    def undo(self) -> History:
        """One step back, if there is one."""
        if not self.before:
            return self
        return History(self.before[-1], self.before[:-1], (self.now, *self.undone))

    def redo(self) -> History:
        """One step forward, if one was undone."""
        if not self.undone:
            return self
        return History(self.undone[0], (*self.before, self.now), self.undone[1:])

    def reset(self) -> History:
        """Every control at its default, as one step."""
        return self.settled().changed(self.now.reset())

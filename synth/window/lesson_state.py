"""What the lesson's window knows between two pictures, and how keys and the pointer change it."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Literal

from models.quick_dataclass import dataclass
from synth.lessons.live import LiveChoice, LiveLesson, LiveStage
from synth.lessons.recipes import difference_of
from synth.window.box import Box
from synth.window.keys import next_text_scale, row_of
from synth.window.state import level_after_step

Action = Literal["mute", "level", "move", "source", "text", "slower", "faster", "quit"]

PLACE_STEP, HEIGHT_STEP = 0.01, 0.1
KEYS = (
    "N P  other stage",
    "← →  W S  hand by keys",
    "↑ ↓  level",
    ", .  slow motion",
    "V  waves or sound",
    "M  mute",
    "Ctrl + \N{MINUS SIGN}  text",
    "Q  quit",
)


@dataclass(frozen=True, slots=True)
class LessonState:
    """Stage and sound by number; the hand's `place` on the axis, `volume` and listening `level`, all 0 to 1.

    `waves_shown`: whether the waves behind the sound are drawn, or the sound's own.
    """

    lesson: LiveLesson
    level: float
    stage_number: int = 0
    choice_number: int = 0
    place: float = 0.5
    volume: float = 0.0
    muted: bool = False
    caution_open: bool = False
    text_scale: float = 1.0
    waves_shown: bool = True

    @property
    def stage(self) -> LiveStage:
        """The page that is open."""
        return self.lesson.stages[self.stage_number]

    @property
    def choice(self) -> LiveChoice:
        """The sound that is chosen."""
        return self.stage.choices[self.choice_number]

    @property
    def value(self) -> float:
        """The hand's place in the axis's unit."""
        return float(self.choice.source.axis.value(self.place))

    @property
    def height(self) -> float:
        """The volume hand, 0 at the pad's lower edge to 1 at its upper: the gain is its square."""
        return math.sqrt(self.volume)

    @property
    def beat(self) -> float:
        """How often the waves behind the sound beat, Hz, without a sign."""
        waves = self.choice.source.recipe.waves
        return 0.0 if waves is None else abs(waves.beat(difference_of(self.choice.source.recipe, self.value)))

    @property
    def silenced(self) -> bool:
        """True while nothing may sound."""
        return self.muted or self.caution_open

    @property
    def keys(self) -> str:
        """The keys in one line."""
        count = len(self.stage.choices)
        choose = (f"1 to {count}  sound",) if count > 1 else ()
        return "   ·   ".join((KEYS[0], *choose, *KEYS[1:]))


def with_pointer(state: LessonState, pointer: tuple[int, int], pad: Box) -> LessonState:
    """The hands follow the pointer over the pad: across the axis, upwards louder (the gain is the height squared).

    Beside the pad the pointer is on its way to a button: the hands rest where they were, so that sounds can be
    compared.
    """
    if not pad.holds(pointer):
        return state
    place = min(max((pointer[0] - pad.left) / (pad.width - 1), 0.0), 1.0)
    height = min(max((pad.bottom - 1 - pointer[1]) / (pad.height - 1), 0.0), 1.0)
    return replace(state, place=place, volume=height**2)


def without_pointer(state: LessonState) -> LessonState:
    """The pointer has left the window: silence; the place stays."""
    return replace(state, volume=0.0)


def on_key(state: LessonState, key: str, ctrl: bool = False) -> tuple[LessonState, Action | None]:
    """The state after a key (pygame's key name), and what the loop has to do about it."""
    if ctrl:
        return _with_text_size(state, key)
    if key in ("escape", "q"):
        return state, "quit"
    if state.caution_open:
        return _answered(state) if key in ("return", "enter", "space") else (state, None)
    if key in ("n", "p", "page down", "page up"):
        return _to_stage(state, 1 if key in ("n", "page down") else -1)
    if key.strip("[]").isdecimal():
        return _to_choice(state, int(key.strip("[]")) - 1)
    if key in ("left", "right"):
        place = state.place + (PLACE_STEP if key == "right" else -PLACE_STEP)
        return replace(state, place=min(max(place, 0.0), 1.0)), "move"
    if key in ("w", "s"):
        height = state.height + (HEIGHT_STEP if key == "w" else -HEIGHT_STEP)
        return replace(state, volume=min(max(height, 0.0), 1.0) ** 2), "move"
    if key in (",", "."):
        return state, "slower" if key == "," else "faster"
    if key == "v":
        return replace(state, waves_shown=not state.waves_shown), None
    if key == "m":
        return replace(state, muted=not state.muted), "mute"
    if key in ("up", "down"):
        return replace(state, level=level_after_step(state.level, 1 if key == "up" else -1)), "level"
    return state, None


def _with_text_size(state: LessonState, key: str) -> tuple[LessonState, Action | None]:
    """Ctrl and a key, as in the playing window: larger, smaller or usual text."""
    row = row_of(key, ctrl=True)
    steps = {"larger text": 1, "smaller text": -1, "usual text": 0}.get("" if row is None else row.action)
    if steps is None:
        return state, None
    scale = next_text_scale(state.text_scale, steps) if steps else 1.0
    return replace(state, text_scale=scale), "text"


def on_click(
    state: LessonState, pointer: tuple[int, int], buttons: tuple[Box, ...]
) -> tuple[LessonState, Action | None]:
    """A click answers the caution or chooses a sound."""
    if state.caution_open:
        return _answered(state)
    for number, box in enumerate(buttons):
        if box.holds(pointer):
            return _to_choice(state, number)
    return state, None


def _answered(state: LessonState) -> tuple[LessonState, Action | None]:
    return replace(state, caution_open=False), "mute"


def _to_stage(state: LessonState, step: int) -> tuple[LessonState, Action | None]:
    number = min(max(state.stage_number + step, 0), len(state.lesson.stages) - 1)
    if number == state.stage_number:
        return state, None
    return replace(state, stage_number=number, choice_number=0), "source"


def _to_choice(state: LessonState, number: int) -> tuple[LessonState, Action | None]:
    if not 0 <= number < len(state.stage.choices) or number == state.choice_number:
        return state, None
    return replace(state, choice_number=number), "source"

"""One or two designs in the window: each with its own controls and their history, at one loudness, under one hand.

What takes long (a circuit solved for another sensitivity, the loudness of both) is worked out beside the window; until
it is ready a circuit plays to first order of the change, and the loudness stays.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Callable, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field, replace

import numpy as np

from models.arrays import Floats
from models.instrument import Instrument
from synth.build.workbench import OpenedDesign
from synth.errors import DesignError
from synth.hands.gestures import HIGHEST_SWEPT
from synth.hands.hand_path import HandPath
from synth.sound.level_match import matched
from synth.sound.voice import Voice
from synth.window.controls import History, Settings, Value
from synth.window.retune import Tuned, retuned
from synth.window.tunable import Tunable, first_settings, towards_sensitivity, tunable, with_sensitivity

SAMPLE_RATE = 48000
SWEEP_TIME = 2.0  # s


def matched_gains(sides: Sequence[Tuned]) -> list[float]:
    """Gains, dB, none above 0, that bring the sides to one level along one slow sweep of the hand; all 0 where the
    sides have no hand distance to compare.
    """
    try:
        path = shared_sweep(sides)
        return [min(0.0, one.gain_db) for one in matched([sound_of(s.instrument, path) for s in sides], SAMPLE_RATE)]
    except DesignError:
        return [0.0] * len(sides)


def shared_sweep(sides: Sequence[Tuned]) -> HandPath:
    """The hand from where the first of the sides falls silent to where one of them becomes shrill, at full volume.

    Raises DesignError where there is no such way.
    """
    spans = [(_nearest(side), side.field.playable_far) for side in sides if side.field.playable_far is not None]
    near = max((span[0] for span in spans), default=0.0)
    far = min((span[1] for span in spans), default=0.0)
    if len(spans) < len(sides) or near >= far:
        raise DesignError("the designs share no hand distance at which all of them sound")
    return HandPath(np.array([0.0, SWEEP_TIME]), np.array([far, near]), np.ones(2))


def sound_of(instrument: Instrument, path: HandPath) -> Floats:
    """The samples of a hand path through an instrument."""
    voice = Voice(instrument, SAMPLE_RATE)
    return np.concatenate([voice.render(block, block.distance.size) for block in path.blocks(4096, SAMPLE_RATE)])


def _nearest(side: Tuned) -> float:
    """Nearest hand distance, m, at which a side is not above C7."""
    field = side.field
    if field.playable_near is None:
        return side.instrument.curve.nearest
    if field.direction != "rising" or not field.reaches(HIGHEST_SWEPT):
        return field.playable_near
    return float(field.distance_at(HIGHEST_SWEPT))


SOLVING = "solving the circuit for this sensitivity; until then it plays to first order of the change"
SOLVED = "the circuit is solved for this sensitivity"
LETTERS = "AB"
SWITCH_INTERVAL = 0.0005  # s the work beside the window may hold the interpreter while a picture is due


@dataclass(slots=True, eq=False)
class Side:
    """One design: what it offers at each sensitivity, its controls, and the instrument made of them.

    `good`: the newest history that could be built; `waiting`: the sensitivity that is being solved.
    """

    name: str
    offer: Tunable
    history: History
    tuned: Tuned
    good: History
    offers: dict[float, Tunable] = field(default_factory=dict)
    waiting: Future[Tunable] | None = None
    waiting_for: float = 1.0


def opened_side(name: str, offer: Tunable) -> Side:
    """A side as the design has it."""
    history = History(first_settings(offer))
    return Side(name, offer, history, retuned(offer, history.now), history, {1.0: offer})


class Session:
    """The sides and which one plays."""

    def __init__(self, sides: Sequence[Side]) -> None:
        if not 1 <= len(sides) <= len(LETTERS):
            raise ValueError(f"sides must be one or two; got {len(sides)}")
        self.sides = tuple(sides)
        self._worker: ThreadPoolExecutor | None = None
        self._gains = [0.0] * len(sides)
        self._matching: Future[list[float]] | None = None
        self._unmatched = len(sides) > 1
        self._pending = False
        self._active = 0
        self._changed = False
        self._notice = ""
        if self._unmatched:
            self.match_now()

    @property
    def active(self) -> int:
        """The number of the side that plays."""
        return self._active

    @property
    def side(self) -> Side:
        """The side that plays."""
        return self.sides[self._active]

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the sides, with their letters where there are two."""
        if len(self.sides) == 1:
            return (self.sides[0].name,)
        return tuple(f"{letter} {side.name}" for letter, side in zip(LETTERS, self.sides, strict=True))

    @property
    def settings(self) -> Settings:
        """The controls of the side that plays."""
        return self.side.history.now

    @property
    def tuned(self) -> Tuned:
        """What plays, before the match of loudness."""
        return self.side.tuned

    @property
    def instrument(self) -> Instrument:
        """What plays, at the level that matches the sides."""
        return self.instrument_of(self._active)

    def instrument_of(self, place: int) -> Instrument:
        """The instrument of a side at the level that matches the sides."""
        instrument = self.sides[place].tuned.instrument
        return replace(instrument, level=instrument.level * 10.0 ** (self._gains[place] / 20.0))

    @property
    def disabled(self) -> dict[str, str]:
        """Controls that are not there, with the reason."""
        return dict(self.tuned.disabled)

    def switch(self) -> bool:
        """Play the other side; False where there is none."""
        if len(self.sides) < 2:
            return False
        self.update()
        self._active = (self._active + 1) % len(self.sides)
        self._pending = self.side.history.now != self.side.good.now
        self._changed = True
        return True

    def set(self, name: str, value: Value, merge: str | None = None) -> None:
        """Set a control of the side that plays; refused, with a notice, where it is not there."""
        self._change(name, lambda settings: settings.with_value(name, value), merge)

    def step(self, name: str, steps: int, merge: str | None = None) -> None:
        """Move a control by steps."""
        self._change(name, lambda settings: settings.stepped(name, steps), merge)

    def step_round(self, name: str) -> None:
        """The next choice of a control, the first after the last."""
        choices = self.settings.control(name).choices
        place = choices.index(self.settings.text(name))
        self.set(name, choices[(place + 1) % len(choices)])

    def slide(self, name: str, share: float) -> None:
        """Move a slider to a share of its way; one drag is one step of undo."""
        self._change(name, lambda settings: settings.at_share(name, share), f"drag {name}")

    def reset_one(self, name: str) -> None:
        """One control as the design has it."""
        self._change(name, lambda settings: settings.without(name), None)

    def settle(self) -> None:
        """The drag has ended."""
        self.side.history = self.side.history.settled()

    def undo(self) -> None:
        """One step back on the side that plays."""
        self._turn(self.side.history.settled().undo())

    def redo(self) -> None:
        """One step forward."""
        self._turn(self.side.history.settled().redo())

    def reset(self) -> None:
        """Every control as the design has it."""
        self._turn(self.side.history.reset())

    def take_notice(self) -> str:
        """What to tell the player since the last time, or nothing."""
        text, self._notice = self._notice, ""
        return text

    def take_changed(self) -> bool:
        """Whether another instrument has to sound than the last time this was asked."""
        changed, self._changed = self._changed, False
        return changed

    def update(self) -> None:
        """Build what was changed since the last time, and take what is ready; call it some 30 times a second."""
        for place, side in enumerate(self.sides):
            if side.waiting is not None and side.waiting.done():
                self._take_solved(side, side.waiting)
                self._pending |= place == self._active
        if self._pending:
            self._pending = False
            self._build(self.side)
        self._follow_match()

    def match_now(self) -> None:
        """Bring both sides to one loudness at once."""
        self._gains = matched_gains([side.tuned for side in self.sides])
        self._unmatched = False

    def close(self) -> None:
        """Leave unfinished work behind."""
        if self._worker is not None:
            self._worker.shutdown(wait=False, cancel_futures=True)

    def _change(self, name: str, change: Callable[[Settings], Settings], merge: str | None) -> None:
        reason = self.disabled.get(name)
        if reason is not None:
            self._notice = f"{self.settings.control(name).label}: {reason}"
            return
        self._turn(self.side.history.changed(change(self.settings), merge))

    def _turn(self, history: History) -> None:
        self._pending |= history.now != self.side.history.now
        self.side.history = history

    def _build(self, side: Side) -> None:
        """The instrument of a side's settings; where that cannot be, the settings go back to the last that could."""
        settings = side.history.now
        ratio = settings.number("sensitivity")
        if ratio not in side.offers and side.offer.law is not None:
            self._solve(side, ratio)
            self._move_towards(side, ratio)
            return
        try:
            if ratio not in side.offers:
                side.offers[ratio] = with_sensitivity(side.offer, ratio)
            side.tuned = retuned(side.offers[ratio], settings)
        except ValueError as error:
            self._refuse(side, str(error))
            return
        side.good = side.history
        self._notice = next(iter(side.tuned.notices), self._notice)
        self._unmatched = len(self.sides) > 1
        self._changed = True

    def _move_towards(self, side: Side, ratio: float) -> None:
        """Until the circuit is solved: what it will be to first order from the nearest one that is solved.

        Where that cannot be it plays on as it was; the solved circuit says why.
        """
        nearest = min(side.offers, key=lambda solved: abs(math.log(solved / ratio)))
        try:
            moved = towards_sensitivity(side.offer, side.offers[nearest], ratio)
            side.tuned = retuned(moved, side.history.now)
        except ValueError:
            return
        self._changed = True

    def _refuse(self, side: Side, reason: str) -> None:
        side.history = replace(side.good, merging=side.history.merging)
        self._notice = reason

    def _solve(self, side: Side, ratio: float) -> None:
        """Solve a circuit for another sensitivity beside the window."""
        if side.waiting is not None:
            return  # it is looked at again when the one under way is there
        side.waiting_for = ratio
        side.waiting = self._pool().submit(with_sensitivity, side.offer, ratio)
        self._notice = SOLVING

    def _take_solved(self, side: Side, waiting: Future[Tunable]) -> None:
        side.waiting = None
        try:
            side.offers[side.waiting_for] = waiting.result()
            self._notice = SOLVED
        except ValueError as error:
            if side.history.now.number("sensitivity") == side.waiting_for:
                self._refuse(side, str(error))

    def _follow_match(self) -> None:
        """Bring the sides to one loudness again after a change, beside the window."""
        if self._matching is not None and self._matching.done():
            gains = self._matching.result()
            self._matching = None
            if gains != self._gains:
                self._gains = gains
                self._changed = True
        if self._unmatched and self._matching is None:
            self._unmatched = False
            self._matching = self._pool().submit(matched_gains, [side.tuned for side in self.sides])

    def _pool(self) -> ThreadPoolExecutor:
        if self._worker is None:
            sys.setswitchinterval(SWITCH_INTERVAL)  # the work must not hold up the pictures
            self._worker = ThreadPoolExecutor(max_workers=1, thread_name_prefix="beatfield work")
        return self._worker


def session_of(workpieces: Sequence[OpenedDesign]) -> Session:
    """A session of one or two opened designs."""
    return Session([opened_side(workpiece.design.name, tunable(workpiece)) for workpiece in workpieces])

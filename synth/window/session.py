"""Designs and settings side by side in the window: each with its controls and their history, at one loudness, under one
hand.

What takes long (a circuit solved with other parts, another antenna's field, the loudness of all) is worked out beside
the window, in a process of its own; until it is ready a circuit plays to first order of the change, and the loudness
stays. Of what is asked for while something is solved the newest is solved next; a field that nobody wants any more is
given up.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import CancelledError, Future
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
from synth.window.controls import LEVERS, Control, History, Settings, Stance, Value
from synth.window.retune import Tuned, retuned, stance_of
from synth.window.solver_process import SolverLostError, SolverProcess, Work
from synth.window.steering import (
    CLOSE,
    ZeroBeats,
    part_by_law,
    part_for_sensitivity,
    sensitivity_at,
    zero_beats,
)
from synth.window.tunable import (
    AS_WRITTEN,
    Parts,
    Scenes,
    Tunable,
    first_settings,
    parts_of,
    prepared,
    towards_parts,
    tunable,
    unprepared,
    with_parts,
)

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


SOLVING = "solving the circuit with these parts; until then it plays to first order of the change"
SOLVING_FIELD = "solving the field of this antenna; until then it plays as before"
SOLVED = "what plays is solved with these parts"
SEEKING = "looking for the part that gives this sensitivity"
LETTERS = "ABCDEF"
COMPUTING = "computing the field of this scene beside the window; until then it sounds as before"
COMPUTED = "the field of this scene is computed"
LOST = "the process that solves had ended; it was started again and solves anew"
WORKING = (SOLVING, SOLVING_FIELD, SEEKING, COMPUTING, LOST)  # true as long as the session is `busy`
LOST_TWICE = "the process that solves ended twice over these parts: they are left as they were"
CORRECTIONS = 3  # of a part that the law found, from one solved circuit to the next
MOST_OFFERS = 100  # sets of parts of one design that are kept solved


@dataclass(slots=True, eq=False)
class Side:
    """One design: what it offers with each set of parts, its controls, and the instrument made of them.

    `good`: the newest history that could be built; `waiting`: the parts that are being solved; `computing`: the stance
    whose field is; `seeking`: the value of a part that is being looked for, `seeking_for`: the settings it is for,
    `asked`: the newest ones asked for; `aim`: those whose sensitivity the law was asked for, and how often it may still
    be corrected; `lost`: what was being solved when the process that solves ended. `text`: the design as it is written.
    `opened`: the same, until it is prepared for changes by `preparing`. `span`: how far C2 and C6 lie apart, and of
    what that was found.
    """

    name: str
    offer: Tunable
    history: History
    tuned: Tuned
    good: History
    offers: dict[Parts, Tunable] = field(default_factory=dict)
    waiting: Future[Tunable] | None = None
    waiting_for: Parts = AS_WRITTEN
    computing: Future[OpenedDesign] | None = None
    computing_for: tuple[Scenes, Stance] | None = None
    seeking: Future[float] | None = None
    seeking_for: Settings | None = None
    asked: Settings | None = None
    aim: Settings | None = None
    corrections: int = 0
    lost: object = None
    text: str = ""
    opened: OpenedDesign | None = None
    preparing: Future[Tunable] | None = None
    span: tuple[Tuned, float | None] | None = None


def opened_side(name: str, offer: Tunable, text: str = "", opened: OpenedDesign | None = None) -> Side:
    """A side as the design has it."""
    history, offers = History(first_settings(offer)), {AS_WRITTEN: offer}
    return Side(name, offer, history, retuned(offer, history.now), history, offers, text=text, opened=opened)


class Session:
    """The sides and which one plays. work: what does beside the window what takes long; made when it is needed."""

    def __init__(self, sides: Sequence[Side], work: Callable[[], Work] = SolverProcess) -> None:
        if not 1 <= len(sides) <= len(LETTERS):
            raise ValueError(f"sides must be one to {len(LETTERS)}; got {len(sides)}")
        self.sides = tuple(sides)
        self._work_of = work
        self._worker: Work | None = None
        self._gains = [0.0] * len(sides)
        self._matching: Future[list[float]] | None = None
        self._unmatched = len(sides) > 1
        self._pending = False
        self._active = 0
        self._changed = False
        self._notice = ""
        self._found: tuple[Tuned, str, float | None] | None = None
        self._steered: tuple[Tunable, dict[str, Value], ZeroBeats] | None = None
        self._without: tuple[Settings, Tunable | None, Tuned | None] | None = None
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
        return tuple(f"{letter} {side.name}" for letter, side in zip(LETTERS, self.sides, strict=False))

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
        return self.switch_to((self._active + 1) % len(self.sides))

    def switch_to(self, place: int) -> bool:
        """Play a side by its number, from 0; False where there is none."""
        if not 0 <= place < len(self.sides):
            return False
        self.update()
        self._active = place
        self._pending = self._unbuilt
        self._changed = True
        return True

    def add_side(self) -> bool:
        """Another side with the settings of this one, which plays from now on; False where there is no room."""
        if len(self.sides) == len(LETTERS):
            return False
        side = self.side
        history, good = History(side.history.now), History(side.good.now)
        added = Side(side.name, side.offer, history, side.tuned, good, side.offers, text=side.text)
        self.sides, self._gains = (*self.sides, added), [*self._gains, self._gains[self._active]]
        self._active = len(self.sides) - 1
        self._changed = self._unmatched = True
        return True

    @property
    def figures(self) -> str:
        """The side that plays in one line: where its notes lie, its sensitivity, what matches its loudness."""
        field, settings, span = self.tuned.field, self.settings, self.span_of(self._active)
        pieces = []
        if span is not None:
            pieces.append(f"C2 to C6 within {100.0 * span:.1f} cm")
        if field.zero_beat_distance is not None:
            pieces.append(f"zero beat {100.0 * field.zero_beat_distance:.1f} cm")
        found = self._sensitivity()
        if found is not None:
            pieces.append(f"{found:.0f} cents a cm at {settings.text('at_note')}")
        if len(self.sides) > 1:
            pieces.append(f"{round(self._gains[self._active], 1) + 0.0:.1f} dB to match".replace("-", chr(0x2212)))
        return f"{self.names[self._active]}: {', '.join(pieces)}"

    def span_of(self, place: int) -> float | None:
        """How far apart C2 and C6 lie for a side, m; found anew only for another field. None where it lacks one."""
        side = self.sides[place]
        if side.span is None or side.span[0] is not side.tuned:
            found = {line.name: line.distance for line in side.tuned.field.notes()}
            both = "C2" in found and "C6" in found
            side.span = side.tuned, abs(found["C2"] - found["C6"]) if both else None
        return side.span[1]

    @property
    def shown_settings(self) -> Settings:
        """The settings with the sensitivity that there is, not the one that was asked for."""
        settings = self.settings
        control = settings.control("sensitivity")
        found = self._sensitivity()
        if found is None:
            return settings
        return settings.with_value("sensitivity", min(max(found, control.low), control.high))

    def _sensitivity(self) -> float | None:
        """Cents to a centimetre at the chosen note, found anew only for another field or note."""
        asked = self.tuned, self.settings.text("at_note")
        if self._found is None or self._found[:2] != asked:
            self._found = *asked, sensitivity_at(asked[0].field, asked[1])
        return self._found[2]

    @property
    def drawn_settings(self) -> Settings:
        """`shown_settings`, in which the way of the sensitivity is the one that its slider has."""
        settings = self.shown_settings
        control, now = self._sensitivity_control(), self._sensitivity()
        if now is None or not control.low * (1.0 - CLOSE) <= now <= control.high * (1.0 + CLOSE):
            return settings
        own = tuple(control if one.name == control.name else one for one in settings.controls)
        held = {**settings.values, control.name: min(max(now, control.low), control.high)}
        return replace(settings, controls=own, values=held)

    def _sensitivity_control(self) -> Control:
        """The control with the way that its slider has: from the least to the most that zero beat gives, if that
        steers it, so that every place sounds otherwise.
        """
        settings = self.settings
        control = settings.control("sensitivity")
        if LEVERS[settings.text("lever")] != "zero_beat" or "zero_beat" in self.disabled:
            return control
        try:
            low, high = (min(max(end, control.low), control.high) for end in self._zero_beats().reach)
        except ValueError:
            return control
        return replace(control, low=low, high=high) if low < high else control

    def _zero_beats(self) -> ZeroBeats:
        """What zero beat does to the sensitivity at the chosen note: found anew where anything else has changed."""
        built, note = self.side.good.now, self.settings.text("at_note")
        others = {name: value for name, value in built.values.items() if name not in ("zero_beat", "sensitivity")}
        asked = self.side.offer, {**others, "at_note": note}
        if self._steered is None or self._steered[:2] != asked or self.busy:
            control = built.control("zero_beat")
            self._steered = *asked, zero_beats(self.tuned, note, (control.low, control.high))
        return self._steered[2]

    def without(self, name: str) -> Tuned | None:
        """What would play with one control as the design has it; None where it is so, or where that is not solved."""
        settings = self.settings
        name = LEVERS[settings.text("lever")] if name == "sensitivity" else name
        if settings[name] == settings.control(name).default:
            return None
        other = settings.without(name)
        offer = self.side.offers.get(parts_of(other))
        if self._without is None or self._without[:2] != (other, offer):
            try:
                self._without = other, offer, None if offer is None else retuned(offer, other)
            except ValueError:
                self._without = other, offer, None
        return self._without[2]

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
        if name == "sensitivity":
            control = self._sensitivity_control()
            self._change(name, lambda settings: settings.with_value(name, control.value_at(share)), f"drag {name}")
        else:
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
        for side in self.sides:
            taken = False
            if side.preparing is not None and side.preparing.done():
                self._take_prepared(side, side.preparing)
                taken = True
            if side.waiting is not None and side.waiting.done():
                self._take_solved(side, side.waiting)
                taken = True
            if side.computing is not None and side.computing.done():
                self._take_computed(side, side.computing)
                taken = True
            if side.seeking is not None and side.seeking.done():
                self._take_sought(side, side.seeking)
                taken = True
            # a side may wait for what is worked out for another one, which it was put beside
            self._pending |= taken and (side is self.side or self._unbuilt)
        if self._pending:
            self._pending = False
            self._build(self.side)
        self._correct(self.side)
        self._follow_match()

    def _correct(self, side: Side) -> None:
        """Ask the law once more, from the circuit that was solved, where that is not as sensitive as it was to be.

        Where the law has been asked often enough the part is looked for by solved circuits.
        """
        aim = side.aim
        if aim is None or self.busy or self._unbuilt:
            return
        found, wanted = self._sensitivity(), aim.number("sensitivity")
        close = found is None or abs(found / wanted - 1.0) <= CLOSE
        if close or aim.text("lever") != self.settings.text("lever"):
            side.aim = None
            return
        left, side.asked = side.corrections - 1, self.settings.with_value("sensitivity", wanted)
        self._seek(side, by_law=left >= 0)
        side.corrections = left

    @property
    def _unbuilt(self) -> bool:
        """Whether the side that plays is not yet as its controls are set."""
        return self.side.history.now != self.side.good.now

    def prepare(self) -> None:
        """Work out beside the window what first changes of solved circuits need, before they are asked for."""
        for side in self.sides:
            if side.offer.first_order is not None or side.offer.law is None:
                side.opened = None
            elif side.opened is not None and side.preparing is None:
                side.preparing = self._pool().submit(tunable, side.opened)

    def _take_prepared(self, side: Side, preparing: Future[Tunable]) -> None:
        side.preparing = None
        try:
            whole = prepared(side.offer, preparing.result())
        except (ValueError, SolverLostError) as error:
            if isinstance(error, SolverLostError) and side.lost is not side.opened:
                side.lost, self._notice = side.opened, LOST
                self.prepare()
                return
            self._notice = str(error)
            whole = unprepared(side.offer, self._notice)
        side.opened = None
        side.offers[AS_WRITTEN] = whole
        for other in self.sides:
            if other.offers is side.offers:
                other.offer = whole

    def match_now(self) -> None:
        """Bring both sides to one loudness at once."""
        self._gains = matched_gains([side.tuned for side in self.sides])
        self._unmatched = False

    @property
    def matched(self) -> bool:
        """Whether the sides are at one loudness."""
        return self._matching is None and not self._unmatched

    def close(self) -> None:
        """Leave unfinished work behind."""
        if self._worker is not None:
            self._worker.shutdown(wait=False, cancel_futures=True)

    def _change(self, name: str, change: Callable[[Settings], Settings], merge: str | None) -> None:
        reason = self.disabled.get(name)
        if reason is not None:
            self._notice = f"{self.settings.control(name).label}: {reason}"
            return
        if name == "sensitivity":
            self._steer(change(self.shown_settings).number(name), merge)
            return
        self._turn(self.side.history.changed(change(self.settings), merge))

    def _steer(self, wanted: float, merge: str | None) -> None:
        """Move the part that steers the sensitivity until it is as wanted, or look for it beside the window."""
        side, settings = self.side, self.settings
        name, asked = LEVERS[settings.text("lever")], settings.with_value("sensitivity", wanted)
        if name in self.disabled:
            self._notice = f"{settings.control(name).label}: {self.disabled[name]}"
        elif name == "zero_beat":
            control = settings.control(name)
            try:
                place = self._zero_beats().place(wanted, self.tuned.field.zero_beat_distance or 0.0)
                self._turn(side.history.changed(asked.with_value(name, control.checked(place)), merge))
            except ValueError as error:
                self._notice = str(error)
        else:
            side.asked = asked
            self._seek(side)

    def _seek(self, side: Side, by_law: bool = True) -> None:
        overtaken = side.seeking_for if side.seeking_for is not side.asked else None
        if side.seeking is not None and overtaken is not None and LEVERS[overtaken.text("lever")] == "antenna":
            side.seeking.cancel()  # each of its looks takes a field
        if side.seeking is None and side.asked is not None:
            side.seeking_for = side.asked
            wanted, nearest = side.seeking_for.number("sensitivity"), _nearest_law(side, parts_of(side.seeking_for))
            if not by_law or nearest is None or LEVERS[side.seeking_for.text("lever")] == "antenna":
                side.aim = None
                side.seeking = self._pool().submit(part_for_sensitivity, side.offer, side.seeking_for, wanted)
            else:  # the law finds it soon; `_correct` sees to the rest
                side.aim, side.corrections = side.seeking_for, CORRECTIONS
                known = side.offers[nearest], nearest, side.offer
                side.seeking = self._pool().submit(part_by_law, *known, side.seeking_for, wanted)
            self._notice = SEEKING

    def _take_sought(self, side: Side, seeking: Future[float]) -> None:
        """A part was found: it is set, also on the way to another one that was asked for meanwhile."""
        asked, side.seeking = side.seeking_for, None
        assert asked is not None
        overtaken = asked is not side.asked
        side.asked = side.asked if overtaken else None
        try:
            value = seeking.result()
        except (ValueError, SolverLostError, CancelledError) as error:
            if side.aim is asked and not overtaken:  # out of the law's reach: by solved circuits
                side.aim, side.asked = None, asked
                self._seek(side, by_law=False)
                return
            if not overtaken:
                self._notice = str(error)
        else:
            name, now = LEVERS[asked.text("lever")], side.history.now
            if now.text("lever") == asked.text("lever"):
                side.history = side.history.changed(now.with_value(name, asked.control(name).checked(value)), "steer")
        self._seek(side)

    def _turn(self, history: History) -> None:
        self._pending |= history.now != self.side.history.now
        self.side.history = history

    def _build(self, side: Side) -> None:
        """The instrument of a side's settings; where that cannot be, the settings go back to the last that could."""
        settings = side.history.now
        parts = parts_of(settings)
        solved_field = any(known.antenna == parts.antenna for known in side.offers)
        if parts not in side.offers and (side.offer.law is not None or not solved_field):
            self._solve(side, parts, SOLVING if solved_field else SOLVING_FIELD)
            self._move_towards(side, parts)
            return
        try:
            if parts not in side.offers:
                _keep(side, parts, with_parts(side.offer, parts))
            there = self._follow_stance(side, side.offers[parts])
            side.tuned = retuned(side.offers[parts], settings)
        except ValueError as error:
            self._refuse(side, str(error))
            return
        if there:
            side.good = side.history
        self._notice = next(iter(side.tuned.notices), self._notice)
        self._unmatched = len(self.sides) > 1
        self._changed = True

    def _follow_stance(self, side: Side, offer: Tunable) -> bool:
        """Whether the field of the stance is there; where it is not, it is computed beside the window."""
        if offer.scenes is None:
            return True
        stance = stance_of(offer, side.history.now.stance)
        if offer.scenes.has(stance):
            return True
        if side.computing is None:
            side.computing_for = offer.scenes, stance
            side.computing = self._pool().submit(offer.scenes.solved, stance)
            self._notice = LOST if side.lost == stance else COMPUTING
        elif side.computing_for != (offer.scenes, stance):
            side.computing.cancel()
        return False

    def _take_computed(self, side: Side, computing: Future[OpenedDesign]) -> None:
        side.computing = None
        assert side.computing_for is not None
        scenes, stance = side.computing_for
        try:
            scenes.keep(stance, computing.result())
            self._notice, side.lost = COMPUTED, None
        except CancelledError:
            return
        except SolverLostError:
            self._lose(side, stance)
        except ValueError as error:
            self._refuse(side, str(error))

    def _lose(self, side: Side, solved: object) -> None:
        """The process ended over what it solved: that is solved once more, or the settings go back."""
        if side.lost == solved:
            self._refuse(side, LOST_TWICE)
        else:
            side.lost = solved

    @property
    def computing(self) -> bool:
        """Whether something is being solved for the side that plays."""
        return self.side.computing is not None or self.side.waiting is not None

    @property
    def busy(self) -> bool:
        """Whether something is being solved or looked for, for the side that plays."""
        return self.computing or self.side.seeking is not None

    def _move_towards(self, side: Side, parts: Parts) -> None:
        """Until the circuit is solved: what it will be to first order from the nearest one that is solved.

        Where that cannot be it plays on as it was; the solved circuit says why.
        """
        nearest = _nearest_law(side, parts)
        if nearest is None:
            return
        try:
            moved = towards_parts(side.offer, side.offers[nearest], nearest, parts)
            side.tuned = retuned(moved, side.history.now)
        except ValueError:
            return
        self._changed = True

    def _refuse(self, side: Side, reason: str) -> None:
        side.history, side.aim = replace(side.good, merging=side.history.merging), None
        self._notice = reason

    def _solve(self, side: Side, parts: Parts, words: str) -> None:
        """Solve a circuit or a field with other parts beside the window."""
        if side.waiting is not None:  # it is looked at again when the one under way is there
            if side.waiting_for.antenna != parts.antenna:
                side.waiting.cancel()
            return
        side.waiting_for = parts
        side.waiting = self._pool().submit(with_parts, side.offer, parts)
        self._notice = LOST if side.lost == parts else words

    def _take_solved(self, side: Side, waiting: Future[Tunable]) -> None:
        side.waiting = None
        try:
            _keep(side, side.waiting_for, waiting.result())
            self._notice, side.lost = SOLVED, None
        except CancelledError:
            return
        except SolverLostError:
            self._lose(side, side.waiting_for)
        except ValueError as error:
            if parts_of(side.history.now) == side.waiting_for:
                self._refuse(side, str(error))

    def _follow_match(self) -> None:
        """Bring the sides to one loudness again after a change, beside the window."""
        if self._matching is not None and self._matching.done():
            try:
                gains = self._matching.result()
            except SolverLostError:
                gains, self._notice = list(self._gains), LOST
            gains += self._gains[len(gains) :]  # of sides that were put beside them meanwhile
            self._matching = None
            if gains != self._gains:
                self._gains = gains
                self._changed = True
        if self._unmatched and self._matching is None:
            self._unmatched = False
            self._matching = self._pool().submit(matched_gains, [side.tuned for side in self.sides])

    def _pool(self) -> Work:
        if self._worker is None:
            self._worker = self._work_of()
        return self._worker


def _nearest_law(side: Side, parts: Parts) -> Parts | None:
    """The nearest parts from which the first-order law may be laid; None while there are none."""
    laid = [known for known, offer in side.offers.items() if offer.first_order is not None]
    return min(laid, key=parts.apart, default=None)


def _keep(side: Side, parts: Parts, offer: Tunable) -> None:
    """Have a side's offer with these parts at hand from now on; the oldest of many is let go."""
    side.offers[parts] = offer
    if len(side.offers) > MOST_OFFERS:
        del side.offers[next(known for known in side.offers if known != AS_WRITTEN)]


def session_of(
    workpieces: Sequence[OpenedDesign],
    texts: Sequence[str] = (),
    work: Callable[[], Work] = SolverProcess,
    at_once: bool = False,
) -> Session:
    """A session of opened designs, with their texts where these are at hand; work: see `Session`.

    at_once: what solves circuits and is not needed for the first sound is left to `Session.prepare`.
    """
    written = [*texts, *([""] * (len(workpieces) - len(texts)))]
    return Session(
        [
            opened_side(workpiece.design.name, tunable(workpiece, at_once), text, workpiece if at_once else None)
            for workpiece, text in zip(workpieces, written, strict=True)
        ],
        work,
    )

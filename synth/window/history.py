"""Undo and redo of the controls' settings; a drag of a slider is one step."""

from __future__ import annotations

from dataclasses import dataclass, replace

from synth.window.controls import Settings

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

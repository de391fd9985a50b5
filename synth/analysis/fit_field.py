"""The hand's field of a bench, for any values of what joins player and circuit common to earth.

The Maxwell matrices of the scene are solved and stored; the ties to earth are algebra on them (`models.hand.earthing`),
so that other ties cost a millisecond. Derivatives by the ties are differences over STEP of what is assumed of them.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Final

from models.hand.capacitance_curve import CapacitanceCurve
from models.hand.earthing import COMMON, RING, USUAL_SHOES
from models.readings.unknowns import NORMAL_95, Unknown
from synth.analysis.readings import Setting
from synth.build.workbench import OpenedDesign
from synth.designs.design_file import Design
from synth.designs.quantity import format_quantity
from synth.errors import DesignError

BODY, COMMON_TIE = "body_to_earth", "common_to_earth"
BODY_SHARE: Final = 0.5
LEAST_COMMON_LIMIT: Final = 20e-12
"""95 % limits of the person to earth, of its value, and of the common to earth, F: round numbers of our own."""
STEP: Final = 0.1


class FittedField:
    """The field of an opened design with the ties to earth as unknowns."""

    def __init__(self, opened: OpenedDesign) -> None:
        self.opened = opened
        self.names: tuple[str, ...] = ()
        self._others: dict[tuple[float, float, Design], OpenedDesign] = {}

    def unknowns(self, hand: bool, known: Mapping[str, object]) -> list[Unknown]:
        """The ties that readings may tell, where a hand was near (`hand`); those that are wires are no unknowns.

        A common of which the design says nothing counts as bonded, unless something is `known` of it.
        """
        made: list[Unknown] = []
        earthing, field = self.opened.earthing, self.opened.hand_field
        total = earthing.body_capacitance
        if hand and total != math.inf:
            share = field.body_share
            body = share + USUAL_SHOES if total is None else total
            made.append(Unknown(BODY, "F", body, BODY_SHARE * body / NORMAL_95, least=min(share, body)))
        tie = earthing.common_to_earth
        if COMMON in field.names and (tie != math.inf or COMMON_TIE in known):
            middle = 0.0 if tie == math.inf else tie
            made.append(Unknown(COMMON_TIE, "F", middle, max(middle, LEAST_COMMON_LIMIT) / NORMAL_95, least=0.0))
        self.names = tuple(one.name for one in made)
        return made

    @property
    def hangs_on_parts(self) -> bool:
        """Whether what an antenna has hangs on the parts: a second one hangs on those of its oscillator."""
        return RING in self.opened.hand_field.names

    def with_ties(self, values: Mapping[str, float], design: Design) -> OpenedDesign:
        """The opened design with these ties, F, and the parts of `design`, in place of its own."""
        earthing, share = self.opened.earthing, self.opened.hand_field.body_share
        shoes = max(values[BODY] - share, 0.0) if BODY in values else earthing.shoes(share)
        key = shoes, max(values.get(COMMON_TIE, earthing.common_to_earth), 0.0), design
        if key not in self._others:
            self._others[key] = self.opened.with_earthing(*key)
        return self._others[key]

    def curve(self, setting: Setting, values: Mapping[str, float], design: Design) -> CapacitanceCurve:
        """The curve of the set-up's antenna over the hand's distance. Raises DesignError where there is none."""
        opened = self.with_ties(values, design)
        curve = opened.loop_curve if setting.oscillator == "volume" else opened.curve
        if curve is None:
            raise DesignError("the design has no volume antenna; leave the line out")
        return curve

    def capacitance(self, setting: Setting, line: int, values: Mapping[str, float], design: Design) -> float:
        """Capacitance of the set-up's antenna as the hand stood, F, without stray."""
        try:
            curve = self.curve(setting, values, design)
        except DesignError as error:
            raise DesignError(f"line {line}: {error}") from None
        try:
            at = curve.empty_capacitance if setting.away else curve.capacitance(setting.hand_distance or 0.0)
            return float(at)
        except ValueError:
            span = f"{format_quantity(curve.nearest, 'm')} to {format_quantity(curve.farthest, 'm')}"
            raise DesignError(f"line {line}: hand_distance must be within the hand field, {span}") from None

    def slopes(
        self, setting: Setting, line: int, values: Mapping[str, float], steps: Mapping[str, float], design: Design
    ) -> dict[str, float]:
        """Changes of that capacitance with the ties, by differences over these steps, F."""
        found = {}
        for name, step in steps.items():
            below = {**values, name: max(values[name] - step, 0.0)}
            above = {**values, name: values[name] + step}
            ends = [self.capacitance(setting, line, each, design) for each in (below, above)]
            found[name] = (ends[1] - ends[0]) / (above[name] - below[name])
        return found

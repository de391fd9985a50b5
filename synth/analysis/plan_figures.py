"""A planned design as one set of figures."""

from __future__ import annotations

from models.quick_dataclass import dataclass
from synth.analysis.corners import CornerFigure
from synth.analysis.figures import OfDesign, collected, of, over_notes
from synth.analysis.linearise import parts_text
from synth.analysis.plan import Plan, limits_of


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanFigures(OfDesign):
    """Every figure of a plan, SI units in the names; None for notes that the design does not play.

    builds_mean_cents: of the search, by the resonance without loss; builds_reached: of the finished design.
    """

    low_hz: float = of("search.low_frequency")
    high_hz: float = of("search.high_frequency")
    near_m: float = of("search.near")
    far_m: float = of("search.far")
    circuit: str = of("wishes.circuit")
    supply_v: float = of("wishes.supply")
    board: str = of("wishes.board")
    parts: str
    steps: tuple[str, ...] = of("plan.steps")
    carrier_hz: float = of("opened.instrument.reference_frequency")
    zero_beat_m: float | None = of("opened.field.zero_beat_distance")
    highest_note_m: float | None = of("held.highest_note")
    lowest_note_m: float | None = of("held.lowest_note")
    rms_cents: float | None = of("held.rms_cents")
    builds_mean_cents: float | None = of("plan.found.chosen.steps.builds.mean_cents")
    builds_reached: float = of("plan.builds.zero_beat_reached.share")
    corners: tuple[CornerFigure, ...] = of("plan.corners")
    limits: tuple[str, ...]
    interrupted: bool = of("plan.interrupted")
    notices: tuple[str, ...]


def plan_figures(plan: Plan) -> PlanFigures:
    """Collect the figures of a plan."""
    opened, search = plan.opened, plan.wishes.search
    held = over_notes(opened.field, search.low_frequency, search.high_frequency)
    return collected(
        PlanFigures,
        {
            "design": opened.design,
            "opened": opened,
            "plan": plan,
            "wishes": plan.wishes,
            "search": search,
            "held": held,
        },
        parts=parts_text(plan.found.chosen),
        limits=limits_of(plan),
        notices=plan.found.refused + opened.notices,
    )

"""How much the stage shows of what is to come: all of it at first, less as the player improves.

Guidance helps while it is there, and may leave less afterwards. In C. Winstein and R. Schmidt, J. Exp. Psychol. Learn.
Mem. Cogn. 16 (1990) 677 (doi:10.1037/0278-7393.16.4.677), people whose feedback grew rarer as they practised did better
later than people who had it after every trial. So the share of notes whose place is lit goes down with the error
of the last runs. How fast it goes down is a choice of ours: FULL_FROM and NONE_BELOW.
"""

from __future__ import annotations

from collections.abc import Sequence

FULL_FROM = 50.0  # cents RMS: half a semitone, where a note is heard as its neighbour
NONE_BELOW = 10.0  # cents RMS: some twice what is called in tune
LAST_RUNS = 3  # that count


def guidance_share(errors_cents: Sequence[float]) -> float:
    """Share of notes that are lit, 0 to 1, after runs with these RMS errors, oldest first; 1 before the first run."""
    if not errors_cents:
        return 1.0
    recent = errors_cents[-LAST_RUNS:]
    error = sum(recent) / len(recent)
    return min(max((error - NONE_BELOW) / (FULL_FROM - NONE_BELOW), 0.0), 1.0)


def is_lit(place: int, turn: int, share: float) -> bool:
    """Whether the goal at `place` is lit in this turn: a share of the goals, evenly spread, others in the next turn."""
    number = place + turn
    return int((number + 1) * share + 1e-9) > int(number * share + 1e-9)

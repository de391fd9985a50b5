"""What moves the pitch by itself, in words: one line a cause."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from synth.analysis.moves import (
    BYSTANDER,
    FARTHER_RING,
    HIGHER,
    HUMIDITY,
    LEAN,
    MORE_SHOES,
    QUIETEST_DB,
    WALL,
    PitchMove,
    PitchMoves,
)

CAUSES: Mapping[str, str] = {
    "volume hand": f"the volume hand comes down from rest to {QUIETEST_DB:.0f} dB",
    "fingers": "the fingers close half way, the wrist stays",
    "lean": f"the body leans {100 * LEAN:.0f} cm nearer, the hands stay",
    "shoes": f"shoes of {1e12 * MORE_SHOES:.0f} pF more",
    "touching earth": "the player touches earth",
    "second arm": "the other arm hangs down",
    "bystander": f"somebody stands {BYSTANDER.y:.1f} m to the side",
    "wall": f"an earthed wall {WALL.distance:.1f} m behind the antenna",
    "hand height": f"the hand {100 * HIGHER:.0f} cm higher",
    "humidity": f"humidity from {100 * HUMIDITY[0]:.0f} to {100 * HUMIDITY[1]:.0f} %, by the air alone",
}
WIDTH = max(map(len, CAUSES.values())) + 2
LOST = "lost"


def moves_lines(moves: PitchMoves) -> list[str]:
    """The table of causes; nothing where there are none."""
    if not moves.moves:
        return []
    head = f"{'what moves the pitch by itself, in cents':<{WIDTH}}" + "".join(f"{note:>9}" for note in moves.notes)
    tuned = "" if not any(move.retuned for move in moves.moves) else "    and with zero beat tuned again where it was"
    lines = ["", head + tuned, *map(_line, moves.moves)]
    if any(None in (*move.cents, *move.retuned) for move in moves.moves):
        lines.append(f"{LOST}: the note falls silent or passes zero beat")
    if moves.crosstalk_farther is not None:
        place = f"with the ring {100 * FARTHER_RING:.0f} cm farther from the rod the volume hand does"
        lines.append(f"{place} {', '.join(_cents(value) for value in moves.crosstalk_farther)} cents")
    return lines


def _line(move: PitchMove) -> str:
    return f"{CAUSES[move.cause]:<{WIDTH}}" + _row(move.cents) + ("    " + _row(move.retuned) if move.retuned else "")


def _row(cents: Sequence[float | None]) -> str:
    return "".join(f"{_cents(value):>9}" for value in cents)


def _cents(value: float | None) -> str:
    return LOST if value is None else f"{value:+.0f}" if abs(value) >= 10.0 else f"{value:+.1f}"


def felt_lines(moves: PitchMoves, felt: Sequence[str], least: float) -> list[str]:
    """Which causes a player hears in a melody, and which not."""
    if not moves.moves:
        return []
    unfelt = [move.cause for move in moves.moves if move.cause not in felt]
    at = ", ".join(moves.notes)
    lines = ["", f"felt by the player, {least:g} cents or more at one of {at} (cents at each):"]
    lines += [
        f"  {CAUSES[move.cause]}: {', '.join(map(_cents, move.cents))}" for move in moves.moves if move.cause in felt
    ]
    if unfelt:
        lines.append(f"hardly felt: {'; '.join(CAUSES[cause] for cause in unfelt)}")
    return lines

"""Tour 4: beat and pulling. Two oscillators that leak into each other sound flat near zero beat, and then not at all.

The steady law, sqrt(offset^2 - lock^2), is set beside the beat counted in a run of the phase equation over time.
Where the oscillators lock, the phase only turns to its resting place: that part of a turn is the small count there.
"""

import numpy as np

from models.pitch import cents
from models.pulling import advance_phase, pulled_beat

LOCK_RANGE = 40.0  # Hz
SAMPLE_RATE = 48_000.0  # Hz
SECONDS = 4.0


def counted_beat(offset: float) -> float:
    """Turns of the beat phase a second, Hz, over SECONDS, at a steady offset (Hz)."""
    offsets = np.full(round(SECONDS * SAMPLE_RATE) + 1, offset)
    phase = advance_phase(0.0, offsets, LOCK_RANGE, 1.0 / SAMPLE_RATE)
    return float(phase[-1]) / (2.0 * np.pi * SECONDS)


def main() -> None:
    """Print the beat and how flat it is."""
    print(f"lock range {LOCK_RANGE:g} Hz")
    print("  offset      law        counted   flat by")
    for offset in (20.0, 39.0, 41.0, 50.0, 80.0, 200.0, 1000.0):
        law = float(pulled_beat(offset, LOCK_RANGE))
        flat = f"{-float(cents(law, offset)):7.1f} cents" if law else "  locked, silent"
        print(f"  {offset:6.0f} Hz {law:9.3f} Hz {counted_beat(offset):9.3f} Hz {flat}")


if __name__ == "__main__":
    main()

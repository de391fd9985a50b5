"""Where the hands are: pitch-hand distance (m) and volume (0 to 1) against time (s), read frame by frame.

Between its time stamps a path is linear; before the first and after the last it holds the end values. It
is not smoothed here: the voice applies its one 5 ms pole to every path alike.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from models.arrays import Floats
from models.checks import finite_array, positive, positive_array
from models.quick_dataclass import dataclass


@dataclass(frozen=True, slots=True, eq=False)
class HandBlock:
    """The hands at consecutive frames: `distance` (n,) m and `volume` (n,) 0 to 1."""

    distance: Floats
    volume: Floats


@dataclass(frozen=True, slots=True, eq=False)
class HandPath:
    """Hands against time.

    times: (k,) s, from 0 upwards, strictly increasing. distances: (k,) m. volumes: (k,), 0 to 1.
    The arrays are copied and cannot be written to. Raises ValueError for malformed or out-of-domain values.
    """

    times: Floats
    distances: Floats
    volumes: Floats

    def __post_init__(self) -> None:
        for name, checked in (("times", finite_array), ("distances", positive_array), ("volumes", finite_array)):
            own = checked(name, getattr(self, name)).copy()
            own.setflags(write=False)
            object.__setattr__(self, name, own)
        times, distances, volumes = self.times, self.distances, self.volumes
        if times.ndim != 1 or times.size == 0 or not times.shape == distances.shape == volumes.shape:
            raise ValueError(
                "times, distances and volumes must be three lists of one length, at least 1; "
                f"got shapes {times.shape}, {distances.shape} and {volumes.shape}"
            )
        if times[0] < 0.0:
            raise ValueError(f"times must be >= 0 s; got {times[0]:g}")
        if not (np.diff(times) > 0.0).all():
            raise ValueError("times must increase strictly")
        if ((volumes < 0.0) | (volumes > 1.0)).any():
            raise ValueError(f"volumes must be between 0 and 1; got {volumes.min():g} to {volumes.max():g}")

    @property
    def duration(self) -> float:
        """Time of the last time stamp, s."""
        return float(self.times[-1])

    @property
    def nearest(self) -> float:
        """Smallest distance of the path, m."""
        return float(self.distances.min())

    @property
    def farthest(self) -> float:
        """Largest distance of the path, m."""
        return float(self.distances.max())

    def frames(self, sample_rate: float) -> int:
        """Number of frames from time 0 up to and including the last time stamp, at `sample_rate` Hz."""
        return int(np.floor(self.duration * positive("sample_rate", sample_rate) * (1.0 + 1e-12))) + 1

    def block(self, start_frame: int, frames: int, sample_rate: float) -> HandBlock:
        """The hands at frames start_frame .. start_frame + frames - 1.

        Frame n stands for the time n / sample_rate (Hz). The values of a frame do not depend on how the
        path is divided into blocks.
        """
        rate = positive("sample_rate", sample_rate)
        if start_frame < 0 or frames < 0:
            raise ValueError(f"start_frame and frames must be >= 0; got {start_frame} and {frames}")
        instants = np.arange(start_frame, start_frame + frames) / rate
        if frames == 0:
            return HandBlock(instants, instants.copy())
        first = max(int(np.searchsorted(self.times, instants[0], side="right")) - 1, 0)
        last = int(np.searchsorted(self.times, instants[-1], side="left")) + 1
        part = slice(first, max(last, first + 1))  # the knots around the block: long paths stay cheap
        times = self.times[part]
        return HandBlock(
            np.interp(instants, times, self.distances[part]), np.interp(instants, times, self.volumes[part])
        )

    def blocks(self, frames: int, sample_rate: float, total: int | None = None) -> Iterator[HandBlock]:
        """Consecutive blocks of `frames`, the last maybe shorter, over `total` frames (default: the path)."""
        if frames < 1:
            raise ValueError(f"frames must be >= 1; got {frames}")
        end = self.frames(sample_rate) if total is None else total
        for start in range(0, end, frames):
            yield self.block(start, min(frames, end - start), sample_rate)

    def held_within(self, nearest: float, farthest: float) -> tuple[HandPath, str | None]:
        """The path kept inside nearest..farthest (m), and a notice where that changed it.

        For a hand that leaves the distances the field was computed for: it sounds as if it stopped at the
        border.
        """
        outside = int(((self.distances < nearest) | (self.distances > farthest)).sum())
        if outside == 0:
            return self, None
        notice = (
            f"{outside} of {self.times.size} hand positions ({self.nearest:g} to {self.farthest:g} m) lie "
            f"outside the computed field of {nearest:g} to {farthest:g} m and are held at its border"
        )
        return HandPath(self.times, np.clip(self.distances, nearest, farthest), self.volumes), notice


def still_hand(distance: float, seconds: float, volume: float = 1.0) -> HandPath:
    """A hand resting at `distance` (m) for `seconds`."""
    times = [0.0, positive("seconds", seconds)]
    return HandPath(np.array(times), np.full(2, distance), np.full(2, volume))

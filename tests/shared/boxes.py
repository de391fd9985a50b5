"""What tests ask of the boxes that a window is cut into."""

from __future__ import annotations

from synth.window.box import Box


def contains(outer: Box, inner: Box) -> bool:
    """True where `inner` lies wholly inside `outer`."""
    return (
        outer.left <= inner.left
        and outer.top <= inner.top
        and inner.right <= outer.right
        and inner.bottom <= outer.bottom
    )

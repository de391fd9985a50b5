"""Note lists: read as they are written, refused with one clear message."""

from __future__ import annotations

import pytest

from synth.errors import DesignError
from synth.tunes.note_list import read_note_list


def test_note_list_by_hand():
    tune = read_note_list("tempo 60\nA4 1/4, rest 1/8, C5 1/8 # end\nvolume 0.5\nlegato\nBb3 3/4\n", "x")
    assert [(n.number, n.start, n.seconds, n.loudness, n.legato) for n in tune.notes] == [
        (69, 0.0, 1.0, 1.0, False),
        (72, 1.5, 0.5, 1.0, False),
        (58, 2.0, 3.0, 0.5, True),
    ]


@pytest.mark.parametrize(
    "text", ["", "A4", "H4 1/4", "A4 1/0", "A4 1/4 1/4", "tempo 1e9", "volume nan", "A4 1/4000", "rest 9999", "A4 0.5"]
)
def test_bad_note_lists_are_refused(text):
    with pytest.raises(DesignError, match=r"^x"):
        read_note_list(text + "\nrest 9999\nA4 1/4" if text.startswith("rest") else text, "x")

"""The README's pictures are those that the program makes now."""

from __future__ import annotations

import numpy as np
import pytest

from tests.pictures.make_pictures import FOLDER, PICTURES, make

SAME = 0.01
"""Mean difference of two pictures, of full scale: letters of another library's version differ by less."""


@pytest.mark.slow
def test_the_pictures_show_the_program_as_it_is(tmp_path):
    image = pytest.importorskip("matplotlib.image")
    make(tmp_path)
    for name in PICTURES:
        kept, now = (image.imread(str(folder / name))[..., :3] for folder in (FOLDER, tmp_path))
        assert kept.shape == now.shape, name
        assert np.abs(kept - now).mean() < SAME, f"{name}: renew it with python -m tests.pictures.make_pictures"
        assert (FOLDER / name).stat().st_size < 250_000, name

"""Rows read between solved amplitudes, against the detector itself at every one."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from models.detector.memoryless import Detector
from synth.build.workbench import open_design
from synth.sound.row_table import graded_rows
from synth.sound.wavetable import FAINT, MOST_HARMONICS

DEMOS = Path(__file__).resolve().parents[3] / "demos"


@pytest.mark.parametrize("kind", ["product", "envelope", "square-law", "junction"])
def test_graded_rows_are_the_detectors_own(kind: str) -> None:
    instrument = open_design(DEMOS / "willow.toml").instrument
    instrument = replace(instrument, detector=Detector(kind))
    places = np.geomspace(0.011, 0.79, 23)
    exact = []
    for place in places.tolist():
        made = instrument.detector_at(place)
        exact.append(made.strength * made.harmonics(MOST_HARMONICS))
    rows = graded_rows(instrument, places)
    assert graded_rows(instrument, places, 0.7, 1.2).shape == rows.shape  # differences of such rows are taken
    wanted = np.array(exact)
    strongest, kept = np.abs(wanted[:, 1:]).max(), rows.shape[1]
    assert np.abs(rows[:, 1:] - wanted[:, 1:kept]).max() < 5e-6 * strongest
    assert np.abs(wanted[:, kept:]).max(initial=0.0) < FAINT * strongest

"""The volume antenna in the field report, and the end of a rendered file when the volume hand is down."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
from small_instrument import RING_CURVE, ROD

from models.volume.loudness import GainStage
from synth.analysis.field_figures import field_figures, volume_figures
from synth.build.workbench import OpenedDesign, assemble
from synth.designs.template import template_design
from synth.hands.hand_path import HandPath
from synth.report.field import FIELD
from synth.sound.offline import rendered_blocks


@pytest.fixture(scope="module")
def workpiece() -> OpenedDesign:
    design = template_design()
    return assemble(design, ROD, RING_CURVE)


def test_the_report_names_the_heights_of_the_volume_hand(workpiece: OpenedDesign) -> None:
    report, volume = field_figures(workpiece), workpiece.volume
    assert report.volume is not None
    assert volume is not None
    assert report.volume.full_from_m == pytest.approx(0.25, abs=1e-8)
    assert volume.gain_db(report.volume.minus_40_db_m) == pytest.approx(-40.0, abs=1e-5)
    assert volume.gain_db(report.volume.minus_3_db_m) == pytest.approx(-3.0, abs=1e-6)
    assert "volume hand, full     from 25.0 cm" in FIELD.text(report)
    assert json.loads(json.dumps(FIELD.document(report), allow_nan=False))["volume"]["full_from_m"] == pytest.approx(
        0.25
    )


def test_what_the_hand_does_not_reach_stays_open(workpiece: OpenedDesign) -> None:
    assert workpiece.volume is not None
    figures = volume_figures(replace(workpiece.volume, stage=GainStage(0.1, 7.6)))
    assert figures.silent_below_m is None
    assert figures.full_from_m is None
    assert "volume hand, full     from -\n" in FIELD.text(replace(field_figures(workpiece), volume=figures))


def test_without_a_volume_antenna_the_report_has_none(workpiece: OpenedDesign) -> None:
    report = field_figures(replace(workpiece, given=(ROD, None)))
    assert report.volume is None
    assert "volume" not in FIELD.text(report)


def test_a_file_whose_hand_ends_in_silence_stays_silent_to_its_end(workpiece: OpenedDesign) -> None:
    path = HandPath(np.array([0.0, 0.1, 0.3]), np.full(3, 0.2), np.array([1.0, 0.0, 0.0]))
    sound = np.concatenate(list(rendered_blocks(workpiece, path, 48000)))
    assert np.abs(sound[:4800]).max() > 0.05
    assert np.abs(sound[12000:]).max() < 1e-6

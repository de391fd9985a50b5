"""Forms of the antennas in a design: what is assembled, how it is named and drawn, one clear message for bad sizes."""

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose

from models.hand.antennas import (
    PlateAntenna,
    RingAntenna,
    RodAntenna,
    TelescopicAntenna,
    VolumePlate,
    VolumeRod,
    WireAntenna,
)
from models.hand.scene import Bystander, Cabinet, PlayerBody, Room, Scene, Wall
from synth.analysis.antenna_figures import antenna_figures
from synth.analysis.scene_outlines import antenna_outline, hand_line, scene_outlines
from synth.build.assembly import scene_of
from synth.build.workbench import OpenedDesign
from synth.designs.design_file import read_design
from synth.errors import DesignError
from synth.report.antenna import antenna_words, approach_words, surface_words
from synth.report.scene_plot import stacked

TANKS = "".join(f'[{tank}]\ninductance = "1 mH"\ncapacitance = "330 pF"\n' for tank in ("variable", "reference"))
VOLUME = (
    '[volume]\ninductance = "1 mH"\ncapacitance = "200 pF"\n'
    '[volume_response]\ninductance = "1 mH"\ncapacitance = "200 pF"\n'
)


def design(antenna="", player="", more=""):
    return read_design(f"[antenna]\n{antenna}\n[player]\n{player}\n{TANKS}{more}")


CASES = {
    'lean = "20 deg"': (
        RodAntenna(lean=math.radians(20.0)),
        "rod, 0.45 m, 10 mm thick, leaning 20 degrees away from the player",
    ),
    'form = "telescopic"\nsection_lengths = ["30 cm", "0.2 m"]\nsection_diameters = ["8 mm", "6 mm"]': (
        TelescopicAntenna((0.3, 0.2), (0.008, 0.006)),
        "telescopic rod of 2 sections, 0.5 m, at most 8 mm thick",
    ),
    'form = "wire"\ndiameter = "2 mm"\nend_side = "0.8 m"\nend_height = "1.6 m"': (
        WireAntenna(0.0, 0.8, 1.6, 0.002),
        "wire, 1 m, 2 mm thick",
    ),
    'form = "plate"\nposition = "flat"\nplate_width = "30 cm"': (
        PlateAntenna(0.3, position="flat"),
        "plate, 0.3 m by 0.2 m, 2 mm thick, lying flat",
    ),
    'form = "ring"\nposition = "edge"\nring_diameter = "25 cm"': (
        RingAntenna(0.25, 0.01, "edge"),
        "ring, 0.25 m across, 10 mm thick, its edge to the player",
    ),
}


@pytest.mark.parametrize("text", CASES)
def test_a_form_is_assembled_and_named(text):
    antenna, words = CASES[text]
    opened = OpenedDesign(design(text))
    assert opened.scene.antenna == antenna
    figures = antenna_figures(opened)
    assert antenna_words(figures) == words
    assert approach_words(figures).startswith("from the front, level, ")
    assert surface_words(figures) in ("the antenna's surface", "the plate's surface", "the ring's tube")


@pytest.mark.parametrize("text", CASES)
def test_its_outline_has_its_size(text):
    """Drawn from the forms themselves, beside the ends that the forms tell."""
    scene = scene_of(design(text))
    lines = antenna_outline(scene.antenna)
    side = np.concatenate([line.side for line in lines])
    assert side[:, 1].min() == pytest.approx(scene.antenna.base_height, abs=2e-3)
    assert side[:, 1].max() == pytest.approx(scene.antenna.top, abs=2e-3)
    assert side[:, 0].max() == pytest.approx(scene.antenna.front, abs=2e-3)
    assert np.concatenate([line.top for line in lines])[:, 0].max() == pytest.approx(scene.antenna.front, abs=2e-3)
    assert scene.antenna.distance(hand_line(scene)[None])[0] == pytest.approx(0.0, abs=1e-3)
    drawn = scene_outlines(scene, "open", 0.2, 0.2)
    assert sum(line.name == "antenna" for line in drawn) == len(lines)


def test_a_hand_from_above():
    opened = OpenedDesign(design('form = "plate"\nposition = "flat"', 'approach = "above"'))
    assert opened.scene.from_above
    assert approach_words(antenna_figures(opened)) == "from above, palm down"
    assert_allclose(hand_line(opened.scene), [0.0, 0.0, 1.002], rtol=1e-12)


def test_a_drawing_shows_what_is_above_from_above_and_the_antenna_from_the_side():
    scene = Scene(
        PlateAntenna(position="flat"), PlayerBody(approach="above"), Cabinet(), room=Room(Bystander(), Wall())
    )
    drawn = scene_outlines(scene, "open", 0.2, 0.2)
    above, side = ([part.name for part in stacked(drawn, from_above)] for from_above in (True, False))
    assert above.index("common") < above.index("antenna") < max(k for k, name in enumerate(above) if name == "player")
    assert side[-1] == "antenna"
    assert side.index("bystander") < side.index("common")  # 1.5 m behind it


@pytest.mark.parametrize(
    ("text", "form"),
    [
        ('form = "plate"\nplate_width = "30 cm"', VolumePlate(0.3)),
        ('form = "rod"\ntube_diameter = "1 cm"\noffset = "40 cm"', VolumeRod(0.3, 0.01, 1.0, 0.4)),
    ],
)
def test_forms_of_the_volume_antenna(text, form):
    assert scene_of(design(more=f"[volume_antenna]\n{text}\n{VOLUME}")).ring == form


@pytest.mark.parametrize(
    ("antenna", "player", "words"),
    [
        ('form = "telescopic"\nsection_lengths = ["1 m"]', "", ["antenna.section_diameters", "one for each section"]),
        ('form = "telescopic"\nsection_lengths = "1 m"', "", ["antenna.section_lengths", "array", "brackets"]),
        ('form = "telescopic"\nsection_lengths = ["1"]', "", ["antenna.section_lengths", "has no unit"]),
        ('length = "3.1 m"', "", ["antenna.length", "between 50 mm and 3 m"]),
        ('lean = "90 deg"', "", ["antenna.lean", "between -80 deg and 80 deg"]),
        ('form = "wire"\nend_height = "0.9 m"', "", ["antenna.end_height", "exchange the two"]),
        ('form = "ring"\nring_diameter = "3 cm"\ndiameter = "2 cm"', "", ["antenna.diameter", "thinner"]),
        ('form = "plate"\nplate_thickness = "50 mm"\nplate_width = "5 cm"', "", ["plate_thickness", "make it thinner"]),
        ('form = "plate"\nposition = "edge"\nplate_thickness = "0.5 mm"', "", ["plate_thickness", "another position"]),
        ("", 'approach = "above"\nhand_height = "1.2 m"', ["player.hand_height", "leave it out"]),
    ],
)
def test_bad_values_name_the_key_and_the_remedy(antenna, player, words):
    with pytest.raises(DesignError) as caught:
        design(antenna, player)
    assert all(word in str(caught.value) for word in words)
    assert str(caught.value).count("\n") == 0


@pytest.mark.parametrize(
    ("antenna", "player", "words"),
    [
        ('form = "wire"\nend_forward = "0.9 m"', "", "player.stand_distance: must be"),
        ('form = "plate"', 'hand_height = "1.5 m"', "player.hand_height: must be between"),
    ],
)
def test_parts_that_do_not_fit_together_say_so(antenna, player, words):
    with pytest.raises(DesignError, match=words):
        scene_of(design(antenna, player))

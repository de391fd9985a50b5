"""The player of a design: sizes, stance, own lengths, opening of the fingers; one message where they do not fit."""

import pytest
from numpy.testing import assert_allclose

from models.hand.player_sizes import Build, adult, build_of, scaled_child
from synth.analysis.antenna_figures import player_figures
from synth.build.assembly import scene_of
from synth.build.workbench import OpenedDesign
from synth.designs.design_file import read_design
from synth.errors import DesignError
from synth.report.antenna import player_words

TANKS = "".join(f'[{tank}]\ninductance = "1 mH"\ncapacitance = "330 pF"\n' for tank in ("variable", "reference"))


def design(player):
    return read_design(f"[player]\n{player}\n{TANKS}")


@pytest.mark.parametrize(
    ("text", "build", "words"),
    [
        ("", Build(), "of rounded sizes, arms without an elbow, 75 cm from the antenna"),
        (
            'size = "woman"\npercentile = "5 %"\nstand_distance = "60 cm"',
            build_of(adult("woman", 5.0)),
            "woman of the percentile 5, 60 cm from the antenna",
        ),
        (
            'size = "child"\nstature = "1.3 m"\nstance = "seated"\nstand_distance = "50 cm"',
            build_of(scaled_child(1.3), seated=True),
            "child of 1.3 m, a woman scaled, seated, 50 cm from the antenna",
        ),
    ],
)
def test_a_player_is_assembled_and_named(text, build, words):
    opened = OpenedDesign(design(text))
    assert opened.scene.player.build == build
    assert player_words(player_figures(opened)) == words


def test_own_lengths_take_the_place_of_the_measured_ones():
    scene = scene_of(design('size = "man"\nforearm = "25 cm"\nhand_length = "20 cm"\nshoulder_height = "1.5 m"'))
    build = scene.player.build
    assert build.links == (adult("man").upper_arm, 0.25)
    assert_allclose(build.open_hand[0], 0.10, rtol=1e-12)
    assert build.shoulder_height == 1.5


def test_opening_and_lean_come_to_the_scene():
    player = scene_of(design('opening = 0.25\nlean = "5 cm"')).player
    assert (player.opening, player.lean) == (0.25, 0.05)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('forearm = "25 cm"', ["player.forearm", 'size = "man"']),
        ('stance = "seated"', ["player.stance", 'size = "man"']),
        ('posture = "fist"\nopening = 0.5', ["player.opening", 'posture = "open"']),
        ("opening = 1.5", ["player.opening", "between 0 and 1"]),
        ('size = "giant"', ["player.size", "typical, man, woman, child"]),
    ],
)
def test_bad_values_name_the_key_and_the_remedy(text, words):
    with pytest.raises(DesignError) as caught:
        design(text)
    assert all(word in str(caught.value) for word in words)


def test_an_arm_that_cannot_reach_is_a_fault_of_the_design():
    opened = OpenedDesign(design('size = "man"\nstand_distance = "90 cm"'))
    with pytest.raises(DesignError, match="stand 0.77 m from it or nearer"):
        _ = opened.hand_field

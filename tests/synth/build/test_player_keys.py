"""The player of a design: sizes, stance, own lengths, opening of the fingers; one message where they do not fit."""

from dataclasses import replace

import pytest
from numpy.testing import assert_allclose
from small_instrument import small_field

from models.hand.player_sizes import Build, adult, build_of, scaled_child
from models.hand.scene import Bystander, Room, Table, Wall
from synth.analysis.antenna_figures import player_figures, room_figures
from synth.build.assembly import scene_of
from synth.build.workbench import OpenedDesign
from synth.designs.design_file import design_hash, read_design
from synth.errors import DesignError
from synth.report.antenna import player_words, room_facts

TANKS = "".join(f'[{tank}]\ninductance = "1 mH"\ncapacitance = "330 pF"\n' for tank in ("variable", "reference"))


def design(player, others="", source=None):
    return read_design(f"[player]\n{player}\n{TANKS}{others}", source)


@pytest.mark.parametrize(
    ("text", "build", "words"),
    [
        ("", Build(), "of rounded sizes, arms without an elbow, 75 cm from the antenna"),
        (
            'size = "woman"\npercentile = "5 %"\nstand_distance = "60 cm"',
            build_of(adult("woman", 5.0)),
            "woman at percentile 5, 60 cm from the antenna",
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


@pytest.mark.parametrize(
    ("player", "others", "words"),
    [
        (
            'size = "child"\nstature = "1 m"',
            '[antenna]\nlength = "3 m"',
            [
                "player.stand_distance, player.hand_height: must let",
                "the arm is at most 0.339 m",
                "stand nearer",
                "0.82 m",
            ],
        ),
        ("", '[antenna]\nlength = "3 m"', ["player.hand_height: must let", "between 0.74 m and 2.1 m high"]),
        (
            "",
            '[antenna]\nform = "ring"\nring_diameter = "1.6 m"\nposition = "flat"',
            ["player.stand_distance: must be > 0.805 m, or the antenna reaches the player"],
        ),
        (
            'hand_height = "1.4 m"',
            '[antenna]\nform = "plate"',
            ["player.hand_height: must be between 1 m and 1.2 m, where a level hand meets this antenna"],
        ),
        ("", '[room]\ntable = "99 cm"\n[cabinet]', ["room.table: must be < 0.86 m", "under antenna and common"]),
        ("", '[room]\nwall = "10 cm"\n[cabinet]\ndepth = "30 cm"', ["room.wall: must be > 0.15 m", "wall meets"]),
        ("", '[room]\nbystander_side = "-50 cm"\nbystander_forward = "80 cm"', ["room.bystander_side: must be larger"]),
    ],
    ids=["child at a tall rod", "tall rod", "wide ring", "past the plate", "high table", "near wall", "in the player"],
)
def test_a_scene_that_cannot_be_names_file_key_and_remedy(player, others, words):
    with pytest.raises(DesignError) as caught:
        _ = OpenedDesign(design(player, others, "my.toml")).hand_field
    text = str(caught.value)
    assert text.startswith("my.toml: ")
    assert text.count("my.toml") == 1
    assert all(word in text for word in words), text


def test_what_stands_about_comes_to_the_scene():
    assert scene_of(design("")).room == Room()
    text = (
        '[room]\nfloor = "none"\nwall = "1 m"\ntable = "75 cm"\nbystander_side = "1.2 m"\nbystander_forward = "-30 cm"'
    )
    assert scene_of(design("", text)).room == Room(Bystander(-0.3, 1.2), Wall(1.0), Table(0.75), earth_plane=False)
    assert room_facts(room_figures(scene_of(design("", text)).room)) == [
        (
            "room",
            "a floor that does not conduct; an earthed wall 1 m behind the antenna; a metal table, its top 0.75 m "
            "above the floor; a second person 120 cm to the side, away from the volume hand, and 30 cm behind the "
            "antenna",
        )
    ]
    assert room_facts(room_figures(Room())) == []
    plain, roomy = design(""), design("", "[room]")
    assert design_hash(plain) != design_hash(roomy)


def test_another_lean_height_opening_or_bystander_is_another_curve_of_the_same_design(monkeypatch):
    asked = []

    def solved(scene, *_):
        asked.append(scene)
        return replace(small_field(), body_share=(67 + len(asked)) * 1e-12)

    monkeypatch.setattr("synth.build.workbench.field_for", solved)
    opened = OpenedDesign(design('body_capacitance = "150 pF"'))
    shoes = opened.ties_with_notices[0].to_earth["player"]
    changes = [{"lean": 0.05}, {"hand_height": 1.3}, {"opening": 0.4}, {"bystander": Bystander(0.0, 1.5)}]
    for change in changes:
        other = opened.in_scene(opened.scene.moved(**change))
        assert other is opened.in_scene(opened.scene.moved(**change))  # solved once
        assert other.design is opened.design
        assert other.ties_with_notices[0].to_earth["player"] == pytest.approx(shoes)  # the shoes stay what they are
        assert other.hands["open"].heeds_opening
    assert len(asked) == 1 + len(changes)
    assert [scene.player.lean for scene in asked] == [0.0, 0.05, 0.0, 0.0, 0.0]
    assert asked[-1].room.bystander == Bystander(0.0, 1.5)
    assert (asked[2].player.hand_height, asked[3].player.opening) == (1.3, 0.4)
    with pytest.raises(ValueError, match="lean must be < stand_distance"):
        opened.scene.moved(lean=0.8)


def test_an_arm_that_cannot_reach_is_a_fault_of_the_design():
    opened = OpenedDesign(design('size = "man"\nstand_distance = "90 cm"'))
    with pytest.raises(DesignError, match="stand 0.68 m from it or nearer"):
        _ = opened.hand_field

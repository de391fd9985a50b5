"""The keys of common and player: what they put into the scene, what they tie to earth, what is said of it."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from small_instrument import RING_CURVE, small_field

from models.hand.earthing import ANTENNA, COMMON, PLAYER, RING, USUAL_SHOES
from models.hand.hand_field import HandField
from models.hand.scene import BOARD_HEIGHT
from models.tank import Tank
from synth.analysis.antenna_figures import earthing_figures
from synth.build.assembly import branch_tie, common_capacitance, scene_of
from synth.build.notices import COMMON_BONDED
from synth.build.workbench import OpenedDesign
from synth.designs.design_file import Design, design_text, load_design, read_design
from synth.designs.template import template_design
from synth.errors import DesignError
from synth.report.antenna import earthing_facts

PF = 1e-12
SHARE = 67 * PF  # of small_field


@pytest.fixture
def lantern(monkeypatch) -> Design:
    """The built-in design in an invented field with a ring."""
    field = small_field(ring=RING_CURVE)
    monkeypatch.setattr("synth.build.workbench.field_for", lambda *_, **__: field)
    return template_design()


def with_player(design: Design, **values: float | None) -> Design:
    return replace(design, player=replace(design.player, **values))


def with_common(design: Design, to_earth: float | None) -> Design:
    return replace(design, common=replace(design.common, to_earth=to_earth))


def test_the_total_to_earth_is_less_the_fields_share(lantern: Design) -> None:
    for total, shoes in ((None, USUAL_SHOES), (150 * PF, 150 * PF - SHARE), (math.inf, math.inf)):
        opened = OpenedDesign(with_player(lantern, body_capacitance=total))
        assert opened.ties_with_notices[0].to_earth[PLAYER] == pytest.approx(shoes)
        assert opened.body_to_earth == (None if shoes == math.inf else pytest.approx(shoes + SHARE))


def test_a_total_below_the_fields_share_names_both(lantern: Design) -> None:
    with pytest.raises(DesignError, match=r"built-in design: player\.body_capacitance: .* 50 pF.* 67 pF"):
        _ = OpenedDesign(with_player(lantern, body_capacitance=50 * PF)).curve


def test_field_says_what_joins_player_and_common_to_earth_in_words_and_figures(lantern: Design) -> None:
    """The default: 100 pF of shoes beside the field's share, the common bonded because nothing is said."""
    made = earthing_figures(OpenedDesign(lantern))
    assert made is not None
    assert made.shoes_f == pytest.approx(USUAL_SHOES)
    assert made.body_to_earth_f == pytest.approx(USUAL_SHOES + SHARE)
    assert (made.body_field_share_f, made.common_bonded, made.common_said) == (SHARE, True, False)
    words = dict(earthing_facts(made))
    assert words["player to earth"] == (
        "167 pF in all: the field finds 67 pF of it between body and floor, shoes make the other 100 pF"
    )
    assert words["common to earth"].endswith("bonded to earth, as the design does not say otherwise")
    touching = earthing_figures(OpenedDesign(with_player(lantern, body_capacitance=math.inf)))
    assert "touches earth" in dict(earthing_facts(touching))["player to earth"]
    assert (touching.body_to_earth_f, touching.shoes_f) == (None, None)


def test_a_floating_common_says_its_tie_and_what_the_field_finds(lantern: Design, monkeypatch) -> None:
    names = ("antenna", "common", "player")
    matrix = 1e-12 * np.array([[6.0, -1.0, -0.5], [-1.0, 9.0, -1.0], [-0.5, -1.0, 80.0]])
    alone = matrix * np.outer([1, 1, 0], [1, 1, 0])
    places = {posture: np.stack([matrix, matrix])[:, None] for posture in ("open", "fist")}
    none = np.zeros(0)
    field = HandField(names, np.array([0.1, 0.2]), none, places, none, np.zeros((0, 3, 3)), alone, 67e-12)
    monkeypatch.setattr("synth.build.workbench.field_for", lambda *_, **__: field)
    plain = replace(lantern, volume_antenna=None, volume=None, volume_response=None)
    for tie, words in ((0.0, "by nothing (a battery)"), (20 * PF, "by 20 pF")):
        made = earthing_figures(OpenedDesign(with_common(plain, tie)))
        # two conductors, the antenna afloat: 9 - 1 / 6 pF
        assert made.common_field_share_f == pytest.approx(9e-12 - 1e-12 / 6.0)
        assert f"{words}, beside the 8.833 pF that the field finds" in dict(earthing_facts(made))["common to earth"]


@pytest.mark.parametrize(
    ("text", "capacitance"), [("bonded", math.inf), ("none", 0.0), ("2.2 nF", 2.2e-9), (None, math.inf)]
)
def test_the_common_is_read_and_written(text: str | None, capacitance: float) -> None:
    plain = design_text(replace(template_design(), cabinet=None))
    line = "" if text is None else f'to_earth = "{text}"'
    assert "\n[common]\n" in plain
    design = read_design(plain.replace("\n[common]\n", f"\n[common]\n{line}\n"))
    assert common_capacitance(design) == pytest.approx(capacitance)
    assert read_design(design_text(design)) == design


def test_a_board_is_in_the_field_where_the_common_floats_and_there_is_no_cabinet(lantern: Design) -> None:
    assert scene_of(lantern).cabinet is None
    assert scene_of(with_common(lantern, math.inf)).cabinet is None
    board = scene_of(with_common(lantern, 0.0)).cabinet
    assert board is not None
    assert (board.width, board.depth, board.height, board.gap) == (0.16, 0.10, BOARD_HEIGHT, 0.02)


def test_a_common_of_which_nothing_is_said_is_told(lantern: Design) -> None:
    assert COMMON_BONDED in OpenedDesign(lantern).notices
    assert COMMON_BONDED not in OpenedDesign(with_common(lantern, math.inf)).notices


def test_the_ring_hangs_on_its_tank_at_the_pitch_frequency(lantern: Design) -> None:
    """Below its resonance a tank counts as a negative capacitance: C - 1 / (w^2 L), w that of the pitch."""
    opened = OpenedDesign(lantern)
    ties, notices = opened.ties_with_notices
    tank, pitch = opened.tanks["volume"], 2.0 * math.pi * opened.instrument.reference_frequency
    by_hand = tank.total_capacitance + 3 * PF - 1.0 / (pitch**2 * tank.inductance)
    assert by_hand < 0.0
    assert ties.to_common[RING] == pytest.approx(by_hand, rel=5e-3)
    assert ties.to_common[ANTENNA] != math.inf
    # 71 pF or so is less than ten times the ring's 7.4 pF: that is told, with the remedy
    assert any("holds its ring to the common only as" in notice and "farther apart" in notice for notice in notices)
    assert lantern.volume is not None
    stiff = replace(lantern, volume=replace(lantern.volume, inductance=0.6e-3, capacitance=180 * PF))
    assert OpenedDesign(stiff).ties_with_notices[1] == ()


def test_branch_and_tank_in_series_hold_the_pitch_antenna() -> None:
    tank, omega = Tank(1e-3, 400 * PF), 2.0 * math.pi * 440e3
    direct = OpenedDesign(template_design()).branch
    behind = 400 * PF - 1.0 / (omega**2 * 1e-3)
    own = direct.self_capacitance - 1.0 / (omega**2 * direct.inductance)
    found = branch_tie(omega, tank, direct, 3 * PF)
    assert found == pytest.approx(3 * PF + own * behind / (own + behind), rel=1e-12)
    # at the tank's resonance it is open: the antenna hangs on its stray alone
    resonant = 1.0 / math.sqrt(1e-3 * 400 * PF)
    assert branch_tie(resonant, tank, direct, 3 * PF) == pytest.approx(3 * PF, rel=1e-6)


def test_without_a_ring_there_is_nothing_to_hold(monkeypatch, lantern: Design) -> None:
    monkeypatch.setattr("synth.build.workbench.field_for", lambda *_, **__: small_field())
    alone = replace(lantern, volume_antenna=None, volume=None, volume_response=None)
    opened = OpenedDesign(alone)
    assert opened.ring_hands is None
    assert opened.both_hands == {}
    assert opened.ties_with_notices[1] == ()
    assert COMMON not in opened.hand_field.names


@pytest.mark.slow
def test_a_common_of_100_pf_to_earth_costs_heron_two_and_a_half_semitones_at_10_cm() -> None:
    """An independent program (one mesh): 2.5 semitones lower at 10 cm than with the cabinet bonded, tuned again."""
    heron = load_design(Path(__file__).parents[3] / "demos" / "heron.toml")
    beats = []
    for tie in (math.inf, 100 * PF):
        opened = OpenedDesign(with_common(heron, tie))
        beats.append(float(opened.instrument.beat_frequency(0.10)))
    assert 12.0 * math.log2(beats[1] / beats[0]) == pytest.approx(-2.5, abs=0.3)

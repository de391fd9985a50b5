"""Practice in the window: its state by itself, and a run played by a scripted hand."""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path

import pytest
from listener import Listener
from small_instrument import make_instrument
from window_script import Step, check, idle, key, post, session_on, shows
from window_script import play as play_session

from models.instrument import Instrument
from models.pitch import frequency_of_note
from models.pitch_field import PitchField, pitch_field
from synth.hands.tune_path import PORTAMENTO
from synth.practice.course import COUNT_IN, Course
from synth.practice.exercises import EXERCISES
from synth.practice.progress import read_runs
from synth.practice.score import Score, in_turn
from synth.window.draw_practice import arch
from synth.window.draw_practice_pages import row_boxes, summary
from synth.window.note_steps import Glide, next_note
from synth.window.play_window import PlayWindow
from synth.window.practice import Practice

pytestmark = pytest.mark.usefixtures("dummy_screen")
STEP = 1.0 / 60.0
TUNE = Score("own", "My own", in_turn([(60, 0.6), (64, 0.6), (67, 0.6)]))


@pytest.fixture(scope="module")
def instrument() -> Instrument:
    return make_instrument()


@pytest.fixture(scope="module")
def field(instrument: Instrument) -> PitchField:
    return pitch_field(instrument)


@pytest.fixture
def practice(field: PitchField, tmp_path: Path) -> Practice:
    made = Practice((TUNE,), tmp_path / "practice.csv", "Trial")
    made.follow(field.notes(), 440.0)
    return made


def played(practice: Practice, off_cents: float = 0.0, gain: float = 1.0, most: float = 30.0) -> float:
    """Play what is wanted, so many cents off, to the end of the run; the time it took, s."""
    assert practice.start()
    now = 0.0
    while practice.running and now < most:
        shown = practice.shown()
        assert shown is not None
        score = practice.score
        assert score is not None
        course = practice.course
        assert course is not None
        wanted = score.goals[score.index_at(course.at)].number + off_cents / 100.0
        now += STEP
        if practice.advance(100.0 + now, STEP, float(frequency_of_note(wanted)), gain):
            practice.stop()
    return now


def test_a_run_is_judged_kept_and_fades_the_guidance(practice: Practice, tmp_path: Path) -> None:
    assert practice.titles[0] == "My own"
    assert practice.share == 1.0
    assert played(practice, 20.0) == pytest.approx(COUNT_IN + TUNE.seconds, abs=3 * STEP)
    assert practice.result is not None
    assert practice.result.judgement.rms_cents == pytest.approx(20.0)
    assert [run.rms_cents for run in read_runs(tmp_path / "practice.csv")] == [20.0]
    assert practice.share == pytest.approx(0.25)  # (20 - 10) / (50 - 10)
    again = Practice((TUNE,), tmp_path / "practice.csv", "Trial")
    assert again.share == pytest.approx(0.25)
    practice.selected = [row.name for row in practice.rows("off")].index("guidance")
    practice.turn(1)
    assert practice.share == 1.0
    practice.turn(1)
    assert practice.share == 0.0
    lines = summary(practice.result.judgement)
    assert any("20 cents off" in line for line in lines)


def test_it_waits_for_the_hand_and_loops_a_marked_part(practice: Practice) -> None:
    names = [row.name for row in practice.rows("off")]
    practice.selected = names.index("waits")
    practice.turn(1)
    assert played(practice, 60.0, most=4.0) >= 4.0  # never near enough
    assert practice.running
    practice.stop()
    for row, steps in (("waits", 1), ("first", 1), ("last", -1)):
        practice.selected = names.index(row)
        practice.turn(steps)
    assert practice.score is not None
    assert practice.terms.part(practice.score) == (1, 1)
    played(practice, most=8.0)
    assert practice.course is not None
    assert practice.course.turn >= 2
    shown = practice.shown()
    assert shown is not None
    assert [place.name for place in shown.places] == ["E4"] * 3
    practice.stop()


def test_places_are_where_the_field_sounds_them(practice: Practice, field: PitchField) -> None:
    practice.start()
    shown = practice.shown()
    assert shown is not None
    assert [(place.name, place.order) for place in shown.places] == [("C4", 0), ("E4", 1), ("G4", 2)]
    for place, number in zip(shown.places, (60, 64, 67), strict=True):
        assert float(field.frequency_at(place.distance)) == pytest.approx(float(frequency_of_note(number)))
        # a quarter of a semitone to each side, by a straight line
        ends = field.pitch_cents([place.far, place.near]) - 100.0 * (number - 69)
        assert ends == pytest.approx([-25.0, 25.0], abs=1.5)
    assert shown.walked is None
    for _ in range(round((COUNT_IN + 0.45) / STEP)):
        practice.advance(0.0, STEP, 0.0, 0.0)
    walking = practice.shown()
    assert walking is not None
    assert walking.walked is not None
    assert 0.0 < walking.walked < 1.0


def test_the_wanted_note_sounds_if_asked(practice: Practice) -> None:
    assert practice.target is None
    practice.selected = [row.name for row in practice.rows("off")].index("target")
    practice.turn(1)
    practice.start()
    assert practice.target is None  # while counting in
    for _ in range(round((COUNT_IN + 0.2) / STEP)):
        practice.advance(0.0, STEP, 0.0, 0.0)
    assert practice.target == pytest.approx(261.6256, abs=1e-4)  # C4 at A = 440 Hz, a handbook's value


def test_every_exercise_can_be_chosen_and_what_does_not_reach_says_so(practice: Practice) -> None:
    for exercise in EXERCISES:
        practice.choose(exercise.name)
        assert practice.score is not None
        assert practice.score.title == exercise.title
    with pytest.raises(KeyError):
        practice.choose("nothing of this name")
    practice.follow((), 440.0)
    assert practice.score is None
    assert "does not reach" in practice.fault
    assert not practice.start()


def test_a_damaged_file_is_left_as_it_is(tmp_path: Path, field: PitchField) -> None:
    file = tmp_path / "practice.csv"
    file.write_text("something else\n", encoding="utf-8")
    practice = Practice((TUNE,), file)
    assert "line 1" in practice.file_fault
    practice.follow(field.notes(), 440.0)
    played(practice)
    assert file.read_text(encoding="utf-8") == "something else\n"
    assert practice.result is not None


def test_the_way_is_an_arch_from_place_to_place() -> None:
    assert arch(100.0, 300.0, 200.0, 20.0, 0.0) == (100.0, 200.0)
    assert arch(100.0, 300.0, 200.0, 20.0, 1.0) == pytest.approx((300.0, 200.0))
    assert arch(300.0, 100.0, 200.0, 20.0, 0.5) == pytest.approx((200.0, 200.0 - 0.42 * 200.0))
    assert arch(0.0, 9000.0, 200.0, 20.0, 0.5)[1] == pytest.approx(20.0)  # within the stage


def test_note_steps_go_through_the_scale(field: PitchField) -> None:
    notes = field.notes()
    by_number = {line.number: line for line in notes}
    scale = frozenset((60, 62, 64))
    on_c = by_number[60].distance
    assert next_note(notes, scale, on_c, 1) == by_number[62]
    assert next_note(notes, None, on_c, 1) == by_number[61]
    assert next_note(notes, None, on_c, -1) == by_number[59]
    between = 0.5 * (on_c + by_number[62].distance)
    assert next_note(notes, scale, between, 1) == by_number[62]
    assert next_note(notes, scale, between, -1) == by_number[60]
    assert next_note(notes, scale, by_number[64].distance, 1) is None
    assert next_note((), None, 0.3, 1) is None
    glide = Glide(0.3, 0.2, 5.0)
    assert glide.at(5.0) == 0.3
    assert glide.at(5.0 + 0.5 * PORTAMENTO) == pytest.approx(0.25)
    assert glide.over(5.0 + PORTAMENTO)


def near_note(player: PlayWindow, number: int) -> bool:
    beat = float(player.session.tuned.instrument.beat_frequency(player.state.distance))
    return abs(1200.0 * math.log2(beat / float(frequency_of_note(number)))) < 1.0


def until(test: Step, most: int = 240) -> Iterator[Step]:
    """Pictures until a test holds; fails after so many."""
    done: list[bool] = []

    def step(player: PlayWindow) -> None:
        if not done and test(player):
            done.append(True)

    for _ in range(most):
        if done:
            return
        yield step
    raise AssertionError("it never came")


@pytest.mark.slow
def test_by_keys_alone_a_page_is_opened_a_run_played_and_the_result_shown(
    instrument: Instrument, tmp_path: Path
) -> None:
    tune = Score("own", "My own", in_turn([(60, 0.9), (62, 0.9)]))
    practice = Practice((tune,), tmp_path / "practice.csv", "Trial")
    listener = Listener(instrument)

    def shorten(player: PlayWindow) -> None:
        player.practice.course = Course(0.1)

    def steps() -> Iterator[Step]:
        yield key("x")
        yield check(lambda player: player.state.practice_page == "before" and player.state.covered)
        yield idle
        yield check(lambda player: shows(player, "My own") and shows(player, "What to play"))
        for name in ("down", "right"):
            yield key(name)
        yield idle
        yield check(lambda player: player.practice.terms.tempo == 1.05)
        yield key("return")
        yield check(lambda player: player.practice.running and not player.state.practice_page)
        yield idle
        yield check(lambda player: shows(player, "note 1 of 2") and shows(player, "C4"))
        yield shorten
        yield from until(lambda player: not player.practice.running)
        yield check(lambda player: not player.practice.running)
        yield check(lambda player: player.state.practice_page == "after")
        yield idle
        yield check(lambda player: shows(player, "how it went"))
        yield key("x")
        yield key("escape")
        yield check(lambda player: not player.state.practice_page)
        yield key("x")
        yield key("x")
        yield check(lambda player: not player.state.practice_page)

    play_session(session_on(instrument), steps(), listener, practice=practice)


def test_scale_steps_glide_and_sound_by_keys(instrument: Instrument) -> None:
    listener = Listener(instrument)
    glide = [idle] * (round(PORTAMENTO / STEP) + 6)

    def to_c4(player: PlayWindow) -> None:
        from dataclasses import replace

        line = next(line for line in player.session.tuned.field.notes() if line.number == 60)
        player.state = replace(player.state, distance=line.distance)

    steps: list[Step] = [
        to_c4,
        key("."),
        *glide,
        check(lambda player: near_note(player, 61)),
        lambda player: player.session.set("guide", "major"),
        key("."),
        *glide,
        check(lambda player: near_note(player, 62)),
        key(","),
        *glide,
        check(lambda player: near_note(player, 60)),
        key("space"),
        *([idle] * 12),
        check(lambda player: listener.hand[1] > 0.1),
    ]
    play_session(session_on(instrument), steps, listener)


def test_a_click_and_a_finger_change_a_row(instrument: Instrument, tmp_path: Path) -> None:
    practice = Practice((), tmp_path / "practice.csv")

    def place_of(player: PlayWindow, name: str) -> tuple[int, int]:
        layout = player.view.layout
        assert layout is not None
        rows = player.practice.rows("")
        boxes = row_boxes(layout.page, layout.text.normal, layout.text.large, len(rows))
        box = boxes[[row.name for row in rows].index(name)]
        return box.left + round(0.8 * box.width), box.center[1]

    def click_row(player: PlayWindow) -> None:
        post("MOUSEBUTTONDOWN", pos=place_of(player, "waits"), button=1, touch=False)
        post("MOUSEBUTTONUP", pos=place_of(player, "waits"), button=1, touch=False)

    def tap_row(player: PlayWindow) -> None:
        x, y = place_of(player, "target")
        width, height = player.view.size
        post("FINGERDOWN", finger_id=3, x=x / (width - 1), y=y / (height - 1))
        post("FINGERUP", finger_id=3, x=x / (width - 1), y=y / (height - 1))

    steps: list[Step] = [
        key("x"),
        idle,
        click_row,
        check(lambda player: player.practice.terms.waits),
        tap_row,
        check(lambda player: player.practice.terms.target),
    ]
    play_session(session_on(instrument), steps, Listener(instrument), practice=practice)


def test_a_gamepad_opens_the_page_chooses_starts_and_leads_from_note_to_note(
    instrument: Instrument, tmp_path: Path
) -> None:
    """A stand-in for a pad: its events alone."""
    practice = Practice((TUNE,), tmp_path / "practice.csv")

    def button(number: int) -> Step:
        return lambda player: post("JOYBUTTONDOWN", button=number, instance_id=0, joy=0)

    def cross(across: int, up: int) -> Step:
        return lambda player: post("JOYHATMOTION", value=(across, up), hat=0, instance_id=0, joy=0)

    def remember(player: PlayWindow) -> None:
        places.append(player.state.distance)

    places: list[float] = []
    steps: list[Step] = [
        button(6),
        check(lambda player: player.state.practice_page == "before"),
        cross(0, -1),
        cross(1, 0),
        check(lambda player: player.practice.selected == 1 and player.practice.terms.tempo > 1.0),
        button(0),
        idle,
        check(lambda player: player.practice.running and not player.state.practice_page),
        button(6),
        idle,
        check(lambda player: not player.practice.running),
        button(6),
        idle,
        remember,
        cross(1, 0),
        *[idle] * (round(PORTAMENTO / STEP) + 6),
        remember,
        check(lambda player: places[1] < places[0]),
    ]
    play_session(session_on(instrument), steps, Listener(instrument), practice=practice)


def test_two_fingers_are_both_hands_in_a_run(instrument: Instrument, tmp_path: Path) -> None:
    """One finger for the pitch, a second one for the volume: what both do is what is judged."""
    tune = Score("own", "My own", in_turn([(60, 9.0)]))
    practice = Practice((tune,), tmp_path / "practice.csv")

    def finger(kind: str, number: int, column: float, row: float) -> Step:
        def step(player: PlayWindow) -> None:
            layout, scale = player.view.layout, player.view.scale
            assert layout is not None
            assert scale is not None
            width, height = player.view.size
            y = layout.stage.top + row * layout.stage.height
            post(kind, finger_id=number, x=scale.x_of(column) / (width - 1), y=y / (height - 1))

        return step

    def go(player: PlayWindow) -> None:
        player.practise()
        player.practice.course = Course(0.5)

    c4 = next(line.distance for line in pitch_field(instrument).notes() if line.number == 60)
    steps: list[Step] = [
        go,
        idle,
        finger("FINGERDOWN", 1, c4, 0.5),
        *[idle] * 12,
        check(lambda player: player.state.held and near_note(player, 60) is not None),
        finger("FINGERDOWN", 2, c4 + 0.05, 0.02),
        *[idle] * 40,
        check(lambda player: player.state.volume > 0.8),
        lambda player: player.practise(),
        idle,
        check(lambda player: player.practice.result is not None and player.practice.result.judgement.heard == 1),
        check(lambda player: abs(player.practice.result.judgement.notes[0].cents or 99.0) < 20.0),
    ]
    play_session(session_on(instrument), steps, Listener(instrument), practice=practice)

"""Memory at its highest, of each comparison's two sides, and of a sound four times as long."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from functools import partial

from models.builds.tolerance import monte_carlo
from models.circuit.oscillator import steady_state
from models.circuit.transient import simulate
from models.electrostatics import mesh
from models.electrostatics.boundary_elements import capacitance_matrix
from models.hand.hand_field import DEFAULT_DISTANCES, hand_field
from models.hand.scene import Scene
from synth.analysis.tolerance import trial_of
from synth.build.workbench import OpenedDesign, open_loaded
from synth.comparisons import fem_blocks
from synth.comparisons.benchmark_report import BenchmarkGoal, Cell, Column, Comparison, peak_memory
from synth.comparisons.fem_axisymmetric import NotSolvedError
from synth.comparisons.field import FAR
from synth.comparisons.oscillator import NORMAL
from synth.comparisons.radio_rate import RATE, example_instrument, moving_hand, sound_from_radio
from synth.designs.template import template_design
from synth.errors import DeviceError
from synth.hands.hand_path import still_hand
from synth.sound.offline import rendered_blocks
from synth.sound.voice import Voice

SOUND_SECONDS, BUILDS = 0.16, 20_000
SHORT, LONG = 5.0, 20.0  # s, of the streamed sounds
MOST_GROWTH, MOST_FIELD = 1.2, 100e6
COLUMNS = (
    Column("work", "work"),
    Column("peak", "peak, MB", "B", 1e-6, ".2f"),
    Column("other", "beside it"),
    Column("other_peak", "peak, MB", "B", 1e-6, ".2f"),
    Column("ratio", "ratio", shown=".2g"),
)


def memory_section(quick: bool, each: Callable[[str], None] = lambda text: None) -> Comparison:
    """Peaks of memory taken from Python and numpy; libraries that take theirs elsewhere are not seen."""
    rows: list[tuple[Cell, ...]] = []

    def row(
        work: str, action: Callable[[], object], other: str = "-", beside: Callable[[], object] | None = None
    ) -> int:
        each(f"memory: {work}")
        peak = peak_memory(action)
        other_peak = None if beside is None else peak_memory(beside)
        rows.append((work, peak, other, other_peak, None if other_peak is None else other_peak / peak))
        return peak

    made, hand = example_instrument(), moving_hand(SOUND_SECONDS)
    voice = Voice(made, RATE)
    voice.render(hand, hand.size)
    row(
        f"voice, {SOUND_SECONDS:g} s",
        lambda: voice.render(hand, hand.size),
        "radio rate",
        lambda: sound_from_radio(made, hand),
    )
    piece = open_loaded(template_design())
    short, long = (row(f"streamed sound, {seconds:g} s", partial(_stream, piece, seconds)) for seconds in (SHORT, LONG))
    field = row("hand field, both postures", lambda: hand_field(Scene(), DEFAULT_DISTANCES[::13]))
    cube = fem_blocks.Block((-0.5, -0.5, -0.5), (0.5, 0.5, 0.5))
    with suppress(DeviceError, NotSolvedError):  # without the library, or a solution, that row is not there
        row(
            "cube, to 0.4 %",
            lambda: capacitance_matrix([mesh.box((1.0, 1.0, 1.0), panels=200)]),
            "finite elements",
            lambda: fem_blocks.capacitance([cube], 0.12, 1.8, FAR, (True, True, True)),
        )
    balanced = steady_state(NORMAL)
    row(
        "harmonic balance",
        lambda: steady_state(NORMAL),
        "integration, 100 cycles",
        lambda: simulate(NORMAL, 100.0 / balanced.frequency, frequency=balanced.frequency),
    )
    trial = trial_of(piece)
    row(f"{BUILDS} builds", lambda: monte_carlo(trial, BUILDS, 1))
    goals = (
        BenchmarkGoal(
            "streamed sound four times as long", "times the memory", long / short, MOST_GROWTH, at_least=False
        ),
        BenchmarkGoal("hand field", "MB", field / 1e6, MOST_FIELD / 1e6, at_least=False),
    )
    notes = ["a run of its own, apart from the times: watching memory takes time", *_resident()]
    return Comparison("memory", "Memory at its highest", COLUMNS, tuple(rows), goals, tuple(notes))


def _stream(piece: OpenedDesign, seconds: float) -> None:
    for _ in rendered_blocks(piece, still_hand(0.3, seconds), RATE):
        pass


def _resident() -> list[str]:
    """What the whole process has held at most so far, where the system tells."""
    try:
        import resource
    except ImportError:  # not on every system
        return []
    import sys

    unit = 1 if sys.platform == "darwin" else 1024
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * unit
    return [f"the whole process, comparators and libraries included, held {most / 1e6:.0f} MB at most so far"]

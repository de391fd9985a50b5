"""The options of a tune, shared by the commands that play one: declared, and read into a tune and a manner."""

from __future__ import annotations

from argparse import ArgumentParser, Namespace
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from synth.hands.tune_path import Manner
    from synth.tunes.melody import Tune

SCALED = (
    ("tremor_mm", "tremor", 1e-3, "mm"),
    ("placement_mm", "placement", 1e-3, "mm"),
    ("vibrato_mm", "vibrato", 1e-3, "mm"),
    ("portamento", "portamento", 1.0, "s"),
)
NAMES = ("transpose", "tremor_mm", "placement_mm", "vibrato_mm", "portamento", "track", "channel")


def add_tune_options(parser: ArgumentParser) -> None:
    """Declare them all; a value of None means not given."""
    group = parser.add_argument_group("playing a tune")
    group.add_argument("--transpose", type=int, metavar="N", help="play it N semitones higher (default 0)")
    group.add_argument("--tremor-mm", type=float, metavar="X", help="tremor of the hand, RMS (default 0.05)")
    group.add_argument("--placement-mm", type=float, metavar="X", help="error of each place, RMS (assumed: 1)")
    group.add_argument("--vibrato-mm", type=float, metavar="X", help="vibrato, each way (default 0)")
    group.add_argument("--portamento", type=float, metavar="S", help="time of a slide between notes (default 0.12)")
    group.add_argument("--track", type=int, metavar="N", help="of a MIDI file, from 1 (default: the first with notes)")
    group.add_argument("--channel", type=int, metavar="N", help="of a MIDI file, 1 to 16 (default: all but 10)")


def given_tune_options(arguments: Namespace) -> list[str]:
    """The options of a tune that were given, as written on the command line."""
    return [f"--{name.replace('_', '-')}" for name in NAMES if getattr(arguments, name) is not None]


def tune_of(arguments: Namespace, path: str) -> Tune:
    """The tune in the file `path`, transposed as asked."""
    from synth.analysis.tune import load_tune

    return load_tune(path, arguments.track, arguments.channel).transposed(arguments.transpose or 0)


def manner_of(arguments: Namespace) -> Manner:
    """How the person plays; DesignError naming what is out of its domain."""
    from synth.errors import DesignError
    from synth.hands.tune_path import LARGEST, Manner

    given: dict[str, float] = {}
    for option, name, scale, unit in SCALED:
        value = getattr(arguments, option)
        if value is None:
            continue
        most = LARGEST[name] / scale
        if not 0.0 <= value <= most:
            raise DesignError(f"--{option.replace('_', '-')} must be between 0 and {most:g} {unit}; got {value:g}")
        given[name] = value * scale
    try:
        return Manner(**given, seed=arguments.seed)
    except ValueError as error:
        raise DesignError(f"--seed: {error}") from None

"""Options of commands read as values ("65Hz:1047Hz", "5 %", "4 pF"), with one clear message that names the option.

The options of a tune, which several commands share, are declared here too and read into a tune and a manner.
"""

from __future__ import annotations

import re
from argparse import ArgumentParser, ArgumentTypeError, Namespace
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from synth.errors import DesignError

if TYPE_CHECKING:
    from models.straight.shelf import Shelf
    from synth.build.workbench import OpenedDesign
    from synth.hands.own_hand import OwnHand
    from synth.hands.tune_path import Manner
    from synth.tunes.melody import Tune


LOWEST, HIGHEST = 10e3, 30e6  # Hz, of a carrier
MOST_CHOKES = 20


def value(name: str, text: str, unit: str) -> float:
    """The quantity of option `name` in SI; DesignError naming the option where it cannot be read."""
    from synth.designs.quantity import parse

    try:
        return parse(text, unit)
    except DesignError as error:
        raise DesignError(f"{name} {text}: {error}") from None


def pair(name: str, text: str, unit: str) -> tuple[float, float]:
    """Two rising quantities above 0 with a colon between, in SI."""
    ends = text.split(":")
    if len(ends) != 2:
        example = "65Hz:1047Hz" if unit == "Hz" else "5cm:50cm"
        raise DesignError(f"{name} {text}: write two values with a colon between, e.g. {name} {example}")
    low, high = (value(name, end, unit) for end in ends)
    if not 0.0 < low < high:
        raise DesignError(f"{name} {text}: the first value must be above 0 and below the second")
    return low, high


def note_range(name: str, text: str) -> tuple[float, float]:
    """Two rising frequencies, Hz, with a colon between, each written in Hz or as a note."""
    from models.pitch import frequency_of_note, parse_note

    def hertz(word: str) -> str:
        try:
            return f"{float(frequency_of_note(parse_note(word))):.6g} Hz"
        except ValueError:
            return word

    return pair(name, ":".join(hertz(word) for word in text.split(":")), "Hz")


def chosen(option: str, text: str | None, choices: Sequence[str]) -> str | None:
    """`text` if it is one of `choices`, letter case aside; None where the option was not given."""
    from synth.designs.schema import did_you_mean

    if text is None:
        return None
    for choice in choices:
        if text.strip().lower() == choice.lower():
            return choice
    raise DesignError(f"{option} {text}: must be one of {', '.join(choices)}{did_you_mean(text, choices)}")


def quantity_of(option: str, text: str | None, unit: str, low: float, high: float) -> float | None:
    """The quantity `text` stands for, SI; None where the option was not given. Raises DesignError outside low..high."""
    return None if text is None else within(option, text, unit, low, high)


def within(option: str, text: str, unit: str, low: float, high: float, *, bare: bool = False) -> float:
    """The quantity `text` stands for, SI. Raises DesignError outside low..high. bare: the unit may be left out."""
    from synth.designs.quantity import format_quantity

    without = bare and not any(letter.isalpha() for letter in text)
    found = value(option, f"{text} {unit}" if without else text, unit)
    if not low <= found <= high:
        ends = f"{format_quantity(low, unit)} and {format_quantity(high, unit)}"
        raise DesignError(f"{option} {text}: must be between {ends}")
    return found


def frequency_of(option: str, text: str | None) -> float | None:
    """A carrier frequency, Hz; None where the option was not given."""
    return quantity_of(option, text, "Hz", LOWEST, HIGHEST)


def add_notes_options(parser: ArgumentParser) -> None:
    """Declare which notes a search is to place, and over which hand distances."""
    parser.add_argument(
        "--range",
        default="65Hz:1047Hz",
        metavar="LOW:HIGH",
        help="lowest and highest note to play, in Hz or as C2:C6 (default 65Hz:1047Hz)",
    )
    parser.add_argument(
        "--reach", default="5cm:50cm", metavar="NEAR:FAR", help="nearest and farthest hand distance (default 5cm:50cm)"
    )
    parser.add_argument(
        "--fill",
        default="60 %",
        metavar="SHARE",
        help="share of that reach that the notes must fill at least (default 60 %%)",
    )


def add_shelf_options(parser: ArgumentParser) -> None:
    """Declare what parts there are to build with."""
    group = parser.add_argument_group("parts at hand, in place of any that are sold")
    group.add_argument("--own", metavar="CHOKES", help='chokes for the series inductor, such as "4x 10 mH, 2x 22 mH"')
    group.add_argument("--own-coils", metavar="L,L,...", help='coils for the tanks, such as "1 mH, 2.2 mH"')
    group.add_argument("--own-capacitors", metavar="C,C,...", help='capacitors for the tanks, such as "100 pF, 220 pF"')
    group.add_argument(
        "--series", default="E24", help="preferred values of IEC 60063 to buy from: E3 to E192 (default E24)"
    )


def shelf_of(arguments: Namespace) -> Shelf:
    """The parts at hand that the options of `add_shelf_options` name."""
    from models.preferred_values import SERIES
    from models.straight.shelf import Shelf

    def values(option: str, text: str | None, unit: str, low: float, high: float) -> tuple[float, ...]:
        return tuple(within(option, word.strip(), unit, low, high) for word in (text or "").split(",") if word.strip())

    chokes = []
    for word in filter(None, (part.strip() for part in (arguments.own or "").split(","))):
        found = re.fullmatch(r"(\d{1,2})\s*[xX*]\s*(.+)", word)
        if found is None or not 1 <= int(found[1]) <= MOST_CHOKES:
            raise DesignError(f'--own {word}: begin with how many there are, 1 to {MOST_CHOKES}, as in "4x 10 mH"')
        chokes.append((within("--own", found[2], "H", 1e-4, 1.0), int(found[1])))
    return Shelf(
        chosen("--series", arguments.series, SERIES) or "E24",
        values("--own-coils", arguments.own_coils, "H", 0.1e-3, 10e-3),
        tuple(chokes),
        values("--own-capacitors", arguments.own_capacitors, "F", 1e-12, 1e-7),
    )


def whole_number(low: int, high: int) -> Callable[[str], int]:
    """The type of an option that is a whole number from `low` to `high`."""

    def read(text: str) -> int:
        try:
            value = int(text)
        except ValueError:
            value = low - 1
        if not low <= value <= high:
            raise ArgumentTypeError(f"must be a whole number from {low} to {high}; got {text!r}")
        return value

    return read


def add_seed_option(parser: ArgumentParser, of: str) -> None:
    """Declare --seed, whose same number gives the same chance again; `seed_of` checks it."""
    parser.add_argument(
        "--seed",
        type=int,
        default=1,
        metavar="N",
        help=f"seed of {of}: the same number gives the same again (default 1)",
    )


def seed_of(arguments: Namespace) -> int:
    """The seed that is given; DesignError if it is below zero."""
    from synth.errors import DesignError

    seed = int(arguments.seed)
    if not 0 <= seed < 2**63:
        raise DesignError(f"--seed {seed}: must be a whole number from 0 to 2^63 - 1")
    return seed


ONE_DESIGN = "a design: its file (TOML), or the name of one that comes with Beatfield, such as meadow"


def add_design(parser: ArgumentParser, more: str = "") -> None:
    """Declare the one design of a command; `more` is said of it in the help."""
    parser.add_argument("design", metavar="DESIGN", help=ONE_DESIGN + more)


def add_designs(parser: ArgumentParser) -> None:
    """Declare the designs of a command that takes any number of them."""
    parser.add_argument(
        "designs", metavar="DESIGN", nargs="*", help="designs, by their files or names; left out: the built-in one"
    )


def opened_designs(names: Sequence[str]) -> list[OpenedDesign]:
    """The designs of these names, or the built-in one."""
    from synth.build.workbench import open_design, open_loaded
    from synth.designs.template import template_design
    from synth.progress_line import ProgressLine

    with ProgressLine("solving the designs") as line:
        return [open_design(name) for name in line.each(names)] or [open_loaded(template_design())]


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
    group.add_argument("--transpose", type=int, metavar="N", help="play it N semitones higher, -60 to 60 (default 0)")
    group.add_argument(
        "--tremor-mm",
        type=float,
        metavar="X",
        help="tremor of the hand, RMS in mm (default: your own hand's, else 0.05)",
    )
    group.add_argument(
        "--placement-mm",
        type=float,
        metavar="X",
        help="error of each place, RMS in mm (default: your own hand's, else 3)",
    )
    group.add_argument("--vibrato-mm", type=float, metavar="X", help="vibrato, mm each way (default 0)")
    group.add_argument("--portamento", type=float, metavar="S", help="time of a slide between notes, s (default 0.12)")
    group.add_argument(
        "--track", type=int, metavar="N", help="track of a MIDI file, counted from 1 (default: the first with notes)"
    )
    group.add_argument("--channel", type=int, metavar="N", help="channel of a MIDI file, 1 to 16 (default: all but 10)")


def given_tune_options(arguments: Namespace) -> list[str]:
    """The options of a tune that were given, as written on the command line."""
    return [f"--{name.replace('_', '-')}" for name in NAMES if getattr(arguments, name) is not None]


def tune_of(arguments: Namespace, path: str) -> Tune:
    """The tune in the file `path`, transposed as asked."""
    from synth.analysis.tune import load_tune

    return load_tune(path, arguments.track, arguments.channel).transposed(arguments.transpose or 0)


def manner_of(arguments: Namespace, hand: OwnHand | None = None) -> Manner:
    """How the person plays; what is not given is that of the `hand`, where it was measured, or assumed.

    DesignError names what is out of its domain.
    """
    from synth.errors import DesignError
    from synth.hands.tune_path import LARGEST, Manner

    given: dict[str, float] = {} if hand is None else manner_of_hand(hand)
    for option, name, scale, unit in SCALED:
        value = getattr(arguments, option)
        if value is None:
            continue
        most = LARGEST[name] / scale
        if not 0.0 <= value <= most:
            raise DesignError(f"--{option.replace('_', '-')} {value:g}: must be between 0 and {most:g} {unit}")
        given[name] = value * scale
    return Manner(**given, seed=seed_of(arguments))


def manner_of_hand(hand: OwnHand) -> dict[str, float]:
    """Placement and, where it was seen, tremor of a measured hand, within what a manner takes."""
    from synth.hands.tune_path import LARGEST

    found = {"placement": hand.scatter} | ({} if hand.tremor is None else {"tremor": hand.tremor})
    return {name: min(value, LARGEST[name]) for name, value in found.items()}

"""`beatfield compare A B ...`: any number of designs in one table and one plot, and the same hand through each."""

from __future__ import annotations

from argparse import ArgumentParser, Namespace
from typing import TYPE_CHECKING

from synth.commands.options import add_seed_option, seed_of
from synth.commands.outputs import SOUND, Written, add_output_options

if TYPE_CHECKING:
    from synth.analysis.compare_figures import CompareFigures
    from synth.build.workbench import OpenedDesign


def add_arguments(parser: ArgumentParser) -> None:
    """Declare the command's arguments."""
    parser.add_argument("designs", metavar="DESIGN", nargs="+", help="designs, by their files or names, two or more")
    parser.add_argument(
        "--range",
        default="65Hz:1047Hz",
        metavar="LOW:HIGH",
        help="lowest and highest note that all are judged by, in Hz or as C2:C6 (default 65Hz:1047Hz)",
    )
    parser.add_argument(
        "--gesture", metavar="NAME", help="gesture of the hand: sweep (default), scale, vibrato or still"
    )
    parser.add_argument(
        "--seconds",
        type=float,
        metavar="S",
        help="length of the gesture, 1 to 600 s (default: sweep 8, scale 10, vibrato 6, still 4)",
    )
    add_seed_option(parser, "the hand's tremor")
    sound = parser.add_mutually_exclusive_group()
    sound.add_argument(
        "-o",
        "--output",
        metavar="FILE",
        action=Written,
        kind=SOUND,
        help="write one sound file, .wav or .flac, with n pips before the n-th design",
    )
    sound.add_argument("--separate", metavar="FOLDER", help="write one sound file for each design into this folder")
    parser.add_argument(
        "--rate", type=int, default=48000, metavar="HZ", help="sample rate in Hz, 8000 to 192000 (default 48000)"
    )
    add_output_options(parser, "the table")


def run(arguments: Namespace) -> int:
    """Open the designs, render them if wanted, and write the reports."""
    from synth.analysis.compare_figures import compare_figures
    from synth.commands.options import chosen, note_range, opened_designs
    from synth.errors import DesignError
    from synth.hands.gestures import GESTURES
    from synth.progress_line import ProgressLine
    from synth.report.compare import COMPARE

    if len(arguments.designs) < 2:
        raise DesignError("name two designs or more to compare")
    chosen("--gesture", arguments.gesture, tuple(GESTURES))
    if arguments.gesture and not (arguments.output or arguments.separate):
        raise DesignError("--gesture is for sound; add -o FILE.wav or --separate FOLDER")
    low, high = note_range("--range", arguments.range)
    workpieces = opened_designs(arguments.designs)
    with ProgressLine("comparing"):
        figures = compare_figures(workpieces, low, high)
    if arguments.output or arguments.separate:
        figures = _with_sounds(arguments, workpieces, figures)
    COMPARE.write(arguments, figures)
    return 0


def _with_sounds(arguments: Namespace, workpieces: list[OpenedDesign], figures: CompareFigures) -> CompareFigures:
    """Render, match and write the sounds; the figures with their gains and levels."""
    from synth.build.workbench import say
    from synth.files.atomic_file import check_target, make_folder
    from synth.hands.gestures import shared_path
    from synth.progress_line import ProgressLine
    from synth.sound.audio_file import AudioWriter, write_sound
    from synth.sound.level_match import joined, matched, rendered
    from synth.sound.offline import file_comment

    if arguments.output:
        targets = [arguments.output]
    else:
        folder = make_folder(arguments.separate)
        targets = [
            str(folder / f"{number}_{_plain(piece.design.name)}.wav")
            for number, piece in enumerate(workpieces, start=1)
        ]
    for target in targets:  # before the rendering, not after it
        AudioWriter(target, arguments.rate)
        check_target(target, arguments.force)
    path, notice = shared_path(arguments.gesture or "sweep", workpieces, arguments.seconds, seed_of(arguments))
    if notice:
        say(f"note: {notice}")
    with ProgressLine("rendering") as line:
        sounds = matched(rendered(workpieces, path, arguments.rate, line), arguments.rate)
    if arguments.output:
        title = ", ".join(piece.design.name for piece in workpieces)
        comment = "; ".join(file_comment(piece.design) for piece in workpieces)
        write_sound(targets[0], joined(sounds, arguments.rate), arguments.rate, title, comment, arguments.force)
    else:
        for target, piece, sound in zip(targets, workpieces, sounds, strict=True):
            name = piece.design.name
            write_sound(target, sound.samples, arguments.rate, name, file_comment(piece.design), arguments.force)
    say("wrote " + ", ".join(targets))
    return figures.with_levels(sounds)


def _plain(name: str) -> str:
    """A design's name as part of a file name."""
    kept = "".join(letter if letter.isascii() and letter.isalnum() else "_" for letter in name.lower())
    return kept.strip("_")[:40] or "design"

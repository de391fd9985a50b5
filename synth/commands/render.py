"""`beatfield render DESIGN`: a hand path through a design into a sound file."""

from __future__ import annotations

from argparse import ArgumentParser, Namespace
from typing import TYPE_CHECKING

from synth.commands.options import add_design, add_seed_option, add_tune_options, seed_of
from synth.commands.outputs import SOUND, Written, add_force_option

if TYPE_CHECKING:
    from synth.build.workbench import OpenedDesign
    from synth.hands.hand_path import HandPath


def add_arguments(parser: ArgumentParser) -> None:
    """Declare the command's arguments."""
    add_design(parser)
    hand = parser.add_mutually_exclusive_group(required=True)
    hand.add_argument(
        "--hand",
        metavar="TRACE.csv",
        help="play a hand trace, a CSV file with the columns time_s,distance_m[,volume|volume_distance_m]",
    )
    hand.add_argument("--gesture", metavar="NAME", help="play a generated gesture: sweep, scale, vibrato or still")
    hand.add_argument(
        "--tune", metavar="FILE", help="play a tune: a Standard MIDI File or a note list; lark and tide come along"
    )
    parser.add_argument(
        "-o",
        "--output",
        metavar="FILE",
        required=True,
        action=Written,
        kind=SOUND,
        help="the sound file to write, .wav or .flac",
    )
    parser.add_argument(
        "--format", default="pcm24", metavar="FORMAT", help="sample format: pcm16, pcm24 (default) or float"
    )
    parser.add_argument(
        "--rate", type=int, default=48000, metavar="HZ", help="sample rate in Hz, 8000 to 192000 (default 48000)"
    )
    parser.add_argument(
        "--seconds",
        type=float,
        metavar="S",
        help="length of the gesture, 1 to 600 s (default: sweep 8, scale 10, vibrato 6, still 4)",
    )
    add_seed_option(parser, "a tremor and other chance")
    add_tune_options(parser)
    parser.add_argument("--json", action="store_true", help="print what was written as JSON")
    add_force_option(parser)


def run(arguments: Namespace) -> int:
    """Render, and say what was written."""
    from synth.build.workbench import open_design, say
    from synth.commands.options import chosen, given_tune_options
    from synth.errors import DesignError
    from synth.files.plain_text import counted
    from synth.hands.gestures import GESTURES
    from synth.progress_line import ProgressLine
    from synth.report.written import print_json
    from synth.sound.offline import render_file

    chosen("--gesture", arguments.gesture, tuple(GESTURES))
    if not arguments.gesture and arguments.seconds is not None:
        which = "trace" if arguments.hand else "tune"
        raise DesignError(f"--seconds is for a gesture; a {which} has its own length: leave --seconds out")
    if not arguments.tune and (given := given_tune_options(arguments)):
        raise DesignError(f"{given[0]} is for a tune; give --tune FILE, or leave {given[0]} out")
    workpiece = open_design(arguments.design)
    for notice in workpiece.notices:
        say(f"note: {notice}")
    path = _hand_path(arguments, workpiece)
    with ProgressLine("rendering") as line:
        writer = render_file(workpiece, path, arguments.output, arguments.rate, arguments.format, arguments.force, line)
    if arguments.json:
        print_json(
            {
                "schema": "beatfield.render/1",
                "file": str(writer.path),
                "sample_rate_hz": writer.sample_rate,
                "format": writer.subtype,
                "frames": writer.frames,
                "peak": writer.peak,
                "clipped_samples": writer.clipped,
            }
        )
    seconds = writer.frames / writer.sample_rate
    clipped = counted(writer.clipped, "sample")
    say(f"wrote {writer.path}: {seconds:.2f} s, peak {writer.peak:.3f} of full scale, {clipped} clipped")
    return 0


def _hand_path(arguments: Namespace, workpiece: OpenedDesign) -> HandPath:
    """The trace, gesture or tune asked for, kept inside the computed field with a notice."""
    from synth.build.workbench import say
    from synth.hands.gestures import gesture
    from synth.hands.trace_file import load_trace
    from synth.progress_line import ProgressLine

    if arguments.tune:
        return _tune_path(arguments, workpiece)
    if arguments.gesture:
        place = workpiece.design.place
        return gesture(arguments.gesture, workpiece.field, arguments.seconds, seed_of(arguments), place)
    curve = workpiece.instrument.curve
    hands = workpiece.both_hands.get(workpiece.design.player.posture)
    with ProgressLine("reading the trace") as line:
        path, notice = load_trace(arguments.hand, hands, line).held_within(curve.nearest, curve.farthest)
    if notice:
        say(f"note: {arguments.hand}: {notice}")
    return path


def _tune_path(arguments: Namespace, workpiece: OpenedDesign) -> HandPath:
    """The hand that plays the tune, the user's own where it was measured as in `beatfield tune`, with a notice of every
    note out of reach; DesignError if all are.
    """
    from synth.analysis.tune import tune_figures
    from synth.build.workbench import say
    from synth.commands.options import manner_of, tune_of
    from synth.errors import DesignError
    from synth.hands.own_hand_file import own_hand

    hand = own_hand()
    manner, tune = manner_of(arguments, hand), tune_of(arguments, arguments.tune)
    figures, played = tune_figures(workpiece, tune, manner, hand)
    if played is None:
        raise DesignError("\n".join(figures.faults()))
    if figures.own_hand:
        say("note: played with your own hand, as measured: beatfield hand shows it")
    for remark in (*figures.remarks, *figures.faults()):
        say(f"note: {arguments.tune}: {remark}")
    return played.path

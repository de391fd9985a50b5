"""`beatfield hand [TRACE]`: the user's own hand, kept or measured in a trace: reach, scatter, tremor, speed."""

from __future__ import annotations

from argparse import ArgumentParser, Namespace

from synth.commands.outputs import Printed


def add_arguments(parser: ArgumentParser) -> None:
    """Declare the command's arguments."""
    parser.add_argument(
        "trace",
        metavar="TRACE",
        nargs="?",
        help="a trace of the hand (CSV, as the window keeps it); left out: the hand that is kept",
    )
    parser.add_argument("--keep", action="store_true", help="keep the hand measured in TRACE as yours")
    parser.add_argument("--json", action=Printed, help="print the report as JSON")


def run(arguments: Namespace) -> int:
    """Measure a hand, or show the one that is kept."""
    from datetime import datetime
    from pathlib import Path

    from synth.build.workbench import say
    from synth.errors import DesignError, at_place
    from synth.hands.own_hand import measured_hand
    from synth.hands.own_hand_file import hand_file, keep_hand, own_hand
    from synth.hands.trace_file import load_trace
    from synth.progress_line import ProgressLine
    from synth.report.hand import HAND

    arguments.csv = arguments.plot = None
    if arguments.trace is None:
        if arguments.keep:
            raise DesignError("--keep: name the trace that is to be measured: beatfield hand TRACE.csv --keep")
        hand = own_hand()
        if hand is None:
            raise DesignError(
                "no hand is kept yet: press U in beatfield play, or name a trace: beatfield hand TRACE.csv"
            )
    else:
        now = datetime.now().isoformat(timespec="seconds")
        with ProgressLine("reading the trace") as line:
            path = load_trace(arguments.trace, progress=line, pitch_hand_alone=True)
        with ProgressLine("measuring the hand"):
            try:
                hand = measured_hand(path.times, path.distances, Path(arguments.trace).name, now)
            except DesignError as error:
                raise at_place(arguments.trace, error) from None
        if arguments.keep:
            keep_hand(hand_file(), hand)
            say(f"kept as your hand in {hand_file()}")
    HAND.write(arguments, hand)
    return 0

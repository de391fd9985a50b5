"""`beatfield play [DESIGN]`: play a design live; the pointer is the hand."""

from __future__ import annotations

from argparse import ArgumentParser, Namespace


def add_arguments(parser: ArgumentParser) -> None:
    """Declare the command's arguments."""
    parser.add_argument("design", metavar="DESIGN", nargs="?", help="a design file; left out: the built-in design")
    parser.add_argument("--device", help="sound output: index or part of its name (see beatfield devices)")
    parser.add_argument("--latency", default="low", help="low (default), high, or a time such as '20 ms'")
    parser.add_argument("--rate", type=int, default=48000, metavar="HZ", help="sample rate (default 48000)")
    parser.add_argument("--record-dir", metavar="FOLDER", default=".", help="where R records to (default: here)")
    parser.add_argument("--size", metavar="WxH", help="size of the window, e.g. 1280x720")


def run(arguments: Namespace) -> int:
    """Open the window and play until it is closed."""
    from pathlib import Path

    from synth.atomic_file import make_folder
    from synth.designs.template import template_design
    from synth.errors import DesignError
    from synth.offline import file_comment
    from synth.speaker import Speaker
    from synth.window.loop import run as run_window
    from synth.workbench import open_design, open_loaded, say

    workpiece = open_design(Path(arguments.design)) if arguments.design else open_loaded(template_design())
    for notice in workpiece.notices:
        say(f"note: {notice}")
    folder, size = make_folder(Path(arguments.record_dir)), window_size(arguments.size)
    design = workpiece.design
    try:
        speaker = Speaker(
            workpiece.instrument, arguments.device, latency_setting(arguments.latency), arguments.rate,
            title=design.name, comment=file_comment(design),
        )  # fmt: skip
    except ValueError as error:
        raise DesignError(str(error)) from error
    with speaker:
        if speaker.device_error:
            say(f"note: {speaker.device_error}")
        run_window(
            workpiece.instrument, workpiece.field, speaker, design.name,
            record_folder=folder, reference_a=design.tuning.reference_a, antenna_diameter=design.antenna.diameter,
            remarks=workpiece.notices, size=size, volume=workpiece.volume,
            tube_diameter=0.008 if design.volume_antenna is None else design.volume_antenna.tube_diameter,
        )  # fmt: skip
    meters = speaker.meters()
    say(f"played {meters.frames / meters.sample_rate:.1f} s: {meters.underruns} underruns, {meters.late_blocks} late")
    return 0


def latency_setting(text: str) -> float | str:
    """low, high, or a time in everyday notation as s; raise DesignError for anything else."""
    from synth.errors import DesignError
    from synth.quantity import parse

    if text in ("low", "high"):
        return text
    try:
        return parse(text, "s")
    except ValueError as error:
        raise DesignError(f"--latency {text!r}: give low, high or a time such as '20 ms' ({error})") from error


def window_size(text: str | None) -> tuple[int, int]:
    """The size of the window, pixels, from "1280x720"; the usual one for None; raise DesignError otherwise."""
    from synth.errors import DesignError
    from synth.window.screen import FIRST_SIZE

    if text is None:
        return FIRST_SIZE
    width, _, height = text.partition("x")
    if not (width.isdecimal() and height.isdecimal() and 320 <= int(width) <= 8192 and 200 <= int(height) <= 8192):
        raise DesignError(f"--size {text!r}: give width x height in pixels, e.g. 1280x720")
    return int(width), int(height)

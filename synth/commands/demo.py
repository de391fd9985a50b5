"""`beatfield demo [FOLDER]`: the built-in design as WAV, plot and report; needs no sound device and no screen."""

from __future__ import annotations

from argparse import ArgumentParser, Namespace

DEFAULT_FOLDER = "beatfield-demo"


def add_arguments(parser: ArgumentParser) -> None:
    """Declare the command's arguments."""
    parser.add_argument(
        "folder",
        metavar="FOLDER",
        nargs="?",
        default=DEFAULT_FOLDER,
        help=f"the folder to write into (default {DEFAULT_FOLDER}); demo files in it are replaced",
    )


def run(arguments: Namespace) -> int:
    """Write the demo's files and say how to go on."""
    from pathlib import Path

    from synth.analysis.field_figures import field_figures
    from synth.build.workbench import open_design, say
    from synth.designs.template import template_text
    from synth.files.atomic_file import make_folder, write_text
    from synth.hands.gestures import gesture
    from synth.progress_line import ProgressLine
    from synth.report.field import field_text, save_field_plot
    from synth.sound.offline import render_file

    folder = make_folder(Path(arguments.folder))
    design_path = folder / "demo.toml"
    write_text(design_path, template_text(), force=True)
    workpiece = open_design(design_path)
    with ProgressLine("solving and drawing"):
        figures = field_figures(workpiece)
        write_text(folder / "demo.txt", field_text(figures), force=True)
        save_field_plot(figures, str(folder / "demo.png"), force=True)
    with ProgressLine("rendering") as line:
        render_file(workpiece, gesture("scale", workpiece.field), folder / "demo.wav", force=True, progress=line)
    say(f"wrote into {folder.resolve()}:")
    for name, what in (
        ("demo.toml", "the design, with comments"),
        ("demo.wav", "a scale played on it"),
        ("demo.png", "its pitch field"),
        ("demo.txt", "the figures"),
    ):
        say(f"  {name:<11}{what}")
    say("Play it live (pointer = hand; start with the volume low):")
    say("  beatfield play            or, from a clone: .venv/bin/beatfield play")
    return 0

"""`beatfield choose DESIGN --target-frequency F`: tank and trimmer values in preferred values, worst case."""

from __future__ import annotations

from argparse import ArgumentParser, Namespace

from synth.commands.options import add_design
from synth.commands.outputs import add_output_options

LIMITS = (  # option, what stands for its value, default, help
    ("inductor-tolerance", "LIMIT", "5 %", "tolerance of the tank's coil, either way"),
    ("capacitor-tolerance", "LIMIT", "5 %", "tolerance of the fixed capacitor, either way"),
    ("trimmer-tolerance", "LIMIT", "10 %", "tolerance of both ends of the trimmer, either way"),
    ("trimmer-share", "SHARE", "0.2", "smallest capacitance of a trimmer over its largest"),
    (
        "stray-spread",
        "C",
        None,
        "spread of the board stray, either way (default: half the usual range of the board, else 5 pF)",
    ),
    ("junction-spread", "C", "2 pF", "spread of the transistor's capacitance, either way"),
    ("antenna-spread", "C", "1 pF", "spread of the antenna's capacitance, either way; variable oscillator only"),
    ("branch-tolerance", "LIMIT", "5 %", "tolerance of the series inductor, either way; variable oscillator only"),
)


def add_arguments(parser: ArgumentParser) -> None:
    """Declare the command's arguments."""
    add_design(parser)
    parser.add_argument(
        "--target-frequency",
        metavar="F",
        required=True,
        help='the frequency that the tank must reach, such as "250 kHz"',
    )
    parser.add_argument(
        "--which",
        choices=("reference", "variable"),
        default="reference",
        help="the oscillator to choose for (default: reference)",
    )
    parser.add_argument("--series", default="E12", help="IEC 60063 series of the capacitor, E3 to E192 (default: E12)")
    parser.add_argument(
        "--trimmer-series", default="E6", metavar="SERIES", help="the same of the trimmer's largest value (default: E6)"
    )
    parser.add_argument(
        "--inductors",
        metavar="L,L,...",
        help="inductances of coils to choose from, such as 680uH,1mH (default: the design's)",
    )
    for option, metavar, default, what in LIMITS:
        shown = "" if default is None else f" (default: {default})".replace("%", "%%")
        parser.add_argument(f"--{option}", metavar=metavar, default=default, help=f"{what}{shown}")
    add_output_options(parser, "the choices", "what each trimmer covers")


def run(arguments: Namespace) -> int:
    """Choose and report; exit code 3 where nothing reaches the target in every build, 130 after Ctrl-C."""
    from pathlib import Path

    from models.preferred_values import SERIES
    from synth.analysis.choose_figures import Limits, choose_figures, tank_goals
    from synth.build.workbench import OpenedDesign
    from synth.commands.options import chosen, frequency_of, quantity_of, within
    from synth.designs.design_file import load_design
    from synth.errors import EXIT_GOAL_MISSED, EXIT_INTERRUPTED, EXIT_OK
    from synth.progress_line import ProgressLine
    from synth.report.choose import CHOOSE

    def ratio(option: str, text: str, unit: str = "percent") -> float:
        return within(option, text, unit, 0.0, 0.9)

    def spread(option: str, text: str | None) -> float | None:
        return quantity_of(option, text, "F", 0.0, 1e-9)

    limits = Limits(
        inductor=ratio("--inductor-tolerance", arguments.inductor_tolerance),
        capacitor=ratio("--capacitor-tolerance", arguments.capacitor_tolerance),
        trimmer=ratio("--trimmer-tolerance", arguments.trimmer_tolerance),
        trimmer_share=ratio("--trimmer-share", arguments.trimmer_share, "fraction"),
        stray=spread("--stray-spread", arguments.stray_spread),
        junction=spread("--junction-spread", arguments.junction_spread) or 0.0,
        antenna=spread("--antenna-spread", arguments.antenna_spread) or 0.0,
        branch=ratio("--branch-tolerance", arguments.branch_tolerance),
    )
    target = frequency_of("--target-frequency", arguments.target_frequency) or 0.0
    series = chosen("--series", arguments.series, SERIES) or "E12"
    trimmers = chosen("--trimmer-series", arguments.trimmer_series, SERIES) or "E6"
    words = arguments.inductors.split(",") if arguments.inductors else []
    listed = [quantity_of("--inductors", word.strip(), "H", 1e-6, 1.0) for word in words]
    opened = OpenedDesign(load_design(Path(arguments.design)))
    inductances = tuple(coil for coil in listed if coil is not None)
    with ProgressLine("choosing") as line:
        found = tank_goals(opened, arguments.which, target, limits, inductances, line)
        figures = choose_figures(opened.design, arguments.which, found, series, trimmers)
    CHOOSE.write(arguments, figures)
    if found.interrupted:
        return EXIT_INTERRUPTED
    return EXIT_OK if figures.reached else EXIT_GOAL_MISSED

"""`beatfield choose DESIGN --target-frequency F`: tank and trimmer values in preferred values, worst case."""

from __future__ import annotations

from argparse import ArgumentParser, Namespace

from synth.commands.outputs import add_output_options


def add_arguments(parser: ArgumentParser) -> None:
    """Declare the command's arguments."""
    parser.add_argument("design", metavar="DESIGN", help="a design file (TOML)")
    parser.add_argument("--target-frequency", metavar="F", required=True, help='what the tank must reach, "250 kHz"')
    parser.add_argument("--which", choices=("reference", "variable"), default="reference", help="which oscillator")
    parser.add_argument("--series", default="E12", help="IEC 60063 series of the capacitor (default: E12)")
    parser.add_argument("--trimmer-series", default="E6", help="series of the trimmer's largest value (default: E6)")
    parser.add_argument("--inductors", metavar="L,L,...", help="inductances to choose from (default: the design's)")
    parser.add_argument("--inductor-tolerance", metavar="LIMIT", default="5 %", help="either way (default: 5 %%)")
    parser.add_argument("--capacitor-tolerance", metavar="LIMIT", default="5 %", help="either way (default: 5 %%)")
    parser.add_argument(
        "--trimmer-tolerance", metavar="LIMIT", default="10 %", help="of both its ends, either way (default: 10 %%)"
    )
    parser.add_argument(
        "--trimmer-share",
        metavar="SHARE",
        default="0.2",
        help="least over largest capacitance of a trimmer (default: 0.2)",
    )
    parser.add_argument(
        "--stray-spread",
        metavar="C",
        help="of the stray, either way (default: half the usual range of the design's board, else 5 pF)",
    )
    parser.add_argument("--junction-spread", metavar="C", default="2 pF", help="either way (default: 2 pF)")
    parser.add_argument(
        "--antenna-spread", metavar="C", default="1 pF", help="variable oscillator only, either way (default: 1 pF)"
    )
    parser.add_argument(
        "--branch-tolerance",
        metavar="LIMIT",
        default="5 %",
        help="of the series inductor, variable oscillator only (default: 5 %%)",
    )
    add_output_options(parser, "the choices", "what each trimmer covers")


def run(arguments: Namespace) -> int:
    """Choose and report; exit code 3 where nothing reaches the target in every build."""
    from pathlib import Path

    from models.preferred_values import SERIES
    from synth.analysis.choose_figures import Limits, choose_figures, tank_goal
    from synth.build.workbench import OpenedDesign
    from synth.commands.options import chosen, frequency_of, quantity_of, within
    from synth.designs.design_file import load_design
    from synth.errors import EXIT_GOAL_MISSED, EXIT_OK
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
    found = tank_goal(opened, arguments.which, target, limits)
    inductances = tuple(coil for coil in listed if coil is not None) or (found.inductance,)
    figures = choose_figures(opened.design, arguments.which, found, inductances, series, trimmers)
    CHOOSE.write(arguments, figures)
    return EXIT_OK if figures.reached else EXIT_GOAL_MISSED

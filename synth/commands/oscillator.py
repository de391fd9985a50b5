"""`beatfield oscillator DESIGN`: one oscillator on the bench, as text, JSON, plot and start-up transient."""

from __future__ import annotations

from argparse import ArgumentParser, Namespace

from synth.commands.outputs import Printed, Written, add_force_option, add_plot_option


def add_arguments(parser: ArgumentParser) -> None:
    """Declare the command's arguments."""
    parser.add_argument("design", metavar="DESIGN", help="a design file (TOML)")
    parser.add_argument(
        "--which",
        choices=("reference", "variable", "volume"),
        default="reference",
        help="the oscillator to read (default: reference)",
    )
    parser.add_argument("--pot", metavar="0..1", help="position of its fine-tune pot, in place of the design's")
    parser.add_argument("--load", metavar="LOAD", help='resistance behind its output resistor, e.g. 47k, or "none"')
    parser.add_argument("--json", action=Printed, help="print the readings as JSON")
    add_plot_option(parser, "start-up, a steady cycle and the pot")
    parser.add_argument(
        "--trace",
        "--transient",
        dest="transient",
        metavar="FILE",
        action=Written,
        or_stdout=True,
        help="write the start-up transient as CSV (- for stdout)",
    )
    add_force_option(parser)


def run(arguments: Namespace) -> int:
    """Read the oscillator and write what is asked for."""
    import sys
    from dataclasses import replace
    from pathlib import Path

    from synth.analysis.oscillator import oscillator_figures, pot_curve, prepared_oscillator, steady
    from synth.analysis.start_up import start_up
    from synth.build.workbench import say
    from synth.commands.options import quantity_of
    from synth.designs.design_file import load_design
    from synth.report.oscillator import OSCILLATOR, start_up_csv
    from synth.report.written import print_json, write_text

    pot = quantity_of("--pot", arguments.pot, "fraction", 0.0, 1.0)
    prepared = prepared_oscillator(load_design(Path(arguments.design)), arguments.which, pot, arguments.load)
    state = steady(prepared)
    record = None
    if arguments.plot or arguments.transient:
        record, remark = start_up(state, say)
        if remark is not None:
            prepared = replace(prepared, notices=(*prepared.notices, remark))
    figures = oscillator_figures(prepared, state, record)
    if record is not None and arguments.transient:
        write_text(start_up_csv(record, state), arguments.transient, arguments.force)
    if record is not None and arguments.plot:
        from synth.report.oscillator import save_oscillator_plot

        curve = pot_curve(prepared.circuit, state)
        save_oscillator_plot(figures, state, record, curve, arguments.plot, force=arguments.force)
        say(f"wrote {arguments.plot}")
    if arguments.json:
        print_json(OSCILLATOR.document(figures))
    elif arguments.transient != "-":
        sys.stdout.write(OSCILLATOR.text(figures))
    return 0

"""`beatfield fit MEASUREMENTS.csv`: inductance and strays from frequencies read on the bench."""

from __future__ import annotations

from argparse import ArgumentParser, Namespace

from synth.commands.outputs import Written, add_output_options


def add_arguments(parser: ArgumentParser) -> None:
    """Declare the command's arguments."""
    parser.add_argument(
        "measurements",
        metavar="MEASUREMENTS.csv",
        help="the readings, a CSV file whose header names the columns: fitted_capacitor, frequency and, where they "
        "were set or read, trimmer, fine_trimmer, hand_distance, pitch, oscillator, board, pot, supply, load, probe, "
        "reverse_voltage, dc_base (or another end of the device), swing, control (volts behind the volume side's "
        "resonance); its cells are such as '100 pF' or '231.4 kHz', and 'none' as the board is the coil alone; lines "
        "that begin with # are remarks",
    )
    parser.add_argument(
        "--design",
        metavar="DESIGN",
        help="the design the readings are of: its antenna and branch are used, and -o keeps the rest of it",
    )
    parser.add_argument(
        "--which",
        choices=("reference", "variable"),
        help="oscillator of lines that name none (default: variable if an antenna was plugged, else reference)",
    )
    parser.add_argument(
        "--counter-error",
        metavar="LIMIT",
        default="0.01 %",
        help='95 %% limit of the counter, "0.01 %%" or "5 Hz" (default: 0.01 %%)',
    )
    parser.add_argument(
        "--capacitor-tolerance",
        metavar="LIMIT",
        default="1 %",
        help='tolerance of the fitted capacitors, either way (default: "1 %%")',
    )
    parser.add_argument(
        "--hand-error",
        metavar="LIMIT",
        default="1 mm",
        help='95 %% limit of the hand distances (default: "1 mm")',
    )
    parser.add_argument(
        "--known",
        metavar="NAME=VALUE[,LIMIT]",
        action="append",
        default=[],
        help="a value known beforehand, with its 95 %% limit, such as 'stray=12 pF,2 pF'; may be given several times",
    )
    parser.add_argument(
        "--board",
        metavar="KIND",
        help="board that was read, to judge its stray by: solderless breadboard, perfboard or etched board",
    )
    parser.add_argument(
        "--target-frequency",
        metavar="F",
        help="say which preferred value of the fitted capacitor reaches this frequency",
    )
    parser.add_argument("--series", default="E12", help="IEC 60063 series of that capacitor, E3 to E192 (default: E12)")
    parser.add_argument("--other-board", metavar="KIND", help="say what changes on another of these boards")
    parser.add_argument(
        "-o", "--output", metavar="FITTED.toml", action=Written, help="write the result as a design file"
    )
    add_output_options(parser, "readings, fit and residuals", "readings and residuals")


def run(arguments: Namespace) -> int:
    """Read, fit, report; write the design and the plot if asked."""
    from pathlib import Path

    from models.preferred_values import SERIES
    from models.stray import BOARDS
    from synth.analysis.fit_design import fitted_design
    from synth.analysis.fit_figures import fit_figures
    from synth.analysis.fit_slips import refuse_contradictions
    from synth.analysis.fit_target import Wish, chosen_reach
    from synth.analysis.fit_unknowns import errors_of, known_of
    from synth.analysis.fitting import solved_bench
    from synth.analysis.readings import load_readings
    from synth.analysis.retuning import retuning
    from synth.build.workbench import say
    from synth.commands.options import chosen, frequency_of
    from synth.designs.design_file import design_source, read_design
    from synth.designs.edited import edited_text
    from synth.errors import EXIT_INTERRUPTED, EXIT_OK
    from synth.files.atomic_file import write_text
    from synth.files.plain_text import one_line
    from synth.progress_line import ProgressLine
    from synth.report.fit import FIT

    boards = tuple(BOARDS)
    wish = Wish(
        target_hz=frequency_of("--target-frequency", arguments.target_frequency),
        series=chosen("--series", arguments.series, SERIES) or "E12",
        board=chosen("--board", arguments.board, boards),
        other_board=chosen("--other-board", arguments.other_board, boards),
    )
    errors = errors_of(arguments.counter_error, arguments.capacitor_tolerance, arguments.hand_error)
    known = known_of(arguments.known)
    source = design_source(arguments.design) if arguments.design else None
    design = None if source is None else read_design(source, arguments.design)
    readings = load_readings(Path(arguments.measurements))
    with ProgressLine("fitting"):
        bench = solved_bench(readings, errors, known, design, arguments.which)
        refuse_contradictions(bench)
        figures = fit_figures(bench, one_line(Path(arguments.measurements).name), wish)
    if arguments.output:
        fitted = fitted_design(bench, chosen_reach(bench, wish))
        write_text(arguments.output, edited_text(source or "", design, fitted.design), arguments.force)
        for notice in (*fitted.notices, *retuning(bench, fitted.design)):
            say(f"note: {notice}")
        say(f"wrote {arguments.output}")
    FIT.write(arguments, figures)
    return EXIT_INTERRUPTED if bench.interrupted else EXIT_OK

"""`beatfield plan FILE`: from wishes to a whole commented design, and what limits it."""

from __future__ import annotations

from argparse import ArgumentParser, Namespace

from synth.commands.options import add_notes_options, add_seed_option, add_shelf_options, seed_of
from synth.commands.outputs import add_force_option
from synth.designs.circuit_templates import CIRCUITS as CIRCUIT_NAMES


def add_arguments(parser: ArgumentParser) -> None:
    """Declare the command's arguments."""
    parser.add_argument("file", metavar="FILE", help="the design file to write, e.g. mine.toml")
    add_notes_options(parser)
    parser.add_argument("--supply", metavar="V", help="voltage of the supply (default: what the circuit is drawn for)")
    parser.add_argument(
        "--board",
        default="perfboard",
        metavar="KIND",
        help="what it is built on: perfboard (default), solderless breadboard or etched board",
    )
    parser.add_argument(
        "--circuit",
        default="common-base",
        metavar="NAME",
        help=f"circuit of the oscillators (default common-base): {', '.join(CIRCUIT_NAMES)}",
    )
    parser.add_argument(
        "--antenna",
        default="rod",
        metavar="FORM",
        help="form of the pitch antenna: rod (default), telescopic, wire, plate or ring",
    )
    parser.add_argument("--no-volume", action="store_true", help="plan it without a volume antenna")
    parser.add_argument(
        "--current-gain",
        type=float,
        metavar="N",
        help="current gain of your transistors as a meter reads it, 1 to 10000 (default: that of the circuit)",
    )
    add_shelf_options(parser)
    parser.add_argument("--name", default="Plan", help="name of the design (default Plan)")
    add_seed_option(parser, "the search and the builds")
    parser.add_argument("--json", action="store_true", help="print the report as JSON")
    add_force_option(parser)


def run(arguments: Namespace) -> int:
    """Plan, write the design and report: exit code 3 where it does not play at a corner that a player meets, 130 after
    Ctrl-C, then with the best that was found.
    """
    from models.stray import BOARDS
    from synth.analysis.linearise import Wishes
    from synth.analysis.plan import PlanWishes, make_design, usual_supply
    from synth.analysis.plan_figures import plan_figures
    from synth.beside import Beside
    from synth.build.workbench import say
    from synth.commands.options import chosen, note_range, pair, shelf_of, within
    from synth.designs.scene_sections import ANTENNA_FORMS
    from synth.errors import EXIT_GOAL_MISSED, EXIT_INTERRUPTED, EXIT_OK, DesignError
    from synth.files.atomic_file import check_target, write_text
    from synth.progress_line import ProgressLine
    from synth.report.plan import PLAN

    gain = arguments.current_gain
    if gain is not None and not 1.0 <= gain <= 1e4:
        raise DesignError(f"--current-gain {gain:g}: must be between 1 and 10000")
    search = Wishes(
        *note_range("--range", arguments.range),
        *pair("--reach", arguments.reach, "m"),
        within("--fill", arguments.fill, "percent", 0.05, 1.0),
        shelf_of(arguments),
        seed=seed_of(arguments),
    )
    circuit = chosen("--circuit", arguments.circuit, tuple(CIRCUIT_NAMES)) or ""
    asked = PlanWishes(
        search,
        circuit,
        usual_supply(circuit) if arguments.supply is None else within("--supply", arguments.supply, "V", 0.5, 100.0),
        chosen("--board", arguments.board, tuple(BOARDS)) or "",
        chosen("--antenna", arguments.antenna, ANTENNA_FORMS) or "",
        gain,
        not arguments.no_volume,
        arguments.name,
    )
    check_target(arguments.file, arguments.force)
    if CIRCUIT_NAMES[circuit].caution:
        say("CAUTION: " + CIRCUIT_NAMES[circuit].caution.replace("\n# ", " "))
    try:
        with Beside() as beside, ProgressLine("planning") as line:
            plan = make_design(asked, line, beside.shared_out)
    except KeyboardInterrupt:
        say(f"{arguments.file} is not written: the search had found no design yet")
        raise
    write_text(arguments.file, plan.text, arguments.force)
    say(f"wrote {arguments.file}; next: beatfield field {arguments.file}, beatfield sheet {arguments.file}")
    figures = plan_figures(plan)
    PLAN.write(arguments, figures)
    if figures.interrupted:
        return EXIT_INTERRUPTED
    return EXIT_OK if all(met.plays for met in figures.corners if met.for_notes) else EXIT_GOAL_MISSED

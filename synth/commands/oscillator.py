"""`beatfield oscillator DESIGN`: one oscillator on the bench, as text, JSON, plot and start-up transient.

One that does not settle is shown as well: what it does, how long its bursts are, its plot; the exit code is 2.
"""

from __future__ import annotations

from argparse import ArgumentParser, Namespace
from typing import TYPE_CHECKING

from synth.commands.options import add_design
from synth.commands.outputs import PLOT, Printed, Written, add_force_option, add_plot_option

if TYPE_CHECKING:
    from synth.analysis.oscillator import BenchSetting
    from synth.beside import Beside
    from synth.designs.sections import Design


def add_arguments(parser: ArgumentParser) -> None:
    """Declare the command's arguments."""
    add_design(parser)
    parser.add_argument(
        "--which",
        choices=("reference", "variable", "volume", "mixer"),
        default="reference",
        help="the oscillator to read, or the mixer that [detector.parts] draws (default: reference)",
    )
    parser.add_argument("--pot", metavar="0..1", help="position of its fine-tune pot, 0 to 1 (default: the design's)")
    parser.add_argument(
        "--load",
        metavar="LOAD",
        help='resistance behind its output resistor, such as 47k, or "none" (default: the design\'s)',
    )
    parser.add_argument(
        "--fitted",
        metavar="C",
        help="fixed capacitor in place of the design's, such as '100 pF'; the reference is then not tuned",
    )
    parser.add_argument(
        "--trimmer",
        metavar="0..1",
        help="position of its trimmer in place of the design's, 0 to 1; the reference is then not tuned",
    )
    parser.add_argument(
        "--hand",
        metavar="D",
        help='hand distance of the variable oscillator, "away", or "unplugged" (default: zero beat)',
    )
    parser.add_argument("--json", action=Printed, help="print the readings as JSON")
    add_plot_option(parser, "start-up, a steady cycle and the pot")
    parser.add_argument(
        "--diagram",
        metavar="FILE",
        action=Written,
        kind=PLOT,
        help="write the circuit diagram, with what to read at each node, as PNG or SVG",
    )
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
    from contextlib import ExitStack

    with ExitStack() as stack:
        drawing = None
        if arguments.plot:
            from synth.report.figure import drawing_beside

            drawing = stack.enter_context(drawing_beside("synth.analysis.oscillator"))
        return _read(arguments, drawing)


def bench_setting(fitted: str | None, trimmer: str | None, hand: str | None) -> BenchSetting:
    """What --fitted, --trimmer and --hand say. Raises DesignError."""
    from synth.analysis.oscillator import AWAY, UNPLUGGED, BenchSetting
    from synth.commands.options import quantity_of

    word = "" if hand is None else hand.strip().lower()
    return BenchSetting(
        quantity_of("--fitted", fitted, "F", 1e-12, 1e-6),
        quantity_of("--trimmer", trimmer, "fraction", 0.0, 1.0),
        word if word in (AWAY, UNPLUGGED) else quantity_of("--hand", hand, "m", 0.005, 5.0),
    )


def _read(arguments: Namespace, drawing: Beside | None) -> int:
    import sys
    from dataclasses import replace
    from pathlib import Path

    from synth.analysis.circuit_points import recorded_nodes
    from synth.analysis.oscillator import (
        AdjustedReading,
        oscillator_figures,
        oscillator_picture,
        pot_picture,
        prepared_oscillator,
        steady,
        switched_on,
        turned_pot,
    )
    from synth.build.workbench import say
    from synth.commands.options import quantity_of
    from synth.designs.design_file import load_design
    from synth.errors import DesignError, at_place
    from synth.progress_line import ProgressLine
    from synth.report.oscillator import OSCILLATOR, start_up_csv
    from synth.report.written import print_json, write_text
    from synth.terminal import shown

    if arguments.which == "mixer":
        return _read_mixer(arguments)
    pot = quantity_of("--pot", arguments.pot, "fraction", 0.0, 1.0)
    setting = bench_setting(arguments.fitted, arguments.trimmer, arguments.hand)
    design = load_design(Path(arguments.design))
    if design.circuit is None:
        return _resonance(arguments, design, setting)
    with ProgressLine("solving the oscillator"):
        prepared = prepared_oscillator(design, arguments.which, pot, arguments.load, setting)
        state = steady(prepared)
    if drawing is not None and state is not None:
        from synth.report.figure import begin_figure
        from synth.report.start_up_plot import STEADY

        drawing.work(turned_pot, prepared.circuit, state)
        drawing.work(begin_figure, STEADY)
    with ProgressLine("following the start-up"):
        run = switched_on(prepared)
    if arguments.transient:
        from synth.analysis.start_up import integrated

        with ProgressLine("integrating") as line:
            try:
                record, remark = integrated(run, say, line)
            except DesignError as error:
                raise at_place(design.place, error) from None
        write_text(start_up_csv(record, recorded_nodes(prepared.circuit)), arguments.transient, arguments.force)
        if remark is not None:
            prepared = replace(prepared, notices=(*prepared.notices, remark))
    if state is None:
        from synth.analysis.start_up import start_up_curves
        from synth.analysis.unsteady import unsteady_figures
        from synth.report.start_up_plot import save_unsteady_plot
        from synth.report.unsteady import UNSTEADY

        unsteady = unsteady_figures(prepared, run)
        document, text = UNSTEADY.document(unsteady), UNSTEADY.text(unsteady)
        if drawing is not None:
            name, which = prepared.design.name, prepared.which
            title = f"{name}, {which} oscillator does not settle: {unsteady.motion_in_words}"
            drawing.work(save_unsteady_plot, title, start_up_curves(run), arguments.plot, arguments.force)
    else:
        turned: tuple[AdjustedReading, ...] = ()
        if drawing is not None:
            from synth.report.start_up_plot import save_oscillator_plot

            with ProgressLine("turning the pot"):
                turned = drawing.worked()
                drawing.worked()
            picture = oscillator_picture(prepared, state, run), pot_picture(prepared, turned)
            drawing.work(save_oscillator_plot, *picture, arguments.plot, arguments.force)
        with ProgressLine("reading the oscillator"):
            figures = oscillator_figures(prepared, state, run, turned)
        document, text = OSCILLATOR.document(figures), OSCILLATOR.text(figures)
    if drawing is not None:
        with ProgressLine("drawing"):
            drawing.worked()
        say(f"wrote {arguments.plot}")
    if arguments.diagram:
        from synth.analysis.circuit_diagram import diagram_of
        from synth.build.circuit_assembly import tap_of
        from synth.report.diagram import save_diagram

        diagram = diagram_of(prepared.circuit, state, tap_of(prepared.design) if prepared.which == "variable" else None)
        save_diagram(diagram, arguments.diagram, arguments.force)
        say(f"wrote {arguments.diagram}" + (f" ({diagram.remark})" if diagram.remark else ""))
    if arguments.json:
        print_json(document)
    elif arguments.transient != "-":
        sys.stdout.write(shown(text, sys.stdout))
    if state is None:
        raise DesignError(
            f"{prepared.design.place}: the {prepared.which} oscillator does not settle: {unsteady.motion_in_words}; "
            f"{unsteady.remedy}"
        )
    return 0


OF_OSCILLATORS = ("pot", "load", "fitted", "trimmer", "hand", "plot", "transient")
"""Options that say nothing of the mixer."""


def _read_mixer(arguments: Namespace) -> int:
    """Read the mixer and write what is asked for."""
    from pathlib import Path

    from synth.analysis.circuit_diagram import mixer_diagram
    from synth.analysis.mixer_figures import stage_figures
    from synth.build.workbench import open_loaded, say
    from synth.designs.design_file import load_design
    from synth.errors import DesignError
    from synth.progress_line import ProgressLine
    from synth.report.diagram import save_diagram
    from synth.report.mixer import STAGE

    for option in OF_OSCILLATORS:
        if getattr(arguments, option) is not None:
            raise DesignError(f"--{option}: belongs to an oscillator; leave it out with --which mixer")
    design = load_design(Path(arguments.design))
    if design.detector.parts is None:
        raise DesignError(f"{design.place}: draws no mixer; add [detector.parts], or read another with --which")
    opened = open_loaded(design)
    with ProgressLine("solving the mixer"):
        figures = stage_figures(opened)
    if arguments.diagram:
        diagram = mixer_diagram(opened)
        save_diagram(diagram, arguments.diagram, arguments.force)
        say(f"wrote {arguments.diagram}" + (f" ({diagram.remark})" if diagram.remark else ""))
    STAGE.write(arguments, figures)
    return 0


def _resonance(arguments: Namespace, design: Design, setting: BenchSetting) -> int:
    """What is known without a circuit; what asks for one is refused."""
    from synth.analysis.oscillator_resonance import resonance_figures
    from synth.errors import DesignError
    from synth.report.oscillator import RESONANCE

    for option in ("pot", "load", "plot", "diagram", "transient"):
        if getattr(arguments, option) is not None:
            raise DesignError(
                f"{arguments.design}: has no [circuit], so that there is nothing for --{option}; add the section (an "
                "empty one takes default parts)"
            )
    RESONANCE.write(arguments, resonance_figures(design, arguments.which, setting))
    return 0

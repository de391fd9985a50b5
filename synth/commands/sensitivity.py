"""`beatfield sensitivity [DESIGN ...]`: what a millimetre, a tremor and a miss do to each note; which design suits."""

from __future__ import annotations

from argparse import ArgumentParser, Namespace

from synth.commands.options import add_designs
from synth.commands.outputs import add_output_options


def add_arguments(parser: ArgumentParser) -> None:
    """Declare the command's arguments."""
    add_designs(parser)
    add_output_options(parser, "the notes", "the plot of one design")


def run(arguments: Namespace) -> int:
    """Open the designs and write the reports asked for."""
    from synth.analysis.sensitivity_figures import sensitivities_figures, sensitivity_figures
    from synth.commands.options import opened_designs
    from synth.errors import DesignError
    from synth.hands.own_hand_file import own_hand
    from synth.progress_line import ProgressLine
    from synth.report.sensitivity import SENSITIVITIES, SENSITIVITY

    if arguments.plot and len(arguments.designs) > 1:
        raise DesignError("--plot draws one design; name one, or leave --plot out")
    hand, opened = own_hand(), opened_designs(arguments.designs)
    if len(opened) == 1:
        with ProgressLine("solving the notes"):
            figures = sensitivity_figures(opened[0], hand)
        SENSITIVITY.write(arguments, figures)
        return 0
    SENSITIVITIES.write(arguments, sensitivities_figures(opened, hand))
    return 0

"""`beatfield benchmark`: Beatfield beside plain ways to the same results, all in one run, as text or JSON."""

from __future__ import annotations

from argparse import ArgumentParser, Namespace

from synth.commands.outputs import print_either
from synth.comparisons.suite import SECTIONS

THREAD_COUNTS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")


def add_arguments(parser: ArgumentParser) -> None:
    """Declare the command's arguments."""
    parser.add_argument("--quick", action="store_true", help="run fewer and shorter cases")
    parser.add_argument(
        "--only",
        metavar="NAME",
        action="append",
        choices=tuple(SECTIONS),
        help="run this comparison alone; may be given several times: "
        + "; ".join(f"{name}: {what}" for name, what in SECTIONS.items()),
    )
    parser.add_argument("--json", action="store_true", help="print the report as JSON")


def run(arguments: Namespace) -> int:
    """Measure and print; exit code 3 where a stated goal is missed."""
    import os

    for name in THREAD_COUNTS:  # before numpy is loaded: one thread, so that ratios do not hang on what else runs
        os.environ.setdefault(name, "1")

    from synth.build.workbench import say
    from synth.comparisons.suite import benchmark_report
    from synth.errors import EXIT_GOAL_MISSED, EXIT_OK
    from synth.progress_line import ProgressLine

    with ProgressLine("comparing") as line:
        report = benchmark_report(arguments.quick, arguments.only or (), say, line)
    print_either(arguments, report.document(), report.text())
    return EXIT_OK if report.goals_met else EXIT_GOAL_MISSED

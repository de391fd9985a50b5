"""`beatfield guide [TOPIC]`: the guide, topic by topic, in the terminal."""

from __future__ import annotations

from argparse import ArgumentParser, Namespace


def add_arguments(parser: ArgumentParser) -> None:
    """Declare the command's arguments."""
    parser.add_argument("topic", metavar="TOPIC", nargs="?", help="what to read; left out: the list of topics")


def run(arguments: Namespace) -> int:
    """Print a topic, page by page on a terminal; without one the list of topics."""
    import sys

    from synth.report.guide import listed, page, shown
    from synth.terminal import paged

    text = listed() if arguments.topic is None else shown(page(arguments.topic), sys.stdout)
    paged(text)
    return 0

"""`beatfield guide [TOPIC]`: the guide, topic by topic, in the terminal."""

from __future__ import annotations

from argparse import ArgumentParser, Namespace


def add_arguments(parser: ArgumentParser) -> None:
    """Declare the command's arguments."""
    parser.add_argument("topic", metavar="TOPIC", nargs="?", help="what to read; left out: the list of topics")


def run(arguments: Namespace) -> int:
    """Print a topic, page by page on a terminal; without one the list of topics."""
    import sys

    from synth import terminal
    from synth.report.guide import listed, page, shown

    topic = arguments.topic
    text = terminal.shown(listed(), sys.stdout) if topic is None else shown(page(topic), sys.stdout)
    terminal.paged(text)
    return 0

"""`beatfield lesson [NAME]`: heterodyning by ear, a script and for each stage a sound and a plot."""

from __future__ import annotations

from argparse import ArgumentParser, Namespace


def add_arguments(parser: ArgumentParser) -> None:
    """Declare the command's arguments."""
    parser.add_argument("name", metavar="NAME", nargs="?", help="the lesson; left out: list them")
    parser.add_argument("-o", "--output", metavar="DIR", help="write lesson.txt, a WAV and a plot per stage into DIR")
    parser.add_argument("--json", action="store_true", help="print the list or the lesson as JSON")
    parser.add_argument("--force", action="store_true", help="replace files that exist")


def run(arguments: Namespace) -> int:
    """List the lessons, or print one and write its files."""
    import sys

    from synth.errors import DesignError
    from synth.lessons.table import LESSONS, build_lesson, checked_name
    from synth.report.output import print_json

    if arguments.name is None:
        if arguments.output:
            raise DesignError("name a lesson to write; `beatfield lesson` lists them")
        if arguments.json:
            print_json({"schema": "beatfield.lessons/1", "lessons": LESSONS})
        else:
            sys.stdout.write("".join(f"{name:<9}{about}\n" for name, about in LESSONS.items()))
        return 0
    checked_name(arguments.name)
    from synth.lessons.bench import open_bench
    from synth.report.lesson_report import lesson_report

    report = lesson_report(build_lesson(arguments.name, open_bench()))
    if arguments.output:
        from synth.lessons.files import write_lesson

        write_lesson(report, arguments.output, arguments.force)
    if arguments.json:
        print_json(report.document())
    else:
        sys.stdout.write(report.text())
    return 0

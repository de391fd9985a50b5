"""`beatfield lesson [NAME]`: heterodyning by ear, a script and for each stage a sound and a plot, or live."""

from __future__ import annotations

from argparse import ArgumentParser, Namespace

from synth.commands.outputs import Written, add_force_option, add_open_option, print_either

PAGE = ".html"


class PageOrFolder(Written):
    """A page to write, or a folder for files, which is looked at once the lesson's stages are known."""

    def check(self, target: str, force: bool) -> None:
        """Raise DesignError where a page cannot be written."""
        if target.lower().endswith(PAGE):
            super().check(target, force)


def add_arguments(parser: ArgumentParser) -> None:
    """Declare the command's arguments."""
    parser.add_argument("name", metavar="NAME", nargs="?", help="the lesson, by its name; left out: list them")
    parser.add_argument(
        "-o",
        "--output",
        metavar="PAGE.html|DIR",
        action=PageOrFolder,
        help="write one page for a browser, or into DIR lesson.txt, a WAV and a plot per stage",
    )
    parser.add_argument("--live", action="store_true", help="open a window and play the lesson with the pointer")
    parser.add_argument(
        "--device", help="sound output of --live, by its index or part of its name (beatfield devices lists them)"
    )
    parser.add_argument(
        "--size", metavar="WxH", help="width and height of the window of --live in pixels (default 1280x720)"
    )
    parser.add_argument("--json", action="store_true", help="print the list or the lesson as JSON")
    add_open_option(parser)
    add_force_option(parser)


def run(arguments: Namespace) -> int:
    """List the lessons, or print one and write its files."""
    from synth.errors import DesignError
    from synth.lessons.table import build_lesson, checked_name, lesson_list

    if arguments.name is None:
        if arguments.output or arguments.live:
            what = "play" if arguments.live else "write"
            raise DesignError(f"name a lesson to {what}; `beatfield lesson` lists them")
        listed = "".join(f"{name:<9}{about}\n" for name, about in lesson_list().items())
        print_either(arguments, {"schema": "beatfield.lessons/1", "lessons": lesson_list()}, listed)
        return 0
    checked_name(arguments.name)
    if arguments.live:
        return _play(arguments)
    from synth.files.atomic_file import write_text
    from synth.lessons.lesson_report import check_folder, lesson_report, write_lesson
    from synth.lessons.setup import open_setup
    from synth.pages.lesson_page import lesson_page
    from synth.progress_line import ProgressLine

    with ProgressLine("measuring the lesson"):
        setup = open_setup()
        lesson = build_lesson(arguments.name, setup)
        page = bool(arguments.output) and arguments.output.lower().endswith(PAGE)
        if arguments.output and not page:
            check_folder(lesson, arguments.output, arguments.force)
        report = lesson_report(lesson)
        if page:
            write_text(arguments.output, lesson_page(report, setup), arguments.force)
        elif arguments.output:
            write_lesson(report, arguments.output, arguments.force)
    print_either(arguments, report.document(), report.text())
    return 0


def _play(arguments: Namespace) -> int:
    """Open the window and play the lesson until it is closed."""
    from synth.build.workbench import say
    from synth.commands.play import window_size
    from synth.errors import DesignError
    from synth.lessons.setup import open_setup
    from synth.lessons.table import live_lesson
    from synth.live.live_sound import LiveSound
    from synth.window.lesson_window import run as run_window

    if arguments.output or arguments.json:
        raise DesignError("--live plays a lesson; leave -o and --json out")
    size = window_size(arguments.size)
    lesson = live_lesson(arguments.name, open_setup())
    with LiveSound(lesson.stages[0].choices[0].source, arguments.device, title=lesson.title) as speaker:
        if speaker.device_error:
            say(f"note: {speaker.device_error}")
        run_window(lesson, speaker, size=size)
    return 0

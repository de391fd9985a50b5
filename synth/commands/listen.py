"""`beatfield listen [FILE.wav]`: pitch heard in a recording or live, and readings of pitch against hand distance."""

from __future__ import annotations

from argparse import ArgumentParser, Namespace
from typing import TYPE_CHECKING

from synth.commands.outputs import SOUND, Written, add_output_options

if TYPE_CHECKING:
    from collections.abc import Sequence

    from synth.analysis.listen_figures import Beating, Clock, Mark, RestFigures
    from synth.live.live_readings import LiveReadings
    from synth.live.sound_input import SoundInput

OF_A_FILE = ("csv", "plot", "json")
OF_LIVE = ("device", "record", "every", "window")
TONES = (20.0, 20e3)  # Hz
LARGEST_PPM = 5000.0
REFRESH = 0.2  # s, between two states of what is heard


def add_arguments(parser: ArgumentParser) -> None:
    """Declare the command's arguments."""
    parser.add_argument(
        "sound", metavar="FILE", nargs="?", help="a recording, WAV or FLAC; without it: the sound input"
    )
    parser.add_argument(
        "--marks", metavar="D,D,...", help='hand distances in order, one for each rest, such as "5cm,10cm,away"'
    )
    parser.add_argument(
        "--readings",
        metavar="FILE",
        action=Written,
        help="write pitch against hand distance as CSV for `beatfield fit`",
    )
    group = parser.add_argument_group("clock and beat")
    group.add_argument(
        "--calibration-tone",
        metavar="F[:READ]",
        help='a true frequency and what this card reads of it, such as "440Hz:440.02Hz"',
    )
    group.add_argument("--oscillator", metavar="F", help="frequency of the other oscillator that yours beats with")
    group.add_argument("--side", metavar="SIDE", help="above or below: where your oscillator lies beside the other")
    group.add_argument(
        "--capacitance", metavar="C", help="whole capacitance of your tank, to tell what is added from rest to rest"
    )
    group.add_argument(
        "--silence",
        metavar="DB",
        type=float,
        default=-60.0,
        help="level below which it is silent, dB of full scale, -120 to 0 (default -60)",
    )
    live = parser.add_argument_group("live")
    live.add_argument(
        "--device", metavar="NAME", help="sound input, by its index or part of its name (beatfield devices lists them)"
    )
    live.add_argument(
        "--every",
        metavar="FIRST:STEP",
        help='first distance and step of the readings: "5cm:2cm" is 5, 7, 9 cm and so on',
    )
    live.add_argument("--record", metavar="FILE", action=Written, kind=SOUND, help="keep the sound, as WAV or FLAC")
    live.add_argument("--window", action="store_true", help="show it in a window, and take readings with its keys")
    live.add_argument("--yes", action="store_true", help="do not ask before listening")
    add_output_options(parser, "pitch against time", "pitch against time")


def run(arguments: Namespace) -> int:
    """Listen, and write what was asked for."""
    from synth.commands.options import within
    from synth.errors import DesignError

    if not -120.0 <= arguments.silence <= 0.0:
        raise DesignError(f"--silence {arguments.silence:g}: must be within -120 and 0 dB of full scale")
    for name in OF_LIVE if arguments.sound else OF_A_FILE:
        if getattr(arguments, name):
            why = "is for live listening" if arguments.sound else "needs a recording: give FILE, or --record one first"
            raise DesignError(f"--{name} {why}")
    if arguments.marks and arguments.every:
        raise DesignError("--marks and --every both name the distances; give one of them")
    tone: list[float] = []
    if arguments.calibration_tone:
        parts = arguments.calibration_tone.split(":")
        if len(parts) > 2:
            raise DesignError("--calibration-tone: write the true frequency, or true and read: 440Hz:440.02Hz")
        tone = [within("--calibration-tone", part, "Hz", *TONES) for part in parts]
    return _of_file(arguments, tone) if arguments.sound else _live(arguments, tone)


def _of_file(arguments: Namespace, tone: Sequence[float]) -> int:
    from synth.analysis.listen_figures import listen_figures, read_clock
    from synth.build.workbench import say
    from synth.errors import DesignError
    from synth.files.plain_text import counted
    from synth.progress_line import ProgressLine
    from synth.report.listen import LISTEN, readings_csv
    from synth.report.written import write_text
    from synth.sound.sound_reader import read_sound

    marks = _marks(arguments)
    if arguments.readings and not marks:
        raise DesignError("--readings needs --marks, the hand distances in the order of the rests")
    samples, rate = read_sound(arguments.sound)
    clock = _clock(tone) if len(tone) == 2 else None
    if len(tone) == 1:
        clock = read_clock(samples, rate, tone[0], arguments.sound)
        say(f"for other recordings by this card: --calibration-tone {clock.stated:.9g}Hz:{clock.read:.9g}Hz")
    with ProgressLine("listening to the recording") as line:
        figures = listen_figures(
            arguments.sound, samples, rate, marks, clock, _beating(arguments), arguments.silence, progress=line
        )
    LISTEN.write(arguments, figures)
    if arguments.readings:
        write_text(readings_csv(figures.rests), arguments.readings, arguments.force)
        say(f"wrote {arguments.readings}: {counted(len(figures.rests), 'reading')} of pitch against hand distance")
    return 0


def _live(arguments: Namespace, tone: Sequence[float]) -> int:
    import sys
    from contextlib import ExitStack, closing
    from pathlib import Path

    from synth.build.workbench import say
    from synth.errors import DesignError
    from synth.files.plain_text import counted, one_line
    from synth.live.live_readings import HELP, LiveReadings, evenly
    from synth.live.recorder import Recorder
    from synth.live.sound_input import SoundInput, choose_input
    from synth.report.listen import readings_csv, rest_lines
    from synth.report.written import write_text
    from synth.terminal import shown

    if len(tone) == 1:
        raise DesignError(
            "--calibration-tone: record the tone, let `beatfield listen FILE --calibration-tone F` read it, and give "
            "both frequencies here: 440Hz:440.02Hz"
        )
    clock, beating = _clock(tone), _beating(arguments)
    marks = iter(_marks(arguments)) if not arguments.every else evenly(*_first_and_step(arguments.every))
    device = choose_input(arguments.device)
    kept = f"the sound goes into {arguments.record}" if arguments.record else "no sound is kept"
    say(f"This listens to the sound input {one_line(device.name)}: {kept}; only readings that you take are written.")
    if not arguments.yes and not _agreed():
        say("not listening")
        return 0

    force = arguments.force

    def keep(rows: Sequence[RestFigures]) -> None:
        nonlocal force
        write_text(readings_csv(rows), arguments.readings, force)
        force = True  # the file is this session's own now

    with ExitStack() as stack:
        each = None
        if arguments.record:
            recorder = Recorder(Path(arguments.record), round(device.sample_rate))
            stack.callback(lambda: say(recorder.finish().notice(round(device.sample_rate))))
            each = recorder.put
        hearing = stack.enter_context(closing(SoundInput(device, each)))
        ratio = 1.0 if clock is None else clock.ratio
        readings = LiveReadings(hearing, marks, ratio, beating, arguments.silence)
        if arguments.readings:
            readings.changed = keep
        if arguments.window:
            from synth.window.listen_page import run as run_page

            run_page(readings, hearing, lost=stack.close)  # so that a recording is finished
        else:
            say(HELP)
            _converse(readings, hearing)
    if readings.rows:
        print(shown("\n".join(rest_lines(readings.rows)), sys.stdout))
    if arguments.readings and readings.rows:
        say(f"wrote {arguments.readings}: {counted(len(readings.rows), 'reading')} of pitch against hand distance")
    return 0


def _agreed() -> bool:
    """Ask before listening; raise DesignError where nobody can answer."""
    import sys

    from synth.errors import DesignError

    if not sys.stdin.isatty():
        raise DesignError("listen asks before it uses the sound input; where nobody can answer, add --yes")
    print("Listen now? [y/N] ", end="", file=sys.stderr, flush=True)
    return sys.stdin.readline().strip().lower() in ("y", "yes")


def _converse(readings: LiveReadings, hearing: SoundInput) -> None:
    """Show what is heard until a typed line, or the end of the typed lines, asks to end."""
    import sys
    import threading
    from queue import Empty, SimpleQueue

    from synth.build.workbench import say
    from synth.errors import DeviceError
    from synth.live.sound_input import INPUT_REMEDY
    from synth.terminal import columns

    typed: SimpleQueue[str] = SimpleQueue()

    def read_lines() -> None:
        for line in sys.stdin:
            typed.put(line)
        typed.put("q")

    threading.Thread(target=read_lines, daemon=True).start()
    while True:
        if sys.stderr.isatty():
            width = (columns(sys.stderr) or 80) - 1  # it must not wrap
            print(f"\r{readings.status()[:width]:<{width}}", end="", file=sys.stderr, flush=True)
        try:
            said = readings.command(typed.get(timeout=REFRESH))
        except Empty:
            if not hearing.running:
                raise DeviceError(f"The sound input has gone. {INPUT_REMEDY}") from None
            continue
        if said is None:
            return
        say(said)


def _marks(arguments: Namespace) -> list[Mark]:
    """The hand distances of --marks."""
    from synth.errors import DesignError
    from synth.live.live_readings import hand_mark

    marks: list[Mark] = []
    for text in arguments.marks.split(",") if arguments.marks else ():
        try:
            marks.append(hand_mark(text))
        except DesignError as error:
            raise DesignError(
                f"--marks {text.strip()}: {error}; write distances with commas between: 5cm,10cm"
            ) from None
    return marks


def _first_and_step(text: str) -> tuple[float, float]:
    """The first distance and the step of --every, m."""
    from synth.commands.options import value
    from synth.errors import DesignError

    ends = text.split(":")
    if len(ends) != 2:
        raise DesignError(f"--every {text}: write the first distance and the step: 5cm:2cm")
    first, step = (value("--every", end, "m") for end in ends)
    if not 0.005 <= first <= 5.0 or not 0.001 <= abs(step) <= 1.0:
        raise DesignError(f"--every {text}: the first distance must be within 5 mm to 5 m, the step 1 mm to 1 m")
    return first, step


def _clock(tone: Sequence[float]) -> Clock | None:
    """The card's clock by a tone, stated and read; None where it was not given."""
    from synth.analysis.listen_figures import Clock
    from synth.errors import DesignError

    if not tone:
        return None
    clock = Clock(*tone)
    if abs(clock.parts_per_million) > LARGEST_PPM:
        raise DesignError(
            f"--calibration-tone: {clock.parts_per_million:+.0f} parts in a million is more than a card's clock is "
            "off; the true frequency comes first, what the card reads second"
        )
    return clock


def _beating(arguments: Namespace) -> Beating:
    """What the beat is taken with."""
    from synth.analysis.listen_figures import ABOVE, BELOW, Beating
    from synth.commands.options import chosen, frequency_of, quantity_of

    return Beating(
        frequency_of("--oscillator", arguments.oscillator),
        chosen("--side", arguments.side, (ABOVE, BELOW)) or "",
        quantity_of("--capacitance", arguments.capacitance, "F", 1e-12, 1e-7),
    )

"""`beatfield play [DESIGN ...]`: play a design live, or several in turn under one hand; the pointer is the hand."""

from __future__ import annotations

from argparse import ArgumentParser, Namespace
from contextlib import AbstractContextManager, ExitStack, closing, nullcontext
from typing import TYPE_CHECKING

from synth.commands.options import add_seed_option, seed_of, whole_number

if TYPE_CHECKING:
    from synth.live.sound_process import SoundProcess
    from synth.midi.midi_out import MidiOut
    from synth.window.practice import Practice

SHORTEST_LATENCY, LONGEST_LATENCY = 1e-3, 1.0  # s


def add_arguments(parser: ArgumentParser) -> None:
    """Declare the command's arguments."""
    parser.add_argument(
        "designs",
        metavar="DESIGN",
        nargs="*",
        help="designs to play under one hand, equally loud, one key from each other; left out: the built-in one",
    )
    parser.add_argument(
        "--device",
        help="sound output, by its index or part of its name (beatfield devices lists them; default: the system's)",
    )
    parser.add_argument(
        "--latency", default="low", help="latency of the sound: low (default), high, or a time such as '20 ms'"
    )
    parser.add_argument(
        "--rate", type=int, default=48000, metavar="HZ", help="sample rate in Hz, 8000 to 192000 (default 48000)"
    )
    parser.add_argument(
        "--record-dir", metavar="FOLDER", default=".", help="the folder that R records into (default: this one)"
    )
    parser.add_argument("--size", metavar="WxH", help="width and height of the window in pixels (default 1280x720)")
    parser.add_argument("--left-handed", action="store_true", help="draw the antenna at the left (L turns it round)")
    parser.add_argument(
        "--text-size",
        type=whole_number(80, 160),
        default=100,
        metavar="PERCENT",
        help="size of the text, 80 to 160 %% (default 100)",
    )
    add_seed_option(parser, "the hand's tremor")
    parser.add_argument(
        "--practise",
        metavar="WHAT",
        help="practise at once: an exercise by name (beatfield practice lists them), a note list or a MIDI file",
    )
    parser.add_argument("--midi-out", metavar="PORT", help="send what the hand plays to a MIDI port as well")


def run(arguments: Namespace) -> int:
    """Open the window and play until it is closed."""
    from synth.live.sound_process import SoundProcess

    with SoundProcess() as process:  # it makes itself ready while designs are read and the window is opened
        return play(arguments, process)


def play(arguments: Namespace, process: SoundProcess) -> int:
    """Play through a process that was started for it."""
    from pathlib import Path

    from synth.build.workbench import say
    from synth.commands.options import opened_designs
    from synth.designs.design_file import design_source
    from synth.designs.template import template_text
    from synth.errors import DesignError
    from synth.files.atomic_file import make_folder
    from synth.files.plain_text import counted
    from synth.files.unfinished import recovered
    from synth.hands.own_hand_file import hand_file
    from synth.live.live_sound import safe_level
    from synth.live.speaker import Speaker
    from synth.sound.offline import file_comment
    from synth.window.own_hand import OwnHandPage
    from synth.window.play_window import Look, run_session
    from synth.window.session import LETTERS, session_of

    look = Look(arguments.left_handed, arguments.text_size / 100.0, seed_of(arguments))
    size = window_size(arguments.size)
    latency = latency_setting(arguments.latency)
    practice = practice_of(arguments.practise)
    if len(arguments.designs) > len(LETTERS):
        raise DesignError(f"{len(arguments.designs)} designs: at most {len(LETTERS)} can be played side by side")
    workpieces = opened_designs(arguments.designs)
    texts = [design_source(name) for name in arguments.designs] or [template_text()]
    notices = tuple(dict.fromkeys(notice for workpiece in workpieces for notice in workpiece.notices))
    for notice in notices:
        say(f"note: {notice}")
    folder = make_folder(Path(arguments.record_dir))
    for file in recovered(folder):
        say(f"note: {file} is a recording that a run cut short; it holds what was written until then")
    practice.design = workpieces[0].design.name
    title = " and ".join(workpiece.design.name for workpiece in workpieces)
    try:
        speaker = Speaker(
            workpieces[0].instrument,
            arguments.device,
            latency,
            arguments.rate,
            title=title,
            comment="; ".join(file_comment(workpiece.design) for workpiece in workpieces),
            process=process,
        )
    except ValueError as error:
        raise DesignError(str(error)) from error

    def wait_ready() -> None:
        speaker.wait_ready()
        if speaker.device_error:
            say(f"note: {speaker.device_error}")

    with opened_midi(arguments.midi_out) as midi, ExitStack() as ending:
        ending.callback(speaker.stop)
        speaker.start(wait=False)
        # with the sound as it will be: matched, as the controls are set
        session = session_of(workpieces, texts, at_once=True)
        speaker.set_instrument(session.instrument)
        speaker.set_level(min(safe_level(session.instrument_of(place)) for place in range(len(workpieces))))
        run_session(
            session,
            speaker,
            title,
            record_folder=folder,
            remarks=notices,
            size=size,
            look=look,
            midi=midi,
            practice=practice,
            practise_now=arguments.practise is not None,
            own_hand=OwnHandPage(hand_file()),
            once_open=wait_ready,
        )
    meters = speaker.meters()
    lost = f"{counted(meters.underruns, 'dropout')}, {meters.late_blocks} late"
    say(f"played {meters.frames / meters.sample_rate:.1f} s: {lost}")
    return 0


def practice_of(what: str | None) -> Practice:
    """What may be practised, with `what`, an exercise by its name or a tune's file, chosen."""
    from pathlib import Path

    from synth.analysis.tune import load_tune
    from synth.designs.schema import did_you_mean
    from synth.designs.shipped import shipped_tune
    from synth.errors import DesignError
    from synth.practice.exercises import NAMES
    from synth.practice.progress import practice_file
    from synth.practice.score import score_of
    from synth.window.practice import Practice

    tunes = []
    if what is not None and what not in NAMES:
        if not Path(what).exists() and "." not in what and shipped_tune(what) is None:
            known = f"exercises are {', '.join(NAMES)}"
            raise DesignError(f"--practise {what}: no exercise and no file{did_you_mean(what, NAMES)}; {known}")
        tunes = [score_of(load_tune(what))]
    practice = Practice(tunes, practice_file())
    if what in NAMES:
        practice.choose(what)
    return practice


def opened_midi(port: str | None) -> AbstractContextManager[MidiOut | None]:
    """The MIDI output asked for, closed on leaving; DeviceError where there is none of this name."""
    if port is None:
        return nullcontext()
    from synth.midi.midi_out import MidiOut

    return closing(MidiOut(port))


def latency_setting(text: str) -> float | str:
    """low, high, or a time in everyday notation as s; raise DesignError for anything else."""
    from synth.designs.quantity import parse
    from synth.errors import DesignError

    if text in ("low", "high"):
        return text
    try:
        latency = parse(text, "s")
    except ValueError as error:
        raise DesignError(f"--latency {text!r}: give low, high or a time such as '20 ms' ({error})") from error
    if not SHORTEST_LATENCY <= latency <= LONGEST_LATENCY:
        raise DesignError(f"--latency {text!r}: give low, high or a time from 1 ms to 1 s")
    return latency


def window_size(text: str | None) -> tuple[int, int]:
    """The size of the window, pixels, from "1280x720"; the usual one for None; raise DesignError otherwise."""
    from synth.errors import DesignError
    from synth.window.screen import FIRST_SIZE

    if text is None:
        return FIRST_SIZE
    width, _, height = text.partition("x")
    if not (width.isdecimal() and height.isdecimal() and 320 <= int(width) <= 8192 and 200 <= int(height) <= 8192):
        raise DesignError(f"--size {text!r}: give width x height in pixels, e.g. 1280x720")
    return int(width), int(height)

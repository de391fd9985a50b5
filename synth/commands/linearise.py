"""`beatfield linearise DESIGN`: parts that make the pitch field as straight as can be, and what they cost."""

from __future__ import annotations

from argparse import ArgumentParser, Namespace
from typing import TYPE_CHECKING

from synth.commands.options import add_design, add_notes_options, add_seed_option, add_shelf_options, seed_of
from synth.commands.outputs import SOUND, Written, add_output_options

if TYPE_CHECKING:
    from synth.analysis.linearise import FinishedSearch, Wishes


LEAST_CHOKE_CAPACITANCE = 2e-12  # F; with less, the stray at the joints of a chain would outweigh it


def add_arguments(parser: ArgumentParser) -> None:
    """Declare the command's arguments."""
    add_design(parser)
    add_notes_options(parser)
    add_shelf_options(parser)
    parser.add_argument(
        "--keep", metavar="KEY,KEY,...", help="keys of the design that are not changed, such as variable.inductance"
    )
    parser.add_argument(
        "--nominal",
        action="store_true",
        help="take the parts that are straightest as written, not those that stay straight in most builds",
    )
    parser.add_argument(
        "--coil-tolerance", default="5 %", metavar="P", help="tolerance of coils and chokes, either way (default 5 %%)"
    )
    parser.add_argument(
        "--capacitor-tolerance", default="2 %", metavar="P", help="tolerance of capacitors, either way (default 2 %%)"
    )
    parser.add_argument(
        "--choke-capacitance", default="4 pF", metavar="C", help="self-capacitance of one choke (default 4 pF)"
    )
    parser.add_argument(
        "--carrier",
        default="30kHz:300kHz",
        metavar="LOW:HIGH",
        help="lowest and highest radio frequency of both oscillators (default the LF band, 30kHz:300kHz)",
    )
    parser.add_argument(
        "--stray-multiple",
        type=float,
        default=30.0,
        metavar="N",
        help="capacitance of a tank over the spread of its stray, at least, 0 to 1000 (default 30; 0: any tank)",
    )
    add_seed_option(parser, "the search and the builds")
    parser.add_argument("-o", "--output", metavar="BETTER.toml", action=Written, help="write the better design")
    for option, what in (
        ("--wav", "write the same hand through both designs as one sound file, pips before each"),
        ("--wav-before", "write the hand through the design as it is as a sound file"),
        ("--wav-after", "write the same hand through the better design as a sound file"),
    ):
        parser.add_argument(option, metavar="FILE", action=Written, kind=SOUND, help=what)
    parser.add_argument(
        "--gesture",
        default="sweep",
        metavar="NAME",
        help="the hand of these sounds: sweep (default), scale, vibrato or still",
    )
    add_output_options(parser, "both pitch fields")


def run(arguments: Namespace) -> int:
    """Search, and write what was asked for; after Ctrl-C what was found until then, exit code 130."""
    from synth.analysis.linearise import improve
    from synth.analysis.linearise_figures import linearise_figures
    from synth.beside import Beside
    from synth.build.workbench import open_design, say
    from synth.commands.options import chosen
    from synth.errors import EXIT_INTERRUPTED
    from synth.hands.gestures import GESTURES
    from synth.progress_line import ProgressLine
    from synth.report.linearise import LINEARISE

    wishes = _wishes(arguments)
    chosen("--gesture", arguments.gesture, tuple(GESTURES))
    with Beside() as beside:
        workpiece, choice = open_design(arguments.design), "nominal" if arguments.nominal else "robust"
        with ProgressLine("searching") as line:
            outcome = improve(workpiece, wishes, choice, line, mapped=beside.shared_out)
    with ProgressLine("reading both designs"):
        figures = linearise_figures(outcome)
    if arguments.output:
        from synth.designs.design_file import design_text
        from synth.files.atomic_file import write_text as write_file

        write_file(arguments.output, design_text(outcome.after.design), arguments.force)
        say(f"wrote {arguments.output}")
    LINEARISE.write(arguments, figures)
    _write_sounds(arguments, outcome)
    return EXIT_INTERRUPTED if figures.interrupted else 0


def _wishes(arguments: Namespace) -> Wishes:
    from models.straight.evenness import Tolerances
    from synth.analysis.linearise import Wishes
    from synth.commands.options import note_range, pair, shelf_of, within
    from synth.errors import DesignError

    low, high = note_range("--range", arguments.range)
    near, far = pair("--reach", arguments.reach, "m")
    tolerances = Tolerances(
        within("--coil-tolerance", arguments.coil_tolerance, "percent", 0.0, 0.5),
        within("--capacitor-tolerance", arguments.capacitor_tolerance, "percent", 0.0, 0.5),
    )
    fill = within("--fill", arguments.fill, "percent", 0.05, 1.0)
    own = within("--choke-capacitance", arguments.choke_capacitance, "F", LEAST_CHOKE_CAPACITANCE, 1e-10)
    carriers = pair("--carrier", arguments.carrier, "Hz")
    if not 10e3 <= carriers[0] < carriers[1] <= 1e6:
        raise DesignError(f"--carrier {arguments.carrier}: both must lie between 10 kHz and 1 MHz")
    if not 0.0 <= arguments.stray_multiple <= 1000.0:
        raise DesignError(f"--stray-multiple {arguments.stray_multiple:g}: must be between 0 and 1000")
    seed, multiple = seed_of(arguments), arguments.stray_multiple
    shelf, keep = shelf_of(arguments), _keep(arguments.keep)
    return Wishes(low, high, near, far, fill, shelf, tolerances, seed, own, carriers, multiple, keep=keep)


def _keep(text: str | None) -> tuple[str, ...]:
    """The keys that --keep names."""
    from synth.analysis.linearise import KEPT
    from synth.commands.options import chosen

    words = [] if text is None else text.split(",")
    return tuple(chosen("--keep", word.strip(), KEPT) or "" for word in words)


def _write_sounds(arguments: Namespace, outcome: FinishedSearch) -> None:
    if not (arguments.wav or arguments.wav_before or arguments.wav_after):
        return
    from synth.build.workbench import say
    from synth.hands.gestures import shared_path
    from synth.progress_line import ProgressLine
    from synth.sound.audio_file import write_sound
    from synth.sound.level_match import joined, matched, rendered
    from synth.sound.offline import file_comment

    rate = 48000
    pieces = [outcome.before, outcome.after]
    path, notice = shared_path(arguments.gesture, pieces, seed=seed_of(arguments))
    if notice:
        say(f"note: {notice}")
    with ProgressLine("rendering") as line:
        before, after = matched(rendered(pieces, path, rate, line), rate)
    names = f"{outcome.before.design.name}, then {outcome.after.design.name}"
    for target, samples, title, design in (
        (arguments.wav, joined([before, after], rate), names, outcome.after.design),
        (arguments.wav_before, before.samples, outcome.before.design.name, outcome.before.design),
        (arguments.wav_after, after.samples, outcome.after.design.name, outcome.after.design),
    ):
        if target:
            write_sound(target, samples, rate, title, file_comment(design), arguments.force)
            say(f"wrote {target}")

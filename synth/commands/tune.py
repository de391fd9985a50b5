"""`beatfield tune FILE [DESIGN ...]`: what a hand that plays a tune makes of each note, as text, JSON, CSV or MIDI."""

from __future__ import annotations

from argparse import ArgumentParser, Namespace

from synth.commands.options import add_designs, add_seed_option, add_tune_options
from synth.commands.outputs import Printed, Written, add_force_option


def add_arguments(parser: ArgumentParser) -> None:
    """Declare the command's arguments."""
    parser.add_argument(
        "tune", metavar="FILE", help="the tune: a Standard MIDI File or a note list; lark and tide come along"
    )
    add_designs(parser)
    add_tune_options(parser)
    add_seed_option(parser, "tremor and placement")
    parser.add_argument("--json", action=Printed, help="print the report as JSON")
    parser.add_argument(
        "--csv", metavar="FILE", action=Written, or_stdout=True, help="write the notes as CSV (- for stdout)"
    )
    parser.add_argument(
        "--midi", metavar="FILE", action=Written, help="write what the hand plays as a MIDI file: notes and pitch bend"
    )
    add_force_option(parser)


def run(arguments: Namespace) -> int:
    """Play the tune through the design's field and write the reports asked for."""
    from synth.analysis.tune import tune_figures, tunes_figures
    from synth.build.workbench import say
    from synth.commands.options import manner_of, opened_designs, tune_of
    from synth.errors import DesignError
    from synth.hands.own_hand_file import own_hand
    from synth.midi.midi_messages import midi_messages, write_midi
    from synth.progress_line import ProgressLine
    from synth.report.tune import TUNE, TUNES

    hand = own_hand()
    manner, tune = manner_of(arguments, hand), tune_of(arguments, arguments.tune)
    if arguments.midi and len(arguments.designs) > 1:
        raise DesignError("--midi plays one design; name one, or leave --midi out")
    opened = opened_designs(arguments.designs)
    if len(opened) > 1:
        with ProgressLine("playing the tune"):
            several = tunes_figures(opened, tune, manner, hand)
        TUNES.write(arguments, several)
        return 0
    workpiece = opened[0]
    with ProgressLine("playing the tune"):
        figures, played = tune_figures(workpiece, tune, manner, hand)
    if arguments.midi:
        if played is None:
            raise DesignError("\n".join(figures.faults()))
        path = played.path
        points = zip(
            path.times.tolist(),
            workpiece.field.frequency_at(path.distances).tolist(),
            path.volumes.tolist(),
            strict=True,
        )
        write_midi(midi_messages(points), arguments.midi, force=arguments.force)
        say(f"wrote {arguments.midi}: one note from silence to silence, glides and vibrato as pitch bend")
    TUNE.write(arguments, figures)
    return 0

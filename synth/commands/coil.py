"""`beatfield coil --former D (--turns N | --inductance L)`: what a coil on a former has, or the turns it needs."""

from __future__ import annotations

from argparse import ArgumentParser, Namespace

from synth.commands.outputs import Printed


def add_arguments(parser: ArgumentParser) -> None:
    """Declare the command's arguments."""
    wanted = parser.add_mutually_exclusive_group(required=True)
    wanted.add_argument("--inductance", metavar="L", help='find the turns for this inductance, such as "1 mH"')
    wanted.add_argument("--turns", metavar="N", help="read what a coil of this many turns has")
    parser.add_argument("--former", metavar="D", required=True, help='outer diameter of the former, such as "38 mm"')
    parser.add_argument(
        "--length", metavar="L", help="length of the winding along the former (default: turns side by side)"
    )
    parser.add_argument("--depth", metavar="D", help="height of many layers on the former; needs --length")
    parser.add_argument("--wire", metavar="D", default="0.3 mm", help="diameter of the wire's copper (default: 0.3 mm)")
    parser.add_argument(
        "--pitch", metavar="P", help="distance from turn to turn (default: 1.1 times the wire, for the enamel)"
    )
    parser.add_argument(
        "--frequency",
        metavar="F",
        default="250 kHz",
        help="frequency at which losses and Q are read (default: 250 kHz)",
    )
    parser.add_argument(
        "--temperature", metavar="T", default="20 degC", help="temperature of the copper (default: 20 degC)"
    )
    parser.add_argument("--json", action=Printed, help="print the figures as JSON")


def run(arguments: Namespace) -> int:
    """Compute the coil and print it."""
    from synth.analysis.coil import Winding, wound
    from synth.commands.options import quantity_of
    from synth.errors import EXIT_OK
    from synth.report.coil import COIL

    def length(option: str, least: float = 1e-5) -> float | None:
        return quantity_of(option, getattr(arguments, option.removeprefix("--")), "m", least, 10.0)

    wire = length("--wire") or 0.0
    winding = Winding(
        former=length("--former", 1e-4) or 0.0,
        length=length("--length"),
        depth=length("--depth"),
        wire=wire,
        pitch=length("--pitch") or 1.1 * wire,
        frequency=quantity_of("--frequency", arguments.frequency, "Hz", 1.0, 1e9) or 0.0,
        temperature=quantity_of("--temperature", arguments.temperature, "degC", -60.0, 200.0) or 0.0,
    )
    turns = quantity_of("--turns", arguments.turns, "ratio", 1.0, 1e6)
    coil = wound(winding, turns, quantity_of("--inductance", arguments.inductance, "H", 1e-9, 100.0))
    COIL.write(arguments, coil)
    return EXIT_OK

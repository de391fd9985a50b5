"""The drawings of the circuits that `beatfield new --circuit` and `--mixer` write, as tables of places and wires.

Each is laid out as such a circuit is usually drawn: supply above, ground below, the signal from left to right. Names
are those of the rows in `synth/designs/circuit_templates.py`; a symbol reaches one unit from its middle to each end.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from synth.analysis.diagram_plans import At, Plan

Wires = Mapping[str, str]
_SUPPLY = "supply voltage"


def _plan(
    parts: Mapping[str, At],
    wires: Wires,
    points: Mapping[str, tuple[float, float, str]],
    *blocks: tuple[Mapping[str, At], Wires],
    grounds: tuple[tuple[float, float], ...],
) -> Plan:
    """A plan with its blocks: their parts, and their wires beside those of the same nodes."""
    all_parts, all_wires = dict(parts), dict(wires)
    for more, lines in blocks:
        all_parts.update(more)
        for node, line in lines.items():
            all_wires[node] = f"{all_wires[node]}; {line}" if node in all_wires else line
    return Plan(all_parts, all_wires, points, grounds)


def _supply(name: str, rail: float, node: str = "supply") -> tuple[Mapping[str, At], Wires]:
    """The supply above the left end of the rail, at x = 0, with its resistor and capacitor."""
    parts = {
        name: At(0, rail + 3),
        "supply resistor": At(0, rail + 1.7),
        "supply capacitor": At(0, 2),
    }
    return parts, {_SUPPLY: f"0,{rail + 3} 0,{rail + 2.7}", node: f"0,{rail + 0.7} 0,3", "ground": "0,1 0,0"}


def _output(x: float, y: float, node: str, away: float = 3.4) -> tuple[Mapping[str, At], Wires]:
    """The output from a node at x, y: along a capacitor and down a resistor to the load."""
    down, beyond = x + away, 3.7
    parts = {
        "coupling capacitor": At(x + 1.6, y, "left", "below"),
        "output resistor": At(down, y - 2.1),
        "load resistance": At(down, 1.6),
        "load capacitance": At(down + beyond, 1.6),
    }
    wires = {
        node: f"{x},{y} {x + 0.6},{y}",
        "coupled": f"{x + 2.6},{y} {down},{y} {down},{y - 1.1}",
        "load": f"{down},{y - 3.1} {down},2.6; {down},3.2 {down + beyond},3.2 {down + beyond},2.6",
        "ground": f"{down},0.6 {down},0; {down + beyond},0.6 {down + beyond},0",
    }
    return parts, wires


def _across(x: float, y: float, node: str, between: float = 3.4) -> tuple[Mapping[str, At], Wires]:
    """The output from a node at x, y: along a capacitor and a resistor to the load."""
    load = x + 2 * between + 0.2
    parts = {
        "coupling capacitor": At(x + 1.6, y, "left", "below"),
        "output resistor": At(x + 1.6 + between, y, "left", "below"),
        "load resistance": At(load, 1.8),
        "load capacitance": At(load + 3.7, 1.8),
    }
    wires = {
        node: f"{x},{y} {x + 0.6},{y}",
        "coupled": f"{x + 2.6},{y} {x + 0.6 + between},{y}",
        "load": f"{x + 2.6 + between},{y} {load + 3.7},{y} {load + 3.7},2.8; {load},{y} {load},2.8",
        "ground": f"{load},0.8 {load},0; {load + 3.7},0.8 {load + 3.7},0",
    }
    return parts, wires


def _tank(foot: float, hot: float, **places: float) -> tuple[Mapping[str, At], Wires]:
    """Parts of a tank side by side between its hot end and ground, their middles at the height `foot`."""
    parts = {name.replace("_", " "): At(x, foot) for name, x in places.items()}
    ups = "; ".join(f"{x},{hot} {x},{foot + 1}" for x in places.values())
    return parts, {"hot end": ups, "ground": "; ".join(f"{x},{foot - 1} {x},0" for x in places.values())}


def _antenna(x: float, foot: float, node: str = "hot end") -> tuple[Mapping[str, At], Wires]:
    """The antenna above a point of its node, behind its inductor."""
    parts = {"antenna inductor": At(x, foot + 1.6), "antenna": At(x, foot + 3.6)}
    return parts, {node: f"{x},{foot} {x},{foot + 0.6}", "antenna": f"{x},{foot + 2.6} {x},{foot + 3.6}"}


def _common_base() -> Plan:
    return _plan(
        {
            "upper resistor": At(4, 9),
            "pot": At(4, 5.5, label="left"),
            "lower resistor": At(4, 2),
            "wiper capacitor": At(7.2, 2),
            "base feed resistor": At(9.5, 5.5, "left", "below"),
            "base capacitor": At(11.8, 2),
            "transistor": At(15, 5.5),
            "emitter resistor": At(15, 2),
            "feedback capacitor": At(19.6, 5.5),
            "emitter capacitor": At(19.6, 2),
            "tank coil": At(15, 9.25, "down"),
            "tank capacitor": At(18.2, 9.25),
            "trimmer": At(21.4, 9.25),
        },
        {
            "cold end": "0,11 21.4,11; 4,11 4,10; 15,11 15,10.25; 18.2,11 18.2,10.25; 21.4,11 21.4,10.25",
            "pot, upper end": "4,8 4,6.5",
            "pot, lower end": "4,4.5 4,3",
            "wiper": "5,5.5 8.5,5.5; 7.2,5.5 7.2,3",
            "base": "10.5,5.5 14,5.5; 11.8,5.5 11.8,3",
            "emitter": "15,4.5 15,3; 15,3.5 19.6,3.5; 19.6,4.5 19.6,3",
            "collector": "15,6.5 15,8.25; 15,7.5 27,7.5; 19.6,7.5 19.6,6.5; 18.2,7.5 18.2,8.25; 21.4,7.5 21.4,8.25",
            "ground": "0,0 34.1,0; 4,1 4,0; 7.2,1 7.2,0; 11.8,1 11.8,0; 15,1 15,0; 19.6,1 19.6,0",
        },
        {
            "cold end": (11.8, 11, "ne"),
            "wiper": (6, 5.5, "ne+"),
            "base": (10.9, 5.5, "ne"),
            "emitter": (15.9, 3.5, "ne"),
            "collector": (22.4, 7.5, "se"),
            "coupled": (30.4, 7.5, "ne"),
            "load": (34.1, 3.2, "ne"),
            "antenna": (27, 10.6, "w"),
        },
        _supply("supply", 11, "cold end"),
        _antenna(27, 7.5, "collector"),
        _output(27, 7.5, "collector"),
        grounds=((15, 0),),
    )


def _colpitts() -> Plan:
    return _plan(
        {
            "upper bias": At(15, 12.9),
            "fine tune": At(15, 9.8, label="left"),
            "lower bias": At(15, 2),
            "base feed": At(18.4, 9.8, "left", "below"),
            "coupling": At(17.6, 6.5, "left"),
            "upper divider": At(20.4, 5),
            "lower divider": At(20.4, 1.7, label="left"),
            "oscillator": At(25.4, 6.5),
            "emitter resistor": At(25.4, 1.7),
            "follower coupling": At(28.4, 4.4, "left", "below"),
            "follower upper": At(30.6, 12.9),
            "follower lower": At(30.6, 1.7),
            "follower": At(34, 10),
            "follower resistor": At(34, 1.7),
        },
        {
            "supply": "0,14.6 34,14.6 34,11; 15,14.6 15,13.9; 25.4,14.6 25.4,7.5; 30.6,14.6 30.6,13.9",
            "hot end": "3.4,6.5 16.6,6.5",
            "base": "18.6,6.5 24.4,6.5; 19.4,9.8 19.8,9.8 19.8,6.5; 20.4,6.5 20.4,6",
            "emitter": "20.4,4 20.4,2.7; 20.4,3.4 25.4,3.4; 25.4,4.4 27.4,4.4; 25.4,5.5 25.4,2.7",
            "pot top": "15,11.9 15,10.8",
            "pot foot": "15,8.8 15,3",
            "wiper": "16,9.8 17.4,9.8",
            "follower base": "29.4,4.4 30.6,4.4; 30.6,11.9 30.6,2.7; 30.6,10 33,10",
            "low side": "34,9 34,2.7",
            "ground": "0,0 42.1,0; 15,1 15,0; 20.4,0.7 20.4,0; 25.4,0.7 25.4,0; 30.6,0.7 30.6,0; 34,0.7 34,0",
        },
        {
            "supply": (5, 14.6, "ne"),
            "hot end": (8, 6.5, "ne"),
            "antenna": (3.4, 9.6, "w"),
            "base": (20.8, 6.5, "ne"),
            "emitter": (21.6, 3.4, "se"),
            "pot top": (15, 11.35, "w"),
            "pot foot": (15, 4.8, "e"),
            "wiper": (16.2, 9.8, "ne+"),
            "follower base": (30.6, 7.6, "w"),
            "low side": (34, 5, "e"),
            "coupled": (38.4, 8, "ne"),
            "load": (42.1, 3.2, "ne"),
        },
        _supply("supply", 14.6),
        _antenna(3.4, 6.5),
        _tank(3, 6.5, coil=3.4, tuning=5.9, trimmer=8.7, board_stray=11.8),
        _output(34, 8, "low side", 4.4),
        grounds=((17.6, 0),),
    )


def _clapp() -> Plan:
    return _plan(
        {
            "upper bias": At(15, 12.9),
            "fine tune": At(15, 9.8, label="left"),
            "lower bias": At(15, 2),
            "base feed": At(18.4, 9.8, "left", "below"),
            "series capacitor": At(17.6, 6.5, "left", "below"),
            "upper divider": At(20.4, 5),
            "lower divider": At(20.4, 1.7, label="left"),
            "oscillator": At(25.4, 6.5),
            "emitter resistor": At(25.4, 1.7),
        },
        {
            "supply": "0,14.6 25.4,14.6 25.4,7.5; 15,14.6 15,13.9",
            "hot end": "3.4,6.5 16.6,6.5",
            "base": "18.6,6.5 24.4,6.5; 19.4,9.8 19.8,9.8 19.8,6.5; 20.4,6.5 20.4,6",
            "emitter": "20.4,4 20.4,2.7; 20.4,3.4 25.4,3.4; 25.4,4.4 27,4.4; 25.4,5.5 25.4,2.7",
            "pot top": "15,11.9 15,10.8",
            "pot foot": "15,8.8 15,3",
            "wiper": "16,9.8 17.4,9.8",
            "ground": "0,0 37.7,0; 15,1 15,0; 20.4,0.7 20.4,0; 25.4,0.7 25.4,0",
        },
        {
            "supply": (5, 14.6, "ne"),
            "hot end": (8, 6.5, "ne"),
            "antenna": (3.4, 9.6, "w"),
            "base": (20.8, 6.5, "ne"),
            "emitter": (21.6, 3.4, "se"),
            "pot top": (15, 11.35, "w"),
            "pot foot": (15, 3.8, "e"),
            "wiper": (16.2, 9.8, "ne+"),
            "coupled": (30, 4.4, "ne+"),
            "load": (34.3, 4.4, "ne"),
        },
        _supply("supply", 14.6),
        _antenna(3.4, 6.5),
        _tank(3, 6.5, coil=3.4, tuning=5.9, trimmer=8.7, board_stray=11.8),
        _across(27, 4.4, "emitter"),
        grounds=((17.6, 0),),
    )


def _hartley() -> Plan:
    return _plan(
        {
            "coil": At(14.7, 4, label="left"),
            "gate capacitor": At(16.6, 8, "left"),
            "gate leak": At(18.2, 5.9),
            "oscillator": At(24, 8),
            "drain resistor": At(24, 12.8),
            "drain bypass": At(28, 9.6),
            "source resistor": At(24, 5.2, label="left"),
            "fine tune": At(24, 2, label="left"),
            "source bypass": At(28.4, 3.5),
        },
        {
            "supply": "0,14.6 24,14.6 24,13.8",
            "drain": "24,11.8 24,9; 24,11 28,11 28,10.6",
            "hot end": "3.4,8 15.6,8; 14.7,8 14.7,5",
            "gate": "17.6,8 23,8; 18.2,8 18.2,6.9",
            "source": "24,7 24,6.2; 24,6.6 31.4,6.6; 28.4,6.6 28.4,4.5",
            "pot top": "24,4.2 24,3",
            "foot": "15.7,4 16,4 16,0.6 28.4,0.6 28.4,2.5; 24,1 24,0.6; 25,2 25,0.6",
            "ground": "0,0 38.5,0; 14.7,3 14.7,0; 18.2,4.9 18.2,4.6; 28,8.6 28,8.4",
        },
        {
            "supply": (5, 14.6, "ne"),
            "drain": (24, 10.6, "w"),
            "hot end": (9, 8, "ne"),
            "antenna": (3.4, 11.1, "w"),
            "gate": (19.4, 8, "ne"),
            "source": (28.6, 6.6, "ne"),
            "pot top": (24, 3.6, "e"),
            "foot": (16, 2.4, "e"),
            "coupled": (34.8, 6.6, "ne"),
            "load": (38.5, 3.2, "ne"),
        },
        _supply("supply", 14.6),
        _antenna(3.4, 8),
        _tank(4, 8, trimmer=3.4, board_stray=6.5, tuning=9.3),
        _output(31.4, 6.6, "source"),
        grounds=((10, 0), (18.2, 4.6), (28, 8.4)),
    )


def _tickler() -> Plan:
    return _plan(
        {
            "grid capacitor": At(15.4, 7.2, "left"),
            "grid leak": At(17.4, 3),
            "oscillator": At(23.4, 7.2),
            "feedback coil": At(23.4, 10.9, label="left"),
            "damping resistor": At(25.8, 10.9, "down"),
            "anode resistor": At(23.4, 14.2),
            "anode capacitor": At(29.4, 11.3),
            "cathode resistor": At(23.4, 4.6, label="left"),
            "fine tune": At(23.4, 1.8, label="left"),
            "cathode capacitor": At(27.4, 2.8),
        },
        {
            "supply": "0,16 23.4,16 23.4,15.2",
            "anode feed": "23.4,13.2 23.4,11.9; 23.4,12.6 29.4,12.6 29.4,12.3; 25.8,12.6 25.8,11.9",
            "anode": "23.4,9.9 23.4,8.2; 23.4,8.9 31.4,8.9; 25.8,8.9 25.8,9.9",
            "hot end": "3.4,7.2 14.4,7.2",
            "grid": "16.4,7.2 22.4,7.2; 17.4,7.2 17.4,4",
            "cathode": "23.4,6.2 23.4,5.6; 23.4,5.9 27.4,5.9 27.4,3.8",
            "pot top": "23.4,3.6 23.4,2.8",
            "ground": "0,0 38.5,0; 17.4,2 17.4,0; 23.4,0.8 23.4,0; 24.4,1.8 24.4,0; 27.4,1.8 27.4,0; "
            "29.4,10.3 29.4,10.1",
        },
        {
            "supply": (5, 16, "ne"),
            "anode feed": (26.4, 12.6, "ne"),
            "anode": (26.2, 8.9, "se"),
            "hot end": (9, 7.2, "ne"),
            "antenna": (3.4, 10.3, "w"),
            "grid": (18, 7.2, "ne"),
            "cathode": (27.4, 5.4, "e"),
            "pot top": (23.4, 3.2, "e"),
            "coupled": (34.8, 8.9, "ne"),
            "load": (38.5, 3.2, "ne"),
        },
        _supply("supply", 16),
        _antenna(3.4, 7.2),
        _tank(4, 7.2, trimmer=3.4, board_stray=6.5, tuning=9.3, coil=12.1),
        _output(31.4, 8.9, "anode"),
        grounds=((14.6, 0), (29.4, 10.1)),
    )


def _inverter() -> Plan:
    return _plan(
        {
            "oscillator": At(16.4, 10.8),
            "bias resistor": At(16.4, 7.4, "right", "below"),
            "gate capacitor": At(12.4, 5.6, "down"),
            "drive resistor": At(20.4, 5.6),
            "coil": At(16.4, 3.6, "right", "below"),
            "far capacitor": At(20.4, 1.8),
        },
        {
            "supply": "0,14 16.4,14 16.4,11.8",
            "gate": "15.4,10.8 12.4,10.8 12.4,6.6; 12.4,7.4 15.4,7.4",
            "drive": "17.4,10.8 24,10.8; 20.4,10.8 20.4,6.6; 17.4,7.4 20.4,7.4",
            "hot end": "3.4,3.6 15.4,3.6; 12.4,3.6 12.4,4.6",
            "far": "17.4,3.6 20.4,3.6; 20.4,4.6 20.4,2.8",
            "ground": "0,0 31.1,0; 16.4,9.8 16.4,9.6; 20.4,0.8 20.4,0",
        },
        {
            "supply": (5, 14, "ne"),
            "gate": (12.4, 10.8, "ne"),
            "drive": (21, 10.8, "ne"),
            "hot end": (8, 3.6, "ne"),
            "far": (20.4, 4.1, "e"),
            "antenna": (3.4, 6.7, "w"),
            "coupled": (27.4, 10.8, "ne"),
            "load": (31.1, 3.2, "ne"),
        },
        _supply("supply", 14),
        _antenna(3.4, 3.6),
        _tank(1.8, 3.6, trimmer=3.4, board_stray=6.5, tuning=9.3),
        _output(24, 10.8, "drive"),
        grounds=((14, 0), (16.4, 9.6)),
    )


def _pnp_common_base() -> Plan:
    return _plan(
        {
            "upper bias": At(4, 12.2),
            "fine tune": At(4, 8.6, label="left"),
            "lower bias": At(4, 2.2),
            "base feed": At(9, 8.6, "left", "below"),
            "base capacitor": At(11.4, 2.2),
            "oscillator": At(16, 8.6),
            "emitter resistor": At(16, 12.2),
            "feedback": At(20, 8.6, "down"),
            "emitter capacitor": At(23.2, 9.2),
        },
        {
            "supply": "0,14 16,14 16,13.2; 4,14 4,13.2",
            "pot top": "4,11.2 4,9.6",
            "pot foot": "4,7.6 4,3.2",
            "wiper": "5,8.6 8,8.6",
            "base": "10,8.6 15,8.6; 11.4,8.6 11.4,3.2",
            "emitter": "16,11.2 16,9.6; 16,10.4 23.2,10.4 23.2,10.2; 20,10.4 20,9.6",
            "hot end": "16,7.6 16,6.4 30,6.4; 20,7.6 20,6.4",
            "ground": "0,0 37.1,0; 4,1.2 4,0; 11.4,1.2 11.4,0; 23.2,8.2 23.2,8",
        },
        {
            "supply": (6, 14, "ne"),
            "pot top": (4, 10.4, "w"),
            "pot foot": (4, 5.4, "e"),
            "wiper": (5.3, 8.6, "ne+"),
            "base": (11.6, 8.6, "ne"),
            "emitter": (20.4, 10.4, "ne"),
            "hot end": (20.6, 6.4, "ne"),
            "antenna": (30, 9.5, "w"),
            "coupled": (33.4, 6.4, "ne"),
            "load": (37.1, 3.2, "ne"),
        },
        _supply("supply", 14),
        _antenna(30, 6.4),
        _tank(2.6, 6.4, coil=17.4, tuning=21.2, trimmer=24, board_stray=27),
        _output(30, 6.4, "hot end"),
        grounds=((14, 0), (23.2, 8)),
    )


_SOURCE = "output of the {} oscillator"


def _sources(x: float, heights: tuple[float, float], node: str, end: float) -> tuple[Mapping[str, At], Wires]:
    """Both oscillators' outputs one above the other, each along its capacitor and resistor to one node."""
    parts: dict[str, At] = {}
    wires = {node: f"{end},{heights[0]} {end},{heights[1]}"}
    for which, y in zip(("reference", "variable"), heights, strict=True):
        parts[f"{which} coupling"] = At(x + 2, y, "left", "below")
        parts[f"{which} output resistor"] = At(x + 5.4, y, "left", "below")
        wires[_SOURCE.format(which)] = f"{x},{y} {x + 1},{y}"
        wires[f"coupled, {which}"] = f"{x + 3},{y} {x + 4.4},{y}"
        wires[node] += f"; {x + 6.4},{y} {end},{y}"
    return parts, wires


def _transistor_mixer() -> Plan:
    return _plan(
        {
            "upper bias": At(13.4, 11),
            "lower bias": At(13.4, 2),
            "mixer": At(19.4, 7),
            "collector resistor": At(19.4, 11),
            "collector capacitor": At(26.4, 2),
            "emitter resistor": At(19.4, 2),
            "emitter capacitor": At(23, 2),
        },
        {
            "supply": "0,13 19.4,13 19.4,12; 13.4,13 13.4,12",
            "base": "13.4,10 13.4,3; 13.4,7 18.4,7; 10.6,6 13.4,6",
            "collector": "19.4,10 19.4,8; 19.4,9 26.4,9 26.4,3",
            "emitter": "19.4,6 19.4,3; 19.4,4 23,4 23,3",
            "ground": "0,0 26.4,0; 13.4,1 13.4,0; 19.4,1 19.4,0; 23,1 23,0; 26.4,1 26.4,0",
        },
        {
            "supply": (5, 13, "ne"),
            "base": (14, 7, "ne"),
            "collector": (22.4, 9, "ne"),
            "emitter": (20.4, 4, "ne"),
            _SOURCE.format("reference"): (3.4, 9, "ne+"),
            _SOURCE.format("variable"): (3.4, 5, "ne+"),
        },
        _supply("supply", 13),
        _sources(3.4, (9, 5), "base", 10.6),
        grounds=((7, 0),),
    )


def _two_diode_mixer() -> Plan:
    return _plan(
        {
            "input resistor": At(8.6, 1.8),
            "wiring": At(11.6, 1.8),
            "doubling capacitor": At(14.6, 5, "left", "below"),
            "lower diode": At(17.6, 1.8, "down"),
            "upper diode": At(20.4, 5, "left", "below"),
            "load resistor": At(23.4, 1.8),
            "load capacitor": At(27, 1.8),
        },
        {
            "input": "7.2,5 13.6,5; 8.6,5 8.6,2.8; 11.6,5 11.6,2.8",
            "joint": "15.6,5 19.4,5; 17.6,5 17.6,2.8",
            "tone": "21.4,5 27,5 27,2.8; 23.4,5 23.4,2.8",
            "ground": "8.6,0 27,0; 8.6,0.8 8.6,0; 11.6,0.8 11.6,0; 17.6,0.8 17.6,0; 23.4,0.8 23.4,0; 27,0.8 27,0",
        },
        {
            "input": (9.4, 5, "ne"),
            "joint": (15.8, 5, "ne"),
            "tone": (23.4, 5, "ne"),
            _SOURCE.format("reference"): (0, 7.4, "ne+"),
            _SOURCE.format("variable"): (0, 2.6, "ne+"),
        },
        _sources(0, (7.4, 2.6), "input", 7.2),
        grounds=((14.6, 0),),
    )


DRAWINGS: Final[Mapping[str, Plan]] = {
    "common-base": _common_base(),
    "colpitts": _colpitts(),
    "hartley": _hartley(),
    "clapp": _clapp(),
    "tickler": _tickler(),
    "inverter": _inverter(),
    "pnp-common-base": _pnp_common_base(),
    "transistor": _transistor_mixer(),
    "two-diode": _two_diode_mixer(),
}
"""By the name of the circuit or of the mixer."""

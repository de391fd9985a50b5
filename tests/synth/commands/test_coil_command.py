"""`beatfield coil`: the check coil both ways, what the formulas allow, and one message for what cannot be."""

from __future__ import annotations

import json
import math

import pytest

from synth.cli import main

# computed beside this project: 300 turns on 38 mm, 100 mm long, have 1.098543 mH (Nagaoka)
CHECK = ["--former", "37.7 mm", "--wire", "0.3 mm", "--length", "100 mm"]  # 38 mm from wire centre to wire centre


def figures(capsys, *options: str) -> dict:
    assert main(["coil", *options, "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["schema"] == "beatfield.coil/1"
    return document


def test_the_check_coil_both_ways(capsys):
    wound = figures(capsys, *CHECK, "--turns", "300")
    assert wound["inductance_h"] == pytest.approx(1.098543e-3, rel=1e-6, abs=0.0)
    found = figures(capsys, *CHECK, "--inductance", "1.098543 mH", "--wire", "0.3 mm")
    assert found["turns"] == pytest.approx(300.0, rel=1e-6)
    # 300 turns of pi 38 mm are 35.8 m; 17.24 uohm mm through 0.0707 mm^2 of copper: 8.74 ohm
    assert wound["wire_length_m"] == pytest.approx(300.0 * math.hypot(math.pi * 0.038, 0.1 / 300.0), rel=1e-12)
    assert wound["dc_resistance_ohm"] == pytest.approx(8.74, rel=2e-3)
    # Medhurst's H between l / D = 2.5 and 3 is 0.56 to 0.61 pF per cm
    assert 0.56 * 3.8e-12 < wound["self_capacitance_f"] < 0.61 * 3.8e-12
    resonance = 1.0 / (2.0 * math.pi * math.sqrt(wound["inductance_h"] * wound["self_capacitance_f"]))
    assert wound["self_resonance_hz"] == pytest.approx(resonance, rel=1e-12)
    loss = wound["dc_resistance_ohm"] * (wound["skin_factor"] + wound["proximity_factor"])
    reactance = 2.0 * math.pi * wound["frequency_hz"] * wound["inductance_h"]
    assert wound["quality_factor"] == pytest.approx(reactance / loss, rel=1e-12)


def test_turns_side_by_side_give_the_length_and_the_inductance_asked_for(capsys):
    found = figures(capsys, "--former", "25 mm", "--inductance", "1 mH")
    assert found["inductance_h"] == pytest.approx(1e-3, rel=1e-9, abs=0.0)
    assert found["length_m"] == pytest.approx(found["turns"] * 0.33e-3, rel=1e-12)
    again = figures(capsys, "--former", "25 mm", "--turns", f"{found['turns']:.12g}")
    assert again["inductance_h"] == pytest.approx(1e-3, rel=1e-9, abs=0.0)
    warm = figures(capsys, "--former", "25 mm", "--inductance", "1 mH", "--temperature", "30 degC")
    assert warm["dc_resistance_ohm"] / found["dc_resistance_ohm"] == pytest.approx(1.0393, rel=1e-9)


def test_many_layers(capsys):
    options = ["--former", "12.7 mm", "--length", "12.7 mm", "--depth", "12.7 mm", "--turns", "400"]
    found = figures(capsys, *options)
    # Wheeler 1928, by hand in inches: 0.8 r^2 N^2 / (6 r + 9 l + 10 c) with r = l = c = 0.5: 2.56 mH
    assert found["inductance_h"] == pytest.approx(0.8 * 0.25 * 400**2 / 12.5 * 1e-6, rel=1e-12, abs=0.0)
    assert found["self_capacitance_f"] is None
    assert main(["coil", *options]) == 0
    text = capsys.readouterr().out
    assert "Wheeler's formula" in text
    assert "find it from two resonances" in text


def test_the_text_says_what_the_formulas_leave_out(capsys):
    assert main(["coil", "--former", "38 mm", "--turns", "5", "--frequency", "30 MHz"]) == 0
    text = capsys.readouterr().out
    for words in ("proximity effect", "fewer than ten turns", "Medhurst's table of self-capacitance covers"):
        assert words in text, words
    assert main(["coil", *CHECK, "--turns", "300", "--frequency", "2 MHz"]) == 0
    assert "above a third of the self-resonance" in capsys.readouterr().out
    flat = ["--former", "38 mm", "--length", "2 mm", "--depth", "2 mm", "--turns", "900"]
    assert main(["coil", *flat]) == 0
    text = capsys.readouterr().out
    assert "far from the shape" in text
    assert "turns of this wire fit" in text


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--turns", "400"], ["400 turns", "--length is 100 mm", "thinner --wire"]),
        (["--turns", "0"], ["--turns 0", "must be between"]),
        (["--turns", "100", "--wire", "2"], ["--wire 2", "has no unit"]),
        (["--turns", "100", "--pitch", "0.1 mm"], ["--pitch 0.1 mm is less than the wire's 0.3 mm"]),
        (["--inductance", "1 H"], ["turns 0.33 mm apart take", "a wider --former"]),
        (["--inductance", "1 nH"], ["--inductance 1 nH is out of reach", "another --former"]),
    ],
)
def test_what_cannot_be_is_named_with_its_remedy(capsys, options, words):
    assert main(["coil", *CHECK, *options]) == 2
    error = capsys.readouterr().err
    for word in words:
        assert word in error, error


def test_depth_needs_a_length(capsys):
    assert main(["coil", "--former", "38 mm", "--turns", "10", "--depth", "5 mm"]) == 2
    assert "also need the --length" in capsys.readouterr().err

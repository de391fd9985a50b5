"""The words and numbers of the readouts."""

from __future__ import annotations

from dataclasses import replace

import pytest
from small_instrument import make_instrument

from synth.live.meters import no_meters
from synth.window.picture import cents_text, frequency_text, level_text, readouts, status_pieces


def test_readings_name_the_note_and_the_chain() -> None:
    instrument = make_instrument()
    values = readouts(instrument, 0.2, 442.0)
    assert values.note == "A4"
    assert values.cents_off == pytest.approx(7.85, abs=0.01)  # 1200 log2(442/440)
    assert values.remark == "sharp"
    assert values.beat == "442.0 Hz"
    assert values.distance == "20.0 cm"
    assert values.capacitance == f"{1e12 * float(instrument.antenna_capacitance(0.2)):.3f} pF"
    offset = 1000.0 * (float(values.reference.split()[0]) - float(values.variable.split()[0]))
    assert offset == pytest.approx(float(instrument.offset_frequency(0.2)), abs=1.1)
    assert readouts(instrument, 0.2, 442.0, reference_a=442.0).remark == "in tune"
    assert readouts(instrument, 0.2, -442.0).remark == "beyond zero beat"
    assert readouts(instrument, 0.2, 466.16).note == "A♯4"
    assert readouts(instrument, 0.5, 0.3).remark == "near zero beat"
    assert readouts(make_instrument(lock_range=20.0), 0.5, 0.0).remark == "oscillators locked"


def test_texts_carry_true_minus_signs_and_units() -> None:
    assert cents_text(-12.4) == "\N{MINUS SIGN}12 cents"
    assert cents_text(3.0) == "+3 cents"
    assert cents_text(None) == ""
    assert level_text(0.5) == "\N{MINUS SIGN}6 dB"
    assert level_text(1.0) == "0 dB"
    assert level_text(0.0) == "silent"
    assert frequency_text(43.654) == "43.65 Hz"
    assert status_pieces(no_meters(48000)) == ("sound process ended",)
    idle = replace(no_meters(48000), alive=True)
    assert "silent clock" in status_pieces(idle)
    assert status_pieces(idle, 272.4)[:2] == ("silent clock", "4:32 in memory, K saves")
    assert "latency 12.5 ms" in status_pieces(replace(idle, sounding=True, latency=0.0125))

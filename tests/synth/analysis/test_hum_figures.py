"""Hum at every note: against the sound of the same design, and in the reports; its keys and what they refuse."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from small_instrument import ROD

from models.circuit.modulation import both_ripples
from synth.analysis.field_figures import field_figures
from synth.analysis.hum_figures import heard_line
from synth.build.notices import ripple_notices
from synth.build.workbench import OpenedDesign, assemble
from synth.cli import main
from synth.designs.design_file import load_design
from synth.designs.oscillator_sections import SupplySection
from synth.report.field import field_text
from synth.sound.voice import Voice

DEMOS = Path(__file__).parents[3] / "demos"
WILLOW = (DEMOS / "willow.toml").read_text()
RATE = 48000


@pytest.fixture(scope="module")
def opened() -> OpenedDesign:
    return assemble(load_design(DEMOS / "willow.toml"), ROD)


@pytest.fixture(scope="module")
def rippling(opened) -> OpenedDesign:
    """Willow with 20 mV of 100 Hz on its supply, its tone filter wide open."""
    design = opened.design
    tone = replace(design.tone, low_pass=20e3, dc_block=0.1)
    return assemble(replace(design, supply=SupplySection(ripple=0.02), tone=tone), ROD)


@pytest.fixture(scope="module")
def figures(opened):
    return field_figures(opened)


@pytest.mark.slow
def test_the_voice_gives_the_lines_that_the_report_tells(rippling):
    """One note of the field, rendered: lines beside it and the hum itself in its spectrum, in dB."""
    given = field_figures(rippling).ripple
    note = next(line for line in rippling.field.notes() if line.name == "A3")
    told = next(row for row in given.notes if row.note == "A3")
    voice = Voice(rippling.instrument, RATE)
    voice.render(note.distance, RATE // 2)
    samples = voice.render(note.distance, RATE) * np.blackman(RATE)

    def level(frequency: float) -> float:
        return float(np.abs(np.sum(samples * np.exp(-2j * math.pi * frequency * np.arange(samples.size) / RATE))))

    beside = [20.0 * math.log10(level(220.0 + side * 100.0) / level(220.0)) for side in (1.0, -1.0)]
    assert max(beside) == pytest.approx(told.sidebands_db, abs=0.2)  # the tone filter and the pulling take their part
    assert 20.0 * math.log10(level(100.0) / level(220.0)) == pytest.approx(given.line_db, abs=0.2)


def test_what_is_told_is_the_difference_of_both_oscillators(opened, figures):
    reference, variable = opened.adjoints
    for hum in figures.hum:
        by = [both_ripples(one, hum.ripple_hz) for one in (reference, variable)]
        supply, base = ([pair[place].deviation for pair in by] for place in (0, 1))
        expected = {
            "supply": supply[0] - supply[1],
            "both bases": base[0] - base[1],
            "reference base": base[0],
            "variable base": base[1],
        }[hum.enters]
        assert hum.beat_hz_per_v == pytest.approx(abs(expected), rel=2e-3)
    assert len(figures.hum) == 16
    assert {hum.ripple_hz for hum in figures.hum} == {50.0, 60.0, 100.0, 120.0}


def test_every_note_has_its_cents_and_lines(opened, figures):
    names = [note.note for note in figures.notes]
    for hum in figures.hum:
        assert [row.note for row in hum.notes] == names
        assert all(row.sidebands_db is not None and row.sidebands_db < -40.0 for row in hum.notes)
    one_base = next(hum for hum in figures.hum if hum.enters == "reference base")
    # the reference does not know the hand: as many hertz at every note, near lock a little more in the beat
    for row, note in zip(one_base.notes, figures.notes, strict=True):
        steeper = math.hypot(1.0, figures.lock_range_hz / note.frequency_hz)
        cents = 1200.0 * math.log2(1.0 + 1e-3 * one_base.beat_hz_per_v * steeper / note.frequency_hz)
        assert row.cents == pytest.approx(cents, rel=1e-9)


def test_a_larger_ripple_counts_in_proportion(figures, rippling):
    millivolt = next(hum for hum in figures.hum if (hum.enters, hum.ripple_hz) == ("supply", 100.0))
    given = field_figures(rippling).ripple
    assert (given.ripple_v, given.ripple_hz, given.enters) == (0.02, 100.0, "supply")
    assert given.line_db == pytest.approx(millivolt.line_db + 20.0 * math.log10(20.0), abs=1e-6)
    assert given.notes[9].sidebands_db == pytest.approx(
        millivolt.notes[9].sidebands_db + 20.0 * math.log10(20.0), abs=1e-6
    )
    assert given.notes[9].cents == pytest.approx(20.0 * millivolt.notes[9].cents, rel=2e-3)


def test_the_notice_tells_what_weakens_it(rippling):
    (text,) = (notice for notice in rippling.notices if "ripple" in notice)
    assert text.startswith(
        "20 mV (peak) of ripple at 100 Hz (supply) sounds in the pitch oscillators; a regulated supply"
    )
    assert "roughly" not in text
    assert "volume" not in text
    law = rippling.ripple.times(300.0)
    (rough,) = ripple_notices(law, 6.0, "supply", with_volume=True)
    assert f"roughly, as it changes the amplitudes by {max(abs(one) for one in law.variable_amplitudes):.0%}" in rough
    assert "what it does to the volume oscillator is left out" in rough


def test_where_a_line_is_heard():
    # threshold of hearing at 100 Hz some 26.5 dB SPL (ISO 226:2003, from memory); a note of 70 dB SPL
    assert heard_line(-40.0, 100.0) == "can be heard"
    assert heard_line(-46.0, 100.0) == "below hearing"
    assert heard_line(-70.0, 100.0) == "far below hearing"


def test_the_text_tells_notes_and_ripple(opened):
    supply = SupplySection(ripple=0.05, ripple_at="variable base")
    found = field_figures(assemble(replace(opened.design, supply=supply), ROD))
    text = field_text(found)
    assert "50 mV peak at 100 Hz (variable base)" in text
    assert f"{found.ripple.lowest_note_cents:.2g} cents at the lowest note, can be heard" in text
    assert "hum by 1 mV: supply" in text
    assert "never open one that is fed from the mains" in text
    row = next(line for line in text.splitlines() if line.startswith("A4 "))
    place = [note.note for note in found.notes].index("A4")
    here = [hum.notes[place] for hum in found.hum if hum.enters == "supply"]
    assert f"{max(note.cents for note in here):.2g} ct" in row
    assert f"{max(note.sidebands_db for note in here):.0f} dB" in row


@pytest.mark.parametrize(
    ("design", "lines", "message"),
    [
        ("heron", 'ripple = "10 mV"', "supply.ripple = '10 mV': needs solved circuits; add a [circuit] section"),
        ("willow", 'ripple = "2 V"', "supply.ripple = '2 V': is out of its domain; it must be between 0 V and 1 V"),
        ("willow", 'ripple_frequency = "5 Hz"', "supply.ripple_frequency"),
        ("willow", 'ripple_at = "heater"', "must be one of supply, both bases, reference base, variable base"),
        ("willow", 'rippel = "1 mV"', "did you mean"),
    ],
)
def test_what_cannot_be_is_refused_with_its_remedy(design, lines, message, tmp_path, capsys):
    path = tmp_path / "wrong.toml"
    path.write_text((DEMOS / f"{design}.toml").read_text() + f"\n[supply]\n{lines}\n")
    assert main(["field", str(path)]) == 2
    error = capsys.readouterr().err
    assert message in error
    assert "wrong.toml" in error


def test_the_resonance_alone_knows_no_ripple(opened):
    with pytest.raises(ValueError, match="supply.ripple: needs solved circuits"):
        replace(
            opened.design,
            supply=SupplySection(ripple=0.01),
            tuning=replace(opened.design.tuning, law="lossless"),
            coupling=replace(opened.design.coupling, lock_range=1.0),
        )


def test_no_ripple_is_silence(opened):
    silent = assemble(replace(opened.design, supply=SupplySection()), ROD)
    assert silent.instrument == opened.instrument
    assert silent.notices == opened.notices

"""From a recording to a design: what was heard is fitted, and the design written sounds as what was heard."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
import soundfile

from models.pitch import cents
from synth.build.workbench import OpenedDesign
from synth.cli import main
from synth.comparisons.made_sound import RATE, disturbed
from synth.designs.design_file import load_design
from synth.hands.hand_path import HandPath
from synth.sound.offline import rendered_blocks

P = 1e-12
PLACES = (0.03, 0.05, 0.08, 0.12, 0.16, 0.20)
REST, SLIDE = 0.7, 0.25  # s
MARKS = ",".join(f"{100 * place:g}cm" for place in PLACES)


def recorded(opened: OpenedDesign, path) -> None:
    """The hand rests at each place, one after the other; noise and hum lie 20 dB below the sound."""
    times = np.cumsum([0.0, REST, *[SLIDE, REST] * (len(PLACES) - 1)])
    hand = HandPath(times, np.repeat(PLACES, 2), np.ones(times.size))
    sound = np.concatenate(list(rendered_blocks(opened, hand, RATE)))
    soundfile.write(path, disturbed(sound, noise=20.0, hum=20.0), RATE, subtype="PCM_24")


def printed(capsys, *words) -> dict:
    assert main([*map(str, words), "--json"]) == 0, capsys.readouterr().err
    return json.loads(capsys.readouterr().out)


@pytest.mark.slow
def test_a_recording_is_heard_fitted_and_played_again(tmp_path, demos, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    design = load_design(demos / "heron.toml")
    built = replace(
        design,
        variable=replace(design.variable, inductance=2.76e-3, stray=17 * P),
        antenna=replace(design.antenna, stray=3.8 * P),
        tuning=replace(design.tuning, zero_beat=0.38),
    )
    there = OpenedDesign(built)
    recorded(there, "practice.wav")
    heard = printed(capsys, "listen", "practice.wav", "--marks", MARKS, "--readings", "readings.csv")
    found = [rest["frequency_hz"] for rest in heard["rests"]]
    assert np.abs(cents(found, there.field.frequency_at(np.array(PLACES)))).max() < 1.0

    report = printed(capsys, "fit", "readings.csv", "--design", demos / "heron.toml", "-o", "built.toml")
    assert report["slips"] == []
    residuals = np.array([row["residual"] for row in report["residuals"]])
    again = OpenedDesign(load_design("built.toml"))
    field = printed(capsys, "field", "built.toml")
    assert field["zero_beat_m"] == pytest.approx(0.38, abs=0.01)
    told = again.field.frequency_at(np.array(PLACES))
    assert (np.abs(told - found) <= np.abs(residuals) + 1e-3 * np.array(found)).all()
    note = next(row for row in field["notes"] if row["frequency_hz"] > 300.0)
    assert float(again.field.frequency_at(note["distance_m"])) == pytest.approx(note["frequency_hz"], rel=1e-6)

    recorded(again, "again.wav")  # the voice that speaker and file share
    second = printed(capsys, "listen", "again.wav", "--marks", MARKS)
    replayed = np.array([rest["frequency_hz"] for rest in second["rests"]])
    within = np.abs(cents(np.array(found) - residuals, found)) + 3.0
    assert (np.abs(cents(replayed, found)) <= within).all()

"""What keys, clicks and the pointer change, and that the window's parts load without pygame."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import synth.window
from synth.window.state import (
    WindowState,
    level_after_step,
    on_click,
    on_key,
    with_notice,
)

STATE = WindowState(distance=0.4, level=0.2)


def test_keys_do_what_the_help_says() -> None:
    assert on_key(STATE, "q") == (STATE, "quit")
    assert on_key(STATE, "escape") == (STATE, "quit")
    muted, action = on_key(STATE, "m")
    assert (muted.muted, muted.silenced, action) == (True, True, "mute")
    assert on_key(muted, "m")[0] == STATE
    assert on_key(STATE, "r") == (STATE, "record")
    for key in ("h", "f1"):
        opened, action = on_key(STATE, key)
        assert (opened.help_open, action) == (True, None)
        assert on_key(opened, "escape") == (STATE, None)
        assert on_click(opened)[0] == STATE
    assert on_key(STATE, "x") == (STATE, "practise")
    assert on_key(STATE, "i") == (STATE, None)


def test_nothing_sounds_before_the_caution_is_answered() -> None:
    cautioned = replace(STATE, caution_open=True)
    assert cautioned.silenced
    assert on_key(cautioned, "m")[0].caution_open
    for answer in (on_key(cautioned, "return"), on_key(cautioned, "space"), on_click(cautioned)):
        assert answer == (STATE, "mute")
    assert on_key(STATE, "return") == (STATE, "practice go")
    assert on_key(replace(STATE, practice_page="before"), "escape") == (STATE, None)


def test_level_keys_step_three_decibels_within_bounds() -> None:
    up, action = on_key(STATE, "up")
    assert action == "level"
    assert 20.0 * np.log10(up.level / 0.2) == pytest.approx(3.0)
    assert on_key(up, "down")[0].level == pytest.approx(0.2)
    assert level_after_step(0.9, 1) == 1.0
    assert level_after_step(0.0011, -1) == pytest.approx(0.001)


def test_a_notice_stays_for_a_while() -> None:
    assert with_notice(STATE, "text", 10.0).notice_until > 10.0


@pytest.mark.slow
def test_layout_and_state_need_no_pygame() -> None:
    names = tuple(path.stem for path in Path(synth.window.__file__).parent.glob("*.py"))
    assert len(names) > 30
    code = f"import sys\nfor name in {names}: __import__('synth.window.' + name)\nprint('pygame' in sys.modules)"
    result = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert result.stdout.strip() == "False"

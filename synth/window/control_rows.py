"""What the drawer of controls shows: one row for each control, its value in words, and where it lies."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from synth.window.controls import Control, Settings, Value


@dataclass(frozen=True, slots=True)
class ControlRow:
    """One row. `value` is formatted with its unit; `share` is 0..1 along the range, None for a choice; a row that is
    not `enabled` has the reason in its `hint`.
    """

    name: str
    label: str
    value: str
    share: float | None
    selected: bool
    enabled: bool
    hint: str


def control_rows(settings: Settings, selected: str, disabled: Mapping[str, str]) -> tuple[ControlRow, ...]:
    """The rows of `settings` in the table's order; `disabled`: name of a control to the reason why it is not there."""
    return tuple(
        ControlRow(
            name=control.name,
            label=control.label,
            value=value_text(control, settings[control.name]),
            share=None if control.choices else control.share_of(settings[control.name]),
            selected=control.name == selected,
            enabled=control.name not in disabled,
            hint=disabled.get(control.name, control.hint),
        )
        for control in settings.controls
    )


def value_text(control: Control, value: Value) -> str:
    """A value in words: "45.0 cm", "\N{MULTIPLICATION SIGN} 1.26", "A4", "+5.0 K"."""
    if control.choices:
        return str(value).replace("#", "♯")
    number = float(value)
    match control.unit:
        case "x":
            return f"\N{MULTIPLICATION SIGN} {number:.2f}"
        case "m":
            return f"{100.0 * number:.1f} cm"
        case "Hz":
            return f"{number / 1000.0:.2f} kHz" if number >= 1000.0 else f"{number:.1f} Hz"
        case "K":
            return f"{number:+.1f} K".replace("-", "\N{MINUS SIGN}")
        case "%":
            return f"{100.0 * number:+.3f} %".replace("-", "\N{MINUS SIGN}")
        case "mm":
            return f"{number:.2f} mm"
        case _:
            return f"{100.0 * number:.1f} %"

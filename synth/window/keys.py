"""The keys as one table: it decides what a key does, and it is the help page."""

from __future__ import annotations

from models.quick_dataclass import dataclass
from synth.window.controls import CONTROL_NAMES


@dataclass(frozen=True, slots=True)
class KeyRow:
    """One row: the action, the keys for it (pygame's names, "ctrl+" or "shift+" before them), how the help names them,
    what they do, and the group it stands in. `held`: the action lasts as long as the key is down.
    """

    action: str
    keys: tuple[str, ...]
    shown: str
    meaning: str
    group: str
    held: bool = False


HAND, SOUND, PRACTICE, CONTROL = "The hands", "Sound", "Practice", "Controls"
TAKE, WINDOW = "Takes", "Window"
KEY_ROWS: tuple[KeyRow, ...] = (
    KeyRow("hand left", ("left",), "\N{LEFTWARDS ARROW}", "hold: pitch hand to the left", HAND, held=True),
    KeyRow("hand right", ("right",), "\N{RIGHTWARDS ARROW}", "hold: pitch hand to the right", HAND, held=True),
    KeyRow(
        "fine",
        ("left shift", "right shift"),
        "Shift",
        "hold: fine play, the hand moves 8 times less",
        HAND,
        held=True,
    ),
    KeyRow(
        "sound hand",
        ("space",),
        "Space",
        "hold: sound the note from the keyboard, or at the pointer",
        HAND,
        held=True,
    ),
    KeyRow("volume up", ("w",), "W", "hold: louder, for notes by Space", HAND, held=True),
    KeyRow("volume down", ("s",), "S", "hold: quieter, for notes by Space", HAND, held=True),
    KeyRow("fingers", ("f",), "F", "hold: close the fingers; the wrist stays, the pitch falls", HAND, held=True),
    KeyRow("fist", ("p",), "P", "close the fingers to stay, or open them; or Ctrl and wheel", HAND),
    KeyRow("louder", ("up",), "\N{UPWARDS ARROW}", "3 dB louder for you; recordings unchanged", SOUND),
    KeyRow("quieter", ("down",), "\N{DOWNWARDS ARROW}", "3 dB quieter for you; recordings unchanged", SOUND),
    KeyRow("mute", ("m",), "M", "mute", SOUND),
    KeyRow("drone", ("d",), "D", "drone on the note you play; again: off", SOUND),
    KeyRow("other side", ("o",), "O", "play the next design or setting, equally loud", SOUND),
    KeyRow("side A", ("1",), "1 \N{HORIZONTAL ELLIPSIS} 6", "play the first, second ... of them at once", SOUND),
    *(KeyRow(f"side {letter}", (str(number),), "", "", SOUND) for number, letter in enumerate("BCDEF", start=2)),
    KeyRow("add side", ("g",), "G", "another setting beside this one, to change and compare", SOUND),
    KeyRow("restart", ("b",), "B", "start the sound again when it is lost", SOUND),
    KeyRow("practise", ("x",), "X", "practise: choose an exercise or a tune, and how", PRACTICE),
    KeyRow("practice go", ("return", "enter"), "Enter", "start practising; again: stop, and see how it went", PRACTICE),
    KeyRow("own hand", ("u",), "U", "measure your hand in a minute; again: break off", PRACTICE),
    KeyRow("note higher", (".",), "Full stop", "the hand glides to the next note of the scale", PRACTICE),
    KeyRow("note lower", (",",), "Comma", "to the one below; with Space for sound, keys are enough", PRACTICE),
    KeyRow("drawer", ("c",), "C", "open all controls", CONTROL),
    KeyRow("next control", ("tab", "]"), "Tab", "next control", CONTROL),
    KeyRow("previous control", ("shift+tab", "["), "Shift Tab", "previous control", CONTROL),
    KeyRow("step up", ("page up", "="), "Page Up", "a step up; Shift: ten", CONTROL),
    KeyRow("step down", ("page down", "-"), "Page Down", "a step down; Shift: ten", CONTROL),
    KeyRow("ten up", ("shift+page up",), "", "", CONTROL),
    KeyRow("ten down", ("shift+page down",), "", "", CONTROL),
    KeyRow("reset one", ("delete",), "Delete", "reset this control", CONTROL),
    KeyRow("reset", ("backspace",), "Backspace", "reset every control", CONTROL),
    KeyRow("undo", ("z", "ctrl+z"), "Z", "undo", CONTROL),
    KeyRow("redo", ("y", "ctrl+y", "ctrl+shift+z"), "Y", "redo", CONTROL),
    KeyRow("save", ("ctrl+s",), "Ctrl S", "save the settings as a design, comments kept", TAKE),
    KeyRow("record", ("r",), "R", "start or end a recording (WAV)", TAKE),
    KeyRow("keep", ("k",), "K", "keep the last five minutes: sound and hand", TAKE),
    KeyRow("replay", ("t",), "T", "replay the last take; again: stop", TAKE),
    KeyRow("mirror", ("l",), "L", "left-handed: antenna on the other side", WINDOW),
    KeyRow(
        "zoom in", ("ctrl+up",), "Ctrl \N{UPWARDS ARROW}", "show less of the field, larger; so does the wheel", WINDOW
    ),
    KeyRow("zoom out", ("ctrl+down",), "Ctrl \N{DOWNWARDS ARROW}", "show more of the field", WINDOW),
    KeyRow(
        "pan left",
        ("ctrl+left",),
        "Ctrl \N{LEFTWARDS ARROW}",
        "show what lies to the left; so does Shift wheel",
        WINDOW,
    ),
    KeyRow("pan right", ("ctrl+right",), "Ctrl \N{RIGHTWARDS ARROW}", "show what lies to the right", WINDOW),
    KeyRow("usual range", ("home",), "Home", "show the notes from C2 to C6", WINDOW),
    KeyRow("look", ("v",), "V", "dark, light or high-contrast colours", WINDOW),
    KeyRow("still", ("j",), "J", "less motion: no trail; again: with it", WINDOW),
    KeyRow("fullscreen", ("f11",), "F11", "fill the screen; again: a window", WINDOW),
    KeyRow("larger text", ("ctrl+=", "ctrl++", "ctrl+[+]"), "Ctrl +", "larger text", WINDOW),
    KeyRow("smaller text", ("ctrl+-", "ctrl+[-]"), "Ctrl \N{MINUS SIGN}", "smaller text", WINDOW),
    KeyRow("usual text", ("ctrl+0",), "Ctrl 0", "text at 100 %", WINDOW),
    KeyRow("help", ("h", "f1"), "H  F1", "this help", WINDOW),
    KeyRow("leave", ("escape",), "Esc", "close the page, else quit; asks if something is unsaved", WINDOW),
    KeyRow("quit", ("q",), "Q", "quit; asks if something is unsaved", WINDOW),
)
POINTER_ROWS: tuple[tuple[str, str], ...] = (
    ("pointer across", "pitch: its distance from the antenna is the hand's, to scale"),
    ("pointer up, down", "volume: loud at the top, silent at the bottom"),
    ("pointer off the stage", "the hand rests, the sound fades out; come back to the hand or click"),
)
RING_ROW = ("pointer up, down", "volume: the other hand's height above the ring, to scale; down is quiet")
GAMEPAD = "Gamepad and touch screen"
GAMEPAD_ROWS: tuple[tuple[str, str], ...] = (
    ("left stick", "pitch hand"),
    ("right stick", "volume hand"),
    ("right trigger", "closes the fingers"),
    ("cross", "across: from note to note; up and down: 3 dB"),
    ("buttons 0 to 3", "start or answer, mute, fist, record"),
    ("buttons 4 to 7", "next setting, replay, practise, this help"),
    ("one finger", "pitch across, volume up and down"),
    ("second finger", "the volume hand; close beside the first one: the fingers"),
)
_BY_KEY = {key: row for row in KEY_ROWS for key in row.keys}
TEXT_SCALES = (0.8, 0.9, 1.0, 1.15, 1.3, 1.45, 1.6)


def row_of(key: str, ctrl: bool = False, shift: bool = False) -> KeyRow | None:
    """The row of a key (pygame's name) with what is held beside it; None for a key without a meaning.

    Shift alone changes nothing for a key that has no row with Shift.
    """
    name = key.lower()
    if ctrl:
        return _BY_KEY.get(f"ctrl+shift+{name}" if shift else f"ctrl+{name}") or _BY_KEY.get(f"ctrl+{name}")
    return (_BY_KEY.get(f"shift+{name}") if shift else None) or _BY_KEY.get(name)


def help_groups(has_ring: bool = False) -> tuple[tuple[str, tuple[tuple[str, str], ...]], ...]:
    """The help page: groups with their keys and meanings, in the table's order."""
    pointer = (POINTER_ROWS[0], RING_ROW if has_ring else POINTER_ROWS[1], POINTER_ROWS[2])
    groups: dict[str, list[tuple[str, str]]] = {HAND: list(pointer), GAMEPAD: list(GAMEPAD_ROWS)}
    for row in KEY_ROWS:
        if row.shown:
            groups.setdefault(row.group, []).append((row.shown, row.meaning))
    return tuple((name, tuple(rows)) for name, rows in groups.items())


def help_pages(text_scale: float) -> int:
    """How many pages the help has: more where its texts are larger than usual."""
    return 2 if text_scale <= 1.0 else 4


def shown_key(action: str) -> str:
    """How the help names the key of an action."""
    return next(row.shown for row in KEY_ROWS if row.action == action)


def next_control(selected: str, steps: int) -> str:
    """The control `steps` further in the table, around its ends."""
    return CONTROL_NAMES[(CONTROL_NAMES.index(selected) + steps) % len(CONTROL_NAMES)]


def next_text_scale(now: float, steps: int) -> float:
    """The text size `steps` sizes from `now`, from 80 to 160 %."""
    place = min(range(len(TEXT_SCALES)), key=lambda index: abs(TEXT_SCALES[index] - now))
    return TEXT_SCALES[min(max(place + steps, 0), len(TEXT_SCALES) - 1)]

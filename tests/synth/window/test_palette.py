"""The colours against the contrast that the accessibility guidelines ask for."""

from __future__ import annotations

import pytest

from synth.window import palette


def luminance(colour: palette.Colour) -> float:
    """Relative luminance as W3C, Web Content Accessibility Guidelines 2.1, section "relative luminance"."""
    linear = [
        share / 12.92 if share <= 0.03928 else ((share + 0.055) / 1.055) ** 2.4
        for share in (channel / 255.0 for channel in colour)
    ]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: palette.Colour, other: palette.Colour) -> float:
    """Contrast ratio as W3C, WCAG 2.1, section "contrast ratio"."""
    darker, lighter = sorted((luminance(one), luminance(other)))
    return (lighter + 0.05) / (darker + 0.05)


def test_the_contrast_formula_gives_the_known_extremes() -> None:
    assert contrast((0, 0, 0), (255, 255, 255)) == pytest.approx(21.0)
    assert contrast((255, 255, 255), (119, 119, 119)) == pytest.approx(4.48, abs=0.005)  # from memory


def test_text_and_graphics_stand_out_from_every_ground() -> None:
    for look, ground in ((name, ground) for name in palette.LOOKS for ground in palette.grounds(name)):
        for colour in palette.text_colours(look):
            assert contrast(colour, ground) >= 4.5, (look, colour, ground)  # WCAG 2.1, 1.4.3 (AA)
        for colour in palette.graphic_colours(look):
            assert contrast(colour, ground) >= 3.0, (colour, ground)  # WCAG 2.1, 1.4.11 (AA)


def test_the_high_contrast_look_stands_out_by_7_to_1() -> None:
    for ground in palette.grounds("contrast"):
        for colour in palette.text_colours("contrast"):
            assert contrast(colour, ground) >= 7.0, (colour, ground)  # WCAG 2.1, 1.4.6 (AAA)


def test_the_looks_have_the_same_colours_by_name_and_come_round() -> None:
    assert len({frozenset(look) for look in palette.LOOKS.values()}) == 1
    look = "dark"
    for _ in palette.LOOKS:
        palette.use(look)
        assert palette.LOOKS[look]["TEXT"] == palette.TEXT
        look = palette.next_look(look)
    assert look == "dark"
    palette.use("dark")

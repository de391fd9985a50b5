"""The template follows the table of keys."""

from __future__ import annotations

import re
import tomllib

from synth.designs.design_file import design_hash, design_text, read_design
from synth.designs.sections import KEYS, SECTIONS
from synth.designs.template import template_design, template_text


def test_template_reads_back_as_the_built_in_design() -> None:
    assert read_design(template_text()) == template_design()
    assert template_design().branch is not None


def test_template_shows_every_section_and_key_with_its_help() -> None:
    lines = template_text().splitlines()
    for section in SECTIONS:
        assert any(line in (f"[{section}]", f"#[{section}]") for line in lines)
    for key in KEYS:
        assert sum(bool(re.match(rf"#? ?{key.name} = ", line)) for line in lines) >= 1
        assert any(key.help in line and line.startswith("#") for line in lines)
    assert max(map(len, lines)) <= 130


def test_parts_left_out_can_be_switched_on() -> None:
    """Taking the # from every value that stands behind one gives a valid design with those parts in it."""
    text = re.sub(r"^# ?(?=\[|[a-z_]+ = )", "", template_text(), flags=re.MULTILINE)
    text = text.replace('size = "typical"', 'size = "man"')  # lengths of one's own change a measured player
    design = read_design(text)
    assert design.cabinet is not None
    assert design.player.hand_height is not None
    assert set(tomllib.loads(text)) == set(SECTIONS)


def test_plain_text_of_the_template_is_the_same_design() -> None:
    assert design_hash(read_design(design_text(template_design()))) == design_hash(template_design())

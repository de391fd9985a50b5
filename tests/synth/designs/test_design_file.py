"""Design files: every fault at once with place and remedy; writing and reading back changes nothing."""

from __future__ import annotations

import contextlib
import dataclasses
import os
import tomllib
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from letters import LETTERS

from synth.designs.design_file import design_hash, design_text, load_design, read_design
from synth.designs.oscillator_sections import ReferenceSection, VariableSection
from synth.designs.schema import REQUIRED, Key, read_value, write_value
from synth.designs.sections import KEYS, SECTIONS, About, Design, sections_of
from synth.designs.shipped import shipped_names
from synth.designs.template import template_design
from synth.errors import DesignError, at_place

SMALL = """
[variable]
inductance = "1 mH"
capacitance = "330 pF"
[reference]
inductance = "1 mH"
capacitance = "270 pF"
trimmer_maximum = "100 pF"
"""

EVERY_PART = """
[branch]
inductance = "40 mH"
[cabinet]
[room]
[circuit]
[transistor]
[supply]
[coils]
axes = "parallel"
distance = "12 cm"
reference_diameter = "25 mm"
reference_length = "40 mm"
variable_diameter = "25 mm"
variable_length = "40 mm"
[volume_antenna]
[volume]
inductance = "2.2 mH"
capacitance = "50 pF"
[volume_response]
inductance = "2.2 mH"
capacitance = "60 pF"
[tolerances]
[temperature]
[goals]
"""


def _faults(text: str) -> list[str]:
    with pytest.raises(DesignError) as caught:
        read_design(text, "my.toml")
    lines = str(caught.value).splitlines()
    assert all(line.startswith("my.toml: ") for line in lines)
    return lines


def test_the_smallest_design_takes_every_default() -> None:
    design = read_design(SMALL)
    assert design.variable.inductance == 1e-3
    assert design.variable.capacitance == 330e-12
    assert design.antenna.length == 0.45
    assert design.player.body_capacitance is None
    assert design.common.to_earth is None
    assert design.cabinet is None
    assert design.branch is None
    assert design.tuning.zero_beat is None
    assert design == Design(
        variable=VariableSection(1e-3, 330e-12), reference=ReferenceSection(1e-3, 270e-12, trimmer_maximum=100e-12)
    )


def test_all_faults_come_at_once() -> None:
    lines = _faults(
        """
        [antena]
        length = "0.45 m"
        [antenna]
        length = "0,45 m"
        diametre = "10 mm"
        diameter = "10 pF"
        base_height = 1.0
        stray = "1 F"
        [player]
        body_capacitance = "bondd"
        posture = "fists"
        [variable]
        inductance = "820"
        [reference]
        inductance = "1 mH"
        capacitance = "270 pF"
        trimmer_minimum = "90 pF"
        trimmer_maximum = "10 pF"
        quality_factor = "high"
        """
    )
    expected = [
        "[antena]: unknown section; did you mean 'antenna'?",
        "antenna.diametre = '10 mm': unknown key; did you mean 'diameter'?",
        "antenna.length = '0,45 m': has a decimal comma; write 0.45 m, not 0,45 m",
        "antenna.diameter = '10 pF': wants metre (m); got farad (pF)",
        "antenna.base_height = 1.0: has no unit; add the unit in quotes, e.g. '0.45 m'",
        "antenna.stray = '1 F': is out of its domain; it must be between 0 F and 1 nF",
        "player.body_capacitance = 'bondd': is not a number with a unit; write for example '100 pF'; did you mean "
        "'bonded'?",
        "player.posture = 'fists': must be one of open, fist; did you mean 'fist'?",
        "variable.inductance = '820': has no unit; add the unit, e.g. '820 uH'",
        "variable.capacitance: is missing; add capacitance = ... (fixed capacitor)",
        "reference.quality_factor = 'high': is not a plain number; write for example '1.5'",
        "reference.trimmer_minimum = '90 pF': is larger than trimmer_maximum; exchange the two",
    ]
    assert lines == [f"my.toml: {line}" for line in expected]


@pytest.mark.parametrize(
    ("extra", "part"),
    [
        ('[tuning]\nmode = "high"', "tuning.mode = 'high': \"high\" needs a series inductor"),
        ('[tuning]\nzero_beat = "90 cm"', "between 10 mm and 0.8 m"),
        ('[tuning]\nzero_beat = "0.6 m"\n[player]\nstand_distance = "0.5 m"', "behind the player's body"),
        ('[cabinet]\nheight = "1.2 m"', "raise antenna.base_height above 1.22 m"),
        ('[antenna]\nlength = "10 cm"\ndiameter = "8 cm"', "more than half the rod's length"),
        ('[player]\nhand_height = "3 m"', "choose 0.5 m to 1.95 m"),
        ('[tone]\nlow_pass = "200 Hz"\ndc_block = "90 Hz"', "below a tenth"),
        ('[detector]\nkind = "envelop"', "did you mean 'envelope'?"),
        ("[detector]\nkind = 3", "must be one of product"),
        ("[detector]\namplitude_ratio = 1.5", "between 0.001 and 1"),
        ("[detector]\namplitude_ratio = nan", "is not a finite number"),
        ("[detector]\namplitude_ratio = true", "is not a quantity"),
        ("[branch]\nquality_factor = 50", "branch.inductance: is missing"),
        ('[design]\nname = "a\\u001b[31m"', "control or invisible character"),
        ('[design]\nname = "a\\nb"', "control or invisible character"),
        ('[design]\nname = "' + "x" * 81 + '"', "is too long: 81 characters"),
        ("[design]\nname = 5", "must be a text in quotes"),
        ('[tone]\ninductance = "1 mH"', "it belongs in [variable] or [branch] or [reference]"),
        ("[[antenna]]", "antenna = [{}]: is a section; write [antenna] on a line of its own"),
        ("[tuning.mode]\nx = 1", "tuning.mode = a table: must be one of"),
        ("[antenna]\nlength = 1979-05-27", "is not a quantity"),
    ],
)
def test_one_fault_and_its_remedy(extra: str, part: str) -> None:
    lines = _faults(SMALL + extra)
    assert len(lines) == 1
    assert part in lines[0]


def test_values_are_compared_only_where_all_of_them_could_be_read() -> None:
    """A section that is no section is one fault: nothing is said of what would need it."""
    assert len(_faults("circuit = 3\n" + SMALL + "[transistor]\n")) == 1
    assert len(_faults(SMALL + '[tuning]\nzero_beat = "50"\n[player]\nstand_distance = "0.3 m"\n')) == 1


def test_carriers_must_be_radio_frequencies() -> None:
    lines = _faults(SMALL.replace('inductance = "1 mH"', 'inductance = "1 H"', 1))
    assert "keep it in 10 kHz to 30 MHz" in lines[0]


def test_a_zero_beat_needs_a_trimmer() -> None:
    text = SMALL.replace('trimmer_maximum = "100 pF"', "") + '[tuning]\nzero_beat = "50 cm"'
    assert "set reference.trimmer_maximum" in _faults(text)[0]


def test_a_key_outside_any_section() -> None:
    assert "stands outside any section; it belongs in [antenna]" in _faults('length = "1 m"\n' + SMALL)[0]


@pytest.mark.parametrize(
    ("text", "part"),
    [
        ("[variable]\ninductance = 820 uH\n", 'column 18); write the value in quotes: inductance = "820 uH"'),
        ("[variable]\nq = 4,7 # x\n", 'write the value in quotes: q = "4,7"'),
        ("[variable\n", "not valid TOML"),
        ("a = " + "[" * 4000, "not valid TOML"),
        ("a = " + "1" * 5000, "more than 4100 characters"),
        ("[antenna]\nlength = '1 m'\nlength = '2 m'\n", "not valid TOML"),
    ],
)
def test_toml_errors_name_the_place(text: str, part: str) -> None:
    lines = _faults(text)
    assert len(lines) == 1
    assert part in lines[0]


def test_many_faults_are_counted() -> None:
    lines = _faults(SMALL + "[tone]\n" + "".join(f"x{number} = 1\n" for number in range(100)))
    assert len(lines) == 41
    assert lines[-1] == "my.toml: and 60 more faults"


def test_files_that_cannot_be_read(tmp_path: Path) -> None:
    big, binary = tmp_path / "big.toml", tmp_path / "binary.toml"
    big.write_bytes(b"#" * 300_000)
    binary.write_bytes(b"# fine\n\xff\xfe")
    for path, part in [
        (tmp_path / "none.toml", "no such file; write one with: beatfield new"),
        (tmp_path, "^[^(]*: is a folder"),
        (big, "larger than 128 KiB"),
        (binary, "line 2 is not UTF-8"),
        (tmp_path / "nul\0.toml", "cannot be read"),
    ]:
        with pytest.raises(DesignError, match=part) as caught:
            load_design(path)
        assert len(str(caught.value).splitlines()) == 1


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
def test_a_pipe_without_a_writer_is_refused_and_not_waited_for(tmp_path: Path) -> None:
    pipe, link = tmp_path / "pipe.toml", tmp_path / "link.toml"
    os.mkfifo(pipe)
    link.symlink_to(pipe)
    for path in (pipe, link):
        with pytest.raises(DesignError, match="is a pipe or a device"):
            load_design(path)


def test_byte_order_mark_and_windows_lines(tmp_path: Path) -> None:
    path = tmp_path / "a.toml"
    path.write_bytes(b"\xef\xbb\xbf" + SMALL.replace("\n", "\r\n").encode())
    assert load_design(path) == read_design(SMALL)


def test_hash_follows_values_not_formatting() -> None:
    same = SMALL.replace('"1 mH"', '"1000 uH"').replace("\n", "\n# a comment\n")
    other = SMALL.replace("330 pF", "330.0001 pF")
    assert design_hash(read_design(SMALL)) == design_hash(read_design(same))
    assert design_hash(read_design(SMALL)) != design_hash(read_design(other))
    assert len(design_hash(read_design(SMALL))) == 12


@pytest.mark.parametrize("key", [key for key in KEYS if key.words], ids=str)
def test_every_word_of_a_key_makes_a_design_with_a_hash_and_a_text(key: Key) -> None:
    for word in key.words:
        design = read_design(f'{SMALL}[{key.section}]\n{key.name} = "{word}"\n')
        assert getattr(getattr(design, SECTIONS[key.section].part), key.name) == key.words[word]
        assert len(design_hash(design)) == 12
        assert read_design(design_text(design)) == design


def test_every_value_counts_in_the_hash() -> None:
    design = read_design(SMALL + EVERY_PART)
    design = dataclasses.replace(design, coupling=dataclasses.replace(design.coupling, lock_range=None))
    design = dataclasses.replace(design, player=dataclasses.replace(design.player, size="man"))
    seen = {design_hash(design)}
    for key in KEYS:
        part = getattr(design, SECTIONS[key.section].part)
        if key.choices:
            value = next(choice for choice in key.choices if choice != getattr(part, key.name))
        elif key.longest:
            value = "other"
        elif key.most:
            value = tuple(1.01 * each for each in getattr(part, key.name))
        else:
            value = 1.01 * (getattr(part, key.name) or key.low or 0.01 * key.high)
            value = value if key.low <= value <= key.high else 0.9 * key.high
        if key.path in ("player.hand_height", "branch.chokes"):
            value = {"player.hand_height": 1.2, "branch.chokes": 3.0}[key.path]
        changes = {SECTIONS[key.section].part: dataclasses.replace(part, **{key.name: value})}
        if key.path == "volume_response.full_height":
            changes["volume"] = dataclasses.replace(design.volume, trimmer_maximum=1e-10)  # type: ignore[type-var]
        if key.path == "coupling.coil_coupling":
            changes["coils"] = None
        if key.name == "trimmer_minimum":
            changes[key.section] = dataclasses.replace(part, trimmer_minimum=1e-11, trimmer_maximum=1e-10)
        seen.add(design_hash(dataclasses.replace(design, **changes)))
    assert len(seen) == len(KEYS) + 1


def test_every_field_of_a_section_is_a_key_and_every_default_in_its_domain() -> None:
    for name, section in SECTIONS.items():
        rows = ["parts"] if section.kind.drawn else []
        keys = [entry.name for entry in dataclasses.fields(section.kind) if entry.name not in rows]
        assert keys == [key.name for key in section.keys.values()]
        assert {key.section for key in section.keys.values()} == {name}
    for key in KEYS:
        if key.default is not REQUIRED and key.unit and key.default is not None:
            assert all(key.low <= value <= key.high for value in (key.default if key.most else (key.default,)))


def test_sections_check_their_values() -> None:
    with pytest.raises(DesignError, match=r"variable\.inductance = -0\.001: is out of its domain"):
        VariableSection(-1e-3, 1e-10)
    for bad in (float("nan"), True, "1 mH", None):
        with pytest.raises(DesignError, match="is not a finite number"):
            VariableSection(bad, 1e-10)  # type: ignore[arg-type]
    assert VariableSection(1, 1e-10).inductance == 1.0
    with pytest.raises(DesignError, match="exchange the two"):
        Design(variable=VariableSection(1e-3, 1e-10), reference=ReferenceSection(1e-3, 1e-10, trimmer_minimum=2e-12))


def _values(key: Key) -> st.SearchStrategy[object]:
    if key.choices:
        return st.sampled_from(key.choices)
    if key.longest:
        allowed = st.characters(exclude_categories=("C", "Zl", "Zp"))
        texts = st.text(allowed, max_size=key.longest if key.longest < 200 else 60)
        return texts.filter(lambda text: len(text.strip()) >= key.shortest)
    numbers = st.floats(key.low, key.high)
    if key.most:
        return st.lists(numbers, min_size=1, max_size=key.most).map(tuple)
    return numbers | st.none() if key.may_be_none else numbers


@pytest.mark.parametrize("key", KEYS, ids=lambda key: key.path)
def test_each_key_round_trips(key: Key) -> None:
    @settings(max_examples=4, deadline=None)
    @given(_values(key))
    def check(value: object) -> None:
        written = write_value(key, value)
        if written is None:
            assert value is None
            return
        assert read_value(key, tomllib.loads(f"x = {written}")["x"]) == value

    check()


@st.composite
def _designs(draw: st.DrawFn) -> Design:
    """Any design that passes the checks across keys; those that do not are drawn again."""
    parts = {}
    for section in SECTIONS.values():
        if section.optional and draw(st.booleans()):
            continue
        values = {key.name: draw(_values(key)) for key in section.keys.values()}
        if "chokes" in values:
            values["chokes"] = float(round(values["chokes"]))
        if "trimmer_minimum" in values:
            values["trimmer_minimum"] = min(values["trimmer_minimum"], values["trimmer_maximum"])
            values["inductance"] = draw(st.floats(1e-5, 1e-3))
            values["capacitance"] = draw(st.floats(1e-11, 1e-9))
        parts[section.part] = section.kind(**values)
    try:
        return Design(**parts)
    except DesignError:
        plain = {name: parts[name] for name in ("variable", "reference", "about", "tone", "detector")}
        tone = dataclasses.replace(plain["tone"], low_pass=8000.0)
        detector = dataclasses.replace(plain["detector"], amplitudes="given")
        variable = dataclasses.replace(plain["variable"], tap=1.0)
        return Design(**(plain | {"tone": tone, "detector": detector, "variable": variable}))


def _a_design_round_trips(design: Design) -> None:
    back = read_design(design_text(design))
    assert back == design
    assert design_hash(back) == design_hash(design)


def _round_trips(count: int) -> Callable[[], None]:
    return settings(max_examples=count, deadline=None)(given(_designs())(_a_design_round_trips))


test_a_design_round_trips, test_many_designs_round_trip = _round_trips(8), pytest.mark.slow(_round_trips(60))


@settings(max_examples=60, deadline=None)
@given(
    st.text(LETTERS, max_size=80)
    | st.dictionaries(
        st.sampled_from([key.name for key in KEYS]),
        st.sampled_from(["1 mH", "4k7", "1,5", "", "nan", "bonded", "high", "1e400 F"]),
        max_size=5,
    ).map(lambda table: "[variable]\n" + "".join(f'{name} = "{value}"\n' for name, value in table.items()))
)
def test_any_text_is_a_design_or_a_design_error(text: str) -> None:
    with contextlib.suppress(DesignError):
        assert isinstance(read_design(text), Design)


def test_sections_of_covers_every_key() -> None:
    design = read_design(SMALL + EVERY_PART)
    found = {(section, key) for section, part in sections_of(design).items() for key in part or {}}
    assert found == {(key.section, key.name) for key in KEYS}
    assert SECTIONS["tone"].keys["level"].path == "tone.level"


@pytest.mark.parametrize("name", ["", " ", "\u00a0"])
def test_a_name_of_nothing_is_refused(name: str) -> None:
    (line,) = [line for line in _faults(f'[design]\nname = "{name}"\n') if "design.name" in line]
    assert "is empty; write the name, or leave the key out" in line


def test_shipped_designs_have_names(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert shipped_names()[0] == "lantern"
    assert load_design("lantern") == template_design()
    assert load_design("Heron").name == "Heron"
    with pytest.raises(DesignError, match=r"heronn: no such file; .* lantern, heron, meadow"):
        load_design("heronn")
    (tmp_path / "heron").write_text(design_text(load_design("meadow")), "utf-8")
    assert load_design("heron").name == "Meadow", "a file here comes first"


def test_a_fault_found_later_names_the_file_once(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_text(SMALL, encoding="utf-8")
    design = load_design(path)
    assert dataclasses.replace(design, about=About(name="Other")).place == str(path)
    assert read_design(SMALL).place == read_design(SMALL).name
    once = at_place(design.place, DesignError("tuning.zero_beat lies outside the field"))
    assert str(once) == f"{path}: tuning.zero_beat lies outside the field"
    assert str(at_place(design.place, once)) == str(once)
    assert str(at_place(design.place, once, "[goals]: ")) == str(once)
    assert str(at_place(design.place, ValueError("too high"), "[goals]: ")) == f"{path}: [goals]: too high"

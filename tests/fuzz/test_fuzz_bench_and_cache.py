"""Readings of the bench and cached fields of every kind of damage."""

from __future__ import annotations

import json
import math
import tempfile
from dataclasses import fields
from pathlib import Path

import numpy as np
import pytest
import wild
from hypothesis import strategies as st
from letters import LETTERS
from small_instrument import ROD, STEEP, same_field, small_field

from synth.analysis.readings import MOST_ROWS, Setting, load_readings
from synth.build import curve_cache
from synth.errors import DesignError

READINGS = [
    b"fitted_capacitor,frequency\n100 pF,412.3 kHz\n220 pF,301.1 kHz\n330 pF,256.2 kHz\n",
    b"fitted_capacitor,frequency,trimmer,hand_distance,pot\r\n100p,400 kHz,out,away,0.5\r\n220p,300kHz,in,30 cm,1\r\n",
    b"oscillator,board,fitted_capacitor,pitch,hand_distance,probe\nvariable,A,1 nF,A4,10 cm,9 pF\n,B,,440 Hz,away,\n",
    b'frequency,fitted_capacitor,reverse_voltage\n"231.402 kHz","1 nF",2 V\n\n"204 kHz","1.3 nF",4 V\n',
]


def _readings(content: bytes) -> None:
    with tempfile.NamedTemporaryFile(suffix=".csv") as file:
        file.write(content)
        file.flush()
        rows = wild.told(lambda: load_readings(Path(file.name)), file.name)
    for row in () if rows is None else rows.rows:
        set_ = [getattr(row.setting, name) for name in (part.name for part in fields(Setting))]
        numbers = [value for value in (*set_, *row.read.values()) if isinstance(value, float)]
        assert all(math.isfinite(number) for number in numbers)


GOOD = small_field(ROD, STEEP)
KEY = "0" * 32


def _document(plain: object) -> bytes:
    """A cache file whose key and checksum are right, whatever the field is."""
    return json.dumps({"key": KEY, "checksum": curve_cache.checksum(plain), "field": plain}).encode()


def _plain() -> dict[str, object]:
    """The field `GOOD` as the cache writes it."""
    with tempfile.TemporaryDirectory() as name:
        path = Path(name) / "field.json"
        curve_cache.write_field(path, KEY, GOOD)
        return dict(json.loads(path.read_text())["field"])


PLAIN = _plain()
_JSON = st.recursive(
    st.one_of(st.none(), st.booleans(), st.floats(), st.integers(), st.text(LETTERS, max_size=8)),
    lambda inner: st.one_of(
        st.lists(inner, max_size=4), st.dictionaries(st.text(LETTERS, max_size=8), inner, max_size=4)
    ),
    max_leaves=6,
)
_WILD_FIELDS = st.one_of(
    _JSON,
    st.dictionaries(st.sampled_from([*PLAIN]), _JSON, max_size=3),
    st.builds(
        lambda field, value: {**PLAIN, field: value},
        st.sampled_from([*PLAIN, "x"]),
        st.one_of(_JSON, st.lists(st.floats(), min_size=ROD.distances.size, max_size=ROD.distances.size)),
    ),
)
_CACHED = st.one_of(wild.damaged([_document(PLAIN)]), _WILD_FIELDS.map(_document))


def _cache(content: bytes) -> None:
    """Whatever is in the file, the field comes out right: read if it is what was written, else solved again."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / f"{KEY}.json").write_bytes(content)
        notices: list[str] = []
        got = curve_cache.kept_field(KEY, lambda: GOOD, notices.append, folder)
        if not same_field(got, GOOD):  # a file with a right checksum: somebody wrote another field, but a field
            assert all(np.isfinite(matrices).all() for matrices in got.places.values())
        for notice in notices:
            wild.fit_to_read(notice, "the ")
        kept = curve_cache.kept_field(KEY, lambda: pytest.fail("not kept"), notices.append, folder)
        assert same_field(kept, got)
        assert [path.name for path in folder.iterdir()] == [f"{KEY}.json"]


test_readings_few, test_readings = wild.quick_and_slow(_readings, wild.damaged(READINGS), 60, 150)
test_cache_files_few, test_cache_files = wild.quick_and_slow(_cache, _CACHED, 8, 100)


def test_readings_are_bounded_in_rows(tmp_path):
    path = tmp_path / "a.csv"
    rows = [f"{100 + index} pF,400 kHz" for index in range(MOST_ROWS + 1)]
    path.write_text("\n".join(["fitted_capacitor,frequency", *rows[:-1]]))
    assert len(load_readings(path).rows) == MOST_ROWS
    path.write_text("\n".join(["fitted_capacitor,frequency", *rows]))
    with pytest.raises(DesignError, match=rf"a\.csv: line {MOST_ROWS + 2}: more than {MOST_ROWS} readings"):
        load_readings(path)

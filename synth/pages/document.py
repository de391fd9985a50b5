"""One self-contained HTML file from its parts: body, style, data and code, all in the page; nothing is fetched."""

from __future__ import annotations

import base64
import json
from importlib.resources import files
from string import Template
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from synth.lessons.words import LANGUAGE
from synth.report.sheet_markup import text

CODE = ("picture.js", "spectrum.js", "station.js", "start.js")


def asset(name: str) -> str:
    """The text of a file beside this module."""
    return files("synth.pages").joinpath("assets", name).read_text(encoding="utf-8")


def packed(values: ArrayLike) -> dict[str, str]:
    """Numbers as 64-bit floats in base64, lowest byte first, as the page unpacks them."""
    return {"f64": base64.b64encode(np.asarray(values, dtype="<f8").tobytes()).decode("ascii")}


def document(title: str, body: str, data: dict[str, Any], code: tuple[str, ...] = CODE) -> str:
    """The whole file. `body`: ready HTML; `data`: what the page's code reads; `code`: its files, in order."""
    written = json.dumps(data, allow_nan=False, ensure_ascii=False, separators=(",", ":")).replace("</", "<\\/")
    return Template(asset("page.html")).substitute(
        language=LANGUAGE,
        title=text(title),
        style=asset("page.css"),
        body=body,
        data=written,
        sound=asset("sound.js"),
        worklet=asset("worklet.js"),
        code="\n".join(asset(name) for name in code),
    )

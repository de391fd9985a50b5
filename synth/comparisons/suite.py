"""The comparisons: each name is a module of this package; all of them run one after the other into one report."""

from __future__ import annotations

import os
import platform
from collections.abc import Callable, Sequence
from importlib import import_module
from time import perf_counter
from typing import TYPE_CHECKING

from synth.errors import DeviceError

if TYPE_CHECKING:
    from synth.comparisons.benchmark_report import BenchmarkReport, Comparison

SECTIONS = {
    "voice": "the voice against the radio rate and one np.sin",
    "field": "boundary elements against finite elements at equal accuracy (needs scikit-fem)",
    "places": "places of both hands by elimination against one dense solution each",
    "oscillator": "harmonic balance against integration in time",
    "start_up": "the envelope of a start-up against its integration in time",
    "adjoint": "derivatives by the adjoint against differences of solutions",
    "builds": "random builds at once against a plain loop",
    "circuit_builds": "builds of solved circuits by the adjoint against solving each",
    "straight": "the search for a straight field against differential evolution and a simplex",
    "listening": "pitch of a sound that is heard, against a phonetics library and a spectrum's peak",
    "growth": "cost against size, with fitted exponents",
    "memory": "memory at its highest",
    "waiting": "how long a person waits for a command",
}


def benchmark_report(
    quick: bool,
    only: Sequence[str] = (),
    each: Callable[[str], None] = lambda text: None,
    progress: Callable[[float], None] = lambda share: None,
) -> BenchmarkReport:
    """Run the comparisons named in `only`, by default all; `each` is told what is being measured,
    `progress` the share of the comparisons that are done.

    A comparison whose library is missing is reported as skipped with the reason.
    """
    import numpy
    import scipy

    from synth.comparisons.benchmark_report import BenchmarkReport

    load = os.getloadavg()[0] if hasattr(os, "getloadavg") else None
    names = only or tuple(SECTIONS)
    sections = []
    for number, name in enumerate(names):
        progress(number / len(names))
        sections.append(_measured(name, quick, each))
    return BenchmarkReport(
        quick=quick,
        python=platform.python_version(),
        numpy=numpy.__version__,
        scipy=scipy.__version__,
        processors=os.cpu_count() or 1,
        load=load,
        sections=tuple(sections),
    )


def _measured(name: str, quick: bool, each: Callable[[str], None]) -> Comparison:
    from dataclasses import replace

    from synth.comparisons.benchmark_report import Comparison

    start = perf_counter()
    try:
        section: Comparison = getattr(import_module(f"synth.comparisons.{name}"), f"{name}_section")(quick, each=each)
    except DeviceError as error:
        section = Comparison(name, SECTIONS[name], skipped=str(error))
    return replace(section, seconds=perf_counter() - start)

"""All comparisons by name, run one after the other into one report."""

from __future__ import annotations

import os
import platform
from collections.abc import Callable, Sequence
from dataclasses import replace
from importlib import import_module
from time import perf_counter

from synth.comparisons.names import SECTIONS
from synth.errors import DeviceError
from synth.report.bench_report import BenchReport, Comparison


def bench_report(quick: bool, only: Sequence[str] = (), each: Callable[[str], None] = lambda text: None) -> BenchReport:
    """Run the comparisons named in `only`, by default all; `each` is told what is being measured.

    A comparison whose library is missing is reported as skipped with the reason.
    """
    import numpy
    import scipy

    load = os.getloadavg()[0] if hasattr(os, "getloadavg") else None
    return BenchReport(
        quick=quick,
        python=platform.python_version(),
        numpy=numpy.__version__,
        scipy=scipy.__version__,
        processors=os.cpu_count() or 1,
        load=load,
        sections=tuple(_measured(name, quick, each) for name in only or tuple(SECTIONS)),
    )


def _measured(name: str, quick: bool, each: Callable[[str], None]) -> Comparison:
    start = perf_counter()
    try:
        section: Comparison = getattr(import_module(f"synth.comparisons.{name}"), f"{name}_section")(quick, each=each)
    except DeviceError as error:
        section = Comparison(name, SECTIONS[name], skipped=str(error))
    return replace(section, seconds=perf_counter() - start)

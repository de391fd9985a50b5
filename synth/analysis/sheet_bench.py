"""What was read on the built instrument beside what its sheet expects, and how to retune it."""

from __future__ import annotations

from models.quick_dataclass import dataclass
from synth.analysis.fit_figures import Inferred, Residual, fit_figures
from synth.analysis.fit_target import Wish
from synth.analysis.fitting import SolvedBench
from synth.analysis.retuning import retuning
from synth.designs.design_file import Design


@dataclass(frozen=True, slots=True)
class BenchFigures:
    """Readings beside the design's and the fitted values, what was inferred, and advice in sentences."""

    source: str
    readings: tuple[Residual, ...]
    inferred: tuple[Inferred, ...]
    slips: tuple[str, ...]
    retuning: tuple[str, ...]


def bench_figures(bench: SolvedBench, source: str, built: Design) -> BenchFigures:
    """Collect them. `source` names the readings; `built` is the fitted design."""
    report = fit_figures(bench, source, Wish())
    return BenchFigures(source, report.residuals, report.inferred, report.slips, retuning(bench, built))

"""The look of the sheet on paper: black on white, one typeface, nothing cut by a page break."""

from __future__ import annotations

_STYLE = """\
@page {
  size: PAPER portrait;
  margin: 13mm 14mm 15mm 14mm;
  @bottom-left { content: "Build and tuning sheet HASH"; font: 7pt "DejaVu Sans", sans-serif; }
  @bottom-right { content: "Page " counter(page) " of " counter(pages); font: 7pt "DejaVu Sans", sans-serif; }
}
* { box-sizing: border-box; }
html { background: #fff; color: #000; }
body { margin: 0 auto; max-width: 180mm; font: 8.5pt/1.4 "DejaVu Sans", sans-serif; overflow-wrap: anywhere; }
h1 { font-size: 20pt; line-height: 1.15; margin: 0 0 1.5mm; }
h2 { font-size: 11.5pt; margin: 0 0 2mm; padding-top: 1mm; border-top: 0.5mm solid #000; break-after: avoid; }
p { margin: 0 0 2mm; orphans: 3; widows: 3; }
header { margin-bottom: 5mm; }
section { margin: 0 0 6mm; }
.kind { margin: 0; font-size: 8pt; letter-spacing: 0.08em; text-transform: uppercase; }
.small { font-size: 7.5pt; margin-top: 1.5mm; }
.strong { font-weight: bold; }
dl { display: grid; grid-template-columns: repeat(3, 1fr); gap: 1.5mm 4mm; margin: 3mm 0 0; }
dt { font-size: 7pt; }
dd { margin: 0; font-weight: bold; }
dl div, li, tr, .row, svg, thead { break-inside: avoid; }
ul, ol { margin: 0 0 2mm; padding-left: 5mm; }
li { margin-bottom: 1mm; }
ol.steps { padding-left: 6.5mm; }
.box { display: inline-block; width: 2.8mm; height: 2.8mm; border: 0.25mm solid #000; margin: 0 2mm -0.3mm 0.5mm; }
table { width: 100%; border-collapse: collapse; margin: 0 0 2.5mm; font-size: 7.5pt; line-height: 1.3; }
th, td { text-align: left; vertical-align: top; padding: 0.9mm 1.2mm; border-bottom: 0.15mm solid #000; }
th { font-weight: bold; border-bottom: 0.4mm solid #000; vertical-align: bottom; }
td { overflow-wrap: break-word; }
.number { text-align: right; font-variant-numeric: tabular-nums; }
table.fill tr:not(.group) > :last-child { width: 18mm; border-left: 0.15mm solid #000; }
tr.group { break-after: avoid; }
tr.group th { border-bottom-width: 0.15mm; padding-top: 2mm; }
th:first-child, td:first-child { padding-left: 0; }
.boxed th:first-child, .boxed td:first-child { padding-left: 0.5mm; }
.number, th { overflow-wrap: normal; white-space: nowrap; }
tr.group th { white-space: normal; }
.boxed { border: 0.4mm solid #000; padding: 2.5mm 3mm 1mm; break-inside: avoid; }
.boxed h2 { border-top: 0; padding-top: 0; }
.ruler { break-before: page; }
.row { margin: 0 0 4mm; }
svg { display: block; overflow: visible; font-family: "DejaVu Sans", sans-serif; }
@media screen { body { padding: 8mm; max-width: 196mm; } }
"""


def style(paper: str, design_hash: str) -> str:
    """The style sheet for "A4" or "Letter"; `design_hash`, hexadecimal digits, stands at the foot of every page."""
    if not design_hash.isalnum():
        raise ValueError(f"design_hash must be letters and digits; got {design_hash!r}")
    return _STYLE.replace("PAPER", paper).replace("HASH", design_hash)

"""How pages look: a printed programme note, ink on paper, turned round where dark is wanted."""

from __future__ import annotations

STYLE = """
:root { --ink: #161616; --soft: #626262; --rule: #c9c9c9; --paper: #ffffff; }
@media screen and (prefers-color-scheme: dark) {
  :root { --ink: #ececec; --soft: #a6a6a6; --rule: #454649; --paper: #17181a; }
}
* { box-sizing: border-box; }
body { margin: 0 auto; padding: 2.5rem 1.25rem 4rem; max-width: 62rem; color: var(--ink);
  background: var(--paper); font: 1rem/1.5 Georgia, 'Liberation Serif', 'DejaVu Serif', serif;
  overflow-wrap: break-word; }
header { text-align: center; padding-bottom: 1.2rem; border-bottom: 3px double var(--ink); }
h1 { margin: 0 0 0.3rem; font-size: 2.1rem; font-weight: normal; line-height: 1.2; }
header p { margin: 0.2rem 0; font-style: italic; color: var(--soft); }
h2 { margin: 3rem 0 0.8rem; padding-bottom: 0.25rem; border-bottom: 1px solid var(--ink);
  font-size: 1.25rem; font-weight: normal; letter-spacing: 0.02em; }
p { max-width: 44rem; }
header p, .caution { max-width: none; }
.caution { border: 1px solid var(--ink); padding: 0.7rem 1rem; }
.notes { padding-left: 1.2rem; }
.notes li { margin: 0.3rem 0; overflow-wrap: anywhere; }
bdi.long { display: inline-block; max-width: 22rem; max-height: 6rem; overflow: auto;
  overflow-wrap: anywhere; vertical-align: top; }
h1 bdi.long { max-width: 100%; max-height: 11rem; }
code { font-family: 'DejaVu Sans Mono', 'Liberation Mono', monospace; font-size: 0.85em; }
.scroll { overflow-x: auto; margin: 1rem 0; }
.scroll:focus-visible, summary:focus-visible { outline: 2px solid var(--ink); }
table { border-collapse: collapse; min-width: 50%; border-top: 1.5px solid var(--ink);
  border-bottom: 1.5px solid var(--ink); font-variant-numeric: lining-nums tabular-nums;
  font-size: 0.9rem; }
caption { text-align: left; padding-bottom: 0.4rem; font-style: italic; color: var(--soft); }
th, td { padding: 0.22rem 0.6rem; text-align: left; font-weight: normal; vertical-align: top; }
th:first-child { padding-left: 0; text-align: left; }
thead th { border-bottom: 1px solid var(--ink); vertical-align: bottom; font-style: italic; }
tbody tr + tr > * { border-top: 1px solid var(--rule); }
th, td { overflow-wrap: normal; }
.number { text-align: right; }
td.number { white-space: nowrap; }
figure { margin: 1.4rem 0; }
figure.many { display: grid; gap: 0.8rem 1.2rem;
  grid-template-columns: repeat(auto-fit, minmax(min(100%, 18rem), 1fr)); }
figcaption { grid-column: 1 / -1; max-width: 44rem; color: var(--soft); font-style: italic;
  font-size: 0.92rem; }
svg { display: block; width: 100%; max-width: 100%; height: auto; }
figure.one svg { min-width: 34rem; }
summary { cursor: pointer; margin: 0.8rem 0; }
.plot text { font: 12px Georgia, 'Liberation Serif', 'DejaVu Serif', serif; fill: var(--ink); }
.plot .head { font-size: 14px; }
.plot .tick { font-size: 11px; text-anchor: middle; fill: var(--soft); }
.plot .to { text-anchor: end; }
.plot .grid { fill: none; stroke: var(--rule); stroke-width: 0.7; }
.plot .line { fill: none; stroke: var(--ink); stroke-width: 1.5; stroke-linejoin: round; }
.plot .soft { stroke: var(--soft); stroke-width: 1.1; }
.plot .lead { fill: none; stroke: var(--soft); stroke-width: 0.6; }
.plot .dot { fill: var(--ink); }
footer { margin-top: 3rem; padding-top: 0.8rem; border-top: 3px double var(--ink);
  color: var(--soft); font-size: 0.92rem; }
@media print {
  @page { margin: 16mm; }
  body { padding: 0; max-width: none; font-size: 10pt; }
  .scroll { overflow: visible; }
  table { font-size: 8pt; }
  th, td { padding: 0.15rem 0.35rem; }
  figure.one svg { min-width: 0; max-height: 205mm; }
  figure.many { grid-template-columns: 1fr 1fr 1fr; gap: 0.3rem 0.6rem; }
  h2, caption { break-after: avoid; }
  h2 { margin-top: 1.6rem; }
  figcaption { break-before: avoid; }
  tr, svg, figcaption, .caution { break-inside: avoid; }
}
"""

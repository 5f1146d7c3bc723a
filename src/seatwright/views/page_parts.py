"""Parts that pages share: heading, warnings, stage plan, seats and hall."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import isfinite

from seatwright.acoustics.decay_curves import HallDecays
from seatwright.views.html_page import (
    escaped,
    html_figure,
    html_section,
    html_table,
    isolated,
    paragraph,
)
from seatwright.views.plot_frame import short_name
from seatwright.views.report import CAUTION, HallRow, SeatRow, hall_line, shown
from seatwright.views.report_plots import decay_plots, seat_plot
from seatwright.views.room_figures import Measured, measured_cells

_SEAT_HEADS = (
    "seat", "section", "instrument", "treatment", "bearing \u00b0", "distance m", "level dB",
    "D/R dB", "C80 dB", "gap ms", "R\u2013L dB", "L\u2013R ms", "heard \u00b0", "belongs \u00b0",
)  # fmt: skip

_SEAT_NOTE = (
    "Bearing and distance from the podium. Level: what distance and microphones do to a seat's "
    "loudness before it is held. D/R and C80 in the mix at 500 Hz\u20131 kHz. Gap: from the direct "
    "sound to the first reflection. R\u2013L: balance of the direct sound. L\u2013R: how much "
    "earlier the right side of the tree hears it. Heard and belongs: where a listener will hear "
    "the seat, and where its place belongs on the same base."
)

FOOTER = " ".join(CAUTION.split())
"""What figures are not for."""


def page_header(title: str, lines: Sequence[str]) -> str:
    """Title and what stands under it; the lines are plain text."""
    under = "\n".join(paragraph(line) for line in lines)
    return f"<header>\n<h1>{isolated(title)}</h1>\n{under}\n</header>"


def page_footer() -> str:
    """The caution about figures."""
    return f"<footer>\n{paragraph(FOOTER)}\n</footer>"


def warnings_part(warnings: Sequence[str]) -> list[str]:
    """Warnings as a list; nothing where there are none."""
    if not warnings:
        return []
    items = "\n".join(f"<li>{escaped(text)}</li>" for text in warnings)
    return [html_section("Warnings", [f'<ul class="notes">\n{items}\n</ul>'])]


def plan_part(plan: str) -> str:
    """The stage plan as drawn by `stage_plan`."""
    caption = "Seen from above, the audience below; one mark a section."
    return html_section("The stage", [html_figure(caption, [plan])])


def seats_part(seats: Sequence[SeatRow], loudness: Mapping[str, float]) -> str:
    """Every seat in figures, and from left to right in a picture."""
    parts = [
        html_table("Seats in the mix", _SEAT_HEADS, map(_seat_cells, seats)),
        paragraph(_SEAT_NOTE),
    ]
    if plot := seat_plot(seats, loudness):
        parts.append(
            html_figure(
                "Each dot is a seat: across, the bearing at which its direct sound will be heard; "
                "up, the loudness of its bounce, or its level where there is none.",
                [plot],
            )
        )
    return html_section("The seats", parts)


def _seat_cells(row: SeatRow) -> list[str]:
    start = [row.seat, row.section, row.instrument, row.treatment]
    f = row.figures
    if f is None or row.bearing is None or row.distance is None:
        return [*start, *["-"] * (len(_SEAT_HEADS) - len(start))]
    levels = (f.level_db, f.direct_to_reverberant_db, f.clarity_db, f.initial_gap_ms, f.lateral_db)
    return [
        *start,
        f"{row.bearing:.1f}",
        f"{row.distance:.1f}",
        *(shown(value) for value in levels),
        shown(f.arrival_difference_ms, 2),
        shown(f.heard_bearing),
        shown(f.placed_bearing),
    ]


def hall_part(hall: HallRow, decays: HallDecays | None, more: Sequence[str] = ()) -> str:
    """The hall in a line, per octave band, and how it dies away.

    Parameters
    ----------
    hall : HallRow
    decays : HallDecays or None
        Nothing where no seat is heard in the hall.
    more : sequence of str
        Further HTML.
    """
    parts = [paragraph(f"{hall_line(hall)}, speed of sound {hall.speed_of_sound:.1f} m/s.")]
    rows = [["T60 s, predicted", *(f"{value:.2f}" for value in hall.reverberation.values())]]
    caption = "Reverberation per octave band in Hz"
    if decays is not None:
        caption += f"; EDT and T30 {_way(decays)}"
        rows += _decay_rows(hall, decays)
    parts.append(html_table(caption, ["octave band", *hall.reverberation], rows))
    parts += more
    if decays is not None:
        words = (
            f"Energy still to come {_way(decays)}, with an omnidirectional source. Whole "
            "line: the responses as they are built. Dashed: Eyring's reverberation time and the "
            "diffuse level of Barron and Lee (1988)."
        )
        parts.append(html_figure(words, decay_plots(decays), "many"))
    return html_section("The hall", parts)


def _way(decays: HallDecays) -> str:
    return f'from "{short_name(decays.seat, 40)}" to {decays.where}, {decays.distance:.1f} m'


def _decay_rows(hall: HallRow, decays: HallDecays) -> list[list[str]]:
    of_band = {band.band: band for band in decays.bands}
    rows = []
    for head, figure in (("EDT s", "edt"), ("T30 s", "t30")):
        values = [
            getattr(of_band[name], figure) if name in of_band else float("nan")
            for name in hall.reverberation
        ]
        rows.append([head, *(f"{value:.2f}" if isfinite(value) else "-" for value in values)])
    return rows


def measured_table(measured: Measured) -> str:
    """Room figures at the listener as a table."""
    names = list(next(iter(measured.bands.values())))
    x, y, z = measured.listener
    over = f"mean over {measured.places} seats" if measured.places > 1 else "the seat in the middle"
    caption = (
        f"At the listener (x {x:.1f}, y {y:.1f}, {z:.1f} m up), {over} "
        "with an omnidirectional source; single: over the bands of ISO 3382-1"
    )
    return html_table(caption, ["octave band Hz", *names, "single"], measured_cells(measured))

"""A check as a page that opens from disk."""

from __future__ import annotations

from seatwright.acoustics.decay_curves import HallDecays
from seatwright.acoustics.fold_down import LEAST_CORRELATION
from seatwright.views.check_table import Check, seat_room_rows
from seatwright.views.conflict_table import (
    FOLD_MEANING,
    MEANING,
    NONE_HIDDEN,
    conflict_rows,
    fold_rows,
)
from seatwright.views.html_page import MINUS, html_page, html_section, html_table, paragraph
from seatwright.views.page_parts import (
    hall_part,
    measured_table,
    page_footer,
    page_header,
    plan_part,
    seats_part,
    warnings_part,
)
from seatwright.views.stem_table import stem_rows


def check_page(check: Check, plan: str, decays: HallDecays | None) -> str:
    """A check as a page.

    Parameters
    ----------
    check : Check
    plan : str
        The stage plan as SVG, from `stage_plan`.
    decays : HallDecays or None

    Returns
    -------
    str
        HTML.
    """
    title = check.title or check.scene
    lines = [f"seating {check.seating}"] if check.seating else []
    lines.append(f"no faults; renders to {check.frames / check.rate:.2f} s at {check.rate} Hz")
    more = [measured_table(check.measured)] if check.measured is not None else []
    heads, rows = seat_room_rows(check.seats)
    if rows:
        caption = "Each seat at the listener, with its instrument's radiation"
        more.append(html_table(caption, heads, rows))
    body = [
        page_header(title, lines),
        "<main>",
        *warnings_part(check.told),
        plan_part(plan),
        seats_part(check.seats, {}),
        *stems_part(check),
        *heard_parts(check),
        hall_part(check.hall, decays, more),
        "</main>",
        page_footer(),
    ]
    return html_page(f"{title}: check", body)


def stems_part(check: Check) -> list[str]:
    """The stems as exported; nothing where they were not listened to."""
    if not check.stems:
        return []
    table = html_table("As exported, read from end to end", *stem_rows(check.stems))
    return [html_section("The stems", [table])]


def heard_parts(check: Check) -> list[str]:
    """Seats that others hide, and the mix in mono; nothing where stems were not listened to."""
    if check.fold_down is None:
        return []
    heads, rows = conflict_rows(check.conflicts)
    hidden = paragraph(f"Seats that others hide: {NONE_HIDDEN}.")
    if rows:
        caption = "Seats that others hide, the most hidden first"
        hidden = html_table(caption, heads, rows) + "\n" + paragraph(" ".join(MEANING.split()))
    low = (
        f"{FOLD_MEANING}. In the octaves of 63 and 125 Hz a correlation below {LEAST_CORRELATION} "
        "lets bass cancel in mono and on one bass loudspeaker."
    ).replace(" -", f" {MINUS}")
    mono = [html_table("The mix in mono, by octave band in Hz", *fold_rows(check.fold_down))]
    return [
        html_section("Who hides whom", [hidden]),
        html_section("In mono", [*mono, paragraph(low)]),
    ]

"""Seats that hide each other, and the mix in mono, as tables and plain values."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from seatwright.acoustics.conflicts import Conflict
from seatwright.acoustics.fold_down import FoldDown
from seatwright.acoustics.partings import Parting
from seatwright.errors import printable
from seatwright.stage.bands import BAND_NAMES
from seatwright.views.report import shown
from seatwright.views.text_table import text_table

_HEADS = ["seat", "at", "hidden by", "at", "share", "octaves", "such as s", "try", "then"]

NONE_HIDDEN = "none by a quarter or more"

MEANING = """\
A seat is hidden where another is stronger in the same octave and tenth of a second, by 4 dB from
one direction to 12 dB from 60 degrees apart. Share: of its own loudness over the piece, by whoever
hides most; in brackets how many more hide a quarter. Octaves are wide: let your ears decide."""

NO_MOVE = "no small move parts them: turn one down, or write them apart"

FOLD_MEANING = "0 dB where left and right are alike, -3 unrelated, less where they cancel"

Pair = tuple[Conflict, Parting]


def conflict_part(pairs: Sequence[Pair]) -> str:
    """Hidden seats under their heading as one part of a page."""
    if not pairs:
        return f"Seats that others hide\n{NONE_HIDDEN}"
    heads, rows = conflict_rows(pairs)
    table = text_table(heads, [[printable(cell) for cell in row] for row in rows])
    return f"Seats that others hide, the most hidden first\n{table}\n{MEANING}"


def conflict_rows(pairs: Sequence[Pair]) -> tuple[list[str], list[list[str]]]:
    """Heads and rows of a table of hidden seats; names as they are in the scene."""
    return list(_HEADS), [_row(conflict, move) for conflict, move in pairs]


def fold_part(fold: FoldDown) -> str:
    """The mix in mono under its heading as one part of a page."""
    return f"The mix in mono: {FOLD_MEANING}\n{text_table(*fold_rows(fold))}"


def fold_rows(fold: FoldDown) -> tuple[list[str], list[list[str]]]:
    """Heads and rows of a table of the mix in mono, octave by octave."""
    rows = [
        ["mono against stereo dB", *(shown(v) for v in (*fold.change_db, fold.overall_db))],
        ["L/R correlation", *(shown(v, 2) for v in fold.correlation), "-"],
    ]
    return ["octave band", *BAND_NAMES[:8], "all"], rows


def conflict_values(pairs: Sequence[Pair]) -> list[dict[str, Any]]:
    """Hidden seats and their moves as plain values; no move where nothing helps."""
    return [
        {**asdict(conflict), "move": asdict(move) if move.key else None} for conflict, move in pairs
    ]


def move_words(move: Parting) -> str:
    """What to write into the seat, and what stands there now."""
    if move.key == "bearing":
        return f"bearing = {move.value:.1f} (now {move.before:.1f})"
    if move.key == "distance":
        return f"distance = {move.value:.2f} m (now {move.before:.2f})"
    if move.key == "perspectives.close":
        now = "not heard" if move.before is None else f"{move.before:g}"
        return f"close = {move.value:g} dB (now {now})"
    if move.key == "gain":
        return f"gain = {move.value:g} dB (now {move.before:g})"
    return NO_MOVE


def _row(conflict: Conflict, move: Parting) -> list[str]:
    more = f" (+{len(conflict.also)})" if conflict.also else ""
    long = conflict.stop > conflict.start
    return [
        conflict.hidden,
        f"{conflict.hidden_bearing:+.1f}",
        conflict.masker + more,
        f"{conflict.masker_bearing:+.1f}",
        f"{100 * conflict.share:.0f} %",
        ", ".join(conflict.bands),
        f"{conflict.start:.1f}-{conflict.stop:.1f}" if long else "-",
        move_words(move),
        f"{100 * move.share:.0f} %" if move.key else "-",
    ]

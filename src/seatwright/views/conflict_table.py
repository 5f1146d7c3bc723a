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

_MEANING = """\
A seat is hidden where another is stronger in the same octave and tenth of a second, by 4 dB from
one direction to 12 dB from 60 degrees apart. Share: of its own loudness over the piece, by whoever
hides most; in brackets how many more hide a quarter. Octaves are wide: let your ears decide."""

Pair = tuple[Conflict, Parting]


def conflict_part(pairs: Sequence[Pair]) -> str:
    """Hidden seats under their heading as one part of a page."""
    if not pairs:
        return "Seats that others hide\nnone by a quarter or more"
    table = text_table(_HEADS, [_row(conflict, move) for conflict, move in pairs])
    return f"Seats that others hide, the most hidden first\n{table}\n{_MEANING}"


def fold_part(fold: FoldDown) -> str:
    """The mix in mono under its heading as one part of a page."""
    rows = [
        ["mono against stereo dB", *(shown(v) for v in (*fold.change_db, fold.overall_db))],
        ["L/R correlation", *(shown(v, 2) for v in fold.correlation), "-"],
    ]
    table = text_table(["octave band", *BAND_NAMES[:8], "all"], rows)
    meaning = "0 dB where left and right are alike, -3 unrelated, less where they cancel"
    return f"The mix in mono: {meaning}\n{table}"


def conflict_values(pairs: Sequence[Pair]) -> list[dict[str, Any]]:
    """Hidden seats and their moves as plain values; no move where nothing helps."""
    return [
        {**asdict(conflict), "move": asdict(move) if move.key else None} for conflict, move in pairs
    ]


def move_words(move: Parting) -> str:
    """What to write into the seat, and what stands there now."""
    if move.key == "bearing":
        return f"bearing = {move.value:.1f} (now {move.before:.1f})"
    if move.key == "perspectives.close":
        now = "not heard" if move.before is None else f"{move.before:g}"
        return f"close = {move.value:g} dB (now {now})"
    if move.key == "gain":
        return f"gain = {move.value:g} dB (now {move.before:g})"
    return "no move helps: arrangement, level"


def _row(conflict: Conflict, move: Parting) -> list[str]:
    more = f" (+{len(conflict.also)})" if conflict.also else ""
    long = conflict.stop > conflict.start
    return [
        printable(conflict.hidden),
        f"{conflict.hidden_bearing:+.1f}",
        printable(conflict.masker) + more,
        f"{conflict.masker_bearing:+.1f}",
        f"{100 * conflict.share:.0f} %",
        ", ".join(conflict.bands),
        f"{conflict.start:.1f}-{conflict.stop:.1f}" if long else "-",
        move_words(move),
        f"{100 * move.share:.0f} %" if move.key else "-",
    ]

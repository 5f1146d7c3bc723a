"""Inspected stems as a table."""

from __future__ import annotations

from collections.abc import Sequence
from math import inf, isfinite, nan

from seatwright.errors import printable
from seatwright.sound.inspection import StemInspection
from seatwright.sound.room_in_stem import RoomEstimate
from seatwright.views.text_table import text_table

_HEADS = [
    "stem", "s", "Hz", "bits", "ch", "LUFS", "dBTP", "silent first s", "last s", "L-R dB",
    "L/R corr.", "room", "sure",
]  # fmt: skip


def stem_part(stems: Sequence[StemInspection]) -> list[str]:
    """The table of stems under its heading as one part of a page; none without stems."""
    if not stems:
        return []
    return [f"Stems as exported, read from end to end\n{stem_table(stems)}"]


def stem_rows(stems: Sequence[StemInspection]) -> tuple[list[str], list[list[str]]]:
    """Heads and rows of that table, for pages."""
    return list(_HEADS), [_row(stem) for stem in stems]


def stem_table(stems: Sequence[StemInspection]) -> str:
    """A line a stem: its file, its levels, the silence at its ends, its image, its room.

    Parameters
    ----------
    stems : sequence of StemInspection

    Returns
    -------
    str
    """
    return text_table(*stem_rows(stems))


def _row(stem: StemInspection) -> list[str]:
    sound = stem.sound
    unknown = nan
    return [
        printable(stem.file.replace("\\", "/").rpartition("/")[2]),
        f"{stem.seconds:.2f}",
        f"{stem.rate}",
        "float" if stem.encoding == "FLOAT" else "double" if stem.encoding == "DOUBLE"
        else f"{stem.bits}",
        f"{stem.channels}",
        _figure(sound.integrated_lufs),
        _figure(sound.true_peak_dbtp),
        f"{sound.leading_silence:.2f}",
        f"{sound.trailing_silence:.2f}",
        _figure(unknown if sound.balance_db is None else sound.balance_db, "+.1f"),
        _figure(unknown if sound.correlation is None else sound.correlation, "+.2f"),
        room_words(sound.room),
        f"{100 * sound.room.confidence:.0f} %" if sound.room.verdict != "unsure" else "-",
    ]  # fmt: skip


def room_words(room: RoomEstimate) -> str:
    """What was found of a room: "dry", "room 1.8 s" or "-" where nothing is certain."""
    if room.verdict == "room":
        return f"room {room.seconds:.1f} s"
    return "dry" if room.verdict == "dry" else "-"


def _figure(value: float, form: str = ".1f") -> str:
    if value in (inf, -inf):
        return "+inf" if value > 0.0 else "-inf"
    return format(value, form) if isfinite(value) else "-"

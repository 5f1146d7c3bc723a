"""What a comparison tells on the terminal."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from seatwright.errors import printable
from seatwright.views.difference_table import Difference, difference_facts, difference_text
from seatwright.views.report import json_text, shown, warning_lines
from seatwright.views.text_table import text_table


@dataclass(frozen=True)
class VersionRow:
    """A version: loudness and true peak of its stretch as it came, gain that matched it in dB."""

    name: str
    integrated_lufs: float
    true_peak_dbtp: float
    gain_db: float

    @property
    def figures(self) -> tuple[float, ...]:
        """As they stand in the table, the loudness after matching last."""
        matched = self.integrated_lufs + self.gain_db
        return self.integrated_lufs, self.true_peak_dbtp, self.gain_db, matched


@dataclass(frozen=True)
class Comparison:
    """A comparison as it was written.

    Parameters
    ----------
    title, trial : str
        The trial's identity.
    folder, page : str
    page_bytes, decoded_bytes : int
        Of the page on disk, and of its audio in a browser's memory.
    audio : str
        What the page carries and why.
    rate : int
    start, seconds : float
        Of the compared stretch.
    versions : tuple of VersionRow
    differences : tuple of Difference
    warnings : tuple of str
    """

    title: str
    trial: str
    folder: str
    page: str
    page_bytes: int
    decoded_bytes: int
    audio: str
    rate: int
    start: float
    seconds: float
    versions: Sequence[VersionRow]
    differences: Sequence[Difference]
    warnings: tuple[str, ...]

    def as_json(self) -> str:
        """JSON text, for machines."""
        facts: dict[str, Any] = {
            "seatwright_comparison": 1,
            **{key: value for key, value in vars(self).items() if key not in _NESTED},
            "versions": [vars(version) for version in self.versions],
            "differences": difference_facts(self.differences)["pairs"],
        }
        return json_text(facts)


_NESTED = ("versions", "differences")


def compare_table(comparison: Comparison) -> str:
    """The comparison as text a person reads."""
    end = comparison.start + comparison.seconds
    heading = (
        f"{printable(comparison.title or 'Comparison')}\n"
        f"{comparison.seconds:.2f} s, from {comparison.start:.2f} s to {end:.2f} s, at "
        f"{comparison.rate} Hz"
    )
    rows = [
        [printable(row.name), *(shown(value, 2) for value in row.figures)]
        for row in comparison.versions
    ]
    levels = text_table(["version", "LUFS", "dBTP", "gain dB", "matched LUFS"], rows)
    page = (
        f"Page {comparison.page}, {comparison.page_bytes / 1e6:.1f} MB; open, it takes about "
        f"{comparison.decoded_bytes / 1e6:.0f} MB of memory. Trial {comparison.trial}.\n"
        f"It carries {comparison.audio}."
    )
    parts = [heading, levels, difference_text(comparison.differences), page]
    parts += warning_lines(comparison.warnings)
    return "\n\n".join(part for part in parts if part) + "\n"

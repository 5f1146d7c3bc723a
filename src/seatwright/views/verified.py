"""What verifying a folder found, for people and for machines."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from math import log10

from seatwright.errors import Fault, printable
from seatwright.views.report import json_text
from seatwright.views.text_table import text_table

VERIFY_FORMAT = 1
_NOTHING = 1e-15
"""Of full scale: no file here holds what is lower, but for floats beside silence."""


@dataclass(frozen=True)
class CheckedFile:
    """A file that a folder's report lists, and whether it is what it should be."""

    file: str
    holds: bool


@dataclass(frozen=True)
class CheckedSum:
    """An output against the sum of its parts.

    Parameters
    ----------
    whole : str
    parts : int
        How many add up to it.
    kind : str
        Of the parts.
    largest, allowed : float
        Difference and what rounding explains, full scale 1.0, where most of that is used up.
    seconds : float
        Where that is.
    holds : bool
    """

    whole: str
    parts: int
    kind: str
    largest: float
    allowed: float
    seconds: float
    holds: bool


@dataclass(frozen=True)
class Verified:
    """A folder, verified.

    Parameters
    ----------
    folder : str
    kind : str
        "render" or "comparison".
    files : tuple of CheckedFile
    sums : tuple of CheckedSum
        Those whose files can be read.
    faults : tuple of Fault
        What does not hold.
    warnings : tuple of Fault
        What stands beside it or has changed since.
    """

    folder: str
    kind: str
    files: tuple[CheckedFile, ...]
    sums: tuple[CheckedSum, ...]
    faults: tuple[Fault, ...]
    warnings: tuple[Fault, ...]

    @property
    def holds(self) -> bool:
        """Whether every output is what it was when it was written."""
        return not self.faults

    def as_json(self) -> str:
        """JSON text."""
        facts = {"verify_format": VERIFY_FORMAT, "holds": self.holds, **asdict(self)}
        for key, found in (("faults", self.faults), ("warnings", self.warnings)):
            facts[key] = [{"file": f.file, "what": f.what, "hint": f.hint} for f in found]
        return json_text(facts)


def verified_text(found: Verified) -> str:
    """What holds and what does not, as text a person reads."""
    rows = [[printable(row.file), "holds" if row.holds else "FAILS"] for row in found.files]
    parts = [f"{printable(found.folder)}: a {found.kind}", text_table(["file", "found"], rows)]
    if found.sums:
        parts.append(_sum_table(found.sums))
    for head, faults in (("Faults", found.faults), ("Warnings", found.warnings)):
        if faults:
            parts.append("\n".join([head, *(f"  {fault}" for fault in faults)]))
    return "\n\n".join([*parts, _verdict(found)]) + "\n"


def _verdict(found: Verified) -> str:
    if found.holds:
        beside = f", {_counted(len(found.warnings), 'warning')}" if found.warnings else ""
        return f"All {_counted(len(found.files), 'file')} hold{beside}."
    return f"{_counted(len(found.faults), 'fault')}: this is not what was written."


def _sum_table(sums: tuple[CheckedSum, ...]) -> str:
    rows = [
        [
            printable(row.whole),
            f"{row.parts} {row.kind}",
            _level(row.largest),
            _level(row.allowed),
            f"{row.seconds:.2f}",
            "holds" if row.holds else "FAILS",
        ]
        for row in sums
    ]
    heads = ["sum", "of", "apart dBFS", "allowed dBFS", "at s", "found"]
    return text_table(heads, rows)


def _level(value: float) -> str:
    return f"{20.0 * log10(value):+.1f}" if value > _NOTHING else "-"


def _counted(count: int, what: str) -> str:
    return f"{count} {what}{'' if count == 1 else 's'}"

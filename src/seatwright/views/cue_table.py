"""Many cues at the end of a command: which are done, where they are, what is wrong with others."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

from seatwright.errors import Fault, printable
from seatwright.views.report import json_text, shown
from seatwright.views.text_table import text_table

CueState = Literal["done", "failed", "not begun"]


@dataclass(frozen=True)
class CueRow:
    """What became of a cue.

    Parameters
    ----------
    scene, folder : str
        As they were named.
    state : str
        "done", "failed" or "not begun".
    seconds : float
        Of all its attempts.
    tries : int
        Attempts; 0 where the scene was not even begun.
    trim_db : float or None
        Of the render.
    warnings : tuple of str
        Of the render, as in its report.
    faults : tuple of Fault
        Of the last attempt.
    exit_code : int
        As a command would end that renders this scene alone; 0 where it is done or not begun.
    """

    scene: str
    folder: str
    state: CueState
    seconds: float = 0.0
    tries: int = 0
    trim_db: float | None = None
    warnings: tuple[str, ...] = ()
    faults: tuple[Fault, ...] = ()
    exit_code: int = 0

    @property
    def retried(self) -> bool:
        """Whether more than one attempt was made."""
        return self.tries > 1


def worst_exit_code(rows: Sequence[CueRow]) -> int:
    """0 only if all cues are done."""
    return max((row.exit_code for row in rows), default=0)


def cue_table(rows: Sequence[CueRow]) -> str:
    """The cues as a table a person reads, and how many are done."""
    cells = [
        [
            printable(row.scene),
            row.state,
            f"{row.seconds:.1f}" if row.tries else "-",
            ("yes" if row.retried else "no") if row.tries else "-",
            "-" if row.trim_db is None else shown(row.trim_db, 2),
            str(len(row.warnings)) if row.state == "done" else "-",
            _folder_or_fault(row),
        ]
        for row in rows
    ]
    heads = ["scene", "state", "seconds", "retried", "trim dB", "warnings", "folder or fault"]
    done = sum(row.state == "done" for row in rows)
    parts = [text_table(heads, cells), f"{done} of {len(rows)} scenes are rendered."]
    if any(row.warnings for row in rows):
        parts[-1] += " Their warnings stand in the report of each folder."
    if len({row.trim_db for row in rows if row.trim_db is not None}) > 1:
        parts.append("Each scene found its own trim; give one with --trim to keep their levels.")
    return "\n\n".join(parts) + "\n"


def _folder_or_fault(row: CueRow) -> str:
    if not row.faults:
        return printable(row.folder)
    more = f" (and {len(row.faults) - 1} more)" if len(row.faults) > 1 else ""
    return f"{row.faults[0]}{more}"


def cues_json(rows: Sequence[CueRow]) -> str:
    """The cues as JSON, for machines."""
    cues = [_facts(row) for row in rows]
    return json_text({"seatwright_cues": 1, "exit_code": worst_exit_code(rows), "cues": cues})


def _facts(row: CueRow) -> dict[str, Any]:
    faults = [{**vars(fault), "text": str(fault)} for fault in row.faults]
    return {**vars(row), "retried": row.retried, "faults": faults}

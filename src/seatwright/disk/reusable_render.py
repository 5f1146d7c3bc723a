"""An earlier render that still holds: of the same scene, seating and stems, its mix untouched."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from seatwright.disk.regular_files import refuse_irregular
from seatwright.disk.report_file import found_report


def earlier_report(
    folder: Path, wanted: Mapping[str, Any], stems: Iterable[Path]
) -> dict[str, Any]:
    """The report of a render in a folder, if rendering again would give the same mix.

    Parameters
    ----------
    folder : Path
    wanted : mapping
        Keys of report.json and the values they must have.
    stems : iterable of Path
        Files the render would read.

    Returns
    -------
    dict
        report.json as read; empty where there is none, or where anything has changed since.
    """
    try:
        report = found_report(folder)
        if not all(key in report and report[key] == value for key, value in wanted.items()):
            return {}
        found = {row["file"]: row["sha256"] for row in report["outputs"]}
        heard = {row["sha256"] for row in report["stems"]}
        if {_digest(path) for path in stems} != heard:
            return {}
        if found.get("mix.wav") != _digest(folder / "mix.wav"):
            return {}
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return {}  # a report nobody can read holds no longer: render again
    return report


def _digest(path: Path) -> str:
    refuse_irregular(path)
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()

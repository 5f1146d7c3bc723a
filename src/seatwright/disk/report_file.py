"""A report.json as it is found on disk: data from anywhere, read within bounds."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

MOST_BYTES = 64 * 2**20


def found_report(folder: Path) -> dict[str, Any]:
    """The report of a folder, if it can be read; else as `read_report` where there is none."""
    try:
        return read_report(folder)
    except OSError:
        return {}


def read_report(folder: Path) -> dict[str, Any]:
    """The report of a folder.

    Parameters
    ----------
    folder : Path

    Returns
    -------
    dict
        report.json as read, whatever it says; empty where there is none, where it is no report,
        or where it has more than 64 MiB.

    Raises
    ------
    OSError
        If there is one that cannot be read.
    """
    path = folder / "report.json"
    if not path.is_file() or path.stat().st_size > MOST_BYTES:
        return {}
    try:
        found = json.loads(path.read_bytes())
    except (ValueError, RecursionError):
        return {}
    return found if isinstance(found, dict) else {}

"""A report.json as it is found on disk: data from anywhere, read within bounds."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

MOST_BYTES = 64 * 2**20


def found_report(folder: Path) -> dict[str, Any]:
    """The report of a folder.

    Parameters
    ----------
    folder : Path

    Returns
    -------
    dict
        report.json as read, whatever it says; empty where there is none that can be read, or
        where it has more than 64 MiB.
    """
    path = folder / "report.json"
    try:
        if not path.is_file() or path.stat().st_size > MOST_BYTES:
            return {}
        found = json.loads(path.read_bytes())
    except (OSError, ValueError, RecursionError):
        return {}
    return found if isinstance(found, dict) else {}

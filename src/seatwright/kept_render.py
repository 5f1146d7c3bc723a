"""Rendering as commands do: with the usual store of results, whose doubts are told."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from seatwright.disk.store_place import open_store, usual_store
from seatwright.errors import Fault
from seatwright.render import Progress, render
from seatwright.stage.request import Request
from seatwright.views.report import Report


def kept_render(
    scene_path: Path,
    folder: Path,
    request: Request,
    progress: Progress,
    complain: Callable[[Fault], None],
    store_folder: Path | None = None,
) -> Report:
    """Render with the store of results.

    Parameters
    ----------
    scene_path, folder, request, progress
        As of `render.render`.
    complain : callable
        Told of results that were damaged or could not be kept.
    store_folder : Path, optional
        Another store than the usual one.

    Returns
    -------
    Report

    Raises
    ------
    SeatwrightError
        As `render.render`; DiskError also if `store_folder` cannot be a store.
    """
    store, doubts = (open_store(store_folder), []) if store_folder else usual_store()
    report = render(scene_path, folder, request, progress, store)
    for doubt in [*doubts, *(store.doubts if store else ())]:
        complain(doubt)
    return report

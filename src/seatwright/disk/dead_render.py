"""A folder after a render that was killed in it: without what nobody will ever finish."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path

from seatwright.disk.leftovers import KINDS, remove_leftovers
from seatwright.disk.render_lock import RenderLock
from seatwright.errors import SeatwrightError


def tidy_dead_render(folder: Path) -> None:
    """Remove temporaries of dead renders, then folders in which nothing is left.

    Only where the folder's lock can be had, so that no living render loses anything; nothing is
    told where that fails, as the next render into the folder does the same.

    Parameters
    ----------
    folder : Path
        Of the outputs; may be missing.
    """
    if not folder.is_dir():
        return
    lock = RenderLock(folder)
    try:
        with suppress(SeatwrightError):
            lock.take()
        if not lock.held:
            return
        remove_leftovers(folder)
    finally:
        lock.release()
    for place in (*(folder / kind for kind in KINDS), folder):
        with suppress(OSError):  # not empty, or not there
            place.rmdir()

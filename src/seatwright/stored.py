"""What the store of results holds, after it was limited, verified or cleared on request."""

from __future__ import annotations

from math import isfinite
from pathlib import Path

from seatwright.disk.store_place import VARIABLE, open_store, store_folder
from seatwright.errors import DiskError, Fault, SceneError
from seatwright.views.store_table import KindRow, StoreFacts

_MOST_GB = 1e6


def look_at_store(
    folder: Path | None = None,
    *,
    clear: bool = False,
    limit_gb: float | None = None,
    verify: bool = False,
) -> StoreFacts:
    """Do what is asked of a store, then look at it.

    Parameters
    ----------
    folder : Path, optional
        The usual one by default.
    clear : bool
        Remove all results.
    limit_gb : float, optional
        What it may hold from now on, in 10^9 bytes.
    verify : bool
        Read all results through and remove damaged ones.

    Returns
    -------
    StoreFacts

    Raises
    ------
    SceneError
        If the limit is no size.
    DiskError
        If there is no store, or it cannot be used.
    """
    if limit_gb is not None and not (isfinite(limit_gb) and 0.0 <= limit_gb <= _MOST_GB):
        raise SceneError(f"found a limit of {limit_gb:g} GB, wanted 0 to {_MOST_GB:g}")
    folder = folder or store_folder()
    if folder is None:
        what = f"found {VARIABLE} set to nothing, which turns the store off; wanted a folder"
        raise DiskError(Fault(what, hint="unset it, or name a store with --folder"))
    store = open_store(folder)
    damaged = [str(fault.path) for fault in store.damaged()] if verify else []
    if limit_gb is not None:
        store.limit = round(limit_gb * 1e9)
    removed = store.clear() if clear else store.shrink()
    rows = tuple(KindRow(each.kind, each.count, each.size) for each in store.holdings())
    return StoreFacts(str(folder), rows, store.limit, removed, tuple(damaged), verify)

"""Where the store of results is: the user's cache, a folder the environment names, or nowhere."""

from __future__ import annotations

import os
from pathlib import Path

from platformdirs import user_cache_path

from seatwright.disk.store import Store
from seatwright.disk.store_keys import engine_digest
from seatwright.errors import DiskError, Fault

VARIABLE = "SEATWRIGHT_STORE"
_ENGINE_NAME = "computed-by"


def store_folder() -> Path | None:
    """The folder of the store; None where the environment's variable is set to nothing.

    Raises
    ------
    DiskError
        If the variable names somebody's home folder that is not known.
    """
    named = os.environ.get(VARIABLE)
    if named is not None:
        try:
            return Path(named).expanduser() if named.strip() else None
        except RuntimeError as error:
            what = f'found no home folder for {VARIABLE} = "{named}", wanted a folder'
            raise DiskError(Fault(what)) from error
    return user_cache_path("seatwright", appauthor=False) / "results"


def open_store(folder: Path) -> Store:
    """A store, which doubts results of another version of this program.

    Raises
    ------
    DiskError
        If the folder cannot be a store.
    """
    store = Store(folder)
    found, wanted = store.noted(_ENGINE_NAME), engine_digest()
    if found != wanted:
        try:
            store.note(_ENGINE_NAME, wanted)
        except OSError as error:
            store.refused(error, folder / _ENGINE_NAME)
    if found not in ("", wanted):
        what = "its results are of another version of this program, and are computed again"
        store.doubts.append(Fault(what, file=str(folder)))
    return store


def usual_store() -> tuple[Store | None, list[Fault]]:
    """The store that commands use, None where there is none to be had; and why."""
    try:
        folder = store_folder()
        return (open_store(folder), []) if folder else (None, [])
    except DiskError as error:
        return None, list(error.faults)

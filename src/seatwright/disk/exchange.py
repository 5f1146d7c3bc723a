"""New outputs put in the place of the last render's: all of them, or none.

What stood there is kept under hidden names until everything new has its name, and a journal says
what is kept where. As long as the journal is there nothing is decided: after an error or an
interrupt, or with the next render after a kill, `undo` puts everything back. That the journal goes
is what makes the new render the folder's.

A journal is read as data from anywhere: nothing in it leads out of the folder.
"""

from __future__ import annotations

import json
import os
import secrets
from collections.abc import Iterable
from contextlib import suppress
from dataclasses import asdict, dataclass
from pathlib import Path
from types import TracebackType
from typing import Self

from seatwright.disk.bounces import TEMPORARY_PREFIX, flush_folder
from seatwright.disk.earlier_render import OldOutput, is_still
from seatwright.disk.leftovers import JOURNAL_NAME, is_kept_name, stays_inside
from seatwright.disk.text_files import refused
from seatwright.disk.whole_file import write_whole
from seatwright.errors import DiskError, Fault, SeatwrightError

_FORMAT = 1


@dataclass(frozen=True)
class _Place:
    """A file of the folder, and the hidden name under which what stood there is kept, or ""."""

    file: str
    kept: str = ""


class Exchange:
    """While it is entered, new outputs may be given their names.

    Parameters
    ----------
    folder : Path
        Which this render has for itself.
    files : iterable of str
        Outputs and reports that get their names meanwhile, by their path in the folder.
    removed : iterable of OldOutput
        Of the render before; they go, unless they have changed since they were looked at.

    Raises
    ------
    DiskError
        If the disk refuses; everything is then as it was before.
    """

    def __init__(self, folder: Path, files: Iterable[str], removed: Iterable[OldOutput] = ()):
        self._folder = folder
        self._files = list(files)
        self._removed = list(removed)
        self._places: list[_Place] = []
        self._leaving: dict[_Place, OldOutput] = {}

    def __enter__(self) -> Self:
        self._places = [self._place(file) for file in self._files]
        self._leaving = {_Place(old.file, _hidden_name()): old for old in self._removed}
        try:
            self._begin()
        except OSError as error:
            self._undo_after(refused(self._folder, "outputs cannot be exchanged", error))
        except BaseException as error:
            self._undo_after(error)
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        value: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if value is not None:
            self._undo_after(value)
        try:
            self._remove()
            self._flush()
            (self._folder / JOURNAL_NAME).unlink()
        except BaseException as error:
            self._undo_after(
                refused(self._folder, "outputs cannot be exchanged", error)
                if isinstance(error, OSError)
                else error
            )
        self._forget_old()

    def _place(self, file: str) -> _Place:
        path = self._folder / file
        if path.is_dir():
            raise DiskError(Fault("cannot be written: a folder has this name", file=str(path)))
        return _Place(file, _hidden_name() if os.path.lexists(path) else "")

    def _begin(self) -> None:
        places = [asdict(place) for place in (*self._places, *self._leaving)]
        facts = {"exchange_format": _FORMAT, "places": places}
        write_whole(self._folder / JOURNAL_NAME, json.dumps(facts).encode())
        flush_folder(self._folder)
        for place in self._places:
            if place.kept:
                _keep(self._folder / place.file, _kept_path(self._folder, place))
        self._flush()

    def _remove(self) -> None:
        """Last, so that what the report lists is there as long as that report is."""
        for place, old in self._leaving.items():
            if is_still(self._folder, old):  # else gone, or new where names differ only by case
                (self._folder / place.file).replace(_kept_path(self._folder, place))

    def _undo_after(self, error: BaseException) -> None:
        try:
            undo(self._folder)
        except DiskError as worse:
            faults = error.faults if isinstance(error, SeatwrightError) else ()
            raise DiskError([*faults, *worse.faults]) from error
        raise error

    def _flush(self) -> None:
        places = (*self._places, *self._leaving)
        for parent in sorted({(self._folder / place.file).parent for place in places}):
            if parent.is_dir():
                flush_folder(parent)

    def _forget_old(self) -> None:
        """Remove what was kept, once it is certain that the journal is gone."""
        try:
            flush_folder(self._folder)
        except OSError as error:
            raise refused(self._folder, "cannot be flushed to the disk", error) from error
        for place in (*self._places, *self._leaving):
            with suppress(OSError):  # in nobody's way, and the next render removes it
                if place.kept:
                    _kept_path(self._folder, place).unlink(missing_ok=True)
        for old in self._removed:
            parent = (self._folder / old.file).parent
            if parent != self._folder:
                with suppress(OSError):  # not empty
                    parent.rmdir()


def undo(folder: Path) -> None:
    """Put everything back where an exchange was begun and not ended; does nothing elsewhere.

    Only for the one render that holds the folder's lock.

    Raises
    ------
    DiskError
        If the disk refuses, or the journal is none; what is kept stays kept.
    """
    journal = folder / JOURNAL_NAME
    if not os.path.lexists(journal):
        return
    try:
        places = _places_of(journal)
        for place in reversed(places):
            _put_back(folder, place)
        for parent in sorted({(folder / place.file).parent for place in places}):
            if parent.is_dir():
                flush_folder(parent)
        journal.unlink()
        flush_folder(folder)
    except OSError as error:
        what = "outputs of the render before cannot be put back, they are kept in .seatwright-*.old"
        raise refused(folder, what, error) from error


def _put_back(folder: Path, place: _Place) -> None:
    path = folder / place.file
    if not place.kept:
        path.unlink(missing_ok=True)
        return
    kept = _kept_path(folder, place)
    if os.path.lexists(kept):
        kept.replace(path)
        kept.unlink(missing_ok=True)  # two names of one file: then replacing does nothing


def _places_of(journal: Path) -> list[_Place]:
    try:
        facts = json.loads(journal.read_bytes())
        places = [_Place(str(row["file"]), str(row["kept"])) for row in facts["places"]]
    except (ValueError, KeyError, TypeError, RecursionError) as error:
        places, wrong = [], str(error)[:80]
    else:
        wrong = next((p.file for p in places if not _is_ours(p)), "")
    if wrong or not places:
        what = f'found a damaged journal of an exchange ("{wrong}"), wanted one as render writes it'
        hint = "what the render before left may be in .seatwright-*.old; then remove the journal"
        raise DiskError(Fault(what, file=str(journal), hint=hint))
    return places


def _is_ours(place: _Place) -> bool:
    return stays_inside(place.file) and (not place.kept or is_kept_name(place.kept))


def _kept_path(folder: Path, place: _Place) -> Path:
    """Beside the file, so that no name has to go over to another disk."""
    return (folder / place.file).with_name(place.kept)


def _hidden_name() -> str:
    return f"{TEMPORARY_PREFIX}{secrets.token_hex(8)}.old"


def _keep(path: Path, kept: Path) -> None:
    """Give a file a second name, so that it is never missing."""
    try:
        os.link(path, kept, follow_symlinks=False)
    except OSError:  # a disk without links: it is missing for a moment
        path.replace(kept)

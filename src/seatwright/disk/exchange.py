"""New outputs put in the place of the last render's: all of them, or none.

What stood there is kept under hidden names until everything new has its name, and a journal says
what is kept where. As long as the journal is there nothing is decided: after an error or an
interrupt, or with the next render after a kill, `undo` puts everything back. That the journal goes
is what makes the new render the folder's.

A journal is read as data from anywhere: nothing in it leads out of the folder, nor to a file that
is no output.
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
from seatwright.disk.leftovers import JOURNAL_NAME, is_kept_name, is_output_name
from seatwright.disk.regular_files import is_plain_file, regular_bytes
from seatwright.disk.text_files import refused
from seatwright.disk.whole_file import write_whole
from seatwright.errors import DiskError, Fault, SeatwrightError

_FORMAT = 1
_MOST_BYTES = 8 * 2**20
"""Of a journal: enough for all outputs a scene can have, old and new, with the longest names."""


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
            if os.path.lexists(self._folder / JOURNAL_NAME):
                _put_all_back(self._folder, [*self._places, *self._leaving])
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
    if os.path.lexists(journal):
        _put_all_back(folder, _places_of(journal))


def _put_all_back(folder: Path, places: list[_Place]) -> None:
    """Undo what is known to be an exchange, then remove its journal; DiskError if refused."""
    try:
        for place in reversed(places):
            _put_back(folder, place)
        for parent in sorted({(folder / place.file).parent for place in places}):
            if parent.is_dir():
                flush_folder(parent)
        (folder / JOURNAL_NAME).unlink()
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
    """What a journal says; DiskError for the whole of it where anything in it cannot be."""
    places, wrong = list[_Place](), ""
    try:
        places = _read_places(journal)
    except (ValueError, KeyError, TypeError, RecursionError) as error:
        wrong = str(error)[:80]
    except OSError as error:
        raise refused(journal, "cannot be read", error) from error
    for place in places:
        wrong = wrong or _not_ours(journal.parent, place)
    if wrong or not places:
        what = f'found a damaged journal of an exchange ("{wrong}"), wanted one as render writes it'
        hint = "what the render before left may be in .seatwright-*.old; then remove the journal"
        raise DiskError(Fault(what, file=str(journal), hint=hint))
    return places


def _read_places(journal: Path) -> list[_Place]:
    if not is_plain_file(journal):
        raise ValueError("no regular file")
    data = regular_bytes(journal, _MOST_BYTES)
    if len(data) > _MOST_BYTES:
        raise ValueError(f"more than {_MOST_BYTES} bytes")
    return [_Place(str(row["file"]), str(row["kept"])) for row in json.loads(data)["places"]]


def _not_ours(folder: Path, place: _Place) -> str:
    """What no render writes about a place; "" where it is one of an output or a report."""
    if not is_output_name(place.file):
        return place.file[:80] or "no name"
    if place.kept and not is_kept_name(place.kept):
        return place.kept[:80]
    parent = (folder / place.file).parent
    return f"{parent.name} is a link" if parent != folder and parent.is_symlink() else ""


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

"""Ballots on disk: JSON files, text files with codes, folders of both; codes given as they are."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from seatwright.errors import DiskError, Fault, SceneError
from seatwright.listening.ballot import Ballot, parse_ballot
from seatwright.listening.ballot_code import CODE_PREFIX
from seatwright.listening.plain_json import LARGEST
from seatwright.listening.tallying import Refused
from seatwright.listening.trial import LARGEST_TRIAL, Trial, parse_trial

MOST_BALLOTS = 100_000
_ENDINGS = (".json", ".txt")
_CODE = re.compile(rb"SWB\d\.\S*")
_WHOLE_CODE = re.compile(r"SWB\d\.[A-Za-z0-9_=-]*")
_SHOWN = 16
_LONGEST_LINE = 3 * LARGEST


@dataclass(frozen=True)
class BallotPile:
    """Ballots that could be read, each with its source, and those that could not."""

    read: tuple[tuple[str, Ballot], ...]
    refused: tuple[Refused, ...]


def read_ballots(paths: Sequence[Path]) -> BallotPile:
    """Read ballots from files and folders.

    Parameters
    ----------
    paths : sequence of Path
        A file holds one ballot as JSON, or text in which every line may hold one code; lines
        without are passed over. Of a folder its files ending in .json or .txt, sorted. What is no
        file and looks like a code is one; blanks in it are passed over.

    Returns
    -------
    BallotPile

    Raises
    ------
    DiskError
        If a path given by name is not there or cannot be listed.
    SceneError
        For more than 100,000 ballots.
    """
    read: list[tuple[str, Ballot]] = []
    refused: list[Refused] = []
    for source, data in _all(paths):
        _take(source, data, read, refused)
        if len(read) + len(refused) > MOST_BALLOTS:
            raise SceneError(f"found more than {MOST_BALLOTS} ballots, wanted fewer at a time")
    return BallotPile(tuple(read), tuple(refused))


def read_trial(path: Path) -> Trial:
    """Read the manifest of a trial.

    Raises
    ------
    SceneError
        If it is none.
    DiskError
        If it cannot be read.
    """
    if path.exists() and not path.is_file():
        raise SceneError(Fault("found no file, wanted the manifest of a trial", file=str(path)))
    try:
        with path.open("rb") as file:
            data = file.read(LARGEST_TRIAL + 1)
    except OSError as error:
        raise DiskError(Fault(f"cannot be read: {error.strerror}", file=str(path))) from error
    try:
        return parse_trial(data)
    except SceneError as error:
        raise SceneError(
            [Fault(f.what, file=str(path), key=f.key, hint=f.hint) for f in error.faults]
        ) from error


def _all(paths: Sequence[Path]) -> Iterator[tuple[str, bytes | str]]:
    for path in paths:
        if code := _bare_code(path):
            yield f"code {code[:_SHOWN].decode()}...", code
            continue
        for file in _files([path]):
            yield from _contents(file)


def _bare_code(path: Path) -> bytes:
    """The code that a path really is; nothing where it is a path."""
    code = "".join(str(path).split())
    if not _WHOLE_CODE.fullmatch(code):
        return b""
    try:
        return b"" if path.exists() else code.encode("ascii")
    except OSError:  # longer than any file's name
        return code.encode("ascii")


def _files(paths: Sequence[Path]) -> Iterator[Path]:
    for path in paths:
        if not path.is_dir():
            if not path.exists():
                what = "found no such file or folder, wanted ballots"
                raise DiskError(Fault(what, file=str(path)))
            yield path
            continue
        try:
            inside = sorted(path.iterdir())
        except OSError as error:
            raise DiskError(Fault(f"cannot be listed: {error.strerror}", file=str(path))) from error
        yield from (one for one in inside if one.suffix.lower() in _ENDINGS)


def _contents(path: Path) -> Iterator[tuple[str, bytes | str]]:
    """Each ballot of a file, or in its place the word why there is none."""
    if not path.is_file():
        yield str(path), "found no file, wanted a ballot"
        return
    try:
        with path.open("rb") as file:
            start = file.read(LARGEST + 1)
            if not _CODE.search(start) and path.suffix.lower() != ".txt":
                yield str(path), start
                return
            if start.lstrip(b"\xef\xbb\xbf \t\r\n").startswith(b"{"):
                yield str(path), start
                return
            file.seek(0)
            yield from _codes(path, file)
    except OSError as error:
        yield str(path), f"cannot be read: {error.strerror}"


def _codes(path: Path, lines: BinaryIO) -> Iterator[tuple[str, bytes | str]]:
    number = found = 0
    while line := lines.readline(_LONGEST_LINE):
        number += 1
        if code := _CODE.search(line):
            found += 1
            yield f"{path}:{number}", code[0]
    if not found:
        yield str(path), f"found no code, wanted lines with {CODE_PREFIX}..."


def _take(
    source: str, data: bytes | str, read: list[tuple[str, Ballot]], refused: list[Refused]
) -> None:
    if isinstance(data, str):
        refused.append(Refused(source, data))
        return
    try:
        read.append((source, parse_ballot(data)))
    except SceneError as error:
        more = f" (and {len(error.faults) - 1} more)" if len(error.faults) > 1 else ""
        refused.append(Refused(source, f"{error.faults[0]}{more}"))

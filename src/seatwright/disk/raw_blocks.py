"""Rendered blocks kept on disk until the trim is known: one hidden float32 file."""

from __future__ import annotations

import errno
import secrets
from collections.abc import Generator
from contextlib import suppress
from io import FileIO
from pathlib import Path
from types import TracebackType
from typing import Self

import numpy as np
from numpy.typing import NDArray

from seatwright.disk.bounces import TEMPORARY_PREFIX
from seatwright.errors import DiskError, Fault


class RawBlocks:
    """Write blocks of shape (outputs, 2, frames), then read them back, output by output.

    The file is removed when the context ends, whatever happened.

    Parameters
    ----------
    folder : Path
        Where the bounces will stand, so that the space is tried where it is needed.

    Raises
    ------
    DiskError
        If the disk refuses, naming folder and reason.
    """

    def __init__(self, folder: Path):
        self._path = folder / f"{TEMPORARY_PREFIX}{secrets.token_hex(8)}.raw"
        self._shapes: list[tuple[int, ...]] = []
        try:
            self._file = self._path.open("xb+")
        except OSError as error:
            raise self._refused(error) from error

    def write(self, block: NDArray[np.float32]) -> None:
        """Keep the next block."""
        self._shapes.append(block.shape)
        try:
            self._file.write(np.ascontiguousarray(block, dtype=np.float32).data)
        except OSError as error:
            raise self._refused(error) from error

    def read(self, output: int) -> Generator[NDArray[np.float32], None, None]:
        """Give one output's part of all blocks back in order, shape (2, frames) each.

        Several outputs may be read at the same time.
        """
        try:
            self._file.flush()
            with self._path.open("rb", buffering=0) as file:
                begin = 0
                for shape in self._shapes:
                    size = int(np.prod(shape[1:])) * 4
                    file.seek(begin + output * size)
                    yield self._part(file, shape[1:])
                    begin += shape[0] * size
        except OSError as error:
            raise self._refused(error) from error

    def _part(self, file: FileIO, shape: tuple[int, ...]) -> NDArray[np.float32]:
        part = np.empty(shape, dtype=np.float32)
        into = part.reshape(-1).data.cast("B")
        while into:
            got = file.readinto(into)
            if not got:
                what = f"found a temporary cut off, wanted {len(into)} more bytes"
                lost = OSError(errno.EIO, "unexpected end of a file")
                raise DiskError(Fault(what, file=str(self._path))) from lost
            into = into[got:]
        return part

    def _refused(self, error: OSError) -> DiskError:
        return DiskError(
            Fault(f"cannot keep rendered blocks: {error.strerror}", file=str(self._path.parent))
        )

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        value: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        with suppress(OSError):
            self._file.close()
        with suppress(OSError):  # the folder's end tries again
            self._path.unlink(missing_ok=True)

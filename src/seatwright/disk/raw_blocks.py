"""Rendered blocks kept on disk until the trim is known: one hidden float32 file."""

from __future__ import annotations

import secrets
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from types import TracebackType
from typing import Self

import numpy as np
from numpy.typing import NDArray

from seatwright.disk.bounces import TEMPORARY_PREFIX
from seatwright.errors import DiskError, Fault


class RawBlocks:
    """Write blocks of shape (outputs, 2, frames), then read them back in order.

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

    def read(self) -> Iterator[NDArray[np.float32]]:
        """Give all blocks back in order."""
        try:
            self._file.flush()
            self._file.seek(0)
        except OSError as error:
            raise self._refused(error) from error
        for shape in self._shapes:
            block = np.empty(shape, dtype=np.float32)
            if self._file.readinto(block.reshape(-1).data.cast("B")) != block.nbytes:
                raise DiskError(
                    Fault(
                        f"a temporary of {sum(map(np.prod, self._shapes)) * 4} bytes was cut",
                        file=str(self._path),
                    )
                )
            yield block

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
        self._path.unlink(missing_ok=True)

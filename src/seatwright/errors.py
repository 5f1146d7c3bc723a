"""Faults and the exceptions that carry them: one small tree, caught only by the command line.

Floor 0: imports nothing of the package.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass


@dataclass(frozen=True)
class Fault:
    """One mistake: where it stands, what was found, what was wanted.

    Parameters
    ----------
    what : str
        The sentence: what was found and what was wanted, with units.
    file : str
        Path of the scene or stem, or "" where there is none.
    line : int
        1-based line in `file`; 0 where unknown or meaningless.
    key : str
        Full dotted key in the scene, for example "seats.violas.bearing".
    hint : str
        Nearest name or the way out; "" where there is none.
    """

    what: str
    file: str = ""
    line: int = 0
    key: str = ""
    hint: str = ""

    def __str__(self) -> str:
        place = f"{self.file}:{self.line}" if self.file and self.line else self.file
        parts = [part for part in (place, self.key) if part]
        text = ": ".join([*parts, self.what])
        return printable(f"{text} ({self.hint})" if self.hint else text)


def printable(text: str) -> str:
    """Make text safe for a terminal: control, format and surrogate characters become escapes."""
    return "".join(
        character if character.isprintable() else character.encode("unicode_escape").decode("ascii")
        for character in text
    )


class SeatwrightError(Exception):
    """Root of all errors shown to a user; carries every fault found, not only the first."""

    exit_code = 1

    def __init__(self, faults: Iterable[Fault] | Fault | str):
        if isinstance(faults, str):
            faults = Fault(faults)
        if isinstance(faults, Fault):
            faults = (faults,)
        self.faults: tuple[Fault, ...] = tuple(faults)
        super().__init__("\n".join(str(fault) for fault in self.faults))

    def __reduce__(self) -> tuple[type[SeatwrightError], tuple[tuple[Fault, ...]]]:
        """From one process to another with every fault, not only their text."""
        return type(self), (self.faults,)


class RenderError(SeatwrightError):
    """The render itself failed (exit code 1)."""

    exit_code = 1


@contextmanager
def naming(what: str, file: str = "", key: str = "") -> Iterator[None]:
    """Let whatever breaks inside for an unknown reason say where: a RenderError.

    Errors of the package, of the system and lack of memory pass as they are.
    """
    try:
        yield
    except (SeatwrightError, OSError, MemoryError):
        raise
    except Exception as error:
        found = f"{type(error).__name__}: {error}" if str(error) else type(error).__name__
        hint = "this is a fault of the program"
        raise RenderError(Fault(f"{what}: {found}", file, key=key, hint=hint)) from error


class SceneError(SeatwrightError):
    """The scene, or the way a command was called, is wrong (exit code 2)."""

    exit_code = 2


class StemError(SeatwrightError):
    """A stem is missing, broken or unusable (exit code 3)."""

    exit_code = 3


class DiskError(SeatwrightError):
    """Reading or writing failed on the disk (exit code 4)."""

    exit_code = 4

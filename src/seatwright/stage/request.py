"""What is asked of a render: which seating, which part, which outputs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from seatwright.errors import Fault, SceneError

FileKind = Literal["wav", "flac"]
Depth = Literal["16", "24", "float"]


@dataclass(frozen=True)
class Request:
    """What to render of a scene.

    Parameters
    ----------
    seating : str or None
        An alternative of the scene.
    only : tuple of str
        Sections or seats; all where empty.
    start, stop : float or None
        Excerpt in seconds of the outputs; its sound begins with what rings on from before.
    stems, perspectives : bool
        Also one bounce a stem, one a perspective.
    kind : str
        "wav" or "flac".
    depth : str
        "16", "24" or "float" (32 bits, WAV only).
    trim_db : float or None
        Gain on all outputs; None finds the one that keeps all at or below -1 dBTP.
    threads : int
        0 for one a processor; does not change the samples.
    allow_truncated, allow_outside : bool
        Take truncated stems as far as they go; stems outside the scene's folders.
    """

    seating: str | None = None
    only: tuple[str, ...] = ()
    start: float | None = None
    stop: float | None = None
    stems: bool = False
    perspectives: bool = False
    kind: FileKind = "wav"
    depth: Depth = "24"
    trim_db: float | None = None
    threads: int = 0
    allow_truncated: bool = False
    allow_outside: bool = False

    def __post_init__(self) -> None:
        if self.kind == "flac" and self.depth == "float":
            raise SceneError("found FLAC at float depth, wanted 16 or 24 bits, or WAV")
        if self.trim_db is not None and not -120.0 <= self.trim_db <= 60.0:
            raise SceneError(f"found a trim of {self.trim_db:g} dB, wanted -120 to 60 dB")

    @property
    def encoding(self) -> str:
        """The sample encoding's usual name: PCM_16, PCM_24 or FLOAT."""
        return "FLOAT" if self.depth == "float" else f"PCM_{self.depth}"

    @property
    def part(self) -> str:
        """Which part of a scene this is, such as "strings 0-1.5 s"; "" for the whole."""
        start, stop = self.start or 0.0, self.stop
        parts = list(self.only)
        if stop is not None:
            parts.append(f"{start:.9g}-{stop:.9g} s")
        elif start:
            parts.append(f"from {start:.9g} s")
        return " ".join(parts)

    def excerpt(self, frames: int, rate: int) -> tuple[int, int]:
        """First sample and the one after the last, of outputs `frames` long.

        Raises
        ------
        SceneError
            If the excerpt is empty or outside of them.
        """
        seconds = frames / rate
        start = 0.0 if self.start is None else self.start
        stop = seconds if self.stop is None else min(self.stop, seconds)
        if not 0.0 <= start < stop:
            asked = "on" if self.stop is None else f"to {self.stop:g} s"
            raise SceneError(
                Fault(
                    f"found an excerpt from {start:g} s {asked}, wanted a part of "
                    f"0 to {seconds:.2f} s"
                )
            )
        first, last = round(start * rate), min(frames, round(stop * rate))
        if last <= first:
            raise SceneError(f"found an excerpt of {stop - start:g} s, wanted at least one sample")
        return first, last

"""Casting: the stems of every seat, inspected, aligned, at one rate."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from seatwright.disk.broadcast import Broadcast
from seatwright.disk.feeds import SeatStem, seat_channels
from seatwright.disk.inspected import inspected_stems
from seatwright.disk.scene_checks import unused_files
from seatwright.disk.scene_file import ReadScene, found_stems, in_order
from seatwright.disk.stems import Stem
from seatwright.errors import Fault, StemError

_LENGTH_TOLERANCE = 1.0
"""Seconds by which lengths may differ without a word."""

_LONGEST_SPREAD = 86400.0
"""Seconds by which aligned stems may begin apart: time references count from midnight."""


@dataclass(frozen=True)
class Cast:
    """Everything that plays in a scene.

    Parameters
    ----------
    rate : int
        Samples per second of the outputs.
    seats : dict of str to tuple of SeatStem
        For each seat its stems.
    timestamp : int or None
        Broadcast time reference of sample 0 in samples at `rate`; None where no stem has one.
    warnings : tuple of Fault
    """

    rate: int
    seats: dict[str, tuple[SeatStem, ...]]
    timestamp: int | None
    warnings: tuple[Fault, ...]

    def channels(self, seat: str) -> int:
        """Sources a seat needs: 1 or 2."""
        return seat_channels(self.seats[seat])

    @property
    def broadcast(self) -> Broadcast | None:
        """The broadcast extension that begins first; the first stem's of equals."""
        carried = [
            (stem.broadcast.time_reference / stem.rate, stem.broadcast)
            for stem in self.stems
            if stem.broadcast is not None
        ]
        return min(carried, key=lambda pair: pair[0], default=(0.0, None))[1]

    @property
    def frames(self) -> int:
        """Samples from the common start to the end of the longest stem."""
        return max(stem.frames(self.rate) for stems in self.seats.values() for stem in stems)

    @property
    def stems(self) -> tuple[Stem, ...]:
        """Every file once."""
        every = [s for stems in self.seats.values() for stem in stems for s in stem.stems]
        return tuple({stem.path: stem for stem in every}.values())


def cast_scene(read: ReadScene, *, allow_truncated: bool = False) -> Cast:
    """Find, inspect and align the stems of a scene.

    Parameters
    ----------
    read : ReadScene
    allow_truncated : bool
        Take a truncated stem as far as it goes.

    Returns
    -------
    Cast

    Raises
    ------
    StemError
        With every fault of every stem.
    """
    files, faults = found_stems(read)
    found = inspected_stems(files, read.stem_folder, allow_truncated)
    if faults := [*faults, *found.faults]:
        raise StemError(in_order(faults, read.path, read.text))
    inspected = found.stems
    warnings = [*found.warnings, *map(read.located, unused_files(files, read.stem_folder))]
    rate = read.scene.rate or _usual_rate(inspected.values())
    references = {path: stem.broadcast for path, stem in inspected.items() if stem.broadcast}
    starts = {
        path: round(broadcast.time_reference * rate / inspected[path].rate)
        for path, broadcast in references.items()
    }
    warnings += _doubts(list(inspected.values()), rate, starts, read.scene.align)
    first = min(starts.values(), default=None)
    aligned = read.scene.align == "timestamp" and first is not None
    if aligned and (faults := _far_apart(starts, rate)):
        raise StemError(faults)
    seats = {
        seat: tuple(
            SeatStem(
                stem,
                tuple(inspected[path] for path in stem.paths),
                starts.get(stem.paths[0], first or 0) - (first or 0) if aligned else 0,
            )
            for stem in stems
        )
        for seat, stems in files.items()
    }
    return Cast(rate, seats, first, tuple(warnings))


def _usual_rate(stems: Iterable[Stem]) -> int:
    """The rate most stems have; the highest of equals."""
    counts = Counter(stem.rate for stem in stems)
    return max(counts, key=lambda rate: (counts[rate], rate))


def _far_apart(starts: dict[Path, int], rate: int) -> list[Fault]:
    first = min(starts.values())
    return [
        Fault(
            f"its broadcast time reference is {(start - first) / rate:.0f} s after the earliest, "
            f"wanted at most {_LONGEST_SPREAD:.0f} s",
            file=str(path),
            hint='align = "start" in the scene starts all stems together',
        )
        for path, start in starts.items()
        if start - first > _LONGEST_SPREAD * rate
    ]


def _doubts(stems: list[Stem], rate: int, starts: dict[Path, int], align: str) -> list[Fault]:
    doubts = [
        Fault(f"resampled from {stem.rate} to {rate} Hz", file=str(stem.path))
        for stem in stems
        if stem.rate != rate
    ]
    longest = max(stem.seconds for stem in stems)
    doubts += [
        Fault(
            f"{stem.seconds:.2f} s long, the longest stem is {longest:.2f} s: "
            "silence follows its end",
            file=str(stem.path),
        )
        for stem in stems
        if longest - stem.seconds > _LENGTH_TOLERANCE
    ]
    if len(set(starts.values())) > 1 and align == "start":
        spread = (max(starts.values()) - min(starts.values())) / rate
        doubts.append(
            Fault(
                f"broadcast time references differ by up to {spread:.3f} s; "
                "all stems are started together",
                hint='align = "timestamp" in the scene places them by their time reference',
            )
        )
    return doubts

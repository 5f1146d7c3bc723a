"""What wants saying about inspected stems, in plain words."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import combinations
from math import isinf

import numpy as np

from seatwright.errors import Fault
from seatwright.sound.inspection import StemInspection
from seatwright.sound.peaks import decibels
from seatwright.sound.room_part import SILENCE_DBFS

DC_LIMIT_DBFS = -60.0
_ONE_SIDED_DB = 20.0
_OUT_OF_PHASE = -0.3
_SAME_AUDIO = 0.9999
_NEARLY = 1e-4
_LEAST_SOUNDING = 20
"""Sounding values of an excerpt without which two are not compared."""


def inspection_warnings(inspections: Sequence[StemInspection]) -> list[Fault]:
    """Warnings about each stem, then about stems that do not go together.

    Parameters
    ----------
    inspections : sequence of StemInspection

    Returns
    -------
    list of Fault
        Silent, clipped, cut off, offset, one-sided and out-of-phase stems; pairs of one audio;
        starts that differ.
    """
    alone = [fault for inspection in inspections for fault in stem_warnings(inspection)]
    return [*alone, *same_audio_warnings(inspections), *mixed_starts(inspections)]


def stem_warnings(inspection: StemInspection, offset: bool = True) -> list[Fault]:
    """Warnings about one stem by itself, on request without its constant offset."""
    sound = inspection.sound
    if sound.silent:
        level = "only zeros" if isinf(sound.sample_peak_dbfs) else "nothing"
        above = "" if isinf(sound.sample_peak_dbfs) else f" above {SILENCE_DBFS:.0f} dBFS"
        what = f"silent: found {level}{above} in {inspection.seconds:.2f} s"
        return [Fault(what, file=inspection.file, hint="was the right track exported?")]
    found: list[tuple[str, str]] = []
    if offset and sound.dc_dbfs > DC_LIMIT_DBFS:
        what = f"constant offset of {sound.dc_dbfs:.1f} dBFS, expected below {DC_LIMIT_DBFS:.0f}"
        found.append((what, "a high-pass before export takes it away"))
    if sound.clipped_runs:
        what = f"clipped {_times(sound.clipped_runs)}, {sound.clipped_samples} samples in all"
        found.append((f"{what}, at {sound.sample_peak_dbfs:.2f} dBFS", "export it lower"))
    if sound.cut_off:
        what = f"ends in the middle of sound: its last 20 ms lie at {sound.ending_db:.0f} dB"
        found.append((f"{what} of its loud part", "export it until it has died away"))
    found += _image_doubts(inspection)
    return [Fault(what, file=inspection.file, hint=hint) for what, hint in found]


def _times(count: int) -> str:
    return "once" if count == 1 else f"{count} times"


def _image_doubts(inspection: StemInspection) -> list[tuple[str, str]]:
    sound = inspection.sound
    if sound.balance_db is None:
        return []
    if abs(sound.balance_db) > _ONE_SIDED_DB:
        side, weak = ("left", "right") if sound.balance_db > 0.0 else ("right", "left")
        by = "silent" if isinf(sound.balance_db) else f"{abs(sound.balance_db):.0f} dB weaker"
        return [(f"sounds {side} only: its {weak} channel is {by}", "export it as mono")]
    if sound.same_channels:
        return [("its two channels are the same", "it is a mono stem: export it as one")]
    if sound.correlation is not None and sound.correlation < _OUT_OF_PHASE:
        what = f"left and right are out of phase: correlation {sound.correlation:+.2f}"
        return [(what, "turn the polarity of one channel")]
    return []


def same_audio_warnings(inspections: Sequence[StemInspection]) -> list[Fault]:
    """Warnings about pairs of stems that hold one audio, at any gain."""
    sounding = [inspection for inspection in inspections if not inspection.sound.silent]
    faults = []
    for first, second in _perhaps_alike(sounding):
        if how := _likeness(first, second):
            other = _name(first.file)
            hint = "two seats would play the same: was one exported twice?"
            faults.append(Fault(f"the same audio as {other}{how}", file=second.file, hint=hint))
    return faults


def _perhaps_alike(stems: Sequence[StemInspection]) -> Iterator[tuple[StemInspection, ...]]:
    """Pairs worth a closer look: of one hash, or with excerpts that point the same way."""
    places: dict[tuple[int, ...], list[int]] = {}
    for place, stem in enumerate(stems):
        places.setdefault((stem.rate, *stem.sound.excerpt.shape), []).append(place)
    alike = np.zeros((len(stems), len(stems)), dtype=bool)
    for group in places.values():
        rows = np.stack([stems[place].sound.excerpt.ravel() for place in group])
        rows = rows / np.maximum(np.linalg.norm(rows, axis=1, keepdims=True), np.float32(1e-30))
        # einsum rather than BLAS, whose own threads would be in the way
        near = np.abs(np.einsum("ik,jk->ij", rows, rows)) > _SAME_AUDIO - _NEARLY
        alike[np.ix_(group, group)] = near
    for first, second in combinations(range(len(stems)), 2):
        one, two = stems[first], stems[second]
        if alike[first, second] or one.sound.audio_hash == two.sound.audio_hash:
            yield one, two


def _likeness(first: StemInspection, second: StemInspection) -> str:
    """How the second is like the first: "", or words that follow "the same audio as ..."."""
    one, two = first.sound, second.sound
    if one.audio_hash == two.audio_hash:
        return ", sample for sample"
    if first.rate != second.rate or one.excerpt.shape != two.excerpt.shape:
        return ""
    a, b = (sound.excerpt.astype(np.float64).ravel() for sound in (one, two))
    size = float(np.sqrt((a @ a) * (b @ b)))
    if np.count_nonzero(a) < _LEAST_SOUNDING or abs(a @ b) < _SAME_AUDIO * max(size, 1e-30):
        return ""
    turned = " and turned in polarity" if a @ b < 0.0 else ""
    return f", at {decibels(float(np.sqrt((b @ b) / (a @ a)))):+.1f} dB{turned}"


def mixed_starts(inspections: Sequence[StemInspection]) -> list[Fault]:
    """Warnings about broadcast starts that differ, or are missing in some of the stems."""
    starts = {i.file: i.start_seconds for i in inspections if i.start_seconds is not None}
    if not starts:
        return []
    faults = [
        Fault(
            f"no broadcast start, found one in {len(starts)} of {len(inspections)} stems",
            file=inspection.file,
            hint="it is taken to begin with the earliest",
        )
        for inspection in inspections
        if inspection.start_seconds is None
    ]
    first = min(starts, key=lambda file: starts[file])
    finest = 1.0 / max(inspection.rate for inspection in inspections)
    faults += [
        Fault(f"begins {start - starts[first]:.3f} s after {_name(first)}", file=file)
        for file, start in starts.items()
        if start - starts[first] > finest
    ]
    return faults


def _name(file: str) -> str:
    return file.replace("\\", "/").rpartition("/")[2]

"""Which treatments a draft's stems ask for, by the room that is heard in them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from seatwright.errors import Fault, StemError
from seatwright.sound.inspection import StemInspection
from seatwright.sound.inspection_warnings import mixed_starts, same_audio_warnings, stem_warnings
from seatwright.sound.proposed_treatment import proposed_treatment
from seatwright.stage.draft import DraftSeat


def treated(seat: DraftSeat, stems: Mapping[str, StemInspection]) -> DraftSeat:
    """A seat as its stems ask for.

    Parameters
    ----------
    seat : DraftSeat
        As drafted from names.
    stems : mapping of str to StemInspection
        By file name.

    Returns
    -------
    DraftSeat
        Blended where every stem that sounds has a room in it; with a line for every stem that
        has one or is silent.
    """
    if seat.treatment != "placed":
        return seat
    lines, asked = [], []
    for name in seat.stems:
        sound = stems[name].sound
        if sound.silent:
            lines.append(f"{name}: silent")
            continue
        treatment, why = proposed_treatment(sound.room, seat.instrument)
        asked.append(treatment)
        if sound.room.verdict == "room":
            lines.append(f"{name}: {why}")
    if "blended" in asked and set(asked) != {"blended"}:
        lines.append("only some of its stems have a room: seat them apart, or choose blended")
    blended = set(asked) == {"blended"}
    return replace(seat, treatment="blended" if blended else "placed", heard=tuple(lines))


def stem_faults(
    stems: Sequence[StemInspection], refused: Mapping[str, StemError]
) -> tuple[Fault, ...]:
    """Everything a folder's stems give cause to say: unreadable ones, then doubts."""
    broken = [fault for error in refused.values() for fault in error.faults]
    doubts = [fault for stem in stems for fault in stem_warnings(stem)]
    together = [*same_audio_warnings(stems), *mixed_starts(stems)]
    return (*broken, *doubts, *together)


def starts_apart(stems: Sequence[StemInspection]) -> float:
    """Seconds by which the stems' broadcast starts differ; 0 where fewer than two have one."""
    starts = [stem.start_seconds for stem in stems if stem.start_seconds is not None]
    spread = max(starts, default=0.0) - min(starts, default=0.0)
    finest = 1.0 / max((stem.rate for stem in stems), default=1)
    return spread if spread > finest else 0.0

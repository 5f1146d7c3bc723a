"""Doubts of one kind about many stems, gathered into one."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from seatwright.errors import Fault
from seatwright.sound.inspection import StemInspection

MANY = 3
"""Doubts of one kind from which on they are told in one line."""

_NAMED = 4


@dataclass(frozen=True)
class _Kind:
    """One kind of doubt.

    Parameters
    ----------
    one : str
        Pattern of what is said of one stem; its group is what is told beside the stem's name.
    many : str
        What is said of several, behind their number.
    beside : str
        How the group is written.
    ends : bool
        Whether the stems' length belongs to what is said.
    """

    one: str
    many: str
    beside: str = ""
    ends: bool = False


_KINDS = (
    _Kind(r"silent: ", "stems are silent"),
    _Kind(r"constant offset of (.* dBFS),", "stems have a constant offset", " ({})"),
    _Kind(r"clipped (once|\d+ times),", "stems are clipped", " ({})"),
    _Kind(r"ends in the middle of sound: ", "stems end in the middle of sound", ends=True),
    _Kind(r"sounds (left|right) only: ", "stems sound on one side only", " ({})"),
    _Kind(r"its two channels are the same$", "stems have two channels that are the same"),
    _Kind(
        r"left and right are out of phase: correlation (.*)$",
        "stems have left and right out of phase, with a correlation below 0",
        " ({})",
    ),
    _Kind(
        r"the same audio as (.*), (?:sample for sample|at [^,]* dB.*)$",
        "pairs of stems hold the same audio",
        " as {}",
    ),
    _Kind(r"no broadcast start, ", "stems have no broadcast start"),
    _Kind(r"begins (.* s) after ", "stems begin later than the first", " (by {})"),
)


def gathered(doubts: Sequence[Fault], stems: Sequence[StemInspection]) -> list[Fault]:
    """Doubts with three or more of one kind as one.

    Parameters
    ----------
    doubts : sequence of Fault
        From `inspection_warnings` or its parts, among any others.
    stems : sequence of StemInspection
        Those they are about.

    Returns
    -------
    list of Fault
        In the order given. Gathered ones stand where their first stood, with its key but without
        a file, say how many there are and name the first stems.
    """
    kinds = [_kind_of(doubt) for doubt in doubts]
    seconds = {stem.file: stem.seconds for stem in stems}
    told: list[Fault] = []
    done: set[_Kind] = set()
    for doubt, kind in zip(doubts, kinds, strict=True):
        if kind is None or kinds.count(kind) < MANY:
            told.append(doubt)
        elif kind not in done:
            done.add(kind)
            alike = [each for each, its in zip(doubts, kinds, strict=True) if its == kind]
            told.append(_together(kind, alike, seconds))
    return told


def _kind_of(doubt: Fault) -> _Kind | None:
    return next((kind for kind in _KINDS if re.match(kind.one, doubt.what, re.DOTALL)), None)


def _together(kind: _Kind, doubts: list[Fault], seconds: Mapping[str, float]) -> Fault:
    names = [_named(kind, doubt) for doubt in doubts]
    more = f" and {len(names) - _NAMED} more" if len(names) > _NAMED else ""
    at = _lengths([seconds[doubt.file] for doubt in doubts]) if kind.ends else ""
    what = f"{len(names)} {kind.many}{at}: {', '.join(names[:_NAMED])}{more}"
    return Fault(what, key=doubts[0].key, hint=doubts[0].hint)


def _named(kind: _Kind, doubt: Fault) -> str:
    name = doubt.file.replace("\\", "/").rpartition("/")[2]
    found = re.match(kind.one, doubt.what, re.DOTALL)
    return name + kind.beside.format(*found.groups()) if found else name


def _lengths(seconds: list[float]) -> str:
    least, most = f"{min(seconds):.2f}", f"{max(seconds):.2f}"
    return f" at {least} s" if least == most else f" at {least} to {most} s"

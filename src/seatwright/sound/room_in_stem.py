"""The room that is already in a stem, estimated blind from how its notes end.

No note can end faster than the room lets it, so the fastest decays that occur often show the room;
slower ones show notes that fade or overlap. What else falls evenly is told apart where it can be:
a sampler's or player's release falls alike in all octaves, whereas in a room air alone takes 8 kHz
away some 25 dB a second faster; and a release often falls faster and faster, a room does not.

Source
------
R. Ratnam et al., "Blind estimation of reverberation time", JASA 114 (2003) 2877-2892: order
statistics over many decays find the room among slower ones. J. Eaton et al., "Estimation of room
acoustic parameters: the ACE challenge", IEEE/ACM TASLP 24 (2016) 1681-1693, on how sure such
estimates are. Air: ISO 9613-1 (`acoustics.air`). The limits of the verdict: by trial on dry stems
and the same stems in halls (`tests/sound/test_room_in_stem.py`).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf, isfinite, nan, sqrt
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from seatwright.sound.band_envelopes import MID_BANDS, Envelopes
from seatwright.sound.free_decays import Decays, free_decays

Verdict = Literal["dry", "room", "unsure"]

DRY_SECONDS = 0.4
"""Ends as fast as this are a release or a booth, not a hall."""

LONGEST_SECONDS = 5.0
"""What falls more slowly is a note that fades."""

_STRAIGHT = 0.08
_FAST_SHARE = 0.3
_LEAST_DECAYS = 6
_SAME_END_SECONDS = 0.25
_LEAST_ENDS = 2
_NEAR, _FASTER = 0.2, 0.25
_LEAST_AGREEING, _MOST_FASTER = 0.4, 0.15
_RELEASE_SECONDS, _LEAST_BEND, _BENT_RANGE_DB = 0.56, 0.75, 25.0
_TOP_BAND = MID_BANDS + 1
_AIR_DB_PER_SECOND = 25.0
"""By which 8 kHz falls faster than the middle at least: 75 dB/km at 343 m/s, the least of usual
temperatures and humidities (ISO 9613-1)."""

_RANGE_COUNTED_DB = 45.0
_RANGE_IGNORED_DB = 10.0


@dataclass(frozen=True)
class RoomEstimate:
    """What the ends of a stem's notes say about a room.

    Parameters
    ----------
    verdict : str
        "dry", "room" or "unsure".
    seconds : float
        Decay time of 60 dB, 500 Hz to 2 kHz; of the notes' own release where dry; nan if unknown.
    spread : float
        Half the interquartile range over decays, s; nan if unknown.
    decays, ends : int
        Straight decays found in the middle bands, and note ends they belong to.
    agreeing : float
        Share of them, weighted by what they span, within 20 % of `seconds`.
    confidence : float
        In the verdict, 0 to 1; a score, not a probability.
    why : str
        The verdict's reason in plain words.
    """

    verdict: Verdict
    seconds: float
    spread: float
    decays: int
    ends: int
    agreeing: float
    confidence: float
    why: str


@dataclass(frozen=True)
class _Signs:
    """Figures over all decays: `seconds` as fast as three tenths of them, `middle` as half."""

    decays: int
    ends: int
    seconds: float
    middle: float
    spread: float
    agreeing: float
    faster: float
    bend: float
    top_ratio: float


def room_estimate(envelopes: Envelopes) -> RoomEstimate:
    """Estimate the room in a stem from its band envelopes.

    Parameters
    ----------
    envelopes : Envelopes

    Returns
    -------
    RoomEstimate
    """
    every = free_decays(envelopes)
    every = every.where(every.crooked < _STRAIGHT)
    middle = every.where(every.band < MID_BANDS)
    count, ends = len(middle.start), _ends(middle.start)
    if count < _LEAST_DECAYS or ends < _LEAST_ENDS:
        why = f"only {count} clean decays at {ends} note ends were found"
        return RoomEstimate("unsure", nan, nan, count, ends, 0.0, 0.0, why)
    signs = _signs(middle, every.where(every.band == _TOP_BAND), ends)
    verdict, why = _judged(signs)
    return RoomEstimate(
        verdict,
        signs.seconds,
        signs.spread,
        count,
        ends,
        signs.agreeing,
        _confidence(verdict, signs),
        why,
    )


def _signs(middle: Decays, top: Decays, ends: int) -> _Signs:
    weight = _weights(middle)
    total = float(weight.sum())
    seconds = _share_point(middle.seconds, weight, _FAST_SHARE)
    low, half, high = (_share_point(middle.seconds, weight, share) for share in (0.25, 0.5, 0.75))
    near = np.abs(middle.seconds / seconds - 1.0) < _NEAR
    faster = middle.seconds < (1.0 - _FASTER) * seconds
    deep = middle.bend[middle.range_db > _BENT_RANGE_DB]
    top_seconds = _share_point(top.seconds, _weights(top), 0.4) if len(top.start) > 1 else nan
    return _Signs(
        decays=len(middle.start),
        ends=ends,
        seconds=seconds,
        middle=half,
        spread=0.5 * (high - low),
        agreeing=float(weight[near].sum()) / total,
        faster=float(weight[faster].sum()) / total,
        bend=float(np.median(deep)) if len(deep) else 1.0,
        top_ratio=top_seconds / seconds,
    )


def _judged(signs: _Signs) -> tuple[Verdict, str]:
    """Verdict and reason; in order of how much each sign settles."""
    found = f"{signs.decays} decays at {signs.ends} note ends"
    if signs.seconds < DRY_SECONDS and signs.middle < 1.25 * DRY_SECONDS:
        return "dry", f"{found} fall at the rate of {signs.seconds:.2f} s, faster than in any hall"
    time = f"{signs.seconds:.1f} s"
    if signs.seconds > LONGEST_SECONDS:
        return "unsure", f"{found} fall at the rate of {time}, slower than in a hall: notes fade"
    if signs.agreeing < _LEAST_AGREEING or signs.faster > _MOST_FASTER:
        return "unsure", f"{found} fall at rates too different for one room"
    if signs.top_ratio > _release_limit(signs.seconds):
        return "unsure", (
            f"{found} fall at the rate of {time}, at 8 kHz as slowly as in the middle, which air "
            "in a room does not allow: rather a release, or an undamped artificial reverberation"
        )
    if signs.seconds < _RELEASE_SECONDS and signs.bend < _LEAST_BEND:
        return "unsure", (
            f"{found} fall at the rate of {time} and ever faster: a release or a small room"
        )
    return "room", f"{found} fall alike, at the rate of {time}"


def _release_limit(seconds: float) -> float:
    """Decay time at 8 kHz over that in the middle above which it is none of a room.

    A third of the way from an even fall to what air alone makes of it.
    """
    by_air = 60.0 / (60.0 + _AIR_DB_PER_SECOND * seconds)
    return 1.0 - (1.0 - by_air) / 3.0


def _confidence(verdict: Verdict, signs: _Signs) -> float:
    enough = min(1.0, signs.decays / 16.0) * sqrt(min(1.0, signs.ends / 4.0))
    if verdict == "dry":
        return round(enough * min(1.0, DRY_SECONDS / signs.middle), 2)
    agreeing = signs.agreeing * (1.0 - signs.faster)
    if verdict == "unsure":
        return round(0.5 * enough * agreeing, 2)
    seen_above = 1.0 if isfinite(signs.top_ratio) else 0.8
    return round(enough * agreeing * seen_above, 2)


def _weights(decays: Decays) -> NDArray[np.float64]:
    """A decay counts by what its line spans."""
    return np.minimum(decays.range_db, _RANGE_COUNTED_DB) - _RANGE_IGNORED_DB


def _share_point(values: NDArray[np.float64], weight: NDArray[np.float64], share: float) -> float:
    """Value below which lies a share of all weight."""
    order = np.argsort(values, kind="stable")
    sums = np.cumsum(weight[order])
    return float(values[order][np.searchsorted(sums, share * sums[-1])])


def _ends(starts: NDArray[np.float64]) -> int:
    """How many note ends the decays of all bands belong to."""
    return int(np.sum(np.diff(np.sort(starts), prepend=-inf) > _SAME_END_SECONDS))

"""A ballot: what one listener heard, answered and remarked.

Its checksum is there against damage on the way, not against forgery: anybody can compute it, and
without a server a forged ballot that keeps to the rules cannot be told from a real one.
"""

from __future__ import annotations

import calendar
import re
from collections import Counter
from dataclasses import dataclass
from typing import Any

from seatwright.errors import SceneError
from seatwright.listening.ballot_code import CODE_PREFIX, looks_like_code, unpacked_code
from seatwright.listening.fields import FORMS, VERSION_ID, Fields, shown
from seatwright.listening.plain_json import LARGEST, digest_fits, read_json
from seatwright.listening.trial import MOST_VERSIONS

LONGEST_COMMENT = 10_000
"""Characters."""

_KEYS = (
    "seatwright_ballot", "trial", "listener", "playback", "begun", "ended", "letters", "heard",
    "switches", "ranking", "identification", "comments", "levels", "checksum",
)  # fmt: skip
_TIME = re.compile(
    r"(\d{4})-(\d\d)-(\d\d)T([01]\d|2[0-3]):([0-5]\d):([0-5]\d)(\.\d{1,9})?(?:Z|\+00:00)", re.ASCII
)


@dataclass(frozen=True)
class Answer:
    """One identification: which version was played unnamed, which one the listener took it for."""

    x: str
    answer: str


@dataclass(frozen=True)
class Comment:
    """A remark on a version; seconds into the excerpt and a seat's name where pinned to them."""

    version: str
    seconds: float | None
    seat: str | None
    text: str


@dataclass(frozen=True)
class Ballot:
    """A ballot whose fields are right, each for itself.

    Parameters
    ----------
    trial, listener : str
        Hex ids.
    playback : str
        "headphones", "loudspeakers" or "unknown".
    begun, ended : float
        Seconds since 1970, UTC, by the listener's clock.
    letters : tuple of (str, str)
        Letter and the version it stood for.
    heard : tuple of (str, float)
        Version and seconds it was heard.
    switches : int
    ranking : tuple of tuple of str, or None
        Best first, those in one tuple tied.
    identification : tuple of Answer, or None
    comments : tuple of Comment
    levels : str
        "matched" or "rendered".
    checksum : str
    """

    trial: str
    listener: str
    playback: str
    begun: float
    ended: float
    letters: tuple[tuple[str, str], ...]
    heard: tuple[tuple[str, float], ...]
    switches: int
    ranking: tuple[tuple[str, ...], ...] | None
    identification: tuple[Answer, ...] | None
    comments: tuple[Comment, ...]
    levels: str
    checksum: str

    @property
    def versions(self) -> frozenset[str]:
        """All versions the listener had before him."""
        return frozenset(version for _, version in self.letters)

    @property
    def content(self) -> tuple[Any, ...]:
        """Times and answers: two listeners never share all of them."""
        heard = tuple(sorted(self.heard))
        return self.begun, self.ended, heard, self.switches, self.ranking, self.identification


def parse_ballot(data: bytes | str) -> Ballot:
    """Read a ballot from JSON or from its code.

    Parameters
    ----------
    data : bytes or str
        JSON in UTF-8, or "SWB1." and the packed JSON.

    Returns
    -------
    Ballot

    Raises
    ------
    SceneError
        With every fault found.
    """
    raw = data.encode("utf-8", "replace") if isinstance(data, str) else data
    if len(raw) > 2 * LARGEST + len(CODE_PREFIX):
        raise SceneError(f"found {len(raw)} bytes, wanted {LARGEST} at most")
    stripped = raw.strip()
    if looks_like_code(stripped):
        raw = unpacked_code(stripped.decode("utf-8", "replace"))
    table = read_json(raw)
    if "seatwright_trial" in table:
        raise SceneError("found a trial manifest, wanted a ballot; give the manifest as --trial")
    if "seatwright_ballot" not in table:
        raise SceneError("found no key seatwright_ballot, wanted a ballot")
    fields = Fields(table)
    ballot = _ballot(fields)
    _check_sum(fields, ballot.checksum)
    if fields.faults:
        raise SceneError(fields.faults)
    return ballot


def _ballot(fields: Fields) -> Ballot:
    fields.only(_KEYS)
    fields.format("seatwright_ballot", 1)
    return Ballot(
        trial=fields.text("trial", "[0-9a-f]{16}"),
        listener=fields.text("listener", "[0-9a-f]{32}"),
        playback=fields.text("playback", choices=("headphones", "loudspeakers", "unknown")),
        begun=_time(fields, "begun"),
        ended=_time(fields, "ended"),
        letters=_letters(fields),
        heard=_heard(fields),
        switches=fields.whole("switches", 0, 10_000_000),
        ranking=_ranking(fields),
        identification=_answers(fields),
        comments=tuple(map(_comment, fields.tables("comments", 1000))),
        levels=fields.text("levels", choices=("matched", "rendered")),
        checksum=fields.text("checksum", "[0-9a-f]{64}"),
    )


def _check_sum(fields: Fields, checksum: str) -> None:
    rest = {key: value for key, value in fields.table.items() if key != "checksum"}
    if checksum and not digest_fits(rest, checksum):
        fields.fault("checksum", "found a checksum that does not fit the rest: damaged or changed")


def _time(fields: Fields, key: str) -> float:
    parts = _TIME.fullmatch(fields.text(key))
    if parts:
        year, month, day = (int(parts[number]) for number in (1, 2, 3))
        if year >= 1970 and 1 <= month <= 12 and 1 <= day <= calendar.monthrange(year, month)[1]:
            clock = (int(parts[number]) for number in (4, 5, 6))
            return calendar.timegm((year, month, day, *clock)) + float(parts[7] or 0.0)
    if isinstance(fields.table.get(key), str):
        fields.fault(key, "found no such time, wanted the form 2024-05-31T18:30:00Z")
    return 0.0


def _letters(fields: Fields) -> tuple[tuple[str, str], ...]:
    table = fields.inside("letters")
    if not 1 <= len(table.table) <= MOST_VERSIONS:
        table.fault("", f"found {len(table.table)} letters, wanted 1 to {MOST_VERSIONS}")
        return ()
    if any(not re.fullmatch("[A-Z]", letter) for letter in table.table):
        table.fault("", "found a key that is no letter, wanted A to Z")
        return ()
    pairs = tuple((letter, table.text(letter, VERSION_ID)) for letter in sorted(table.table))
    if len({version for _, version in pairs}) < len(pairs):
        table.fault("", "found a version under two letters, wanted each under one")
    return pairs


def _heard(fields: Fields) -> tuple[tuple[str, float], ...]:
    table = fields.inside("heard")
    strange = [key for key in table.table if not re.fullmatch(VERSION_ID, key)]
    if strange:
        table.fault("", f"found the key {shown(strange[0])}, wanted {FORMS[VERSION_ID]}")
        return ()
    return tuple((key, table.number(key, 0.0, 1e7)) for key in sorted(table.table))


def _ranking(fields: Fields) -> tuple[tuple[str, ...], ...] | None:
    if fields.missing("ranking"):
        return None
    places = fields.items("ranking", MOST_VERSIONS)
    if not all(isinstance(place, list) and place for place in places):
        what = "found a place that is no list of versions, wanted one version or more in each"
        fields.fault("ranking", what)
        return None
    ranked = [version for place in places for version in place]
    strange = [o for o in ranked if not (isinstance(o, str) and re.fullmatch(VERSION_ID, o))]
    if strange:
        fields.fault("ranking", f"found {shown(strange[0])}, wanted {FORMS[VERSION_ID]}")
        return None
    if len(set(ranked)) < len(ranked) or not ranked:
        most = Counter(ranked).most_common(1)
        found = f"{most[0][0]} {most[0][1]} times" if most else "no version"
        fields.fault("ranking", f"found {found}, wanted each version once")
        return None
    return tuple(tuple(sorted(place)) for place in places)


def _answers(fields: Fields) -> tuple[Answer, ...] | None:
    if fields.missing("identification"):
        return None
    return tuple(
        Answer(one.text("x", VERSION_ID), one.text("answer", VERSION_ID))
        for one in fields.tables("identification", 1000)
    )


def _comment(fields: Fields) -> Comment:
    return Comment(
        version=fields.text("version", VERSION_ID),
        seconds=None if fields.missing("seconds") else fields.number("seconds", 0.0, 86_400.0),
        seat=None if fields.missing("seat") else fields.text("seat", longest=LONGEST_COMMENT),
        text=fields.text("text", longest=LONGEST_COMMENT),
    )

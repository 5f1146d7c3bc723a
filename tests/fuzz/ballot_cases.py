"""Ballots, their codes and trial manifests from strangers, read as `tally` reads them."""

from __future__ import annotations

import base64
import hashlib
import json
import re
import zlib
from collections.abc import Iterable
from pathlib import Path
from random import Random
from typing import Any
from xml.etree import ElementTree
from zlib import crc32

from fuzz.chance import damaged, few
from seatwright.disk.ballot_files import read_ballots
from seatwright.errors import Fault, SeatwrightError, printable
from seatwright.listening.ballot import Ballot, parse_ballot
from seatwright.listening.ballot_code import ballot_code
from seatwright.listening.ballot_rules import rule_broken
from seatwright.listening.tallying import sorted_out
from seatwright.listening.trial import parse_trial
from seatwright.tally import tally
from seatwright.views.tally_text import tally_json, tally_text

_TALLIED = 512
"""One in so many cases is counted whole, which takes a hundred times as long."""

_VALUES: tuple[Any, ...] = (
    None, True, False, 0, -0.0, 1, -1, 2**31, 2**53, 10**24, 10**23, 1e308, 5e-324, 1e21, 1e-7, 0.1,
    "", "v1", "v2", "v99", "v0", "A", "Z", "AA", "\0", "\x1b[2J", "\u202e", "\ud800", "\uffff",
    "a" * 61, "a" * 201, "a" * 10_001, "é" * 100, "2024-05-31T18:30:00Z", "2024-02-30T00:00:00Z",
    "9999-12-31T23:59:59.999999999+00:00", "1970-01-01T00:00:00Z", "0" * 16, "0" * 32, "f" * 64,
    "headphones", "loudspeakers", "unknown", "matched", "rendered", "ranking", "free",
    "identification", [], {}, [[]], [{}], [["v1"]], [["v1", "v2"]], [["v1"], ["v1"]], {"v1": 1e7},
    {"A": "v1"}, {"x": "v1", "answer": "v2"}, [{"x": "v1", "answer": "v2"}], [None], ["v1", "v2"],
    {"version": "v1", "seconds": 1, "seat": "horns", "text": "<b>\u0001"},
)  # fmt: skip
_TEXTS = (b"NaN", b"Infinity", b"-Infinity", b"1e999", b"1" * 25, b"1" * 5000, b"[" * 2000, b"{",
          b"}", b",", b'"', b"\\ud800", b"null", b"/*x*/", b"\xff", b"\0", b'{"a":' * 1500,
          b"1E+05", b"1e-05", b"-0", b"\\u0000", b"SWB1.", b"[[[[[[[[[[[[[[[[[")  # fmt: skip


class BallotTarget:
    """Bytes of a ballot, of text with codes, or of a manifest."""

    name = "ballot"

    def __init__(self, scratch: Path):
        self.manifest = _manifest(4)
        self.trial = parse_trial(json.dumps(self.manifest).encode())
        self.ballots, self.trial_path = scratch / "pile", scratch / "trial.json"
        self.json, self.text = self.ballots / "ballot.json", self.ballots / "codes.txt"
        self.ballots.mkdir()
        self.trial_path.write_text(json.dumps(self.manifest), encoding="utf-8")
        for number in range(3):
            one = signed(ballot(self.manifest, number), "checksum", 64)
            (self.ballots / f"{number}.json").write_bytes(json.dumps(one).encode())

    def make(self, chance: Random) -> bytes:
        """A table with changes, mostly under a checksum that fits, as JSON or as a code."""
        is_ballot = chance.random() < 0.75
        if is_ballot:
            facts = ballot(self.manifest, chance.randint(3, 9))
        else:
            facts = {k: v for k, v in _manifest(chance.choice((1, 2, 4, 26))).items() if k != "id"}
        for _ in range(chance.choice((0, 1, 1, 2, 4))):
            facts = changed(facts, chance)
        if isinstance(facts, dict) and chance.random() < 0.8:
            facts = signed(facts, *(("checksum", 64) if is_ballot else ("id", 16)))
        data = written(facts, chance)
        if chance.random() < 0.2:
            at = chance.randint(0, len(data))
            data = data[:at] + chance.choice(_TEXTS) + data[at:]
        return _wrapped(data, chance)

    def run(self, data: bytes) -> Iterable[Fault | str]:
        """As a ballot, as a manifest, as a file; all three, since anything may be given as any."""
        told: list[Fault | str] = []
        refused: list[Fault] = []
        try:
            told += self.judged_ballot(parse_ballot(data))
        except SeatwrightError as error:
            refused += error.faults
        try:
            told.append(parse_trial(data).id)
        except SeatwrightError as error:
            refused += error.faults
        if crc32(data) % 8 == 0:
            told += self.piled(data)
        if crc32(data) % _TALLIED == 0:
            told += self.counted(data)
        if any(isinstance(one, str) and re.fullmatch("[0-9a-f]+", one) for one in told):
            return [*told, *refused]
        raise SeatwrightError(refused)

    def judged_ballot(self, one: Ballot) -> Iterable[str]:
        """Its checksum, and what the rules say of it, by itself and given twice."""
        yield one.checksum
        yield printable(rule_broken(one, self.trial))
        for trial in (self.trial, None):
            yield from (lost.why for lost in sorted_out([("a", one), ("b", one)], trial)[2])

    def piled(self, data: bytes) -> Iterable[str]:
        self.text.write_bytes(data)
        return [printable(f"{one.source} {one.why}") for one in read_ballots([self.text]).refused]

    def counted(self, data: bytes) -> Iterable[str]:
        """The whole tally with three good ballots, and what is printed of it."""
        self.json.write_bytes(data)
        page = self.ballots.parent / "page.html"
        found = tally([self.ballots], self.trial_path, page)
        body = page.read_text(encoding="utf-8").partition("<body>")[2]
        ElementTree.fromstring("<body>" + body.removesuffix("</html>\n"))
        json.loads(tally_json(found))
        return [tally_text(found)]


def _manifest(versions: int) -> dict[str, Any]:
    rows = [
        {"id": f"v{n + 1}", "name": f"way {n}", "sha256": f"{n:064x}",
         "twin_of": "v1" if 0 < n == versions - 1 else None}
        for n in range(versions)
    ]  # fmt: skip
    facts = {
        "seatwright_trial": 1,
        "title": "Horns",
        "seconds": 75.0,
        "versions": rows,
        "modes": ["ranking", "identification"],
        "identification": {"pair": ["v1", "v2"], "trials": 4} if versions > 1 else None,
        "minimum_seconds": 10.0,
        "seats": ["horns", "harp"],
    }
    return signed(facts, "id", 16)


def ballot(manifest: dict[str, Any], number: int) -> dict[str, Any]:
    """A ballot without faults, unsigned."""
    ids = [version["id"] for version in manifest["versions"]]
    return {
        "seatwright_ballot": 1,
        "trial": manifest["id"],
        "listener": f"{number:032x}",
        "playback": "headphones",
        "begun": f"2024-05-31T18:00:{number:02d}Z",
        "ended": "2024-05-31T20:00:00.250Z",
        "letters": dict(zip("ABCDEFGHIJKLMNOPQRSTUVWXYZ", ids, strict=False)),
        "heard": dict.fromkeys(ids, 20.5),
        "switches": 7,
        "ranking": [[one] for one in ids],
        "identification": [{"x": "v1", "answer": "v2"}] * 4,
        "comments": [{"version": "v1", "seconds": 3.5, "seat": "horns", "text": "too loud"}],
        "levels": "matched",
    }


def signed(facts: dict[str, Any], key: str, digits: int) -> dict[str, Any]:
    """A table with the digest of all the rest under a key."""
    rest = {name: value for name, value in facts.items() if name != key}
    text = json.dumps(rest, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    digest = hashlib.sha256(text.encode("utf-8", "backslashreplace")).hexdigest()
    return {**rest, key: digest[:digits]}


def changed(value: Any, chance: Random) -> Any:
    """A value with one change somewhere in it."""
    if isinstance(value, dict) and value and chance.random() < 0.85:
        key = chance.choice(list(value))
        match chance.randrange(5):
            case 0:
                return {name: inner for name, inner in value.items() if name != key}
            case 1:
                return {**value, str(chance.choice(_VALUES)): chance.choice(_VALUES)}
        return {**value, key: changed(value[key], chance)}
    if isinstance(value, list) and value and chance.random() < 0.7:
        place = chance.randrange(len(value))
        match chance.randrange(4):
            case 0:
                return value * few(chance, 30)
            case 1:
                return [*value[:place], *value[place + 1 :]]
        return [*value[:place], changed(value[place], chance), *value[place + 1 :]]
    if _is_small(value) and chance.random() < 0.3:
        return value * chance.choice((-1, 0.5, 1e10, 1.1))
    return chance.choice(_VALUES)


def _is_small(value: Any) -> bool:
    """Whether it is a number that can be multiplied."""
    return isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < 1e290


def written(facts: Any, chance: Random) -> bytes:
    """JSON in one of the ways programs write it."""
    text = json.dumps(
        facts,
        ensure_ascii=chance.random() < 0.5,
        indent=chance.choice((None, None, 2)),
        sort_keys=isinstance(facts, dict) and chance.random() < 0.3,
    )
    return text.encode("utf-8", chance.choice(("surrogatepass", "backslashreplace")))


def _wrapped(data: bytes, chance: Random) -> bytes:
    """As it is, or as a code; both sometimes damaged."""
    kind = chance.random()
    if kind < 0.5:
        return damaged(data, chance) if chance.random() < 0.3 else data
    if kind < 0.65:
        code = ballot_code(data).encode()
    elif kind < 0.75:
        code = b"SWB0." + base64.urlsafe_b64encode(data)
    elif kind < 0.85:
        packed = damaged(zlib.compress(data), chance)
        code = b"SWB1." + base64.urlsafe_b64encode(packed)
    elif kind < 0.95:
        machine = zlib.compressobj(wbits=-15)
        code = b"SWB1." + base64.urlsafe_b64encode(machine.compress(data) + machine.flush())
    else:
        bomb = zlib.compress(data[:50] + b" " * chance.choice((70_000, 3_000_000)))
        code = b"SWB1." + base64.urlsafe_b64encode(bomb)
    if chance.random() < 0.3:
        code = damaged(code, chance)
    return chance.choice((b"", b"Hello,\n", b"\xef\xbb\xbf", b"  ")) + code


def target(scratch: Path) -> BallotTarget:
    """The target in a folder."""
    return BallotTarget(scratch)

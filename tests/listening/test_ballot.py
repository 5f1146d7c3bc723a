"""Ballots: read as JSON and code, refused in plain words, never a traceback."""

from __future__ import annotations

import base64
import hashlib
import json
import tracemalloc
import zlib
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from seatwright.errors import SceneError
from seatwright.listening.ballot import parse_ballot
from seatwright.listening.ballot_code import ballot_code
from seatwright.listening.ballot_rules import doubles, rule_broken
from seatwright.listening.plain_json import digest_fits
from seatwright.listening.trial import parse_trial

from ..conftest import checksum, poll_of

NESTED = b'{"seatwright_ballot":' + b"[" * 30_000 + b"]" * 30_000 + b"}"


def test_json_and_codes_give_the_same_ballot() -> None:
    data = poll_of().bytes(1, ranking=[["v2"], ["v3", "v1"], ["v4"]])
    ballot = parse_ballot(data)
    assert ballot.ranking == (("v2",), ("v1", "v3"), ("v4",))
    assert ballot.ended - ballot.begun == 7199.25
    code = ballot_code(data)
    assert parse_ballot(f" {code}\n") == ballot
    bare = zlib.compressobj(9, zlib.DEFLATED, -15)
    for prefix, packed in (("SWB1.", bare.compress(data) + bare.flush()), ("SWB0.", data)):
        text = prefix + base64.urlsafe_b64encode(packed).decode().rstrip("=")
        assert parse_ballot(text) == ballot
    with pytest.raises(SceneError, match="does not unpack"):
        parse_ballot(code[:-9])


@pytest.mark.parametrize(
    ("facts", "text"),
    [
        ({"a": 10.0, "b": 1e-5, "c": 1.5e-7}, '{"a":10,"b":0.00001,"c":1.5e-7}'),
        ({"b": -2.5e-6, "a": [1e21, 0.1, True]}, '{"a":[1e+21,0.1,true],"b":-0.0000025}'),
        ({"t": '1e-7 \u2028 "q" é'}, '{"t":"1e-7 \u2028 \\"q\\" é"}'),
    ],
)
def test_checksums_of_browsers_fit(facts: dict[str, Any], text: str) -> None:
    """Right: what JSON.stringify writes with sorted keys (ECMA-262, Number::toString)."""
    digest = hashlib.sha256(text.encode()).hexdigest()
    assert digest_fits(facts, digest)
    assert not digest_fits(facts | {"more": 1}, digest)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"listener": "abc"}, "listener"),
        ({"playback": "radio"}, "wanted one of: headphones, loudspeakers, unknown"),
        ({"begun": "2023-02-29T10:00:00Z"}, "no such time"),
        ({"ended": "now"}, "no such time"),
        ({"heard": {"v1": -1.0}}, "heard.v1"),
        ({"heard": {"v1": 1e300}}, "heard.v1"),
        ({"switches": True}, "whole number"),
        ({"ranking": [["v1"], ["v1"]]}, "each version once"),
        ({"ranking": [[]]}, "no list of versions"),
        ({"letters": {"A": "v1", "B": "v1"}}, "under two letters"),
        ({"letters": {"ä": "v1"}}, "wanted A to Z"),
        ({"identification": [{"x": 1, "answer": "v1"}]}, r"identification\[0\].x"),
        ({"comments": [{"version": "v1", "text": "x" * 10_001}]}, "10001 characters"),
        ({"more": 1}, "nobody knows"),
        ({"seatwright_ballot": 2}, "seatwright_ballot: found 2, wanted 1, the only format"),
        ({"seatwright_ballot": True}, "found true, wanted 1, the only format"),
        ({"trial": "xyz"}, 'found "xyz", wanted 16 characters of 0 to 9 and a to f'),
        ({"switches": -3}, "found -3, wanted a whole number from 0 to 10000000"),
        ({"heard": {"v1": -1.0}}, "found -1.0, wanted a number from 0 to 10000000"),
        ({"heard": {"x": 1.0}}, 'found the key "x", wanted a version, v1 to v99'),
        ({"ranking": [["v1", "w2"]]}, 'found "w2", wanted a version, v1 to v99'),
        ({"ranking": [["v1"], ["v1"]]}, "found v1 2 times, wanted each version once"),
        ({"ranking": []}, "found no version, wanted each version once"),
        ({"more": 1}, "more: found a key nobody knows, wanted none but: seatwright_ballot, trial"),
    ],
)
def test_wrong_fields_are_named(changes: dict[str, Any], words: str) -> None:
    with pytest.raises(SceneError, match=words):
        parse_ballot(poll_of().bytes(1, **changes))


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "broken JSON"),
        (b"\xff", "no UTF-8"),
        (b"[1]", "without keys"),
        (NESTED, "nested too deeply"),
        *(
            (b'{"seatwright_ballot":' + b"[" * n + b"]" * n + b"}", "nested")
            for n in (300, 600, 900)
        ),
        (b'{"a":1,"a":2}', "given twice"),
        (b'{"seatwright_ballot":NaN}', "NaN"),
        (b'{"a":1e999}', "1e999"),
        (b'{"a":' + b"9" * 5000 + b"}", "5000 digits"),
        (b" " * 70_000, "70000 bytes"),
        (b'{"seatwright_trial":1}', "--trial"),
        (b"SWB1.!!!", "belong to no code"),
    ],
)
def test_what_is_no_ballot_is_refused(data: bytes, words: str) -> None:
    with pytest.raises(SceneError, match=words):
        parse_ballot(data)


def test_one_changed_letter_is_damage() -> None:
    data = poll_of().bytes(1).replace(b'"switches": 7', b'"switches": 8')
    with pytest.raises(SceneError, match="damaged or changed"):
        parse_ballot(data)


def test_a_bomb_stays_small() -> None:
    code = "SWB1." + base64.urlsafe_b64encode(zlib.compress(b" " * 50_000_000, 9)).decode()
    tracemalloc.start()
    with pytest.raises(SceneError, match=r"more than 65536 bytes|shorter one"):
        parse_ballot(code)
    assert tracemalloc.get_traced_memory()[1] < 2_000_000
    tracemalloc.stop()


anything: st.SearchStrategy[Any] = st.recursive(
    st.none() | st.booleans() | st.floats() | st.integers() | st.text() | st.just("v1"),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(), inner, max_size=4),
    max_leaves=8,
)


@settings(suppress_health_check=[HealthCheck.too_slow], deadline=None)
@given(st.sampled_from(sorted(poll_of().ballot(1))), anything)
def test_any_value_anywhere_is_read_or_refused(key: str, value: Any) -> None:
    poll = poll_of()
    facts = {k: v for k, v in poll.ballot(1).items() if k != "checksum"} | {key: value}
    data = json.dumps(facts | {"checksum": checksum_or_none(facts)} | {key: value}).encode()
    try:
        ballot = parse_ballot(data)
    except SceneError as error:
        assert str(error).strip()
    else:
        assert isinstance(rule_broken(ballot, parse_trial(json.dumps(poll.manifest).encode())), str)


def checksum_or_none(facts: dict[str, Any]) -> str:
    try:
        return checksum(facts)
    except UnicodeEncodeError:
        return "0" * 64


@given(st.binary(max_size=300) | st.text().map(lambda text: "SWB1." + text))
def test_any_bytes_are_refused(data: bytes | str) -> None:
    with pytest.raises(SceneError):
        parse_ballot(data)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({}, ""),
        ({"trial": "0" * 16}, "another page"),
        ({"letters": {"A": "v1", "B": "v2"}}, "under letters"),
        ({"heard": {"v1": 20, "v2": 20, "v3": 20, "v4": 20, "v9": 1}}, "v9"),
        ({"ended": "2024-05-31T17:00:00Z"}, "before it began"),
        ({"ended": "2024-05-31T18:01:00Z"}, "82.0 s heard in 59.0 s"),
        ({"heard": {"v1": 20, "v2": 9.9, "v3": 20, "v4": 20}}, "v2 heard for 9.9 s"),
        ({"ranking": None}, "no vote and no comment"),
        ({"ranking": [["v1"]]}, "v1 ranked"),
        ({"identification": [{"x": "v1", "answer": "v1"}] * 15}, "found 15 identifications"),
        ({"identification": [{"x": "v1", "answer": "v3"}] * 16}, "v1, v3 identified"),
        ({"comments": [{"version": "v1", "seat": "tuba", "text": "?"}]}, "not on the plan"),
        ({"comments": [{"version": "v1", "seconds": 99, "text": "?"}]}, "99.0 s of 75.0 s"),
    ],
)
def test_rules(changes: dict[str, Any], words: str) -> None:
    poll = poll_of()
    trial = parse_trial(json.dumps(poll.manifest).encode())
    found = rule_broken(parse_ballot(poll.bytes(1, **changes)), trial)
    assert words in found
    assert bool(found) == bool(words)


def test_of_doubles_the_first_finished_counts() -> None:
    poll = poll_of()
    late = parse_ballot(poll.bytes(1, ended="2024-05-31T21:00:00Z", switches=9))
    first, other = parse_ballot(poll.bytes(1)), parse_ballot(poll.bytes(2))
    copied = parse_ballot(poll.bytes(3, begun="2024-05-31T18:00:02Z"))
    pile = [late, copied, first, other, first]
    assert {place: why.split(",")[0] for place, why in doubles(pile).items()} == {
        0: "found a later ballot of one listener",
        1: "found times and answers that are another listener's to the last digit",
        4: "found the same ballot once more",
    }
    backwards = doubles(pile[::-1])
    assert {pile[::-1][place] for place in backwards} == {late, copied, first}


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda m: m | {"title": "other"}, "changed by hand"),
        (lambda m: m | {"versions": m["versions"][1:]}, "twin of v1"),
        (lambda m: m | {"seatwright_trial": 2}, "seatwright_trial: found 2, wanted 1, the only"),
        (lambda m: m | {"seats": ["tuba", 7]}, "seats: found the entry 7, wanted text"),
        (
            lambda m: m | {"modes": ["duel"]},
            'modes: found the entry "duel", wanted one of: free, ranking, identification',
        ),
        (lambda m: m | {"versions": []}, "versions: found the ids none, wanted one or more"),
        (
            lambda m: m | {"identification": {"pair": ["v1", "v1"], "trials": 16}},
            "identification.pair: found 1 versions, wanted two different ones",
        ),
        (
            lambda m: m | {"identification": {"pair": ["v1", "v77"], "trials": 16}},
            'found "v1" and "v77" to identify, wanted two of v1',
        ),
        (lambda m: {"id": "0" * 16}, "no key seatwright_trial"),
    ],
)
def test_wrong_manifests(change: Callable[[dict[str, Any]], dict[str, Any]], words: str) -> None:
    data = json.dumps(change(poll_of().manifest)).encode()
    with pytest.raises(SceneError, match=words):
        parse_trial(data)

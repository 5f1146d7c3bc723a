"""Pairs and majorities: Condorcet's own cycle, draws, ties."""

from __future__ import annotations

import tomllib
from itertools import permutations
from pathlib import Path

from seatwright.listening.consistency import places, twin_finding
from seatwright.listening.preferences import Ranking, majority, pairs_of, without

TEXT = (Path(__file__).parents[1] / "references" / "listening.toml").read_text(encoding="utf-8")
CONDORCET = tomllib.loads(TEXT)["condorcet"]


def ranked(text: str) -> Ranking:
    """Places apart by spaces, or letters one by one."""
    return tuple(tuple(sorted(place)) for place in (text.split() if " " in text else text))


def test_condorcets_voters_go_round() -> None:
    rankings = [ranked(order) for count, order in CONDORCET["voters"] for _ in range(count)]
    pairs = pairs_of(rankings, "ABC")
    found = {(pair.first, pair.second): pair.for_first for pair in pairs}
    assert found == {(one, other): votes for one, other, votes in CONDORCET["majorities"]}
    result = majority(pairs, "ABC")
    assert result.winner is None
    assert result.cycle == ("A", "B", "C")


def test_a_winner_without_the_most_first_places() -> None:
    rankings = [ranked("BAC")] * 4 + [ranked("CAB")] * 3 + [ranked("ABC")] * 2
    result = majority(pairs_of(rankings, "ABC"), "ABC")
    assert (result.winner, result.leaders) == ("A", ("A",))


def test_a_draw_is_no_cycle() -> None:
    result = majority(pairs_of([ranked("ABC"), ranked("BAC")], "ABC"), "ABC")
    assert (result.winner, result.cycle, result.leaders) == (None, (), ("A", "B"))


def test_ties_are_left_out_of_the_test() -> None:
    rankings = [ranked("A B")] * 9 + [ranked("B A")] + [ranked("AB ")] * 5
    (pair,) = pairs_of(rankings, "AB")
    assert (pair.for_first, pair.for_second, pair.ties) == (9, 1, 5)
    assert abs(pair.p - 22 / 1024) < 1e-12
    assert pair.is_clear


def test_left_out_versions_leave_no_empty_place() -> None:
    assert without([(("A",), ("B", "C"), ("D",))], frozenset("AC")) == [(("B",), ("D",))]


def test_twins_by_places() -> None:
    assert places((("a", "b"), ("c",))) == {"a": 1.5, "b": 1.5, "c": 3.0}
    found = twin_finding("t", "a", [ranked("atbc"), ranked("abct"), ranked("at b c")])
    assert found.distances == (1.0, 3.0, 0.0)
    assert (found.together, found.chance_together) == (2, 0.5)
    assert abs(found.p - 0.5) < 1e-12
    # all 24 orders of four: mean distance and share side by side, counted
    every = twin_finding("t", "a", [ranked("".join(order)) for order in permutations("atbc")])
    assert abs(every.mean_distance - every.chance_distance) < 1e-12
    assert every.together / 24 == every.chance_together

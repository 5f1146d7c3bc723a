"""Exact tests against published tables and an independent library."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binomtest

from seatwright.listening.binomial import (
    holm,
    needed_hits,
    needed_trials,
    power,
    two_sided,
    upper_tail,
)

TEXT = (Path(__file__).parents[1] / "references" / "listening.toml").read_text(encoding="utf-8")
TABLE = tomllib.loads(TEXT)["forced_choice"]
HOLM = tomllib.loads(TEXT)["holm"]


@pytest.mark.parametrize(("sides", "key"), [(1, "one_sided"), (2, "two_sided")])
def test_needed_counts_are_those_of_the_table(sides: int, key: str) -> None:
    for trials, hits in TABLE[key]:
        assert needed_hits(trials, sides=sides) == hits


def test_five_can_never_show_a_preference() -> None:
    assert needed_hits(5, sides=2) is None
    assert power(5, sides=2) == 0.0
    assert needed_hits(6, sides=2) == 6
    assert (needed_hits(4), needed_hits(5)) == (None, 5)


def test_power_is_that_of_the_table() -> None:
    for trials, wanted in TABLE["power_75"]:
        assert power(trials, 0.75) == pytest.approx(wanted, abs=0.0051)


@given(st.integers(1, 3000), st.floats(0.0, 1.0))
def test_tails_agree_with_scipy_stats(trials: int, share: float) -> None:
    hits = round(share * trials)
    one = binomtest(hits, trials, alternative="greater").pvalue
    assert upper_tail(hits, trials) == pytest.approx(one, rel=1e-9)
    assert two_sided(hits, trials) == pytest.approx(binomtest(hits, trials).pvalue, rel=1e-9)
    third = binomtest(hits, trials, 1 / 3, alternative="greater").pvalue
    assert upper_tail(hits, trials, 1 / 3) == pytest.approx(third, rel=1e-9)


def test_35_listeners_see_75_to_25_and_34_do_not() -> None:
    assert needed_trials() == 35
    assert power(34, sides=2) < 0.8 < power(30, sides=2)
    assert all(power(trials, sides=2) >= 0.8 for trials in range(35, 300))


@given(st.floats(0.6, 0.95), st.sampled_from([0.05, 0.05 / 3, 0.05 / 10]), st.sampled_from([1, 2]))
def test_from_the_needed_number_on_power_never_falls_below(
    share: float, level: float, sides: int
) -> None:
    needed = needed_trials(share, level, sides)
    assert power(needed - 1, share, level, sides) < 0.8
    assert all(power(needed + k, share, level, sides) >= 0.8 for k in range(60))


def test_holm_keeps_the_order_and_stops_where_the_first_fails() -> None:
    assert holm(HOLM["p_values"]) == pytest.approx(HOLM["corrected"])
    assert holm([0.4, 0.9]) == pytest.approx([0.8, 0.9])
    assert holm([]) == []

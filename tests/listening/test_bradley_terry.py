"""Strengths against a published example and an independent package."""

from __future__ import annotations

import tomllib
from pathlib import Path

import choix
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from seatwright.errors import RenderError
from seatwright.listening.bradley_terry import HALF_WIN, is_connected, strengths
from seatwright.listening.preferences import patterns
from seatwright.listening.resampling import expanded_tail, resampled_strengths

TEXT = (Path(__file__).parents[1] / "references" / "listening.toml").read_text(encoding="utf-8")
BASEBALL = tomllib.loads(TEXT)["baseball"]


def test_the_published_example() -> None:
    wins = np.array(BASEBALL["wins"], dtype=float)
    assert np.all(wins + wins.T == 13.0 * (1.0 - np.eye(7)))
    found = strengths(wins)
    assert found - found[-1] == pytest.approx(BASEBALL["strengths"], abs=6e-5)
    pairs = [(i, j) for i in range(7) for j in range(7) for _ in range(int(wins[i, j]))]
    assert found == pytest.approx(choix.ilsr_pairwise(7, pairs), abs=1e-6)


@settings(deadline=None)  # its time is the machine's, which may be busy
@given(st.integers(0, 2**32), st.integers(2, 7))
def test_strengths_agree_with_choix(seed: int, versions: int) -> None:
    wins = np.random.default_rng(seed).integers(1, 40, (versions, versions)) * 1.0
    np.fill_diagonal(wins, 0.0)
    other = choix.mm_pairwise(
        versions,
        [(i, j) for i in range(versions) for j in range(versions) for _ in range(int(wins[i, j]))],
        max_iter=100_000,
    )
    assert strengths(wins) == pytest.approx(other, abs=1e-4)


def test_a_winner_of_everything_has_no_strength_without_half_wins() -> None:
    wins = np.array([[0.0, 4.0, 5.0], [0.0, 0.0, 2.0], [0.0, 3.0, 0.0]])
    assert not is_connected(wins)
    with pytest.raises((RenderError, np.linalg.LinAlgError)):
        strengths(wins)
    assert np.argmax(strengths(wins, HALF_WIN)) == 0
    wins[2, 0] = 1.0
    assert is_connected(wins)


def test_stacks_are_fitted_like_one_at_a_time() -> None:
    stack = np.random.default_rng(3).integers(1, 9, (50, 5, 5)) * (1.0 - np.eye(5))
    assert strengths(stack) == pytest.approx(np.array([strengths(one) for one in stack]), abs=1e-9)


def test_the_tail_of_few_listeners_is_thinner() -> None:
    # Hesterberg (2015), table of expanded percentiles: 0.0010 for 5 and 0.0086 for 10... by hand:
    # P(Z < sqrt(n / (n - 1)) t), t = -2.7764 for 4 and -2.2622 for 9 degrees of freedom.
    assert expanded_tail(5) == pytest.approx(0.00096, abs=2e-5)
    assert expanded_tail(10) == pytest.approx(0.00855, abs=5e-5)
    assert expanded_tail(10_000) == pytest.approx(0.025, abs=1e-4)


def test_intervals_of_unanimous_listeners_are_not_nothing_wide() -> None:
    found = resampled_strengths(
        *patterns([(("v1",), ("v2",))] * 5, ("v1", "v2")), np.random.default_rng(1)
    )
    assert found.added == HALF_WIN
    assert found.low[0] < 0.5 < found.values[0] <= found.high[0]
    # nobody can tell from five alone: the exact sign test says 1 in 16
    assert found.high[0] - found.low[0] > 1.0


@pytest.mark.parametrize("listeners", [8, 25])
def test_intervals_cover_the_truth(listeners: int) -> None:
    """Rankings by Luce's model, which has Bradley and Terry's probabilities for every pair."""
    rng = np.random.default_rng(listeners)
    truth = np.array([0.8, 0.0, -0.8])
    covered = []
    for _ in range(400):
        drawn = rng.gumbel(size=(listeners, 3)) + truth
        wins = (drawn[:, :, None] > drawn[:, None, :]) * 1.0
        found = resampled_strengths(wins, np.ones(listeners, dtype=np.int64), rng, 200)
        covered.append((found.low <= truth) & (truth <= found.high))
    assert 0.93 <= np.mean(covered) <= 0.995


def test_the_same_generator_gives_the_same_intervals() -> None:
    votes = patterns([(("v1",), ("v2",)), (("v2",), ("v1",)), (("v1", "v2"),)], ("v1", "v2"))
    one, two = (resampled_strengths(*votes, np.random.default_rng(9)) for _ in range(2))
    assert np.array_equal(one.low, two.low)
    assert one.values == pytest.approx([0.0, 0.0], abs=1e-9)

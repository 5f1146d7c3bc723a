"""Matching, the loudest stretch, the one outline: what makes versions comparable."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from seatwright.errors import SceneError
from seatwright.listening.comparison import (
    EnergyTrace,
    Level,
    common_waveform,
    faded,
    loudest_start,
    matching_gains,
    rendered_gains,
    set_rate,
    stretch,
)

LEVELS = st.lists(
    st.tuples(st.floats(-60.0, 0.0), st.floats(0.0, 25.0)), min_size=2, max_size=12
).map(lambda rows: [Level(str(n), loud, loud + above) for n, (loud, above) in enumerate(rows)])


@given(LEVELS)
def test_gains_match_never_raise_and_turn_down_no_more_than_they_must(levels: list[Level]) -> None:
    gains = matching_gains(levels)
    loud = [level.integrated_lufs + gain for level, gain in zip(levels, gains, strict=True)]
    peaks = [level.true_peak_dbtp + gain for level, gain in zip(levels, gains, strict=True)]
    assert max(loud) - min(loud) < 1e-9
    assert max(gains) <= 1e-9 and max(peaks) <= -1.0
    assert max(gains) > -1e-9 or max(peaks) > -1.05  # one of both limits is reached


@given(LEVELS)
def test_levels_as_rendered_come_back_without_raising_any(levels: list[Level]) -> None:
    gains = matching_gains(levels)
    back = rendered_gains(gains)
    loud = [a.integrated_lufs + b + c for a, b, c in zip(levels, gains, back, strict=True)]
    offsets = [one - level.integrated_lufs for one, level in zip(loud, levels, strict=True)]
    assert max(offsets) - min(offsets) < 1e-9
    assert max(back) == 0.0


def test_silence_is_named() -> None:
    levels = [Level("a", -20.0, -3.0), Level("b", -np.inf, -np.inf), Level("c", -71.0, -60.0)]
    with pytest.raises(SceneError) as error:
        matching_gains(levels)
    assert [fault.what.split('"')[1] for fault in error.value.faults] == ["b", "c"]


def test_the_energy_of_a_signal_does_not_depend_on_how_it_is_cut() -> None:
    signal = np.random.default_rng(1).standard_normal((40_000, 2)).astype(np.float32)
    whole, pieces = EnergyTrace(16_000), EnergyTrace(16_000)
    whole.add(signal)
    for start in range(0, 40_000, 777):
        pieces.add(signal[start : start + 777])
    assert len(whole.steps) == 25
    assert whole.steps == pytest.approx(pieces.steps, rel=1e-9)


def test_the_loudest_stretch_counts_every_version_alike() -> None:
    """A loud version does not decide alone: 100 times the energy changes nothing."""
    early, late = np.ones(1000), np.ones(1000)
    early[100:300] = 3.0
    late[600:800] = 9.0
    assert loudest_start([early, late], 20.0) == pytest.approx(60.0)
    assert loudest_start([100.0 * early, late], 20.0) == pytest.approx(60.0)
    assert loudest_start([early, early], 20.0) == pytest.approx(10.0)
    assert loudest_start([early[:150], late], 20.0) == 0.0


def test_ends_are_faded_and_the_middle_is_left() -> None:
    signal = np.ones((4_800, 2), dtype=np.float32)
    ended = faded(signal, 48_000)
    assert (ended[480:-480] == 1.0).all()
    assert np.abs(np.diff(ended[:, 0])).max() < 0.0022
    assert 0.0 < ended[0, 0] < 0.002 and ended[-1, 1] == ended[0, 1]
    assert signal.min() == 1.0


def test_the_outline_is_that_of_the_loudest_version_at_each_place() -> None:
    one, two = np.zeros((1000, 2), np.float32), np.zeros((1000, 2), np.float32)
    one[105, 0], two[905, 1] = -0.5, 0.25
    outline = common_waveform([one, two], places=10)
    assert outline == (0, 100, 0, 0, 0, 0, 0, 0, 0, 50)
    assert common_waveform([one * 0, two * 0], places=10) == (0,) * 10


def test_stretches_lie_within_what_all_versions_have() -> None:
    assert stretch(None, None, 30.0) == (0.0, 30.0)
    assert stretch(10.0, None, 200.0) == (10.0, 85.0)
    assert stretch(None, 100.0, 200.0) == (25.0, 100.0)
    assert stretch(10.0, 500.0, 200.0) == (10.0, 200.0)
    for start, stop in ((20.0, 10.0), (199.5, None), (300.0, 400.0), (np.inf, None)):
        with pytest.raises(SceneError, match=r"wanted at least 1 s within the 200\.00 s"):
            stretch(start, stop, 200.0)


def test_sets_are_at_rates_that_browsers_play() -> None:
    found = {rate: set_rate(rate) for rate in (8_000, 44_100, 48_000, 88_200, 96_000, 176_400)}
    assert found == {8_000: 8_000, 44_100: 44_100, 48_000: 48_000, 88_200: 44_100,
                     96_000: 48_000, 176_400: 44_100}  # fmt: skip

"""Clipping: runs at the limit count, whole crests and quiet plateaus do not, cuts do not matter."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from seatwright.sound.clipping import ClipMeter


def counted(*channels: list[float], cuts: tuple[int, ...] = ()) -> tuple[int, int]:
    samples = np.array(channels, np.float32).T
    meter = ClipMeter(len(channels))
    for part in np.split(samples, cuts):
        meter.add(part)
    return meter.runs, meter.samples


def test_runs_of_three_at_either_limit_count() -> None:
    assert counted([0.2, 1.0, 1.0, 1.0, 0.3, -1.0, -1.0, -1.0, -1.0]) == (2, 7)
    assert counted([0.2, 1.0, 1.0, 0.3, 1.0, 0.1]) == (0, 0)


def test_the_limit_is_the_stem_s_own() -> None:
    flat = [0.1, 0.95, 0.95, 0.95, 0.1]
    assert counted(flat) == (1, 3)
    assert counted([*flat, 0.96]) == (0, 0)  # 0.95 was no limit
    assert counted([0.1, 0.5, 0.5, 0.5, 0.1]) == (0, 0)  # a plateau far below full scale


def test_channels_are_looked_at_apart() -> None:
    assert counted([1.0, 1.0, 1.0, 0.0], [0.0, 0.92, 0.92, 0.92]) == (2, 6)


def test_a_clipped_sine() -> None:
    sine = 1.3 * np.sin(2 * np.pi * 440.0 * np.arange(48_000) / 48_000)
    assert counted(np.clip(sine, -1.0, 1.0).tolist())[0] == 880
    assert counted((sine / 1.3).tolist()) == (0, 0)


@given(
    st.lists(st.sampled_from([0.0, 0.5, 0.95, 1.0, -1.0]), min_size=1, max_size=40),
    st.lists(st.integers(0, 40), max_size=5),
)
def test_cuts_change_nothing_and_runs_are_those_of_a_plain_count(
    values: list[float], cuts: list[int]
) -> None:
    wanted_runs = wanted_samples = 0
    upper, lower = max([0.0, *values]), min([0.0, *values])
    for limit in (upper, lower):
        if abs(limit) < 0.9:
            continue
        text = "".join("x" if value == limit else " " for value in values)
        runs = [run for run in text.split() if len(run) >= 3]
        wanted_runs += len(runs)
        wanted_samples += sum(map(len, runs))
    assert counted(values, cuts=tuple(sorted(cuts))) == (wanted_runs, wanted_samples)


@pytest.mark.parametrize("value", [1.0, -1.0])
def test_a_constant_at_full_scale_is_one_run(value: float) -> None:
    assert counted([value] * 9) == (1, 9)

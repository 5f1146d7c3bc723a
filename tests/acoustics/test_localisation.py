"""Summing localisation against published points."""

from __future__ import annotations

import tomllib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from seatwright.acoustics.localisation import (
    angle_for_level,
    heard_bearing,
    heard_level_difference,
    level_for_angle,
    pan_gains,
)

POINTS = tomllib.loads(
    (Path(__file__).parents[1] / "references" / "hearing.toml").read_text("utf-8")
)["panning"]["points"]

ANGLES = st.floats(-30.0, 30.0)


@pytest.mark.parametrize(("degrees", "decibels", "milliseconds"), POINTS)
@pytest.mark.parametrize("side", [-1.0, 1.0])
def test_published_points(
    degrees: float, decibels: float, milliseconds: float, side: float
) -> None:
    """Lee and Rumsey 2013 (values from memory): by level alone, and by time alone."""
    assert angle_for_level(side * decibels) == pytest.approx(side * degrees, abs=0.05)
    assert level_for_angle(side * degrees) == pytest.approx(side * decibels, abs=0.05)
    late = milliseconds / 1000.0
    times = np.array([0.0, late])  # the first arrival on the heard side, as strong as the second
    gains = np.array([[0.0, 1.0], [1.0, 0.0]]) if side > 0 else np.eye(2)
    assert heard_bearing(times, gains) == pytest.approx(side * degrees, abs=0.05)


@given(ANGLES)
def test_level_and_angle_are_inverse_and_symmetric(angle: float) -> None:
    assert angle_for_level(level_for_angle(angle)) == pytest.approx(angle, abs=1e-9)
    assert level_for_angle(-angle) == pytest.approx(-level_for_angle(angle), abs=1e-12)


def test_angle_rises_with_level_and_ends_at_the_loudspeakers() -> None:
    angles = [angle_for_level(level) for level in np.linspace(-17.0, 17.0, 200)]
    assert np.diff(angles).min() > 0.1
    assert angle_for_level(60.0) == 30.0
    assert angle_for_level(-60.0) == -30.0


@given(ANGLES)
def test_panning_keeps_power_and_is_heard_where_it_points(angle: float) -> None:
    left, right = pan_gains(level_for_angle(angle))
    assert left**2 + right**2 == pytest.approx(1.0)
    bearing = heard_bearing(np.array([0.01]), np.array([[left, right]]))
    assert bearing == pytest.approx(angle, abs=0.01)


@given(
    times=st.lists(st.floats(0.0, 0.01), min_size=1, max_size=6),
    seed=st.integers(0, 1000),
    shift=st.floats(0.0, 0.1),
)
def test_swapped_sides_and_shifted_time(times: list[float], seed: int, shift: float) -> None:
    gains = np.random.default_rng(seed).uniform(0.05, 1.0, (len(times), 2))
    bearing = heard_bearing(np.array(times), gains)
    assert heard_bearing(np.array(times), gains[:, ::-1]) == pytest.approx(-bearing, abs=1e-6)
    assert heard_bearing(np.array(times) + shift, gains) == pytest.approx(bearing, abs=1e-6)
    assert heard_bearing(np.array(times), 3.0 * gains) == pytest.approx(bearing, abs=1e-6)
    assert -30.0 <= bearing <= 30.0


def test_a_later_arrival_counts_less() -> None:
    """An equal left and right arrival: the later the right one, the further left the image."""
    gains = np.array([[1.0, 0.0], [0.0, 1.0]])
    steps = np.linspace(0.0, 1.1e-3, 23)
    bearings = [heard_bearing(np.array([0.0, late]), gains) for late in steps]
    assert bearings[0] == pytest.approx(0.0, abs=1e-9)
    assert np.diff(bearings).max() < -0.5


def test_silence_is_in_the_middle_and_delays_nothing() -> None:
    assert heard_level_difference(np.array([0.0, 1.0]), np.zeros((2, 2))) == 0.0
    silent_first = np.array([[0.0, 0.0], [1.0, 0.5]])
    assert heard_level_difference(np.array([0.0, 1.0]), silent_first) == pytest.approx(
        20.0 * np.log10(0.5), abs=0.01
    )

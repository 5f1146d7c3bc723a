"""The stretch in which most stems sound."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from seatwright.sound.fullest_stretch import STEP_SECONDS, fullest_start, sounding_steps


def playing(begin: float, end: float, length: float = 120.0) -> NDArray[np.bool_]:
    """A stem that plays from one time to another, in seconds."""
    steps = np.arange(round(length / STEP_SECONDS)) * STEP_SECONDS
    return (steps >= begin) & (steps < end)


def test_the_stretch_with_most_stems_is_found() -> None:
    stems = [playing(0, 120), playing(10, 20), playing(70, 95), playing(65, 90)]
    assert fullest_start(stems, 30.0) == 65.0


def test_of_equals_the_first_is_taken() -> None:
    assert fullest_start([playing(40, 60)], 30.0) == 30.0
    assert fullest_start([playing(0, 120)], 30.0) == 0.0


def test_stems_may_end_early() -> None:
    stems = [playing(0, 5, 5.0), playing(80, 120), playing(80, 110, 110.0)]
    assert fullest_start(stems, 30.0) == 80.0


@pytest.mark.parametrize("stems", [[], [playing(3, 4, 30.0)]])
def test_no_more_than_the_stretch_begins_at_0(stems: list[NDArray[np.bool_]]) -> None:
    assert fullest_start(stems, 30.0) == 0.0


def test_a_stem_plays_where_it_is_not_40_db_below_its_loudest() -> None:
    powers = 10.0 ** (np.array([-20.0, -59.0, -61.0, -200.0]) / 10.0)
    assert sounding_steps(powers).tolist() == [True, True, False, False]


def test_a_quiet_stem_plays_above_70_dbfs() -> None:
    powers = 10.0 ** (np.array([-60.0, -69.0, -71.0]) / 10.0)
    assert sounding_steps(powers).tolist() == [True, True, False]
    assert not sounding_steps(np.zeros(4)).any()

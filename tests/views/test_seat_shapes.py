"""Chairs on arcs: as many as players, on circles around the podium, not on one another."""

from __future__ import annotations

import itertools
from math import hypot

import pytest
from hypothesis import given
from hypothesis import strategies as st

from seatwright.views.seat_shapes import CHAIR, seat_arcs


@given(st.floats(-12, 12), st.floats(0.5, 20), st.floats(0.5, 12), st.integers(1, 60))
def test_there_are_as_many_chairs_as_players(x: float, y: float, width: float, n: int) -> None:
    arcs = seat_arcs(x, y, width, n)
    assert sum(len(arc.chairs) for arc in arcs) == n
    for arc in arcs:
        assert all(hypot(*chair) == pytest.approx(arc.radius) for chair in arc.chairs)


def test_chairs_stand_apart_and_around_the_seat() -> None:
    arcs = seat_arcs(3.0, 4.0, 4.0, 12)
    chairs = [chair for arc in arcs for chair in arc.chairs]
    gaps = [hypot(a[0] - b[0], a[1] - b[1]) for a, b in itertools.combinations(chairs, 2)]
    assert min(gaps) > 0.9 * CHAIR
    middle = [sum(axis) / len(chairs) for axis in zip(*chairs, strict=True)]
    assert hypot(middle[0] - 3.0, middle[1] - 4.0) < 0.5


def test_rows_widen_with_the_seat() -> None:
    assert len(seat_arcs(0.0, 8.0, 2.0, 12)) > len(seat_arcs(0.0, 8.0, 8.0, 12))

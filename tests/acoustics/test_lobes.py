"""Lobes: half angles, means over the sphere, relatives an interval away, refusals."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad

from seatwright.acoustics.lobes import Lobe, Radiation, bell

EVEN = (1.0,) * 9
HALVES = (90.0, 85.0, 75.0, 60.0, 50.0, 40.0, 30.0, 20.0, 10.0)


def test_a_lobe_halves_at_its_half_angle() -> None:
    for half, sharpness in zip(HALVES, Lobe(0.0, 0.0, EVEN, HALVES).sharpness, strict=True):
        assert (0.5 + 0.5 * np.cos(np.radians(half))) ** sharpness == pytest.approx(0.5)
        assert sharpness > 0.999999


def test_the_mean_is_that_over_the_sphere() -> None:
    """Two lobes over a share, each integrated over the height along its own axis."""
    lobes = (Lobe(0.0, 0.0, EVEN, HALVES), Lobe(70.0, 30.0, (0.3,) * 9, HALVES[::-1]))
    row = Radiation((0.2,) * 9, lobes, "test")
    for band in range(9):
        wanted = 0.2
        for lobe in lobes:
            power = lobe.sharpness[band]
            wanted += (
                lobe.weight[band] * quad(lambda z, p=power: (0.5 + 0.5 * z) ** p / 2, -1, 1)[0]
            )
        assert row.mean[band] == pytest.approx(wanted, rel=1e-6)


def test_a_relative_an_octave_above_has_the_values_of_the_band_below() -> None:
    row = Radiation(HALVES, (Lobe(5.0, 6.0, HALVES[::-1], HALVES),), "test")
    above = row.moved(1.0, "relative")
    assert above.everywhere == (HALVES[0], *HALVES[:-1])
    assert above.lobes[0].half_angle == (HALVES[0], *HALVES[:-1])
    assert above.lobes[0].weight == (HALVES[-1], *HALVES[::-1][:-1])
    assert (above.lobes[0].azimuth, above.lobes[0].elevation) == (5.0, 6.0)
    assert above.source == "relative"
    half = row.moved(-0.5, "relative").everywhere
    assert half[2] == pytest.approx(0.5 * (HALVES[2] + HALVES[3]))
    assert half[8] == HALVES[8]


def test_a_bell_narrows_and_sends_less_everywhere_band_by_band() -> None:
    row = bell(0.08, 0.0, 0.0, "test", narrowest=12.0)
    assert (np.diff(row.lobes[0].half_angle) <= 0.0).all()
    assert (np.diff(row.everywhere) <= 0.0).all()
    assert row.lobes[0].half_angle[0] == 90.0
    assert row.lobes[0].half_angle[8] == pytest.approx(12.0, abs=0.3)


@pytest.mark.parametrize("half", [0.0, -5.0, 90.5])
def test_half_angles_beyond_a_quarter_circle_are_refused(half: float) -> None:
    with pytest.raises(ValueError, match="wanted above 0 to 90 degrees"):
        Lobe(0.0, 0.0, EVEN, (half, *HALVES[1:]))


def test_negative_weights_and_silence_everywhere_are_refused() -> None:
    with pytest.raises(ValueError, match="wanted none below 0"):
        Lobe(0.0, 0.0, (-0.1, *EVEN[1:]), HALVES)
    with pytest.raises(ValueError, match="wanted above 0"):
        Radiation((0.0, *EVEN[1:]), (), "test")

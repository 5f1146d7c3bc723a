"""Directivity keeps an instrument's power: the mean square over all directions is 1."""

from __future__ import annotations

import numpy as np
import pytest

from seatwright.acoustics.directivity import radiation
from seatwright.stage.seats import Source


@pytest.mark.parametrize("instrument", ["violin", "trumpet", "horn", "flute", "timpani", "other"])
@pytest.mark.parametrize("facing", [0.0, 180.0, 73.0])
def test_power_over_the_sphere_is_one_in_every_band(instrument: str, facing: float) -> None:
    """Gauss-Legendre in height, even in azimuth: 2 % whatever the pattern."""
    z, share = np.polynomial.legendre.leggauss(48)
    turn = 2.0 * np.pi * np.arange(96) / 96
    ground = np.sqrt(1.0 - z**2)[:, None]
    heights = np.broadcast_to(z[:, None], (48, 96))
    directions = np.stack([ground * np.sin(turn), ground * np.cos(turn), heights], axis=2)
    gains = radiation(Source((0.0, 3.0, 1.2), facing, instrument), directions)
    assert gains.shape == (48, 96, 9)
    assert np.isfinite(gains).all()
    power = np.einsum("zab,z->b", gains**2, share / 2.0) / 96
    assert power == pytest.approx(np.ones(9), rel=0.02)

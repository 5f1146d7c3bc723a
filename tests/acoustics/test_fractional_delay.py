"""Fractional delays against the ideal delay exp(-j w d), and the sum of kernels against a loop."""

from __future__ import annotations

import numpy as np
import pytest

from seatwright.acoustics.fractional_delay import (
    HALF_TAPS,
    delay_kernels,
    fractional_kernels,
    placed_kernels,
)

WORST_DB = -60.0
HIGHEST_HERTZ = 16_000.0


def error_db(rate: int, delays: np.ndarray) -> float:
    """Largest error of any delay in samples at any frequency up to 16 kHz, in the spectrum."""
    starts, kernels = fractional_kernels(delays)
    frequency = np.linspace(0.0, HIGHEST_HERTZ, 801)
    omega = 2.0 * np.pi * frequency / rate
    taps = starts[:, None] + np.arange(kernels.shape[1])
    heard = np.einsum("dt,dtf->df", kernels, np.exp(-1j * taps[:, :, None] * omega))
    wanted = np.exp(-1j * delays[:, None] * omega)
    return float(20.0 * np.log10(np.abs(heard - wanted).max()))


@pytest.mark.parametrize("rate", [44_100, 48_000, 88_200, 96_000])
def test_error_stays_below_60_db_up_to_16_khz(rate: int) -> None:
    """Every fraction from 0 to 1, against exp(-j w d) (Laakso et al. 1996)."""
    worst = error_db(rate, np.linspace(0.0, 1.0, 41))
    assert -200.0 < worst < WORST_DB


@pytest.mark.parametrize("rate", [44_100, 48_000])
def test_error_does_not_grow_with_the_delay(rate: int) -> None:
    """Float64 delays: 20 s on, and before sample 0, as exact as at once."""
    assert error_db(rate, np.array([20.0 * rate + 0.37, -3.61])) < WORST_DB


def test_whole_samples_are_kept_exactly() -> None:
    kernel = delay_kernels(np.array([0.0]))[0]
    wanted = np.zeros(2 * HALF_TAPS)
    wanted[HALF_TAPS] = 1.0
    assert kernel == pytest.approx(wanted, abs=1e-12)


def test_placed_kernels_are_the_sum_over_arrivals() -> None:
    """Against one arrival after another; what leaves the grid is lost, at both ends."""
    generator = np.random.default_rng(7)
    frames, delays = 300, np.array([-10.3, 5.25, 40.0, 40.5, 200.9, 297.2, 1e4])
    gains = generator.normal(size=(len(delays), 9))
    starts, kernels = fractional_kernels(delays)
    wanted = np.zeros((frames, 9))
    for start, kernel, gain in zip(starts, kernels, gains, strict=True):
        for tap, value in enumerate(kernel):
            if 0 <= start + tap < frames:
                wanted[start + tap] += value * gain
    found = placed_kernels(starts, kernels, gains, frames)
    assert found == pytest.approx(wanted, abs=1e-12)
    assert np.abs(wanted).max() > 1.0

"""Masking between sounds whose answer is known: levels, bands, times and directions apart."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import butter, sosfilt

from seatwright.sound.masking import (
    hidden_share,
    hiding_places,
    hiding_threshold,
    loudness_weights,
)
from seatwright.sound.octave_steps import OctaveMeter

RATE = 48_000


def noise(low: float, high: float, level_db: float, seed: int) -> np.ndarray:
    """Octave powers of two seconds of noise in a band, at a level in dBFS, shape (8, 20)."""
    sections = butter(10, (low, high), "bandpass", fs=RATE, output="sos")
    signal = sosfilt(sections, np.random.default_rng(seed).standard_normal(2 * RATE))
    signal *= 10.0 ** (level_db / 20.0) / np.sqrt(np.mean(signal**2))
    meter = OctaveMeter(RATE, 1)
    meter.add(signal[:, None].astype(np.float32))
    return meter.steps.powers[0]


SOFT, LOUD = noise(800, 1200, -40.0, 1), noise(800, 1200, -30.0, 2)


def test_ten_decibels_louder_in_one_band_and_place_hides() -> None:
    assert hidden_share(LOUD, SOFT, 0.0) > 0.95
    assert hidden_share(SOFT, LOUD, 0.0) == 0.0
    assert hidden_share(LOUD, LOUD, 0.0) == 0.0


def test_other_bands_do_not_hide() -> None:
    assert hidden_share(noise(3300, 4800, -30.0, 3), SOFT, 0.0) < 0.05
    both = SOFT + noise(3300, 4800, -40.0, 3)
    assert 0.3 < hidden_share(LOUD, both, 0.0) < 0.7  # one of its two bands


def test_other_times_do_not_hide() -> None:
    early, late = SOFT.copy(), LOUD.copy()
    early[:, 10:], late[:, :10] = 0.0, 0.0
    assert hidden_share(late, early, 0.0) == 0.0
    late[:, 5:10] = LOUD[:, 5:10]
    assert hidden_share(late, early, 0.0) == pytest.approx(0.5, abs=0.1)


def test_apart_in_direction_hides_less() -> None:
    shares = [hidden_share(LOUD * np.float32(0.9), SOFT, apart) for apart in (0, -25, 60)]
    assert shares[0] > 0.9 and shares[0] > shares[1] > shares[2]
    assert shares[2] < 0.1
    thresholds = [hiding_threshold(apart) for apart in (0, 10, -10, 45, 180)]
    assert thresholds == [4.0, 6.0, 6.0, 11.0, 12.0]


def test_what_is_not_heard_does_not_count() -> None:
    assert hidden_share(LOUD, np.zeros_like(SOFT), 0.0) == 0.0
    assert hidden_share(LOUD, noise(800, 1200, -90.0, 1), 0.0) == 0.0
    faded = SOFT.copy()
    faded[:, 10:] *= 1e-4  # 40 dB below its own loud part
    assert loudness_weights(faded)[:, 11:].max() == 0.0
    # Zwicker's power law: 10 dB less counts 0.59 times
    assert loudness_weights(SOFT)[4, 5] / loudness_weights(10 * SOFT)[4, 5] == pytest.approx(
        10**-0.23, rel=1e-5
    )


def test_bands_and_first_long_stretch() -> None:
    masker = LOUD.copy()
    masker[:, :6] = 0.0
    masker[:, 12] = 0.0  # a gap of a tenth of a second is bridged
    found = hiding_places(masker, SOFT, 0.0)
    assert found.bands == (4,)
    assert (found.start, found.stop) == (pytest.approx(0.6), pytest.approx(2.0))
    nothing = hiding_places(np.zeros_like(SOFT), SOFT, 0.0)
    assert (nothing.bands, nothing.start, nothing.stop) == ((), 0.0, 0.0)

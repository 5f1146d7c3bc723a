"""Octave powers: tones land in their octave with their power, at their time."""

from __future__ import annotations

import numpy as np
import pytest

from seatwright.sound.octave_steps import OCTAVES, OctaveMeter, OctaveSteps

RATE = 48_000


def measured(signal: np.ndarray, rate: int = RATE) -> OctaveSteps:
    meter = OctaveMeter(rate, signal.shape[1])
    for part in np.array_split(signal.astype(np.float32), 7):
        meter.add(part)
    return meter.steps


@pytest.mark.parametrize("band", range(8))
@pytest.mark.parametrize("rate", [32_000, 48_000])
def test_a_tone_has_its_power_in_its_own_octave(band: int, rate: int) -> None:
    time = np.arange(2 * rate) / rate
    steps = measured(np.sin(2 * np.pi * OCTAVES[band] * time)[:, None], rate)
    assert steps.powers.shape == (1, 8, 20)
    assert steps.powers[0, band] == pytest.approx(0.5, rel=0.02)
    others = np.delete(steps.powers[0], band, axis=0)
    assert others.max() < 0.5 * 10**-2.5


def test_sound_stands_where_it_sounds() -> None:
    signal = np.zeros((RATE, 1))
    signal[RATE // 2 : RATE // 2 + RATE // 10] = 0.1
    signal *= np.random.default_rng(0).standard_normal(signal.shape)
    total = measured(signal).powers.sum(axis=(0, 1))
    assert np.flatnonzero(total > 0.01 * total.max()).tolist() == [5]


def test_what_channels_share() -> None:
    noise = np.random.default_rng(0).standard_normal((2 * RATE, 2))
    same, turned = noise[:, [0, 0]], noise[:, [0, 0]] * [1, -1]
    for signal, wanted in ((same, 1.0), (turned, -1.0), (noise, 0.0)):
        shared = measured(signal).shared
        size = np.sqrt(shared[:, 0, 0] * shared[:, 1, 1])
        assert (shared[3:, 0, 1] / size[3:]).real == pytest.approx(wanted, abs=0.08)


def test_octaves_a_rate_does_not_reach_are_nothing() -> None:
    noise = np.random.default_rng(0).standard_normal((8000, 1))
    powers = measured(noise, 8000).powers[0].mean(axis=1)
    assert powers[7] == 0.0 and powers[:6].min() > 0.0

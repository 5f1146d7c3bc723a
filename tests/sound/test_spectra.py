"""Spectrum and course of an output against Parseval, tones and noise."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from seatwright.sound.spectra import Picture, SpectrumMeter, third_octaves

RATE = 48_000


def picture(signal: np.ndarray, *cuts: int) -> Picture:
    meter = SpectrumMeter(RATE)
    for first, last in itertools.pairwise([0, *cuts, len(signal)]):
        meter.add(signal[first:last].astype(np.float32))
    return meter.picture


def noise(seconds: float, seed: int = 1) -> np.ndarray:
    return 0.1 * np.random.default_rng(seed).standard_normal((round(seconds * RATE), 2))


def test_bands_are_those_of_the_standard() -> None:
    """IEC 61260-1: 31.5 Hz, 1 kHz and 10 kHz are nominal mid-bands; nothing above half the rate."""
    bands = third_octaves(RATE)
    for nominal in (31.5, 125.0, 1000.0, 10_000.0):
        assert np.min(np.abs(bands / nominal - 1.0)) < 0.01
    assert bands[-1] * 10**0.05 <= RATE / 2
    assert third_octaves(16_000)[-1] < 8_000


def test_bands_of_white_noise_rise_by_their_width_and_add_up_to_its_power() -> None:
    told = picture(noise(20.0))
    total = 10 * np.log10(2 * 0.1**2)
    share = told.bands * (10**0.05 - 10**-0.05) / (RATE / 2)
    wanted = total + 10 * np.log10(share)
    assert np.abs(told.spectrum_db - wanted)[5:].max() < 0.5


@pytest.mark.parametrize("frequency", [100.0, 1000.0, 8000.0])
def test_a_tone_stands_in_its_band_alone(frequency: float) -> None:
    tone = 0.5 * np.sin(2 * np.pi * frequency * np.arange(5 * RATE) / RATE)
    told = picture(np.stack([tone, np.zeros_like(tone)], axis=1))
    place = int(np.argmax(told.spectrum_db))
    assert told.bands[place] == pytest.approx(frequency, rel=0.01)
    assert told.spectrum_db[place] == pytest.approx(10 * np.log10(0.125), abs=0.5)
    assert told.spectrum_db[place + 3] < told.spectrum_db[place] - 40


def test_the_course_follows_the_level() -> None:
    loud_quiet = noise(4.0) * np.repeat([1.0, 0.1], 2 * RATE)[:, None]
    told = picture(loud_quiet)
    assert len(told.course_db) == 40
    assert np.mean(told.course_db[:20]) - np.mean(told.course_db[20:]) == pytest.approx(20, abs=0.2)


def test_blocks_do_not_matter() -> None:
    signal = noise(3.3)
    whole, pieces = picture(signal), picture(signal, 1, 5000, 5001, 70_000, 100_000)
    assert np.allclose(whole.spectrum_db, pieces.spectrum_db, atol=1e-4)
    assert np.allclose(whole.course_db, pieces.course_db, atol=1e-9)


def test_silence_is_very_low_not_minus_infinity() -> None:
    told = picture(np.zeros((RATE, 2)))
    assert np.isfinite(told.spectrum_db).all() and told.spectrum_db.max() < -150

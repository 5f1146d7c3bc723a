"""Loudness and peaks against the standards' own numbers and test signals."""

from __future__ import annotations

from math import cos, inf, log10, pi

import numpy as np
import pyloudnorm
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.signal import firwin, resample_poly, upfirdn

from seatwright.sound.loudness import (
    LoudnessMeter,
    k_weighted_power,
    k_weighting,
    loudness,
)
from seatwright.sound.peaks import PeakMeter, decibels

RATES = (8_000, 16_000, 22_050, 44_100, 48_000, 88_200, 96_000, 176_400, 192_000, 384_000)


def tone(
    level_db: float, seconds: float, rate: int = 48_000, hertz: float = 1_000.0
) -> NDArray[np.float32]:
    """A stereo sine in phase in both channels, its peak in dBFS."""
    time = np.arange(round(seconds * rate)) / rate
    wave = 10 ** (level_db / 20) * np.sin(2 * np.pi * hertz * time)
    return np.repeat(wave.astype(np.float32)[:, None], 2, axis=1)


def test_coefficients_printed_in_the_standard() -> None:
    """ITU-R BS.1770-4, annex 1, tables 1 and 2, at 48 kHz."""
    shelf, cut = k_weighting(48_000)
    assert shelf == pytest.approx(
        [
            1.53512485958697,
            -2.69169618940638,
            1.19839281085285,
            1.0,
            -1.69065929318241,
            0.73248077421585,
        ],
        abs=1e-10,
    )
    assert cut == pytest.approx(
        [1.0, -2.0, 1.0, 1.0, -1.99004745483398, 0.99007225036621], abs=1e-10
    )


@pytest.mark.parametrize("rate", [44_100, 48_000, 96_000, 192_000])
@pytest.mark.parametrize("hertz", [31.5, 100.0, 1_000.0, 4_000.0, 10_000.0])
def test_weighting_is_that_of_the_analogue_filters(rate: int, hertz: float) -> None:
    """At any rate within 0.3 dB of 48 kHz up to 10 kHz, where the transform bends it most."""
    here, there = (10 * np.log10(k_weighted_power(np.array([hertz]), r)[0]) for r in (rate, 48_000))
    assert here == pytest.approx(there, abs=0.3)


@pytest.mark.parametrize(
    "parts",
    [
        [(-23.0, 20.0)],
        [(-36.0, 10.0), (-23.0, 60.0), (-36.0, 10.0)],
        [(-72.0, 10.0), (-36.0, 10.0), (-23.0, 60.0), (-36.0, 10.0), (-72.0, 10.0)],
        [(-26.0, 20.0), (-20.0, 20.1), (-26.0, 20.0)],
    ],
    ids=["case 1", "case 3", "case 4", "case 5"],
)
def test_loudness_cases_of_minus_23(parts: list[tuple[float, float]]) -> None:
    """EBU Tech 3341, table 1: -23.0 LUFS within 0.1 LU."""
    found = loudness(np.concatenate([tone(level, seconds) for level, seconds in parts]), 48_000)
    assert found == pytest.approx(-23.0, abs=0.1)


def test_loudness_case_2() -> None:
    """EBU Tech 3341, table 1: -33.0 LUFS within 0.1 LU."""
    assert loudness(tone(-33.0, 20.0), 48_000) == pytest.approx(-33.0, abs=0.1)


def test_full_scale_in_one_channel() -> None:
    """ITU-R BS.1770-4, annex 1: 997 Hz at 0 dBFS in one front channel gives -3.01 LKFS."""
    wave = tone(0.0, 3.0, hertz=997.0)
    wave[:, 1] = 0.0
    assert loudness(wave, 48_000) == pytest.approx(-3.01, abs=0.005)
    assert loudness(wave[:, :1], 48_000) == pytest.approx(-3.01, abs=0.005)


@pytest.mark.parametrize("rate", RATES)
def test_all_rates_agree_on_a_tone(rate: int) -> None:
    assert loudness(tone(-20.0, 3.0, rate), rate) == pytest.approx(-20.0, abs=0.05)


@pytest.mark.parametrize("rate", [16_000, 44_100, 96_000])
def test_rates_agree_on_music_like_noise(rate: int) -> None:
    pink = np.cumsum(np.random.default_rng(3).normal(0.0, 0.01, (48_000, 2)), axis=0)
    pink -= pink.mean(axis=0)
    there = resample_poly(pink, rate, 48_000, axis=0).astype(np.float32)
    assert loudness(there, rate) == pytest.approx(
        loudness(pink.astype(np.float32), 48_000), abs=0.05
    )


@pytest.mark.parametrize("rate", [44_100, 48_000])
def test_agrees_with_an_independent_meter(rate: int) -> None:
    wave = np.random.default_rng(8).normal(0.0, 0.05, (4 * rate, 2))
    wave[rate : 2 * rate] *= 0.05  # below the relative gate
    other = pyloudnorm.Meter(rate, filter_class="DeMan").integrated_loudness(wave)
    assert loudness(wave.astype(np.float32), rate) == pytest.approx(other, abs=0.05)


@given(cuts=st.lists(st.integers(0, 50_000), max_size=8))
@settings(max_examples=40)
def test_any_cut_gives_the_same(cuts: list[int]) -> None:
    wave = np.random.default_rng(1).normal(0.0, 0.1, (50_000, 2)).astype(np.float32)
    whole, parts = LoudnessMeter(22_050), LoudnessMeter(22_050)
    peaks, peaks_of_parts = PeakMeter(22_050), PeakMeter(22_050)
    whole.add(wave)
    peaks.add(wave)
    for piece in np.split(wave, sorted(cuts)):
        parts.add(piece)
        peaks_of_parts.add(piece)
    assert parts.integrated == whole.integrated
    assert peaks_of_parts.true_peak == peaks.true_peak
    assert peaks_of_parts.sample_peak == peaks.sample_peak


@pytest.mark.parametrize("frames", [0, 1, 19_199])
def test_less_than_a_block_has_no_loudness(frames: int) -> None:
    assert loudness(tone(-10.0, 1.0)[:frames], 48_000) == -inf


def test_silence_and_what_the_absolute_gate_leaves_out() -> None:
    assert loudness(np.zeros((48_000, 2), np.float32), 48_000) == -inf
    assert loudness(tone(-71.0, 1.0), 48_000) == -inf
    assert loudness(tone(-69.0, 1.0), 48_000) == pytest.approx(-69.0, abs=0.1)


@pytest.mark.parametrize(("below", "counts"), [(12.0, True), (14.0, False)])
def test_the_relative_gate_stands_10_lu_below_what_passed_the_absolute_one(
    below: float, counts: bool
) -> None:
    """Half of it quieter: the mean is 2.7 LU down, so that the gate stands 12.7 LU down."""
    wave = np.concatenate([tone(-20.0, 30.0), tone(-20.0 - below, 30.0)])
    mean = 10 * log10((1.0 + 10 ** (-below / 10)) / 2)
    assert loudness(wave, 48_000) == pytest.approx(-20.0 + (mean if counts else 0.0), abs=0.1)


FADE = 480


@pytest.mark.parametrize(
    ("part", "amplitude", "degrees", "wanted"),
    [
        (4, 0.50, 0.0, -6.0),
        (4, 0.50, 45.0, -6.0),
        (6, 0.50, 60.0, -6.0),
        (8, 0.50, 67.5, -6.0),
        (4, 1.41, 45.0, 3.0),
    ],
    ids=["case 15", "case 16", "case 17", "case 18", "case 19"],
)
def test_true_peak_cases(part: int, amplitude: float, degrees: float, wanted: float) -> None:
    """EBU Tech 3341, table 1: +0.2/-0.4 dB.

    The signals are steady tones: a short fade at both ends keeps a sudden onset, which rises
    above the tone between the samples, from being measured instead.
    """
    wave = amplitude * np.sin(2 * np.pi * np.arange(48_000) / part + np.radians(degrees))
    wave[:FADE] *= np.linspace(0.0, 1.0, FADE)
    wave[-FADE:] *= np.linspace(1.0, 0.0, FADE)
    meter = PeakMeter(48_000)
    meter.add(np.repeat(wave.astype(np.float32)[:, None], 2, axis=1))
    assert wanted - 0.4 <= meter.true_peak_db <= wanted + 0.2
    assert meter.true_peak_db >= meter.sample_peak_db


@pytest.mark.parametrize("rate", [8_000, 44_100, 96_000])
@pytest.mark.parametrize("part", [3, 4, 5, 8])
def test_true_peak_of_tones_at_other_rates(rate: int, part: int) -> None:
    """A tone whose samples miss the crest: low by no more than the finer samples can miss it."""
    place = np.arange(rate // 4)
    wave = 0.5 * np.sin(2 * np.pi * place / part + np.pi / part)
    wave[:FADE] *= np.linspace(0.0, 1.0, FADE)
    wave[-FADE:] *= np.linspace(1.0, 0.0, FADE)
    meter = PeakMeter(rate, 1)
    meter.add(wave.astype(np.float32)[:, None])
    factor = -(-192_000 // rate)
    lowest = 20 * log10(cos(pi / (part * factor))) - 0.1
    assert lowest <= meter.true_peak_db - 20 * log10(0.5) <= 0.2


def oversampled_peak(wave: NDArray[np.float32], rate: int) -> float:
    """The largest magnitude of the whole signal oversampled, nothing left out."""
    factor = max(1, -(-192_000 // rate))
    taps = 24 * factor + 1
    phases = factor * firwin(taps, 1.0 / factor, window=("kaiser", 7.0))
    fine = upfirdn(phases, wave.astype(np.float64), up=factor, axis=0)
    fine[::factor] = 0.0  # the samples themselves, which the filter's middle tap changes by 1e-4
    return max(float(np.abs(fine).max(initial=0.0)), float(np.abs(wave).max(initial=0.0)))


@given(
    seed=st.integers(0, 2**32 - 1),
    frames=st.integers(0, 12_000),
    rate=st.sampled_from([44_100, 48_000, 96_000]),
    shape=st.sampled_from(["swell", "burst", "flat", "end"]),
    cut=st.integers(0, 12_000),
)
@settings(max_examples=60, deadline=None)
def test_leaving_stretches_out_does_not_change_the_peak(
    seed: int, frames: int, rate: int, shape: str, cut: int
) -> None:
    wave = np.random.default_rng(seed).normal(0.0, 0.1, (frames, 2))
    place = np.arange(frames) / max(frames, 1)
    wave *= {
        "swell": np.sin(np.pi * place) ** 4,
        "burst": 0.01 + (np.abs(place - 0.3) < 0.01),
        "flat": np.ones(frames),
        "end": place**8,
    }[shape][:, None]
    samples = wave.astype(np.float32)
    meter = PeakMeter(rate)
    for piece in np.split(samples, [min(cut, frames)]):
        meter.add(piece)
    assert meter.true_peak == pytest.approx(oversampled_peak(samples, rate), rel=1e-12)
    assert meter.sample_peak == float(np.abs(samples).max(initial=0.0))


def test_a_peak_at_the_very_end_is_heard() -> None:
    wave = np.zeros((5_000, 2), np.float32)
    wave[-2:, 0] = 0.5
    meter = PeakMeter(48_000)
    meter.add(wave)
    assert meter.true_peak_db > meter.sample_peak_db + 1.5
    meter.add(np.zeros((100, 2), np.float32))
    assert meter.true_peak == pytest.approx(oversampled_peak(wave, 48_000), rel=1e-12)


@pytest.mark.parametrize("place", [0, 1, 11, 12, 13, 4_000])
def test_a_peak_is_found_wherever_it_stands(place: int) -> None:
    """Two neighbours rise above both between them, also where stretches of work meet."""
    wave = np.zeros((9_000, 1), np.float32)
    for start in [place] if place < 4_000 else range(4_000, 4_200):
        wave[:] = 0.0
        wave[start : start + 2] = 0.5
        meter = PeakMeter(48_000, 1)
        meter.add(wave)
        assert meter.true_peak == pytest.approx(oversampled_peak(wave, 48_000), rel=1e-12)
        assert meter.true_peak > 0.6


def test_above_192_khz_samples_are_the_peak() -> None:
    meter = PeakMeter(192_000, 1)
    meter.add(np.array([[0.25], [-0.5]], np.float32))
    assert (meter.true_peak, meter.sample_peak) == (0.5, 0.5)


def test_silence_has_no_level() -> None:
    meter = PeakMeter(48_000)
    meter.add(np.zeros((10_000, 2), np.float32))
    assert meter.true_peak_db == meter.sample_peak_db == decibels(0.0) == -inf
    assert decibels(0.5) == pytest.approx(-6.0206, abs=1e-4)


@pytest.mark.parametrize(
    ("levels", "wanted"),
    [
        ((-20.0, -30.0), 10.0),
        ((-20.0, -15.0), 5.0),
        ((-40.0, -20.0), 20.0),
        ((-50.0, -35.0, -20.0, -35.0, -50.0), 15.0),
    ],
    ids=["case 1", "case 2", "case 3", "case 4"],
)
def test_loudness_range(levels: tuple[float, ...], wanted: float) -> None:
    """EBU Tech 3342, table 1: tones of 20 s each, within 1 LU."""
    meter = LoudnessMeter(48_000)
    meter.add(np.concatenate([tone(level, 20.0) for level in levels]))
    assert meter.range == pytest.approx(wanted, abs=1.0)


def test_no_loudness_range_of_less_than_three_seconds_or_silence() -> None:
    for signal in (tone(-20.0, 2.8), np.zeros((200_000, 2), np.float32)):
        meter = LoudnessMeter(48_000)
        meter.add(signal)
        assert np.isnan(meter.range)

"""Octave weights: what adds up adds up, mid-bands are met, noise is split where bands meet."""

from __future__ import annotations

import numpy as np
import pytest

from seatwright.acoustics.band_weights import (
    amplitude_weights,
    band_edges,
    early_weights,
    edge_octaves,
    edge_weight,
    noise_edges,
    octave_weight,
    transform_frequencies,
)
from seatwright.stage.bands import OCTAVE_BANDS

FREQUENCY = np.geomspace(20.0, 24_000.0, 20_001)
DECAYS = ((2.0,) * 9, (0.25,) * 9, (0.5, 0.3, 0.1, 0.2, 0.3, 0.05, 0.1, 0.1, 0.05))


def test_amplitude_weights_add_up_to_one() -> None:
    weights = amplitude_weights(np.concatenate([[0.0], FREQUENCY]))
    assert weights.sum(axis=0) == pytest.approx(1.0, abs=1e-12)
    assert weights.min() >= 0.0


def test_amplitude_weights_give_each_mid_band_its_own_value() -> None:
    assert amplitude_weights(np.array(OCTAVE_BANDS)) == pytest.approx(np.eye(9), abs=1e-12)


def test_amplitude_weights_are_raised_cosines() -> None:
    """D. Schroeder 2011, as in pyroomacoustics: (1 - cos(2 pi f / 2 f0)) / 2 falling from f0."""
    frequency = np.linspace(1000.0, 2000.0, 101)
    falling = 0.5 * (1.0 - np.cos(2.0 * np.pi * frequency / 2000.0))
    assert amplitude_weights(frequency)[4] == pytest.approx(falling, abs=1e-12)
    assert amplitude_weights(frequency)[5] == pytest.approx(1.0 - falling, abs=1e-12)


def test_amplitude_weights_are_flat_beyond_the_ends() -> None:
    assert amplitude_weights(np.array([0.0, 10.0, 62.5]))[0] == pytest.approx(1.0)
    assert amplitude_weights(np.array([16_000.0, 30_000.0, 96_000.0]))[8] == pytest.approx(1.0)


@pytest.mark.parametrize("rate", [44_100, 48_000])
def test_early_weights_cannot_be_changed_by_a_caller(rate: int) -> None:
    weights = early_weights(rate, 4_096)
    assert weights.shape == (9, 2_049)
    wanted = amplitude_weights(transform_frequencies(4_096, rate))
    assert weights == pytest.approx(wanted, abs=1e-6)
    with pytest.raises(ValueError):
        weights[0, 0] = 2.0


@pytest.mark.parametrize("reverberation", DECAYS)
def test_noise_bands_keep_all_power(reverberation: tuple[float, ...]) -> None:
    """The squares of all bands add up to 1 from 31 Hz up, to nothing at 11 Hz and below."""
    edges = noise_edges(reverberation)
    power = sum(edge_weight(FREQUENCY, band, edges) ** 2 for band in range(9))
    assert power[FREQUENCY > 31.0] == pytest.approx(1.0, abs=1e-9)
    low = np.array([1.0, 5.0, 11.0])
    below = sum(edge_weight(low, band, edges) ** 2 for band in range(9))
    assert below == pytest.approx(0.0, abs=1e-12)


def test_noise_edges_are_narrow_in_halls_and_as_wide_as_a_short_decay_asks() -> None:
    """From 0.9 s up those of the measuring filter; 9 / T in Hz where that is more."""
    lower = np.array([band_edges(band)[0] for band in range(1, 9)])
    narrow = [edge_octaves(edge) for edge in lower]
    assert noise_edges((0.9,) * 9)[1:] == pytest.approx(narrow)
    hertz = np.array(noise_edges((0.25,) * 9)[1:]) * lower * np.log(2.0)
    assert hertz == pytest.approx(np.maximum(36.0, np.array(narrow) * lower * np.log(2.0)))
    assert hertz[0] > 3.0 * narrow[0] * lower[0] * np.log(2.0)


def test_the_faster_of_two_bands_decides_their_edge() -> None:
    fast_fourth = noise_edges((2.0, 2.0, 2.0, 0.1, 2.0, 2.0, 2.0, 2.0, 2.0))
    changed = np.not_equal(fast_fourth, noise_edges((2.0,) * 9))
    assert np.flatnonzero(changed).tolist() == [3, 4]


@pytest.mark.parametrize("reverberation", DECAYS)
@pytest.mark.parametrize("band", range(9))
def test_noise_is_halved_at_the_band_edges(band: int, reverberation: tuple[float, ...]) -> None:
    low, high = band_edges(band)
    assert (low * high) ** 0.5 == pytest.approx(OCTAVE_BANDS[band])
    assert high / low == pytest.approx(2.0)
    edges = np.array([low, high])
    weight = edge_weight(edges, band, noise_edges(reverberation)) ** 2
    if band > 0:
        assert weight[0] == pytest.approx(0.5)
    if band < 8:
        assert weight[1] == pytest.approx(0.5)
    assert octave_weight(edges, band) ** 2 == pytest.approx(0.5)


@pytest.mark.parametrize("band", range(9))
def test_measuring_filter_is_steep(band: int) -> None:
    """One octave wide by its power (within 2 %), nothing a sixth of an octave beyond its edges."""
    low, high = band_edges(band)
    weight = octave_weight(FREQUENCY, band) ** 2
    width = np.sum(weight) * np.log2(FREQUENCY[1] / FREQUENCY[0])
    if high < FREQUENCY[-1]:
        assert width == pytest.approx(1.0, rel=0.02)
    beyond = np.abs(np.log2(FREQUENCY / (low * high) ** 0.5)) > 0.5 + 1.0 / 6.0
    assert weight[beyond].max() == 0.0
    assert edge_octaves(low) <= 1.0 / 6.0

"""The engine's transform against numpy's over the whole length, in float64."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from seatwright.sound.transform import Transform, transform_of

LIMIT_DB = -130.0


def noise(length: int, seed: int = 3) -> np.ndarray:
    return np.random.default_rng(seed).standard_normal(length).astype(np.float32)


def below(error: np.ndarray, signal: np.ndarray) -> float:
    """RMS of an error in dB below a signal."""
    return float(10.0 * np.log10(np.mean(np.abs(error) ** 2) / np.mean(np.abs(signal) ** 2)))


@pytest.mark.parametrize("shape", [(2, 1), (2, 7), (64, 63), (64, 64), (512, 672)])
def test_spectrum_is_that_of_the_whole_length(shape: tuple[int, int]) -> None:
    transform = Transform(*shape)
    signal = noise(transform.length)
    whole = np.fft.fft(signal.astype(np.float64))
    wanted = whole.reshape(transform.columns, transform.rows).T[: transform.shape[0]]
    assert below(transform.forward(signal) - wanted, wanted) < LIMIT_DB


@pytest.mark.parametrize("least", [1, 100, 4096, 65_536, 343_200])
def test_product_of_spectra_is_a_circular_convolution(least: int) -> None:
    transform = transform_of(least)
    one, two = noise(transform.length, 1), noise(transform.length, 2)
    wanted = np.fft.irfft(
        np.fft.rfft(one.astype(np.float64)) * np.fft.rfft(two.astype(np.float64)),
        n=transform.length,
    )
    found = transform.inverse(transform.forward(one) * transform.forward(two))
    assert found.dtype == np.float32
    assert below(found - wanted, wanted) < LIMIT_DB


def test_forward_leaves_its_signal_as_it_is() -> None:
    transform = transform_of(5000)
    signal = noise(transform.length)
    before = signal.copy()
    transform.forward(signal)
    assert np.array_equal(signal, before)


@given(st.integers(1, 3_000_000))
@settings(max_examples=200, deadline=None)
def test_length_is_enough_and_not_much_more(least: int) -> None:
    transform = transform_of(least)
    assert transform.rows % 2 == 0
    assert transform.length >= least
    assert transform.length <= 1.3 * least + 128
    if transform.columns >= 288:
        assert transform.columns % 32 == 0
        assert transform.columns & (transform.columns - 1) != 0

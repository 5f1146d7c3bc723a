"""Filters as matrix products: the same as sample by sample, at any rate and however it is cut."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.signal import butter, sosfilt

from seatwright.sound.loudness import k_weighting
from seatwright.sound.section_filter import UNIT, SectionFilter

SIGNAL = np.random.default_rng(4).standard_normal((2, 12 * UNIT)).astype(np.float32)


def filtered(sections: np.ndarray, signal: np.ndarray, *cuts: int) -> np.ndarray:
    part, pieces = SectionFilter(sections, len(signal)), []
    for piece in np.split(signal, sorted(cuts), axis=1):
        out = np.full(piece.shape, np.nan, np.float32)
        part.filtered(np.ascontiguousarray(piece), out)
        pieces.append(out)
    return np.concatenate(pieces, axis=1)


@pytest.mark.parametrize("rate", [8_000, 44_100, 48_000, 96_000, 192_000, 384_000])
@pytest.mark.parametrize("offset", [0.0, 1.0])
def test_is_the_recursion_rounded(rate: int, offset: float) -> None:
    """Error below 1e-6 of full scale, whatever rings for how long: noise, and a constant."""
    signal = SIGNAL + np.float32(offset)
    wanted = sosfilt(k_weighting(rate), signal.astype(np.float64), axis=1)
    found = filtered(k_weighting(rate), signal)
    assert np.abs(found - wanted).max() < 2e-6
    assert np.sqrt(np.mean((found - wanted) ** 2)) < 2e-7
    assert np.sqrt(np.mean(found**2)) > 0.5


@pytest.mark.parametrize("order", [2, 3, 6])
def test_any_sections(order: int) -> None:
    sections = butter(order, 0.01, output="sos")
    wanted = sosfilt(sections, SIGNAL.astype(np.float64), axis=1)
    assert np.abs(filtered(sections, SIGNAL) - wanted).max() < 2e-6
    assert np.abs(wanted).max() > 0.2


@given(st.lists(st.integers(1, 11), max_size=4, unique=True))
@settings(max_examples=20, deadline=None)
def test_cuts_change_no_bit(units: list[int]) -> None:
    sections = k_weighting(48_000)
    cut = filtered(sections, SIGNAL, *(UNIT * unit for unit in units))
    assert np.array_equal(cut, filtered(sections, SIGNAL))


def test_nothing_sounds_before_it_begins() -> None:
    impulse = np.zeros((1, 3 * UNIT), np.float32)
    impulse[0, UNIT + 37] = 1.0
    found = filtered(k_weighting(48_000), impulse)[0]
    assert not found[: UNIT + 37].any()
    assert found[UNIT + 37] == pytest.approx(k_weighting(48_000)[:, 0].prod(), rel=1e-6)

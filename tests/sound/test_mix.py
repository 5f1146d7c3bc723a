"""Sums, meters and the one trim."""

from __future__ import annotations

import itertools
from math import inf

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from seatwright.sound.loudness import loudness
from seatwright.sound.mix import CEILING_DB, Levels, Meters, common_trim, mix_sum, section_sum

NOISE = np.random.default_rng(5).uniform(-0.5, 0.5, (4, 2, 48_000)).astype(np.float32)


def mixed(buses: NDArray[np.float32], sections: int) -> NDArray[np.float32]:
    return np.stack([mix_sum(buses[:sections], buses.shape[2]), *buses])


@pytest.mark.parametrize("sections", [1, 2, 4])
def test_the_mix_is_the_sum_of_the_sections_alone(sections: int) -> None:
    outputs = mixed(NOISE, sections)
    assert outputs.shape == (5, 2, 48_000)
    assert outputs.dtype == np.float32
    assert np.array_equal(outputs[1:], NOISE)
    wanted = NOISE[:sections].astype(np.float64).sum(axis=0)
    assert np.array_equal(outputs[0], wanted.astype(np.float32))


def test_the_sum_is_taken_in_float64() -> None:
    """In float32 the small one would be lost beside the large ones."""
    large, small = np.float32(2**24), np.float32(1.0)
    buses = np.array([large, small, -large], np.float32)[:, None, None] * np.ones((1, 2, 3))
    assert np.array_equal(mixed(buses.astype(np.float32), 3)[0], np.ones((2, 3)))


def test_one_section_is_the_mix_bit_for_bit() -> None:
    outputs = mixed(NOISE[:1], 1)
    assert np.array_equal(outputs[0], NOISE[0])


def test_silence_adds_nothing() -> None:
    assert np.array_equal(mix_sum([None, NOISE[0], None], 48_000), NOISE[0])
    assert np.array_equal(mix_sum([None], 7), np.zeros((2, 7)))


def test_a_section_is_the_sum_of_its_groups_in_their_order() -> None:
    before = NOISE.copy()
    total = section_sum([NOISE[0], None, NOISE[1], NOISE[2]])
    assert total is not None
    assert np.array_equal(total, (NOISE[0] + NOISE[1]) + NOISE[2])
    assert np.array_equal(NOISE, before)
    alone = NOISE[3]
    assert section_sum([None, alone]) is alone
    assert section_sum([None, None]) is None


@given(cuts=st.lists(st.integers(0, 48_000), max_size=8))
@settings(max_examples=20)
def test_meters_do_not_depend_on_blocks(cuts: list[int]) -> None:
    meters = Meters(2, 48_000)
    edges = [0, *sorted(cuts), 48_000]
    for start, stop in itertools.pairwise(edges):
        meters.add(NOISE[:2, :, start:stop])
    once = Meters(2, 48_000)
    once.add(NOISE[:2])
    assert meters.levels == once.levels


def test_levels_are_each_outputs_own() -> None:
    meters = Meters(3, 48_000)
    meters.add(np.stack([NOISE[0], 0.5 * NOISE[0], 0.0 * NOISE[0]]))
    loud, quiet, silent = meters.levels
    assert loud.integrated == loudness(NOISE[0].T, 48_000)
    for figure in ("integrated", "true_peak_db", "sample_peak_db"):
        lower = getattr(loud, figure) - getattr(quiet, figure)
        assert lower == pytest.approx(20 * np.log10(2), abs=1e-6)
    assert silent == Levels(-inf, -inf, -inf)


@pytest.mark.parametrize("peak", [-0.999, 0.0, 1.8234, 1.82, 23.45678])
def test_the_trim_a_person_reads_is_the_trim(peak: float) -> None:
    """Two decimals of it, given to another render, are the same gain, and still low enough."""
    trim = common_trim((Levels(-20.0, peak, peak),))
    assert float(f"{trim:.2f}") == trim
    assert CEILING_DB - 0.01 - 1e-9 < peak + trim <= CEILING_DB + 1e-12


@pytest.mark.parametrize(
    ("peaks", "trim"),
    [
        ((-3.0, -20.0), 0.0),
        ((CEILING_DB, -9.0), 0.0),
        ((-9.0, 4.0, 1.0), CEILING_DB - 4.0),
        ((-inf, -inf), 0.0),
        ((), 0.0),
    ],
)
def test_trim_keeps_the_highest_output_at_the_ceiling(
    peaks: tuple[float, ...], trim: float
) -> None:
    assert common_trim(tuple(Levels(-20.0, peak, peak - 1.0) for peak in peaks)) == trim

"""Rounding against exact arithmetic, dither against its theory, packing against int.to_bytes."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from seatwright.sound.samples import packed_24, quantised, unpacked_24


def exact(value: float, bits: int) -> tuple[int, bool]:
    """Round by exact fractions (halves to even): the integer at the edge, and whether over."""
    lowest, highest = -(2 ** (bits - 1)), 2 ** (bits - 1) - 1
    rounded = round(Fraction(value) * 2 ** (bits - 1))
    return min(max(rounded, lowest), highest), not lowest <= rounded <= highest


@pytest.mark.parametrize("bits", [16, 24])
@pytest.mark.parametrize("width", [32, 64])
@given(data=st.data())
def test_rounding_is_exact(bits: int, width: int, data: st.DataObject) -> None:
    near = st.floats(-1.25, 1.25, width=32 if width == 32 else 64)
    halves = st.integers(-(2 ** (bits - 1)) + 1, 2 ** (bits - 1) - 1).map(
        lambda step: (step + 0.5) / 2 ** (bits - 1)
    )
    values = data.draw(st.lists(st.one_of(near, halves), min_size=2, max_size=20))
    samples = np.array(values, f"f{width // 8}")[:, np.newaxis]
    before = samples.copy()
    integers, overs = quantised(samples, bits)
    wanted = [exact(float(value), bits) for value in samples[:, 0]]
    assert integers[:, 0].tolist() == [integer for integer, _ in wanted]
    assert overs == sum(over for _, over in wanted)
    assert integers.dtype == np.int32
    assert np.array_equal(samples, before)


@pytest.mark.parametrize("bits", [16, 24])
def test_every_integer_survives_float32(bits: int) -> None:
    step = 1 if bits == 16 else 127
    integers = np.arange(-(2 ** (bits - 1)), 2 ** (bits - 1), step, dtype=np.int32)[:, np.newaxis]
    samples = (integers / 2.0 ** (bits - 1)).astype(np.float32)
    again, overs = quantised(samples, bits)
    assert np.array_equal(again, integers)
    assert overs == 0


def test_overs_are_put_at_the_edge_and_counted() -> None:
    samples = np.array([[1.0, -1.0], [3e38, -3e38], [np.inf, 0.5], [32767.4 / 32768, 0.0]], "f4")
    integers, overs = quantised(samples, 16)
    assert integers.tolist() == [[32767, -32768], [32767, -32768], [32767, 16384], [32767, 0]]
    assert overs == 4


@pytest.mark.parametrize("kind", [np.float32, np.float64])
@pytest.mark.parametrize("bits", [16, 24])
@pytest.mark.parametrize("steps", [0.0, 0.25, 0.5, -1234.9])
def test_dithered_error_does_not_know_the_signal(kind: type, bits: int, steps: float) -> None:
    """Mean 0 and variance 2/12 + 1/12 of a step squared, whatever the value between steps.

    The error of one sample has variance 1/4 and, being bounded by 1.5 steps, a fourth moment
    below 1.5**2 / 4; the bounds below are five standard errors of mean and variance.
    """
    count = 200_000
    samples = np.full((count, 2), steps / 2 ** (bits - 1), kind)
    integers, _ = quantised(samples, bits, np.random.default_rng(5))
    error = integers - samples.astype(np.float64) * 2 ** (bits - 1)
    size = error.size
    assert abs(error.mean()) < 5 * np.sqrt(0.25 / size)
    assert abs(error.var() - 0.25) < 5 * np.sqrt((1.5**2 / 4 - 0.25**2) / size)
    assert np.abs(error).max() <= 1.5
    assert abs(np.corrcoef(error.T)[0, 1]) < 5 / np.sqrt(count)


def test_dither_is_triangular() -> None:
    """At a value on a step, only +-1 and 0 come out: each side 1/8, from a triangle's tails."""
    integers, _ = quantised(np.zeros((200_000, 2)), 16, np.random.default_rng(6))
    share = np.array([np.mean(integers == step) for step in (-1, 0, 1)])
    bound = 5 * np.sqrt(0.75 * 0.25 / integers.size)
    assert np.abs(share - [0.125, 0.75, 0.125]).max() < bound
    assert np.unique(integers).tolist() == [-1, 0, 1]


@given(cuts=st.lists(st.integers(0, 300), max_size=5))
def test_dither_does_not_depend_on_cuts(cuts: list[int]) -> None:
    samples = np.random.default_rng(1).uniform(-0.9, 0.9, (300, 2)).astype(np.float32)
    whole, _ = quantised(samples, 16, np.random.default_rng(7))
    dither = np.random.default_rng(7)
    parts = [quantised(part, 16, dither)[0] for part in np.split(samples, sorted(cuts))]
    assert np.array_equal(np.concatenate(parts), whole)
    assert not np.array_equal(whole, quantised(samples, 16)[0])


def test_nan_is_refused() -> None:
    with pytest.raises(ValueError, match="finite samples, got NaN"):
        quantised(np.array([[0.0], [np.nan]]), 24)


def test_other_widths_are_refused() -> None:
    with pytest.raises(ValueError, match="16 or 24 bits, got 20"):
        quantised(np.zeros((1, 1)), 20)


@given(
    arrays(
        np.int32,
        st.tuples(st.integers(0, 9), st.integers(1, 3)),
        elements=st.integers(-(2**23), 2**23 - 1),
    )
)
def test_packing_matches_int_to_bytes(integers: np.ndarray) -> None:
    wanted = b"".join(int(i).to_bytes(3, "little", signed=True) for i in integers.reshape(-1))
    assert packed_24(integers).tobytes() == wanted
    turned = np.asfortranarray(integers)
    assert packed_24(turned).tobytes() == wanted


@given(st.lists(st.integers(-(2**23), 2**23 - 1), min_size=1, max_size=400))
def test_unpacking_gives_back_what_was_packed(integers: list[int]) -> None:
    packed = np.append(packed_24(np.array(integers, np.int32)), np.uint8(255))
    out = np.empty(len(integers), np.float32)
    unpacked_24(packed, out)
    assert np.array_equal(out, np.array(integers) / 2**23)

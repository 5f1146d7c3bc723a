"""Bounds on rounding: never less than what happens, and hardly more."""

from __future__ import annotations

import numpy as np
import pytest

from seatwright.sound.convolution import BlockGrid, Engine, Voice, block_grid
from seatwright.sound.rounding import (
    relative_error,
    rounding_error,
    sum_error,
    transform_error,
)
from seatwright.sound.samples import quantised


@pytest.mark.parametrize(("encoding", "bits"), [("PCM_16", 16), ("PCM_24", 24)])
def test_a_sample_moves_by_no_more_than_the_bound_and_nearly_by_that(
    encoding: str, bits: int
) -> None:
    rng = np.random.default_rng(3)
    samples = rng.uniform(-0.9, 0.9, (400_000, 2))
    dither = np.random.default_rng(4) if bits == 16 else None
    integers, _ = quantised(samples, bits, dither)
    moved = np.abs(integers * 2.0 ** (1 - bits) - samples).max()
    bound = rounding_error(encoding)
    assert 0.9 * bound < moved <= bound


@pytest.mark.parametrize(("encoding", "bits"), [("PCM_16", 16), ("PCM_24", 24), ("FLOAT", 0)])
def test_a_sum_of_written_parts_stays_within_its_bound(encoding: str, bits: int) -> None:
    rng = np.random.default_rng(5)
    parts = rng.uniform(-0.1, 0.1, (6, 100_000, 2)).astype(np.float32)
    gain = np.float32(0.731)
    whole = parts.sum(axis=0, dtype=np.float64).astype(np.float32) * gain
    written = []
    for number, one in enumerate([whole, *(parts * gain)]):
        dither = np.random.default_rng(number) if bits == 16 else None
        steps = quantised(one, bits, dither)[0] * 2.0 ** (1 - bits) if bits else one
        written.append(steps.astype(np.float64))
    sizes = 2.0 * np.abs(written[0]) + np.abs(written[1:]).sum(axis=0)
    allowed = sum_error(encoding, 6) + relative_error() * sizes
    used = np.abs(written[0] - np.sum(written[1:], axis=0)) / allowed
    assert 0.3 < used.max() <= 1.0


def test_floats_of_one_part_have_next_to_no_room() -> None:
    assert 0.0 < sum_error("FLOAT", 1) < 1e-36


@pytest.mark.parametrize("taps", [500, 9_000])
def test_sums_rendered_apart_stay_within_their_bound(taps: int) -> None:
    """Eight voices in one bus against a bus each; a hundredth of the bound would not do."""
    rng = np.random.default_rng(6)
    signals = rng.uniform(-0.3, 0.3, (8, 30_000)).astype(np.float32)
    decay = np.exp(-np.arange(taps) / (taps / 5))
    responses = [(rng.normal(size=(2, taps)) * decay).astype(np.float32) for _ in signals]

    def reader(signal: np.ndarray) -> object:
        def read(start: int, frames: int) -> np.ndarray:
            whole = np.zeros(frames, np.float32)
            first, last = max(start, 0), min(start + frames, len(signal))
            if first < last:
                whole[first - start : last - start] = signal[first:last]
            return whole

        return read

    voices = [
        Voice(str(n), reader(signal), ((0, response), (1 + n, response)))  # type: ignore[arg-type]
        for n, (signal, response) in enumerate(zip(signals, responses, strict=True))
    ]
    blocks = np.concatenate(
        [block for _, block in Engine(voices, 9, taps).blocks(0, 30_000)], axis=2
    ).astype(np.float64)
    grid: BlockGrid = block_grid(taps)
    peaks = np.abs(blocks).max(axis=(1, 2)).sum()
    apart = np.abs(blocks[0] - blocks[1:].sum(axis=0)).max()
    bound = transform_error(grid.length) * peaks
    assert bound / 100 < apart <= bound

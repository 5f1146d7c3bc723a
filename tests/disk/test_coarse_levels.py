"""Where stems play, read from short samples of each."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from seatwright.disk.coarse_levels import coarse_powers, playing_steps
from seatwright.disk.every_fault import read_and_cast
from seatwright.disk.stems import inspect_stem


@pytest.mark.parametrize("suffix", ["wav", "flac", "aiff"])
def test_powers_are_those_of_every_half_second(stage: Any, suffix: str) -> None:
    samples = np.zeros((40_000, 2))
    samples[8_000:16_000] = 0.25
    samples[24_000:32_000, 0] = 0.5
    stem, _ = inspect_stem(stage.stem(f"a.{suffix}", samples))
    assert coarse_powers(stem) == pytest.approx([0.0, 0.0625, 0.0, 0.125, 0.0])


def test_a_stem_shorter_than_a_sample_is_read_whole(stage: Any) -> None:
    stem, _ = inspect_stem(stage.stem("a.wav", np.full((30, 1), 0.5)))
    assert coarse_powers(stem) == pytest.approx([0.25])


def test_a_stem_plays_where_its_time_reference_puts_it(stage: Any) -> None:
    stage.stem("a.wav", stage.noise(1, 1.0), at=16_000)
    stage.stem("b.wav", stage.noise(2, 1.0), at=16_000 + 24_000)
    seat = '[seats.{0}]\nstem = "{0}.wav"\nx = {1}\ny = 2\n'
    stage.write(seat.format("a", 1) + seat.format("b", -1), 'align = "timestamp"')
    _, cast, _ = read_and_cast(stage.scene)
    a, b = playing_steps(cast, ("a", "b"))
    assert (a.tolist(), b.tolist()) == ([True, True], [False, False, False, True, True])
    (only,) = playing_steps(cast, ("b",))
    assert only.tolist() == b.tolist()

"""The part of a stem its room is estimated from: the first 75 s that sound, however it is cut."""

from __future__ import annotations

import numpy as np

from seatwright.sound.band_envelopes import EnvelopeMeter
from seatwright.sound.room_part import ROOM_SECONDS, RoomPart

RATE = 16_000


def noise(seconds: float, seed: int = 0) -> np.ndarray:
    rng = np.random.default_rng(seed)
    return (0.1 * rng.standard_normal((round(seconds * RATE), 1))).astype(np.float32)


def levels(signal: np.ndarray, *cuts: int) -> np.ndarray:
    part = RoomPart(RATE, 1)
    for block in np.split(signal, sorted(cuts)):
        part.add(block)
    return part.envelopes.levels


def test_a_short_stem_is_heard_whole() -> None:
    signal = noise(3.3)
    meter = EnvelopeMeter(RATE, 1)
    meter.add(signal)
    assert np.array_equal(levels(signal), meter.envelopes.levels)


def test_long_silence_is_passed_over_and_does_not_use_the_time_up() -> None:
    silence = np.zeros((30 * RATE, 1), dtype=np.float32)
    first, second = noise(2.0), noise(2.0, 1)
    gap = silence[:RATE]  # the second after sound stays
    wanted = levels(np.concatenate([first, gap, second]))
    assert np.array_equal(levels(np.concatenate([silence, first, silence, second])), wanted)


def test_what_follows_75_seconds_is_not_heard_nor_taken_for_an_end() -> None:
    long = noise(ROOM_SECONDS + 20.0)
    found = levels(long, 7, RATE * 40 + 11)
    assert np.array_equal(found, levels(long[: (ROOM_SECONDS + 5) * RATE]))
    assert found.shape[1] < (ROOM_SECONDS + 1) * 100
    # nothing is known of what follows: no silence stands behind it
    assert found[0, -12:].min() > found[0].mean() - 12.0

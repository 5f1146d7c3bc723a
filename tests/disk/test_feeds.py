"""Feeds: several stems on one seat, pairs, offsets, rates, read in any way by any thread."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st

from seatwright.disk.feeds import Feed, SeatStem, seat_channels
from seatwright.disk.stem_paths import StemFiles
from seatwright.disk.stems import StemReader, inspect_stem
from seatwright.errors import StemError

RATE, FRAMES = 16_000, 9_000
NOISE = np.random.default_rng(17).uniform(-0.4, 0.4, (FRAMES, 2)).astype(np.float32)
SPREAD = np.float32(0.5**0.5)


def stem(
    folder: Path, name: str, samples: np.ndarray, offset: int = 0, rate: int = RATE
) -> SeatStem:
    soundfile.write(folder / name, samples, rate, "FLOAT")
    return joined([folder / name], offset)


def joined(paths: Sequence[Path], offset: int = 0) -> SeatStem:
    files = StemFiles(tuple(paths), paths[0].name)
    return SeatStem(files, tuple(inspect_stem(path)[0] for path in paths), offset)


def whole(stems: Sequence[SeatStem], frames: int, start: int = 0, rate: int = RATE) -> np.ndarray:
    feed = Feed(stems, rate)
    try:
        return feed.read(start, frames)
    finally:
        feed.close()


def test_one_stem_is_passed_on_exactly(tmp_path: Path) -> None:
    mono, stereo = stem(tmp_path, "a.wav", NOISE[:, 0]), stem(tmp_path, "b.wav", NOISE)
    assert np.array_equal(whole([mono], FRAMES), NOISE[:, :1])
    assert np.array_equal(whole([stereo], FRAMES), NOISE)
    assert (mono.channels, stereo.channels, stereo.frames(RATE)) == (1, 2, FRAMES)


def test_left_and_right_files_are_one_stereo_stem(tmp_path: Path) -> None:
    for side in (0, 1):
        soundfile.write(tmp_path / f"a.{'LR'[side]}.wav", NOISE[:, side], RATE, "FLOAT")
    pair = joined([tmp_path / "a.L.wav", tmp_path / "a.R.wav"])
    assert pair.channels == 2
    assert np.array_equal(whole([pair], FRAMES), NOISE)


def test_several_stems_are_added(tmp_path: Path) -> None:
    stems = [stem(tmp_path, "a.wav", NOISE), stem(tmp_path, "b.wav", NOISE[:100, ::-1])]
    wanted = NOISE.copy()
    wanted[:100] += NOISE[:100, ::-1]
    assert np.array_equal(whole(stems, FRAMES), wanted)
    assert seat_channels(stems) == 2


def test_mono_beside_stereo_goes_to_both_at_half_power(tmp_path: Path) -> None:
    stems = [stem(tmp_path, "a.wav", NOISE[:, 0]), stem(tmp_path, "b.wav", NOISE)]
    spread = NOISE[:, :1] * SPREAD
    assert np.array_equal(whole(stems, FRAMES), spread + NOISE)
    alone = np.repeat(spread, 2, axis=1)
    assert (alone**2).sum() == pytest.approx((NOISE[:, 0] ** 2).sum(), rel=1e-6)


def test_offsets_delay_and_silence_surrounds(tmp_path: Path) -> None:
    late = stem(tmp_path, "a.wav", NOISE, offset=2_500)
    assert late.frames(RATE) == FRAMES + 2_500
    found = whole([late], FRAMES + 6_000, start=-1_000)
    assert not found[:3_500].any()
    assert np.array_equal(found[3_500 : 3_500 + FRAMES], NOISE)
    assert not found[3_500 + FRAMES :].any()


def test_other_rates_are_resampled_before_they_are_added(tmp_path: Path) -> None:
    stems = [stem(tmp_path, "a.wav", NOISE), stem(tmp_path, "b.wav", NOISE, rate=8_000)]
    assert stems[1].frames(RATE) == 2 * FRAMES
    with StemReader(stems[1].stems[0], RATE) as reader:
        wanted = reader.read(0, 2 * FRAMES)
    wanted[:FRAMES] += NOISE
    assert np.array_equal(whole(stems, 2 * FRAMES), wanted)


@pytest.fixture(scope="module")
def mixed(tmp_path_factory: pytest.TempPathFactory) -> list[SeatStem]:
    folder = tmp_path_factory.mktemp("feeds")
    return [
        stem(folder, "a.wav", NOISE),
        stem(folder, "b.wav", NOISE[:, 1], offset=700),
        stem(folder, "c.wav", NOISE[:3_000], rate=11_025),
    ]


@given(
    reads=st.lists(
        st.tuples(st.integers(-500, 11_000), st.integers(0, 4_000), st.integers(0, 1)),
        min_size=1,
        max_size=8,
    )
)
@settings(max_examples=30, deadline=None)
def test_cuts_change_no_bit(mixed: list[SeatStem], reads: list[tuple[int, int, int]]) -> None:
    wanted = whole(mixed, 16_000, start=-500)
    feed = Feed(mixed, RATE)
    try:
        for start, frames, channel in reads:
            found = feed.channel(channel)(start, frames)
            assert np.array_equal(found, wanted[500 + start : 500 + start + frames, channel])
    finally:
        feed.close()


def test_many_threads_read_the_same(mixed: list[SeatStem]) -> None:
    wanted = whole(mixed, 12_000)
    feed = Feed(mixed, RATE)
    places = [(start, channel) for start in range(0, 11_000, 250) for channel in (0, 1)]

    def right(place: tuple[int, int]) -> bool:
        start, channel = place
        found = feed.channel(channel)(start, 900)
        return np.array_equal(found, wanted[start : start + 900, channel])

    try:
        with ThreadPoolExecutor(8) as pool:
            assert all(pool.map(right, places))
    finally:
        feed.close()


def test_both_channels_of_a_stretch_are_decoded_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    reads: list[int] = []
    real = StemReader.read
    monkeypatch.setattr(
        StemReader,
        "read",
        lambda self, start, frames: reads.append(start) or real(self, start, frames),
    )
    feed = Feed([stem(tmp_path, "a.wav", NOISE)], RATE)
    for start in (0, 1_000, 2_000):
        for channel in (0, 1):
            feed.channel(channel)(start, 1_000)
    feed.close()
    assert reads == [0, 1_000, 2_000]


def test_a_stem_that_cannot_be_opened_leaves_nothing_open(tmp_path: Path) -> None:
    stems = [stem(tmp_path, "a.wav", NOISE), stem(tmp_path, "b.wav", NOISE)]
    (tmp_path / "b.wav").unlink()
    before = len(list(Path("/proc/self/fd").iterdir()))
    with pytest.raises(StemError, match=r"b\.wav: cannot be read"):
        Feed(stems, RATE)
    assert len(list(Path("/proc/self/fd").iterdir())) == before

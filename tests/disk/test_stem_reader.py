"""Reading stems: exact samples, silence around them, and cuts that change no bit."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest
import soundfile
import soxr
from hypothesis import given, settings
from hypothesis import strategies as st

from seatwright.disk.riff import wav_header
from seatwright.disk.stem_reader import BLOCK_FRAMES
from seatwright.disk.stems import Stem, StemReader, inspect_stem
from seatwright.errors import StemError
from seatwright.sound.samples import packed_24

FRAMES = 3 * BLOCK_FRAMES + 777
NOISE = np.random.default_rng(21).uniform(-0.5, 0.5, (FRAMES, 2))


def stem_at(
    path: Path, subtype: str = "FLOAT", samples: np.ndarray = NOISE, rate: int = 44_100
) -> Stem:
    soundfile.write(path, samples, rate, subtype)
    return inspect_stem(path)[0]


@pytest.fixture(scope="module")
def stem(tmp_path_factory: pytest.TempPathFactory) -> Stem:
    return stem_at(tmp_path_factory.mktemp("reader") / "noise.wav")


def whole(stem: Stem, rate: int) -> np.ndarray:
    with StemReader(stem, rate) as reader:
        return reader.read(0, reader.frames)


def test_24_bits_come_out_exactly(tmp_path: Path) -> None:
    integers = np.random.default_rng(2).integers(-(2**23), 2**23, (5_000, 2)).astype(np.int32)
    integers[:3] = [[-(2**23), 2**23 - 1], [1, -1], [0, 2**22 + 1]]
    path = tmp_path / "a.wav"
    path.write_bytes(wav_header(48_000, 2, "PCM_24", 5_000) + packed_24(integers).tobytes())
    block = whole(inspect_stem(path)[0], 48_000)
    assert block.dtype == np.float32
    assert np.array_equal(block.astype(np.float64), integers / 2**23)
    soundfile.write(tmp_path / "a.flac", integers << 8, 48_000, "PCM_24")
    assert np.array_equal(whole(inspect_stem(tmp_path / "a.flac")[0], 48_000), block)


def test_16_bits_come_out_exactly(tmp_path: Path) -> None:
    integers = np.arange(-(2**15), 2**15, dtype=np.int16)
    soundfile.write(tmp_path / "a.wav", integers, 48_000, "PCM_16")
    block = whole(inspect_stem(tmp_path / "a.wav")[0], 48_000)
    assert np.array_equal(block[:, 0].astype(np.float64), integers / 2**15)


@given(start=st.integers(-2_000, FRAMES + 2_000), frames=st.integers(0, 2_000))
def test_silence_around_the_stem(stem: Stem, start: int, frames: int) -> None:
    padded = np.zeros((FRAMES + 8_000, 2), np.float32)
    padded[4_000 : 4_000 + FRAMES] = NOISE.astype(np.float32)
    with StemReader(stem, stem.rate) as reader:
        block = reader.read(start, frames)
    assert np.array_equal(block, padded[4_000 + start : 4_000 + start + frames])
    assert block.shape == (frames, 2)


@pytest.mark.parametrize("rate", [44_100, 48_000, 96_000, 22_050, 8_000])
@settings(max_examples=15)
@given(data=st.data())
def test_cuts_change_no_bit(stem: Stem, rate: int, data: st.DataObject) -> None:
    length = -(-FRAMES * rate // 44_100)
    reads = data.draw(
        st.lists(
            st.tuples(st.integers(-100, length + 100), st.integers(0, length)),
            min_size=1,
            max_size=6,
        )
    )
    wanted = np.zeros((3 * length + 1_000, 2), np.float32)
    wanted[500 : 500 + length] = whole(stem, rate)
    with StemReader(stem, rate) as reader:
        assert reader.frames == length
        for start, frames in reads:
            block = reader.read(start, frames)
            assert np.array_equal(block, wanted[500 + start : 500 + start + frames])


def test_overlapping_reads_do_not_begin_anew(stem: Stem, monkeypatch: pytest.MonkeyPatch) -> None:
    made = []
    real = soxr.ResampleStream
    monkeypatch.setattr(soxr, "ResampleStream", lambda *a, **k: made.append(1) or real(*a, **k))
    wanted = whole(stem, 48_000)
    made.clear()
    with StemReader(stem, 48_000) as reader:
        for start in range(0, reader.frames - 6_000, 1_500):
            assert np.array_equal(reader.read(start, 6_000), wanted[start : start + 6_000])
        assert len(made) == 1
        assert np.array_equal(reader.read(0, 10), wanted[:10])
        assert len(made) == 2


@pytest.mark.parametrize("rate", [48_000, 96_000, 32_000])
def test_resampling_is_soxr_at_its_best(stem: Stem, rate: int) -> None:
    wanted = soxr.resample(NOISE.astype(np.float32), 44_100, rate, "VHQ")
    block = whole(stem, rate)
    assert 0 <= len(block) - len(wanted) <= 1
    assert np.abs(block[: len(wanted)] - wanted).max() < 1e-6
    assert not block[len(wanted) :].any()


@pytest.mark.parametrize("channels", [1, 2])
def test_a_tone_keeps_pitch_level_and_place(tmp_path: Path, channels: int) -> None:
    """An independent check: a sine written at 44.1 kHz is the same sine at 96 kHz."""
    turn = 2 * np.pi * 997.0
    tone = 0.5 * np.sin(turn * np.arange(30_000) / 44_100)
    samples = np.stack([tone, -tone][:channels], axis=1)
    block = whole(stem_at(tmp_path / "a.wav", "FLOAT", samples), 96_000)
    times = np.arange(len(block)) / 96_000
    inner = (times > 0.05) & (times < 0.63)
    wanted = 0.5 * np.sin(turn * times[inner])
    for channel in range(channels):
        error = block[inner, channel] - wanted * (-1) ** channel
        assert np.abs(error).max() < 10 ** (-120 / 20)


def test_length_at_another_rate_is_rounded_up(tmp_path: Path) -> None:
    stem = stem_at(tmp_path / "a.wav", samples=NOISE[:1_001])
    for rate, frames in ((48_000, 1_090), (22_050, 501), (44_100, 1_001), (88_200, 2_002)):
        with StemReader(stem, rate) as reader:
            assert reader.frames == frames


def test_file_cut_after_inspection(tmp_path: Path) -> None:
    stem = stem_at(tmp_path / "a.wav")
    with StemReader(stem, 48_000) as reader:
        os.truncate(stem.path, stem.path.stat().st_size - 8 * 1_000)
        with pytest.raises(StemError, match=r"short read at .* found \d+ frames, expected \d+"):
            reader.read(0, reader.frames)
    with pytest.raises(StemError, match=f"changed since .* found {FRAMES - 1_000} frames"):
        StemReader(stem, 48_000)


def test_file_replaced_after_inspection(tmp_path: Path) -> None:
    stem = stem_at(tmp_path / "a.wav")
    soundfile.write(stem.path, NOISE[:, 0], 48_000)
    with pytest.raises(StemError, match=r"1 channels at 48000 Hz, expected .* 2 at 44100"):
        StemReader(stem, 44_100)
    stem.path.unlink()
    with pytest.raises(StemError, match="cannot be read: No such file"):
        StemReader(stem, 44_100)


def test_broken_flac_is_never_silently_short(tmp_path: Path) -> None:
    stem = stem_at(tmp_path / "a.flac", "PCM_16")
    content = bytearray(stem.path.read_bytes())
    content[len(content) // 2] ^= 4
    stem.path.write_bytes(content)
    for rate in (44_100, 48_000):
        with pytest.raises(StemError, match=r"decoder failed at|short read at"):
            whole(stem, rate)


@pytest.mark.parametrize("rate", [44_100, 48_000])
def test_nan_is_named_by_its_place_in_the_file(tmp_path: Path, rate: int) -> None:
    samples = NOISE.copy()
    samples[22_050, 1] = np.nan
    stem = stem_at(tmp_path / "a.wav", "FLOAT", samples)
    said = r"sample nan at 0\.500000 s \(frame 22050\), channel 2"
    with StemReader(stem, rate) as reader:
        assert reader.read(0, 100).any()
        with pytest.raises(StemError, match=said):
            reader.read(0, reader.frames)


def test_denormals_become_zero_and_small_numbers_stay(tmp_path: Path) -> None:
    samples = np.array([[1e-40], [-1e-39], [2e-38], [-2e-38], [1.5]], np.float32)
    block = whole(stem_at(tmp_path / "a.wav", "FLOAT", samples), 44_100)
    assert block[:, 0].tolist() == [0.0, 0.0, np.float32(2e-38), np.float32(-2e-38), 1.5]


def test_closing_twice_leaves_nothing_open(stem: Stem) -> None:
    before = len(list(Path("/proc/self/fd").iterdir()))
    reader = StemReader(stem, 48_000)
    reader.close()
    reader.close()
    assert len(list(Path("/proc/self/fd").iterdir())) == before

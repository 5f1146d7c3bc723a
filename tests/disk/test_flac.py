"""FLAC headers against their frames: damage is an error or does no harm, never another sound."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile

from seatwright.disk.flac import flac_faults, frame_head, last_frame
from seatwright.disk.stems import StemReader, inspect_stem
from seatwright.errors import StemError

FRAMES = 12_000
TIME = np.arange(FRAMES) / 44_100
TONES = 0.3 * np.sin(2 * np.pi * np.outer(TIME, [440.0, 554.0]))
SIGNAL = TONES + np.random.default_rng(3).normal(0.0, 1e-3, TONES.shape)


def make(path: Path, subtype: str = "PCM_16", rate: int = 44_100) -> bytes:
    soundfile.write(path, SIGNAL, rate, subtype, format="FLAC")
    return path.read_bytes()


def sound_of(path: Path, step: int) -> tuple[int, np.ndarray]:
    stem, _ = inspect_stem(path)
    with StemReader(stem, stem.rate) as reader:
        parts = [reader.read(start, step) for start in range(0, stem.frames, step)]
    return stem.rate, np.concatenate(parts)[: stem.frames]


@pytest.mark.parametrize("rate", [8_000, 22_050, 44_100, 48_000, 96_000, 192_000, 44_056, 12_345])
@pytest.mark.parametrize("subtype", ["PCM_S8", "PCM_16", "PCM_24"])
def test_whole_files_agree_with_their_frames(tmp_path: Path, rate: int, subtype: str) -> None:
    content = make(tmp_path / "a.flac", subtype, rate)
    assert flac_faults(tmp_path / "a.flac") == []
    last = last_frame(content)
    assert last is not None
    assert last.rate in (rate, 0)
    assert last.number * 4_096 + last.block == FRAMES


def test_header_of_the_first_frame(tmp_path: Path) -> None:
    content = make(tmp_path / "a.flac")
    head = frame_head(content[content.index(b"\xff\xf8") :][:16])
    assert head is not None
    assert (head.is_variable, head.number, head.block, head.rate) == (False, 0, 4_096, 44_100)


@pytest.mark.parametrize("data", [b"", b"\xff\xf8", b"\xff\xf8" * 10, bytes(16), b"\xff" * 16])
def test_what_is_no_frame(data: bytes) -> None:
    assert frame_head(data) is None
    assert last_frame(data) is None


def test_every_flipped_bit_of_the_header_is_an_error_or_does_no_harm(tmp_path: Path) -> None:
    path = tmp_path / "a.flac"
    content = make(path)
    rate, wanted = sound_of(path, FRAMES)
    refused = 0
    for bit in range(8 * 42):
        damaged = bytearray(content)
        damaged[bit // 8] ^= 1 << bit % 8
        path.write_bytes(damaged)
        try:
            found_rate, found = sound_of(path, FRAMES)
        except StemError as error:
            assert str(path) in str(error)
            refused += 1
            continue
        assert found_rate == rate, f"bit {bit}"
        assert np.array_equal(found, wanted), f"bit {bit}"
    assert refused > 80


@pytest.mark.parametrize("step", [FRAMES, 1_500])
def test_flipped_bits_of_the_audio_are_named_with_file_and_time(tmp_path: Path, step: int) -> None:
    path = tmp_path / "a.flac"
    content = make(path)
    start = content.index(b"\xff\xf8")
    for place in np.random.default_rng(step).integers(start, len(content), 250):
        damaged = bytearray(content)
        damaged[place] ^= 1 << int(place) % 8
        path.write_bytes(damaged)
        with pytest.raises(StemError, match=r"(failed|short read) at \d\.\d{3} s") as caught:
            sound_of(path, step)
        assert caught.value.faults[0].file == str(path)


def test_every_cut_is_an_error(tmp_path: Path) -> None:
    path = tmp_path / "a.flac"
    content = make(path)
    for length in np.random.default_rng(7).integers(1, len(content), 100):
        path.write_bytes(content[:length])
        with pytest.raises(StemError):
            sound_of(path, FRAMES)

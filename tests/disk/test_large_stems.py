"""Stems beyond 4 GiB, with holes on the disk instead of silence."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest

from seatwright.disk.riff import wav_header
from seatwright.disk.stems import StemReader, inspect_stem
from seatwright.errors import StemError

FRAMES = 2**32 // 6 + 50_000
LAST = np.arange(-3_000, 3_000, dtype="<i4").reshape(-1, 2)


@pytest.fixture
def large(tmp_path: Path) -> Path:
    """Silence up to 3000 frames before the end, then a ramp."""
    path = tmp_path / "large.wav"
    header = wav_header(48_000, 2, "PCM_24", FRAMES)
    with path.open("wb") as file:
        file.write(header)
        file.truncate(len(header) + 6 * FRAMES)
        file.seek(-6 * len(LAST), os.SEEK_END)
        file.write(LAST.reshape(-1, 1).view(np.uint8)[:, :3].tobytes())
    return path


def test_samples_beyond_4_gib_are_read_where_they_stand(large: Path) -> None:
    stem, warnings = inspect_stem(large)
    assert (stem.frames, warnings) == (FRAMES, [])
    with StemReader(stem, stem.rate) as reader:
        found = reader.read(FRAMES - len(LAST) - 10, len(LAST) + 20)
    assert not found[:10].any() and not found[-10:].any()
    assert np.array_equal(found[10:-10] * 2**23, LAST)


def test_a_large_stem_that_was_cut_is_told(large: Path) -> None:
    os.truncate(large, large.stat().st_size - 600_000)
    with pytest.raises(StemError, match=r"truncated: found 14912\.\d+ s .*, expected 14914"):
        inspect_stem(large)

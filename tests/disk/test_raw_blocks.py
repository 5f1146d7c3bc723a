"""Rendered blocks on disk: what goes in comes out, and nothing stays behind."""

from __future__ import annotations

import resource
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from seatwright.disk.raw_blocks import RawBlocks
from seatwright.errors import DiskError


@given(
    outputs=st.integers(1, 5),
    lengths=st.lists(st.integers(1, 3_000), max_size=5),
    seed=st.integers(0, 99),
)
@settings(max_examples=30, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_blocks_come_back_bit_for_bit(
    tmp_path: Path, outputs: int, lengths: list[int], seed: int
) -> None:
    rng = np.random.default_rng(seed)
    blocks = [rng.normal(0, 1, (outputs, 2, n)).astype(np.float32) for n in lengths]
    with RawBlocks(tmp_path) as raw:
        for block in blocks:
            raw.write(block)
        for _ in range(2):
            for output in range(outputs):
                back = list(raw.read(output))
                wanted = [block[output] for block in blocks]
                assert all(np.array_equal(a, b) for a, b in zip(back, wanted, strict=True))
    assert list(tmp_path.iterdir()) == []


def test_blocks_that_are_views_are_kept_as_they_look(tmp_path: Path) -> None:
    block = np.arange(40, dtype=np.float32).reshape(2, 2, 10)
    with RawBlocks(tmp_path) as raw:
        raw.write(block[:, ::-1, 3:7])
        back = [next(raw.read(output)) for output in range(2)]
    assert np.array_equal(np.stack(back), block[:, ::-1, 3:7])


def test_the_file_goes_whatever_happens(tmp_path: Path) -> None:
    with pytest.raises(KeyboardInterrupt), RawBlocks(tmp_path) as raw:
        raw.write(np.ones((1, 2, 5), np.float32))
        (hidden,) = tmp_path.iterdir()
        assert hidden.name.startswith(".seatwright-")
        raise KeyboardInterrupt
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_is_not_there_is_named(tmp_path: Path) -> None:
    with pytest.raises(DiskError, match="cannot keep rendered blocks: No such file") as caught:
        RawBlocks(tmp_path / "gone")
    assert caught.value.faults[0].file == str(tmp_path / "gone")


def test_a_file_that_was_cut_is_an_error(tmp_path: Path) -> None:
    with RawBlocks(tmp_path) as raw:
        raw.write(np.ones((2, 2, 5_000), np.float32))
        list(raw.read(0))
        (hidden,) = tmp_path.iterdir()
        hidden.write_bytes(b"")
        with pytest.raises(DiskError, match="a temporary cut off, wanted 40000 more bytes"):
            list(raw.read(0))


@contextmanager
def largest_file(size: int) -> Iterator[None]:
    """Let no file grow beyond a size; Python leaves the signal ignored, writes then fail."""
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)


def test_a_full_disk_is_named_and_nothing_stays(tmp_path: Path) -> None:
    with (
        pytest.raises(DiskError, match="cannot keep rendered blocks: File too large"),
        RawBlocks(tmp_path) as raw,
        largest_file(10_000),
    ):
        for _ in range(3):
            raw.write(np.ones((2, 2, 5_000), np.float32))
    assert list(tmp_path.iterdir()) == []


def test_a_small_rest_that_does_not_fit_is_found_before_it_is_read(tmp_path: Path) -> None:
    """Bytes that wait in a buffer are refused at the latest when blocks are asked for."""
    with pytest.raises(DiskError, match="File too large"), RawBlocks(tmp_path) as raw:
        raw.write(np.ones((1, 2, 100), np.float32))
        with largest_file(100):
            list(raw.read(0))
    assert list(tmp_path.iterdir()) == []

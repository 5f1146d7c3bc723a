"""Files of results: whole or absent, and every changed bit noticed."""

from __future__ import annotations

import json
import os
from math import inf, isnan, nan
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import xxhash
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from seatwright.disk.kept_file import (
    FORMAT,
    DamagedFile,
    KeptReader,
    KeptWriter,
    is_in_use,
    write_kept,
)

ARRAYS: list[NDArray[Any]] = [
    np.arange(24, dtype=np.float32).reshape(2, 12),
    np.array([1 + 2j, -3j], np.complex128),
    np.zeros((0, 3), np.float64),
    np.array(7.5),
]


def written(folder: Path) -> Path:
    path = folder / "one.kept"
    write_kept(path, folder / "temporary", {"level": -inf, "range": nan, "n": 0.1}, ARRAYS)
    return path


def read_all(path: Path) -> list[NDArray[Any]]:
    reader = KeptReader(path)
    try:
        return [reader.read(number) for number in range(len(reader))]
    finally:
        reader.close()


def test_what_is_written_is_read(tmp_path: Path) -> None:
    path = written(tmp_path)
    reader = KeptReader(path)
    assert reader.facts["level"] == -inf
    assert isnan(reader.facts["range"])
    assert reader.facts["n"] == 0.1
    reader.close()
    for found, wanted in zip(read_all(path), ARRAYS, strict=True):
        assert found.dtype == wanted.dtype
        assert found.shape == wanted.shape
        assert np.array_equal(found, wanted)
    assert [each.name for each in tmp_path.iterdir()] == ["one.kept"]


def test_memory_is_used_where_it_fits(tmp_path: Path) -> None:
    path = tmp_path / "two.kept"
    write_kept(path, tmp_path / "t", {}, [ARRAYS[0], ARRAYS[0] + 1, ARRAYS[0][:, :5]])
    reader = KeptReader(path)
    first = reader.read(0)
    assert reader.read(1, first) is first
    assert np.array_equal(first, ARRAYS[0] + 1)
    assert reader.read(2, first) is not first
    reader.close()


@given(place=st.floats(0, 1, exclude_max=True), bit=st.integers(0, 7))
@settings(max_examples=200, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_every_flipped_bit_is_noticed(tmp_path: Path, place: float, bit: int) -> None:
    path = written(tmp_path)
    data = bytearray(path.read_bytes())
    data[int(place * len(data))] ^= 1 << bit
    path.write_bytes(data)
    with pytest.raises(DamagedFile, match=r"one\.kept: "):
        read_all(path)


@given(share=st.floats(0, 1, exclude_max=True))
@settings(max_examples=100, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_every_cut_is_noticed(tmp_path: Path, share: float) -> None:
    path = written(tmp_path)
    data = path.read_bytes()
    path.write_bytes(data[: int(share * len(data))])
    with pytest.raises(DamagedFile):
        read_all(path)


def test_a_file_cut_while_it_is_open_is_noticed(tmp_path: Path) -> None:
    path = written(tmp_path)
    reader = KeptReader(path)
    path.write_bytes(b"")
    with pytest.raises(DamagedFile, match="early"):
        reader.read(0)
    reader.close()


def test_what_is_not_finished_leaves_nothing(tmp_path: Path) -> None:
    writer = KeptWriter(tmp_path / "x.kept", tmp_path / "t")
    writer.add(ARRAYS[0])
    assert [each.name for each in tmp_path.iterdir()] == ["t"]
    (back,) = writer.written()
    assert np.array_equal(back, ARRAYS[0])
    writer.abandon()
    assert list(tmp_path.iterdir()) == []


def with_index(path: Path, index: bytes) -> Path:
    """A file whose index is another one, with the right checksum."""
    check = xxhash.xxh3_128_digest(index)
    path.write_bytes(bytes(64) + index + len(index).to_bytes(8, "little") + check + FORMAT)
    return path


ROW = {"type": "<f4", "shape": [2, 4], "begin": 0, "check": ""}


@pytest.mark.parametrize(
    "index",
    [
        b"", b"\xff", b"{", b"[" * 100_000, b"1" * 5000, b"null", b"[]", b"{}",
        b'{"facts": [], "arrays": []}', b'{"facts": null, "arrays": []}',
        b'{"facts": {}, "arrays": 3}', b'{"facts": {}, "arrays": [3]}',
        *(
            json.dumps({"facts": {}, "arrays": [ROW | change]}).encode()
            for change in (
                {"shape": [2**62, 2**62]}, {"shape": [2**30]}, {"shape": [-1]}, {"shape": [1.5]},
                {"shape": None}, {"shape": [True]}, {"begin": 2**70}, {"begin": -4}, {"begin": "0"},
                {"type": "|O"}, {"type": "<U5"}, {"type": [["a", "<f4"]]}, {"type": "nonsense"},
                {"type": "(2,)<f4"}, {"check": 3}, {"shape": [1] * 40},
            )
        ),
    ],
)  # fmt: skip
def test_an_index_that_lies_is_damage(tmp_path: Path, index: bytes) -> None:
    with pytest.raises(DamagedFile):
        KeptReader(with_index(tmp_path / "x.kept", index)).close()


@pytest.mark.parametrize("number", [-1, 1, True, "0", None])
def test_there_is_no_such_array(tmp_path: Path, number: Any) -> None:
    path = with_index(tmp_path / "x", json.dumps({"facts": {}, "arrays": [ROW]}).encode())
    reader = KeptReader(path)
    with pytest.raises(DamagedFile, match="no array"):
        reader.read(number)
    reader.close()


def test_a_pipe_keeps_nobody_waiting(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(OSError, match="no regular file"):
        KeptReader(tmp_path / "pipe")
    with pytest.raises(OSError, match="no regular file"):
        KeptReader(Path("/dev/zero"))


def test_a_file_is_in_use_as_long_as_it_is_written(tmp_path: Path) -> None:
    writer = KeptWriter(tmp_path / "x.kept", tmp_path / "t")
    assert is_in_use(tmp_path / "t")
    writer.finish({})
    assert not is_in_use(tmp_path / "x.kept")
    assert not is_in_use(tmp_path / "t")

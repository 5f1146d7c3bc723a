"""Text files are complete or as they were before."""

from __future__ import annotations

from pathlib import Path

import pytest

from seatwright.disk.text_files import write_text_files
from seatwright.disk.whole_file import write_whole
from seatwright.errors import DiskError


def test_files_are_written_into_a_new_folder_in_order(tmp_path: Path) -> None:
    found = write_text_files(tmp_path / "a" / "b", {"z.svg": "één\n", "a.svg": "two"})
    assert found == [tmp_path / "a" / "b" / "z.svg", tmp_path / "a" / "b" / "a.svg"]
    assert found[0].read_bytes() == "één\n".encode()
    assert sorted(path.name for path in found[0].parent.iterdir()) == ["a.svg", "z.svg"]


def test_an_earlier_file_is_replaced(tmp_path: Path) -> None:
    (tmp_path / "a.txt").write_text("a much longer text than the next")
    write_whole(tmp_path / "a.txt", b"next")
    assert (tmp_path / "a.txt").read_text() == "next"


def test_a_file_in_the_folders_place_is_told(tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("kept")
    with pytest.raises(DiskError, match="cannot be made"):
        write_text_files(tmp_path / "taken", {"a.svg": "x"})
    assert (tmp_path / "taken").read_text() == "kept"


def test_what_cannot_be_written_leaves_nothing_behind(tmp_path: Path) -> None:
    (tmp_path / "a.svg").mkdir()
    with pytest.raises(DiskError, match="cannot be written"):
        write_text_files(tmp_path, {"a.svg": "x"})
    assert [path.name for path in tmp_path.iterdir()] == ["a.svg"]

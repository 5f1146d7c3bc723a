"""Folders on the way to an output: made, told apart from those that were there, removed again."""

from __future__ import annotations

from pathlib import Path

import pytest

from seatwright.disk.made_folders import MadeFolders
from seatwright.errors import DiskError


def test_only_what_was_made_and_is_empty_goes(tmp_path: Path) -> None:
    (tmp_path / "before").mkdir()
    made = MadeFolders()
    made.make(tmp_path / "before" / "a" / "b")
    made.make(tmp_path / "before" / "a" / "c")
    (tmp_path / "before" / "a" / "c" / "file").touch()
    made.remove_empty()
    assert not (tmp_path / "before" / "a" / "b").exists()
    assert (tmp_path / "before" / "a" / "c" / "file").exists()
    (tmp_path / "before" / "a" / "c" / "file").unlink()
    made.remove_empty()
    assert (tmp_path / "before" / "a" / "c").is_dir()
    MadeFolders().make(tmp_path / "before" / "a" / "c")


@pytest.mark.parametrize(
    ("in_the_way", "said"), [("file", "is a file"), ("link", "is a link to nothing")]
)
def test_what_is_in_the_way_is_named(tmp_path: Path, in_the_way: str, said: str) -> None:
    place = tmp_path / "x"
    if in_the_way == "file":
        place.touch()
    else:
        place.symlink_to(tmp_path / "nowhere")
    with pytest.raises(DiskError) as caught:
        MadeFolders().make(place / "y" / "z")
    (fault,) = caught.value.faults
    assert (fault.file, fault.what) == (str(place), f"{said}, wanted a folder")


def test_a_name_too_long_is_refused_with_the_systems_words(tmp_path: Path) -> None:
    with pytest.raises(DiskError, match="cannot be made: File name too long"):
        MadeFolders().make(tmp_path / ("n" * 300))

"""Temporaries of renders that were cut off, and nothing else."""

from __future__ import annotations

from pathlib import Path

from seatwright.disk.leftovers import JOURNAL_NAME, remove_leftovers

DEAD = (
    ".seatwright-0123456789abcdef.raw",
    "sections/.seatwright-0123456789abcdef.part",
    "stems/.seatwright-aaaaaaaaaaaaaaaa.part",
    "perspectives/.seatwright-0000000000000000.part",
    "sections/.seatwright-0123456789abcdef.old",
)
ALIVE = (
    ".seatwright-lock",
    ".seatwright-0123456789abcdef.raw.bak",
    ".seatwright-notes.part",
    "seatwright-0123456789abcdef.raw",
    "mine/.seatwright-0123456789abcdef.part",
    "sections/winds.wav",
)


def test_dead_temporaries_go_and_the_rest_stays(tmp_path: Path) -> None:
    for name in (*DEAD, *ALIVE):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).touch()
    link = tmp_path / ".seatwright-ffffffffffffffff.raw"
    link.symlink_to(tmp_path / "sections" / "winds.wav")
    remove_leftovers(tmp_path)
    left = {p.relative_to(tmp_path).as_posix() for p in tmp_path.rglob("*") if p.is_file()}
    assert left == {*ALIVE, link.name}


def test_nothing_goes_while_an_exchange_is_not_undone(tmp_path: Path) -> None:
    for name in (*DEAD, JOURNAL_NAME):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).touch()
    remove_leftovers(tmp_path)
    assert all((tmp_path / name).exists() for name in DEAD)


def test_a_folder_that_is_not_there_holds_none(tmp_path: Path) -> None:
    remove_leftovers(tmp_path / "gone")
    assert list(tmp_path.iterdir()) == []


def test_a_linked_folder_of_outputs_is_not_followed(tmp_path: Path) -> None:
    other = tmp_path / "other" / ".seatwright-0123456789abcdef.part"
    other.parent.mkdir()
    other.touch()
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "sections").symlink_to(other.parent)
    remove_leftovers(tmp_path / "out")
    assert other.exists()

"""A folder in which a render was killed."""

from __future__ import annotations

from pathlib import Path

from seatwright.disk.dead_render import tidy_dead_render
from seatwright.disk.render_lock import LOCK_NAME, RenderLock

RAW = ".seatwright-0123456789abcdef.raw"


def dead(folder: Path) -> Path:
    (folder / "sections").mkdir(parents=True)
    for name in (RAW, "sections/.seatwright-0123456789abcdef.part", LOCK_NAME):
        (folder / name).touch()
    return folder


def test_nothing_of_a_dead_render_stays(tmp_path: Path) -> None:
    folder = dead(tmp_path / "out")
    tidy_dead_render(folder)
    assert list(tmp_path.iterdir()) == []


def test_earlier_outputs_stay(tmp_path: Path) -> None:
    folder = dead(tmp_path / "out")
    (folder / "sections" / "winds.wav").touch()
    (folder / "mix.wav").touch()
    tidy_dead_render(folder)
    left = {path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()}
    assert left == {"sections/winds.wav", "mix.wav"}


def test_a_living_render_loses_nothing(tmp_path: Path) -> None:
    folder = dead(tmp_path / "out")
    (folder / LOCK_NAME).unlink()
    lock = RenderLock(folder)
    lock.take()
    try:
        before = sorted(folder.rglob("*"))
        tidy_dead_render(folder)
        assert sorted(folder.rglob("*")) == before
        assert (folder / RAW).exists()
    finally:
        lock.release()


def test_no_folder_is_no_fault(tmp_path: Path) -> None:
    tidy_dead_render(tmp_path / "gone")
    assert list(tmp_path.iterdir()) == []

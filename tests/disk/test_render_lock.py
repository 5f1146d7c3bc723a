"""The lock of a folder: one at a time, named when taken, gone with its process."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

import seatwright
from seatwright.disk.render_lock import LOCK_NAME, RenderLock
from seatwright.errors import DiskError

HOLD = """
import sys
from pathlib import Path
from seatwright.disk.render_lock import RenderLock
RenderLock(Path(sys.argv[1])).take()
"""


def test_a_second_render_is_told_who_is_there(tmp_path: Path) -> None:
    first, second = RenderLock(tmp_path), RenderLock(tmp_path)
    first.take()
    assert first.held
    with pytest.raises(DiskError) as caught:
        second.take()
    (fault,) = caught.value.faults
    assert re.search(
        rf"\(process {os.getpid()}, since \d{{4}}-\d\d-\d\d \d\d:\d\d:\d\d\)", str(fault)
    )
    assert "wanted one at a time" in fault.what
    assert not second.held
    second.release()
    assert (tmp_path / LOCK_NAME).exists()
    first.release()
    assert list(tmp_path.iterdir()) == []
    second.take()
    second.release()


def test_a_dead_process_holds_nothing(tmp_path: Path) -> None:
    """It ends as if killed: the file stays, the kernel's lock does not."""
    source = str(Path(seatwright.__file__).parents[1])
    code = HOLD + "import os\nos._exit(9)\n"
    ended = subprocess.run(
        [sys.executable, "-c", code, str(tmp_path)],
        env={**os.environ, "PYTHONPATH": source},
        timeout=60,
    )
    assert ended.returncode == 9
    assert (tmp_path / LOCK_NAME).exists()
    lock = RenderLock(tmp_path)
    lock.take()
    assert lock.held
    assert (tmp_path / LOCK_NAME).read_text().startswith(f"{os.getpid()} ")
    lock.release()
    assert list(tmp_path.iterdir()) == []


def test_a_file_removed_between_opening_and_locking_is_no_lock(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Else two would hold locks: one on the file that is there, one on the file that was."""
    first, second = RenderLock(tmp_path), RenderLock(tmp_path)
    first.take()
    opened = os.open
    left = [first.release]

    def late(*arguments: object) -> int:
        handle = opened(*arguments)  # type: ignore[arg-type]
        if left:
            left.pop()()
        return handle

    monkeypatch.setattr(os, "open", late)
    second.take()
    assert second.held
    third = RenderLock(tmp_path)
    with pytest.raises(DiskError):
        third.take()
    second.release()


def test_a_file_system_without_locks_is_rendered_to_all_the_same(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def none(*_: object) -> None:
        raise OSError(95, "Operation not supported")

    monkeypatch.setattr("fcntl.flock", none)
    lock = RenderLock(tmp_path)
    lock.take()
    assert not lock.held
    lock.release()


def test_a_link_in_the_place_of_the_lock_is_not_written_through(tmp_path: Path) -> None:
    mine = tmp_path / "mine"
    mine.write_text("words")
    (tmp_path / LOCK_NAME).symlink_to(mine)
    with pytest.raises(DiskError, match="cannot be written"):
        RenderLock(tmp_path).take()
    assert mine.read_text() == "words"

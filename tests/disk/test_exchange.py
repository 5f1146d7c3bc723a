"""All outputs get their names, or none: errors, kills, foreign journals, disks without links."""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Any

import pytest

from seatwright.disk.earlier_render import OldOutput
from seatwright.disk.exchange import Exchange, undo
from seatwright.disk.leftovers import JOURNAL_NAME
from seatwright.errors import DiskError, RenderError

OLD = {"mix.wav": b"old mix", "sections/winds.wav": b"old winds", "sections/gone.wav": b"gone"}
NEW = {"mix.wav": b"new mix", "sections/winds.wav": b"new winds", "sections/brass.wav": b"new"}


def files_in(folder: Path) -> dict[str, bytes]:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file()
    }


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for name, data in OLD.items():
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_bytes(data)
    return tmp_path


def gone(folder: Path) -> list[OldOutput]:
    status = (folder / "sections" / "gone.wav").stat()
    state = (status.st_dev, status.st_ino, status.st_size, status.st_mtime_ns)
    return [OldOutput("sections/gone.wav", "", state)]


def put_new(folder: Path, names: Any = NEW) -> None:
    for name in names:
        (folder / "new").write_bytes(NEW[name])
        (folder / "new").replace(folder / name)


def test_everything_is_exchanged(folder: Path) -> None:
    with Exchange(folder, NEW, gone(folder)):
        put_new(folder)
    assert files_in(folder) == NEW


@pytest.mark.parametrize("done", range(4))
def test_an_error_puts_everything_back(folder: Path, done: int) -> None:
    with pytest.raises(RenderError, match="no more"), Exchange(folder, NEW, gone(folder)):
        put_new(folder, list(NEW)[:done])
        raise RenderError("no more")
    assert files_in(folder) == OLD


@pytest.mark.parametrize("links", [True, False])
@pytest.mark.parametrize("done", range(4))
def test_what_a_kill_left_is_put_back_by_the_next(
    folder: Path, monkeypatch: pytest.MonkeyPatch, done: int, links: bool
) -> None:
    """Where the disk has no links too, on which an output is missing for a moment."""
    if not links:
        monkeypatch.setattr(os, "link", refuse)
    Exchange(folder, NEW, gone(folder)).__enter__()
    assert (folder / "mix.wav").exists() == links
    put_new(folder, list(NEW)[:done])
    undo(folder)
    assert files_in(folder) == OLD
    undo(folder)
    assert files_in(folder) == OLD


def refuse(*_: Any, **__: Any) -> None:
    raise PermissionError(1, "Operation not permitted")


def test_an_undo_that_the_disk_refuses_keeps_everything(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as patched, pytest.raises(DiskError) as caught:  # noqa: SIM117
        with Exchange(folder, NEW, gone(folder)):
            put_new(folder)
            patched.setattr(Path, "replace", refuse)
            raise RenderError("no more")
    told = "\n".join(map(str, caught.value.faults))
    assert "no more" in told and "cannot be put back, they are kept in .seatwright-*.old" in told
    assert set(OLD.values()) <= set(files_in(folder).values())
    undo(folder)
    assert files_in(folder) == OLD


def test_what_changed_meanwhile_stays(folder: Path) -> None:
    old = gone(folder)
    (folder / "sections" / "gone.wav").write_bytes(b"somebody's, and longer")
    with Exchange(folder, NEW, old):
        put_new(folder)
    assert files_in(folder) == NEW | {"sections/gone.wav": b"somebody's, and longer"}


def test_a_folder_left_empty_goes(folder: Path) -> None:
    (folder / "sections" / "winds.wav").unlink()
    with Exchange(folder, ["mix.wav"], gone(folder)):
        put_new(folder, ["mix.wav"])
    assert not (folder / "sections").exists()


def test_a_link_is_replaced_not_written_through_and_comes_back_as_a_link(folder: Path) -> None:
    (folder / "mix.wav").rename(folder / "elsewhere.wav")
    (folder / "mix.wav").symlink_to("elsewhere.wav")
    with pytest.raises(RenderError), Exchange(folder, NEW):
        put_new(folder)
        raise RenderError("no more")
    assert (folder / "mix.wav").is_symlink()
    with Exchange(folder, NEW):
        put_new(folder)
    assert not (folder / "mix.wav").is_symlink()
    assert (folder / "elsewhere.wav").read_bytes() == b"old mix"


KEPT = ".seatwright-0123456789abcdef.old"


@pytest.mark.parametrize(
    "text",
    [
        "",
        "[" * 100_000,
        "{}",
        json.dumps({"places": []}),
        json.dumps({"places": [{"file": "../mine", "kept": ""}]}),
        json.dumps({"places": [{"file": "/tmp/mine", "kept": ""}]}),
        json.dumps({"places": [{"file": "mine/deep", "kept": ""}]}),
        json.dumps({"places": [{"file": "mix.wav", "kept": "../mine"}]}),
        json.dumps({"places": [{"file": "mix.wav", "kept": "sections/winds.wav"}]}),
        json.dumps({"places": [{"file": "mynotes.txt", "kept": ""}]}),
        json.dumps({"places": [{"file": "song.wav", "kept": ""}]}),
        json.dumps({"places": [{"file": "sections/letter.txt", "kept": ""}]}),
        json.dumps({"places": [{"file": "sections/.wav", "kept": ""}]}),
        json.dumps({"places": [{"file": "sections/\ud800.wav", "kept": ""}]}),
        json.dumps({"places": [{"file": "mix.wav", "kept": ""}]}) + " " * 2**23,
    ],
    ids=range(15),
)
def test_a_foreign_journal_leads_nowhere(folder: Path, text: str) -> None:
    (folder / JOURNAL_NAME).write_text(text)
    with pytest.raises(DiskError, match="found a damaged journal of an exchange"):
        undo(folder)
    assert files_in(folder) == OLD | {JOURNAL_NAME: text.encode()}


def test_a_journal_does_not_follow_a_linked_folder(folder: Path, tmp_path: Path) -> None:
    """Neither does it undo half of what it says."""
    other = tmp_path / "other"
    (folder / "sections").rename(other)
    (folder / "sections").symlink_to(other)
    rows = [{"file": "mix.wav", "kept": ""}, {"file": "sections/winds.wav", "kept": ""}]
    (folder / JOURNAL_NAME).write_text(json.dumps({"exchange_format": 1, "places": rows}))
    with pytest.raises(DiskError, match="sections is a link"):
        undo(folder)
    assert (other / "winds.wav").read_bytes() == b"old winds"
    assert (folder / "mix.wav").read_bytes() == b"old mix"


def test_an_error_in_a_folder_the_user_linked_is_undone(folder: Path, tmp_path: Path) -> None:
    """Of this render's own places nothing has to be believed."""
    (folder / "sections").rename(tmp_path / "other")
    (folder / "sections").symlink_to(tmp_path / "other")
    with pytest.raises(RenderError), Exchange(folder, NEW):
        put_new(folder)
        raise RenderError("no more")
    assert (tmp_path / "other" / "winds.wav").read_bytes() == b"old winds"
    assert not (folder / JOURNAL_NAME).exists()


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="pipes of POSIX")
@pytest.mark.parametrize("how", ["pipe", "link", "folder"])
def test_a_journal_that_is_no_file_is_refused_at_once(folder: Path, how: str) -> None:
    journal = folder / JOURNAL_NAME
    if how == "pipe":
        os.mkfifo(journal)
    elif how == "folder":
        journal.mkdir()
    else:
        (folder / "elsewhere").write_text(json.dumps({"places": [{"file": "mix.wav", "kept": ""}]}))
        journal.symlink_to("elsewhere")
    with pytest.raises(DiskError, match="no regular file"):
        undo(folder)
    assert (folder / "mix.wav").read_bytes() == b"old mix"

"""One attempt: whatever goes wrong comes back as data, with what is worth another try."""

from __future__ import annotations

import errno
from pathlib import Path
from typing import Any

import pytest

from seatwright.disk.kept_file import DamagedFile
from seatwright.errors import DiskError, RenderError, SceneError, StemError
from seatwright.executors.attempt import Attempt, Job, attempt, failed
from seatwright.stage.request import Request

JOB = Job(2, "a.toml", "out", Request())


def caused(error: Exception, cause: Exception) -> Exception:
    error.__cause__ = cause
    return error


@pytest.mark.parametrize(
    ("error", "code", "passing", "said"),
    [
        (SceneError("wrong"), 2, False, "wrong"),
        (StemError("broken"), 3, False, "broken"),
        (caused(StemError("gone"), OSError(errno.ENOENT, "no file")), 3, False, "gone"),
        (caused(StemError("unread"), OSError(errno.EIO, "i/o")), 3, True, "unread"),
        (RenderError("too loud"), 1, False, "too loud"),
        (caused(DiskError("full"), OSError(errno.ENOSPC, "full")), 4, True, "full"),
        (caused(DiskError("both"), caused(DiskError("io"), OSError(5, "io"))), 4, True, "both"),
        (caused(DiskError("lost"), DamagedFile(Path("a"), "b")), 4, True, "lost"),
        (caused(DiskError("taken"), BlockingIOError()), 4, True, "taken"),
        (DiskError("a damaged journal"), 4, False, "journal"),
        (caused(DiskError("file"), NotADirectoryError(20, "x")), 4, False, "file"),
        (caused(DiskError("there"), FileExistsError(17, "x")), 4, False, "there"),
        (caused(DiskError("folder"), IsADirectoryError(21, "x")), 4, False, "folder"),
        (NotADirectoryError(20, "Not a directory", "out"), 4, False, "out: Not a directory"),
        (MemoryError(), 1, True, "not enough memory"),
        (OSError(errno.ENOSPC, "No space left", "x.wav"), 4, True, "x.wav: No space left"),
        (ZeroDivisionError("by zero"), 1, False, "ZeroDivisionError: by zero"),
    ],
)
def test_errors_become_ends(error: Exception, code: int, passing: bool, said: str) -> None:
    end = failed(JOB, error)
    assert (end.number, end.exit_code, end.passing) == (2, code, passing)
    assert said in str(end.faults[0])


def test_an_attempt_renders_and_tells_its_figures(stage: Any) -> None:
    stage.stem("oboe.wav", stage.noise(1, 0.2))
    stage.write('[seats.oboe]\nstem = "oboe.wav"\nx = 1\ny = 2\n')
    words: list[str] = []
    job = Job(0, str(stage.scene), str(stage.out), Request(threads=1, trim_db=-2.5))
    end = attempt(job, lambda what, _: words.append(what))
    assert isinstance(end, Attempt) and end.faults == ()
    assert (end.trim_db, end.exit_code, end.tries) == (-2.5, 0, 1)
    assert 0.0 < end.seconds < 60.0
    assert {"building responses", "rendering", "writing"} <= set(words)
    assert Path(stage.out, "mix.wav").exists()


def test_an_error_of_the_program_says_where(stage: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object) -> None:
        raise KeyError("seat")

    monkeypatch.setattr("seatwright.executors.attempt.kept_render", broken)
    end = attempt(JOB, lambda *_: None)
    assert (end.exit_code, end.passing) == (1, False)
    assert end.faults[0].hint.startswith("at test_attempt.py:")


def test_an_interrupt_goes_on_to_the_caller(stage: Any) -> None:
    stage.stem("oboe.wav", stage.noise(1, 0.2))
    stage.write('[seats.oboe]\nstem = "oboe.wav"\nx = 1\ny = 2\n')

    def interrupt(_what: str, _share: float) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        attempt(Job(0, str(stage.scene), str(stage.out), Request(threads=1)), interrupt)
    assert not stage.out.exists()

"""Contents of files: read once, and again whenever anything may have changed."""

from __future__ import annotations

import hashlib
import os
import time
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from seatwright.disk import file_contents
from seatwright.disk.bounces import BounceWriter
from seatwright.disk.broadcast import Broadcast
from seatwright.disk.file_contents import StemContents, file_content
from seatwright.disk.stems import inspect_stem
from seatwright.disk.store import Store
from seatwright.errors import StemError

SAMPLES = np.linspace(-0.5, 0.5, 3000, dtype=np.float32)[:, None]


def export(path: Path, described: str, samples: Any = SAMPLES, rate: int = 48_000) -> Path:
    said = Broadcast(description=described, time_reference=0)
    with BounceWriter(path, rate, 1, "PCM_24", len(samples), said) as writer:
        writer.write(samples)
    return path


@pytest.fixture
def reads(monkeypatch: pytest.MonkeyPatch) -> list[Path]:
    """Files read from end to end."""
    done: list[Path] = []
    read = file_contents._read

    def counted(path: Path) -> Any:
        done.append(path)
        return read(path)

    monkeypatch.setattr(file_contents, "_read", counted)
    return done


def test_the_whole_file_and_its_audio_alone(tmp_path: Path) -> None:
    one = file_content(export(tmp_path / "a.wav", "monday"))
    assert one.sha256 == hashlib.sha256((tmp_path / "a.wav").read_bytes()).hexdigest()
    other = file_content(export(tmp_path / "b.wav", "tuesday, a longer word"))
    assert other.sha256 != one.sha256
    assert other.audio == one.audio
    changed = SAMPLES.copy()
    changed[1234] += 2**-23
    assert file_content(export(tmp_path / "c.wav", "monday", changed)).audio != one.audio
    text = tmp_path / "d.flac"
    text.write_bytes(b"anything")
    assert file_content(text).audio != one.audio


def test_a_settled_file_is_read_once(
    tmp_path: Path, reads: list[Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    store = Store(tmp_path / "store")
    path = export(tmp_path / "a.wav", "x")
    now = time.time()
    file_content(path, store)
    file_content(path, store)
    assert len(reads) == 2  # changed a moment ago: it may change again unseen
    monkeypatch.setattr(file_contents.time, "time", lambda: now + 10.0)
    first = file_content(path, store)
    assert file_content(path, store) == first
    assert len(reads) == 3
    monkeypatch.setattr(file_contents.time, "time", lambda: now - 3600.0)
    assert file_content(path, store) == first
    assert len(reads) == 3


def test_a_clock_that_is_behind_notes_nothing(
    tmp_path: Path, reads: list[Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    store = Store(tmp_path / "store")
    path = export(tmp_path / "a.wav", "x")
    monkeypatch.setattr(file_contents.time, "time", lambda: 1e9)
    file_content(path, store)
    file_content(path, store)
    assert len(reads) == 2


def test_same_size_and_time_but_other_audio_is_noticed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As a copy that keeps times, or a hand that sets them."""
    store = Store(tmp_path / "store")
    path = export(tmp_path / "a.wav", "x")
    status = path.stat()
    now = time.time()
    monkeypatch.setattr(file_contents.time, "time", lambda: now + 10.0)
    before = file_content(path, store)
    data = bytearray(path.read_bytes())
    data[-1] ^= 1
    path.write_bytes(data)
    os.utime(path, ns=(status.st_atime_ns, status.st_mtime_ns))
    assert path.stat().st_mtime_ns == status.st_mtime_ns
    assert file_content(path, store) != before


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="pipes of POSIX")
def test_a_pipe_or_folder_is_refused_at_once(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.wav")
    with pytest.raises(StemError, match="found a pipe or device, wanted a regular file"):
        file_content(tmp_path / "pipe.wav")
    with pytest.raises(StemError, match="Is a directory"):
        file_content(tmp_path)


def test_stems_that_change_meanwhile_are_named(tmp_path: Path) -> None:
    stems = tuple(inspect_stem(export(tmp_path / f"{name}.wav", name))[0] for name in ("a", "b"))
    with StemContents(stems, threads=2) as contents:
        assert contents.of(stems[0].path).audio == contents.of(stems[1].path).audio
        assert contents.finished().keys() == {stem.path for stem in stems}
        export(tmp_path / "b.wav", "b", SAMPLES * 0.5)
        with pytest.raises(StemError, match=r"b\.wav: changed while it was rendered"):
            contents.finished()
    (tmp_path / "a.wav").unlink()
    with pytest.raises(StemError, match=r"a\.wav: cannot be read"):
        StemContents(stems)

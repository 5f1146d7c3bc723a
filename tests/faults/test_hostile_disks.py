"""Disks that are full, closed or none at all: one line, exit 4, earlier outputs as before."""

from __future__ import annotations

import ctypes
import os
import resource
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

import pytest

import seatwright
from seatwright.cli import main
from seatwright.verify import verify


def run(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, list[str]]:
    with pytest.raises(SystemExit) as end:
        main(list(arguments))
    return int(end.value.code or 0), capsys.readouterr().err.splitlines()


@contextmanager
def largest_file(size: int) -> Iterator[None]:
    """Let the system refuse to write files beyond a size."""
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)


@pytest.mark.parametrize("size", [0, 200, 3_000, 12_000, 20_000, 40_000])
@pytest.mark.parametrize("earlier", [True, False])
def test_no_room_for_a_file(
    quick: Any, capsys: pytest.CaptureFixture[str], size: int, earlier: bool
) -> None:
    """At every stage: lock, blocks, outputs, reports."""
    if earlier:
        quick.render()
    before = quick.digests() if earlier else {}
    largest = 90_000
    with largest_file(size):
        code, lines = run(capsys, "render", "scene.toml", "--out", "out", "--trim", "-3")
    assert (code, len(lines)) == (4, 1), lines
    assert "File too large" in lines[0]
    assert (quick.digests() if quick.out.exists() else {}) == before
    assert quick.out.exists() == earlier
    with largest_file(largest):
        assert run(capsys, "render", "scene.toml", "--out", "out", "--trim", "-3")[0] == 0
    assert verify(quick.out).holds


def test_a_device_that_is_full(quick: Any, capsys: pytest.CaptureFixture[str]) -> None:
    """An output that leads to a full device is replaced, not written through."""
    quick.render()
    (quick.out / "mix.wav").unlink()
    (quick.out / "mix.wav").symlink_to("/dev/full")
    assert run(capsys, "render", "scene.toml", "--out", "out")[0] == 0
    assert verify(quick.out).holds and not (quick.out / "mix.wav").is_symlink()


def _without_rights() -> None:
    """In a child: what root may do beyond permissions (CAP_DAC_OVERRIDE and its kin) goes."""
    with suppress(OSError, AttributeError):
        library = ctypes.CDLL(None)
        for right in (1, 2, 3):
            library.prctl(24, right, 0, 0, 0)  # PR_CAPBSET_DROP


def child(stage: Any, *arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "seatwright", *arguments],
        cwd=stage.folder,
        capture_output=True,
        text=True,
        timeout=120,
        preexec_fn=_without_rights,
        env={**os.environ, "PYTHONPATH": str(Path(seatwright.__file__).parents[1])},
    )


@pytest.mark.parametrize("closed", ["out", "out/sections"])
def test_a_folder_that_may_not_be_written(quick: Any, closed: str) -> None:
    quick.render()
    before = quick.digests()
    (quick.folder / closed).chmod(0o555)
    try:
        done = child(quick, "render", "scene.toml", "--out", "out", "--trim", "-3")
        if not done.returncode:
            pytest.skip("this user may write everywhere")
        (line,) = done.stderr.splitlines()
        assert done.returncode == 4
        assert line.startswith(f"seatwright: {closed}") and "Permission denied" in line
        assert quick.digests() == before
        assert verify(quick.out).holds
    finally:
        (quick.folder / closed).chmod(0o755)


def test_an_output_that_may_not_be_read_cannot_be_verified(quick: Any) -> None:
    quick.render()
    (quick.out / "report.json").chmod(0)
    done = child(quick, "verify", "out")
    if not done.returncode:
        pytest.skip("this user may read everything")
    (line,) = done.stderr.splitlines()
    assert done.returncode == 4
    assert line == "seatwright: out/report.json: cannot be read: Permission denied"


@pytest.mark.parametrize("what", ["pipe", "device", "folder"])
def test_a_stem_that_is_no_file_never_blocks(
    quick: Any, capsys: pytest.CaptureFixture[str], what: str
) -> None:
    stem = quick.folder / "oboe.wav"
    stem.unlink()
    if what == "pipe":
        os.mkfifo(stem)
    elif what == "device":
        stem.symlink_to("/dev/zero")
    else:
        stem.mkdir()
    arguments = ["render", "scene.toml", "--out", "out"]
    code, lines = run(capsys, *arguments, *(["--allow-outside"] if what == "device" else []))
    assert (code, len(lines)) == (3, 1), lines
    assert "seats.oboe.stem" in lines[0]
    assert "found a folder" in lines[0] or "found a pipe or device" in lines[0]
    assert not quick.out.exists()

"""Cues on a real scheduler with real workers, which die."""

from __future__ import annotations

import importlib.util
import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

import seatwright
from seatwright.errors import RenderError, SceneError
from seatwright.executors.attempt import Job
from seatwright.executors.cluster import Cluster
from seatwright.stage.request import Request

pytestmark = [
    pytest.mark.skipif(
        importlib.util.find_spec("distributed") is None, reason="distributed is not installed"
    ),
    pytest.mark.skipif(sys.platform == "win32", reason="signals of POSIX"),
]


class Dask:
    """A scheduler and its workers, as a user starts them, on this machine only."""

    def __init__(self, folder: Path):
        self.folder = folder
        self.facts = folder / "scheduler.json"
        self.processes: list[subprocess.Popen[bytes]] = []
        self._start("dask_scheduler", "--host", "127.0.0.1", "--port", "0", "--no-dashboard")
        while not self.facts.exists():
            time.sleep(0.02)

    @property
    def address(self) -> str:
        return str(json.loads(self.facts.read_text(encoding="utf-8"))["address"])

    def worker(self, name: str) -> None:
        self._start(
            "dask_worker", "--no-nanny", "--nthreads", "1", "--no-dashboard", "--name", name,
            "--local-directory", str(self.folder), "--host", "127.0.0.1",
        )  # fmt: skip

    def _start(self, program: str, *arguments: str) -> None:
        source = str(Path(seatwright.__file__).parents[1])
        self.processes.append(
            subprocess.Popen(
                [
                    sys.executable,
                    "-m",
                    f"distributed.cli.{program}",
                    "--scheduler-file",
                    str(self.facts),
                    *arguments,
                ],
                cwd=self.folder,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
                env={**os.environ, "PYTHONPATH": source},
            )
        )

    def close(self) -> None:
        for process in reversed(self.processes):
            process.kill()
            process.wait()


@pytest.fixture(scope="module")
def dask(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Dask]:
    """With two workers at first; each test that kills one starts another."""
    made = Dask(tmp_path_factory.mktemp("dask"))
    try:
        made.worker("first")
        made.worker("second")
        yield made
    finally:
        made.close()


def told(child: subprocess.Popen[str]) -> tuple[int, list[dict[str, Any]], str]:
    """Exit code, the cues as they are told, and standard error."""
    out, err = child.communicate(timeout=120)
    assert "Traceback" not in err and "distributed" not in err
    return child.returncode, json.loads(out)["cues"], err


def audio(files: dict[str, str]) -> dict[str, str]:
    """Reports name the scene's path, which is absolute on a cluster; sound is the same."""
    return {file: digest for file, digest in files.items() if file.endswith(".wav")}


def test_a_worker_that_dies_costs_one_more_try_and_no_bit(
    score: Any, dask: Dask, killer: Callable[[Path, int], Any]
) -> None:
    (score.folder / "bad.toml").write_text("stems = 3\n")
    before = score.stems()
    killed = killer(score.folder / "once" / "long", 1)
    scenes = ["long.toml", "a.toml", "bad.toml", "b.toml", "c.toml"]
    child = score.command(*scenes, "--scheduler", dask.address, "--out", "once", "--json")
    code, cues, err = told(child)
    assert code == 2
    assert [cue["state"] for cue in cues] == ["done", "done", "failed", "done", "done"]
    assert [cue["tries"] for cue in cues] == [2, 1, 0, 1, 1] or cues[1]["tries"] == 2
    assert len(killed.killed) == 1
    assert killed.killed[0] in [process.pid for process in dask.processes[1:]]
    assert "bad.toml" in err.splitlines()[0]
    assert audio(score.files("once")) == audio(score.files("alone"))
    assert score.stems() == before


def test_a_cue_that_takes_two_workers_along_is_given_up(
    score: Any, dask: Dask, killer: Callable[[Path, int], Any]
) -> None:
    dask.worker("third")
    dask.worker("fourth")
    killed = killer(score.folder / "twice" / "long", 2)
    child = score.command(
        "long.toml", "a.toml", "--scheduler", dask.address, "--out", "twice", "--json"
    )
    code, (failed, other), _ = told(child)
    assert len(killed.killed) == 2
    assert (code, failed["state"], failed["tries"]) == (1, "failed", 2)
    (fault,) = failed["faults"]
    assert fault["file"] == str(score.folder / "long.toml")
    assert "the process that rendered this scene died" in fault["what"]
    assert ", then " in fault["hint"]
    assert other["state"] == "done"
    assert audio(score.files("twice/a")) == audio(score.files("alone/a"))


def test_an_interrupt_takes_back_what_workers_are_at(
    score: Any, dask: Dask, wait_for_render: Callable[[Path], int]
) -> None:
    dask.worker("fifth")
    score.add("longest", 60.0, 48_000)
    child = score.command("longest.toml", "--scheduler", dask.address, "--out", "interrupted")
    worker = wait_for_render(score.folder / "interrupted" / "longest")
    child.send_signal(signal.SIGINT)
    out, err = child.communicate(timeout=120)
    assert (child.returncode, out) == (130, "")
    assert err == "seatwright: interrupted, no output is half written\n"
    assert not any((score.folder / "interrupted").glob("*"))
    os.kill(worker, 0)  # the worker is still there for others


def test_a_worker_that_sees_no_scene_says_so_by_its_name(score: Any, dask: Dask) -> None:
    job = Job(0, str(score.folder / "elsewhere.toml"), str(score.folder / "none"), Request())
    ends = []
    Cluster(dask.address).run([job], lambda *_: None, lambda end: bool(ends.append(end)))
    (end,) = ends
    (fault,) = end.faults
    assert (end.exit_code, end.passing) == (2, False)
    assert fault.what == "found no such file, wanted a scene"
    assert "on worker " in fault.hint and "tcp://127.0.0.1" in fault.hint


@pytest.mark.parametrize("address", ["", "here", "tcp://", "foo://127.0.0.1:8786", "a b:1"])
def test_what_is_no_address_is_refused(address: str) -> None:
    with pytest.raises(SceneError, match="wanted the address of a scheduler"):
        Cluster(address)


@pytest.mark.parametrize("port", [0, 65536, 99999])
def test_a_port_that_cannot_be_is_refused_at_once(port: int) -> None:
    with pytest.raises(SceneError, match=f"found port {port} in .*, wanted 1 to 65535"):
        Cluster(f"tcp://127.0.0.1:{port}")
    Cluster("tcp://127.0.0.1:65535")


def test_a_scheduler_that_is_not_there_is_told(score: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("seatwright.executors.cluster._CONNECT_SECONDS", 1)
    job = Job(0, "scene.toml", "out", Request())
    with pytest.raises(RenderError, match=r"found no scheduler at tcp://127\.0\.0\.1:1 within 1 s"):
        Cluster("tcp://127.0.0.1:1").run([job], lambda *_: None, lambda _: False)


def test_no_worker_at_all_is_told(
    score: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("seatwright.executors.cluster._ALONE_SECONDS", 0.5)
    monkeypatch.setattr("seatwright.executors.cluster._LOOK_SECONDS", 0.3)
    lonely = Dask(tmp_path)
    try:
        rows, _ = score.render(Cluster(lonely.address), "lonely", "a", "b")
    finally:
        lonely.close()
    assert [(row.state, row.exit_code, row.tries) for row in rows] == [("failed", 1, 1)] * 2
    assert "found no worker at the scheduler" in rows[1].faults[0].what
    assert not (score.folder / "lonely").exists()


def test_without_the_package_the_way_to_it_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(SceneError, match="pip install distributed"):
        Cluster("tcp://127.0.0.1:8786")

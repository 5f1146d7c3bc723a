"""The least of what machine, control groups and the process's own limit leave."""

from __future__ import annotations

import resource
from pathlib import Path

import pytest

import seatwright.disk.free_memory as module
from seatwright.disk.free_memory import free_memory


@pytest.fixture
def system(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Files like those of a system with 8 GB available."""
    for name, text in {
        "proc/meminfo": "MemTotal:       16000000 kB\nMemAvailable:    8000000 kB\n",
        "proc/self/status": "Name:\tpython\nVmSize:\t  100000 kB\n",
        "proc/self/cgroup": "0::/user/session\n",
    }.items():
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_text(text)
    monkeypatch.setattr(module, "_PROC", tmp_path / "proc")
    monkeypatch.setattr(module, "_GROUPS", tmp_path / "groups")
    return tmp_path


def group(system: Path, name: str, files: dict[str, str]) -> None:
    folder = system / "groups" / name
    folder.mkdir(parents=True, exist_ok=True)
    for file, text in files.items():
        (folder / file).write_text(text)


def test_the_machine_alone(system: Path) -> None:
    assert free_memory() == 8_000_000 * 1024


def test_a_group_that_leaves_less_counts_without_what_it_can_let_go(system: Path) -> None:
    group(system, "user/session", {"memory.max": "max\n", "memory.current": "5\n"})
    assert free_memory() == 8_000_000 * 1024
    files = {"memory.max": "3000\n", "memory.current": "1000\n"}
    group(system, "user", {**files, "memory.stat": "anon 3\ninactive_file 400\n"})
    assert free_memory() == 2_400
    group(system, "", {"memory.max": "700\n", "memory.current": "900\n"})
    assert free_memory() == 0


def test_groups_of_the_first_version(system: Path) -> None:
    (system / "proc/self/cgroup").write_text("5:cpu,cpuacct:/a\n4:memory:/jobs/one\n0::/\n")
    files = {"memory.limit_in_bytes": "9000\n", "memory.usage_in_bytes": "2000\n"}
    group(system, "memory/jobs/one", {**files, "memory.stat": "total_inactive_file 10\n"})
    assert free_memory() == 7_010


def test_the_limit_of_the_process(system: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(resource, "getrlimit", lambda _: (150_000 * 1024, -1))
    assert free_memory() == 50_000 * 1024


def test_a_system_that_tells_nothing(system: Path) -> None:
    for file in ("meminfo", "self/status", "self/cgroup"):
        (system / "proc" / file).unlink()
    assert free_memory() is None


def test_this_system() -> None:
    found = free_memory()
    assert found is None or 10**7 < found < 10**14

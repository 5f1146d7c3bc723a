"""Scene edits: only into the file that was read, only what was wanted, nothing lost."""

from __future__ import annotations

import os
import stat
import threading
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from seatwright.disk.scene_edits import ChangedMeanwhile, scene_with_edits, write_edits
from seatwright.disk.scene_file import ReadScene, read_scene
from seatwright.errors import DiskError, SceneError
from seatwright.stage.moves import balanced, leaf_changes, moved, turned
from seatwright.stage.scene import Scene

SCENES = Path(__file__).parents[2] / "scenes"
TEXT = """# Ours
stems = "."

[seats.oboe] # first
stem = "oboe.wav"
bearing = -10 # left
distance = 5

[seats.horn]
stem = "horn.wav"
x = 1
y = 6
"""


@pytest.fixture
def read(tmp_path: Path) -> ReadScene:
    path = tmp_path / "scene.toml"
    path.write_text(TEXT, encoding="utf-8")
    return read_scene(path)


def test_a_move_is_written_and_read_back(read: ReadScene) -> None:
    new = moved(read.scene, None, "oboe", 1.0, 4.0)
    digest = write_edits(read.path, read.content_hash, read.scene, new)
    assert read.path.read_text(encoding="utf-8") == TEXT.replace(
        "bearing = -10 # left\ndistance = 5", "bearing = 14 # left\ndistance = 4.12"
    )
    again = read_scene(read.path)
    assert again.content_hash == digest
    assert again.scene == new


def test_a_file_that_was_changed_is_left_alone(read: ReadScene) -> None:
    theirs = TEXT.replace("distance = 5", "distance = 6")
    read.path.write_text(theirs, encoding="utf-8")
    with pytest.raises(ChangedMeanwhile, match="changed since it was read"):
        write_edits(read.path, read.content_hash, read.scene, moved(read.scene, None, "oboe", 1, 4))
    assert read.path.read_text(encoding="utf-8") == theirs


def test_of_two_writers_at_once_one_is_refused(read: ReadScene) -> None:
    """Many rounds of two threads that wait for one another: never do both write."""
    for number in range(10):
        places = (2.0 + number / 10, -2.0 - number / 10)
        outcomes = both_write(read_scene(read.path), places)
        (written_x,) = [x for x in outcomes if x is not None]
        assert read_scene(read.path).scene.seats["horn"].x == written_x


def both_write(read: ReadScene, places: tuple[float, float]) -> list[float | None]:
    """What each of two threads has written; None where it was refused."""
    gate = threading.Barrier(2)

    def write(x: float) -> float | None:
        new = moved(read.scene, None, "horn", x, 7.0)
        gate.wait()
        try:
            write_edits(read.path, read.content_hash, read.scene, new)
        except ChangedMeanwhile:
            return None
        return x

    with ThreadPoolExecutor(2) as pool:
        return list(pool.map(write, places))


def test_a_scene_with_faults_is_not_written(read: ReadScene) -> None:
    before = read.path.read_bytes()
    with pytest.raises(SceneError, match="outside the hall"):
        write_edits(
            read.path, read.content_hash, read.scene, moved(read.scene, None, "horn", 90, 6)
        )
    assert read.path.read_bytes() == before


def test_a_text_that_would_mean_something_else_is_not_written(read: ReadScene) -> None:
    wanted = moved(read.scene, None, "horn", 2.0, 6.0)
    changes = {("seats", "horn", "x"): 3.0}
    with pytest.raises(SceneError, match="does not take the change"):
        scene_with_edits(read.path, read.path.read_bytes(), changes, wanted)


def test_a_link_and_permissions_stay(read: ReadScene, tmp_path: Path) -> None:
    link = tmp_path / "link.toml"
    link.symlink_to(read.path.name)
    read.path.chmod(0o640)
    linked = read_scene(link)
    write_edits(link, linked.content_hash, linked.scene, moved(linked.scene, None, "horn", 2, 6))
    assert link.is_symlink()
    assert stat.S_IMODE(read.path.stat().st_mode) == 0o640
    assert read_scene(read.path).scene.seats["horn"].x == 2.0


@pytest.mark.parametrize("how", ["mode", "access", "link"])
def test_a_read_only_file_is_left_alone(
    read: ReadScene, monkeypatch: pytest.MonkeyPatch, how: str
) -> None:
    path = read.path
    if how == "access":  # as another user's file
        monkeypatch.setattr(os, "access", lambda _path, mode: mode != os.W_OK)
    else:
        path.chmod(0o444)
    if how == "link":
        path = read.path.with_name("link.toml")
        path.symlink_to(read.path.name)
    before = read.path.stat()
    with pytest.raises(DiskError, match="read-only; nothing was written"):
        write_edits(path, read.content_hash, read.scene, moved(read.scene, None, "horn", 2, 6))
    assert read.path.read_text(encoding="utf-8") == TEXT
    assert read.path.stat().st_ino == before.st_ino


def test_a_disk_that_refuses_leaves_the_file(
    read: ReadScene, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(_handle: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(DiskError, match="No space left"):
        write_edits(read.path, read.content_hash, read.scene, moved(read.scene, None, "horn", 2, 6))
    assert read.path.read_text(encoding="utf-8") == TEXT
    assert [path.name for path in read.path.parent.iterdir()] == ["scene.toml"]


def test_nothing_to_write_writes_nothing(read: ReadScene) -> None:
    before = read.path.stat()
    write_edits(read.path, read.content_hash, read.scene, read.scene)
    assert read.path.stat() == before


HANDS = st.lists(
    st.tuples(
        st.integers(0, 100),
        st.integers(0, 100),
        st.floats(-5, 5),
        st.floats(4, 10),
        st.sampled_from(["move", "turn", "balance"]),
    ),
    min_size=1,
    max_size=6,
)


@settings(suppress_health_check=[HealthCheck.too_slow], deadline=None, max_examples=40)
@given(st.sampled_from(["ferry", "every_key", "smallest"]), HANDS, st.booleans())
def test_any_work_on_a_scene_can_be_written_and_taken_back(
    name: str, hands: list[tuple[int, int, float, float, str]], windows: bool
) -> None:
    """Comments stay in their order, the text reads as what was wanted, and back again."""
    read = read_scene(SCENES / f"{name}.toml")
    data = (SCENES / f"{name}.toml").read_bytes()
    data = data.replace(b"\n", b"\r\n") if windows else data
    new = worked_on(read.scene, hands)
    text = scene_with_edits(read.path, data, leaf_changes(read.scene, new), new)
    assert comments(text) == comments(data)
    back = scene_with_edits(read.path, text, leaf_changes(new, read.scene), read.scene)
    assert comments(back) == comments(data)
    headers = [line for line in data.splitlines() if line.startswith(b"[")]
    assert [line for line in text.splitlines() if line in headers] == headers


def worked_on(scene: Scene, hands: list[tuple[int, int, float, float, str]]) -> Scene:
    placed = [one for one, seat in scene.seats.items() if scene.treatment_of(seat) != "untouched"]
    seatings = [None, *scene.seatings]
    for number, where, x, y, what in hands:
        seat, seating = placed[number % len(placed)], seatings[where % len(seatings)]
        if what == "move":
            scene = moved(scene, seating, seat, x, y)
        elif what == "turn":
            scene = turned(scene, seating, seat, 30 * x)
        else:
            levels = {"tree": round(x, 1), "close": -y} if number % 2 else {"tree": x}
            scene = balanced(scene, scene.seats[seat].section_name, levels)
    return scene


def comments(data: bytes) -> list[bytes]:
    return [line.partition(b"#")[2].strip() for line in data.splitlines() if b"#" in line]

"""What a newer state of a scene's files has beyond the one that was rendered."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from seatwright.disk.scene_file import read_scene
from seatwright.disk.watching import states_of, watched_files
from seatwright.rendered_scene import SceneState, changes_between, is_same, rendered_contents


def state(stage: Any, contents: dict[Path, str]) -> SceneState:
    read = read_scene(stage.scene)
    files = watched_files(read)
    heard = tuple(read.scene.seats)
    return SceneState(read.scene, heard, states_of(files.inputs), contents)


@pytest.fixture
def choir(stage: Any) -> Any:
    seats = ""
    for number in range(5):
        stage.stem(f"{number}.wav", stage.noise(number, 0.1))
        seats += f'[seats.s{number}]\nstem = "{number}.wav"\nx = {number - 2}\ny = 2.5\n'
    stage.write(seats)
    return stage


def test_contents_are_those_the_report_names(choir: Any) -> None:
    report = choir.render()
    files = watched_files(read_scene(choir.scene))
    before = state(choir, rendered_contents(files, report))
    assert sorted(before.contents.values()) == sorted(row.sha256 for row in report.stems)
    assert is_same(before, state(choir, {}), files)
    choir.stem("2.wav", choir.noise(2, 0.1))  # written again, the same
    assert is_same(before, state(choir, {}), files)
    choir.stem("2.wav", choir.noise(9, 0.1))
    assert not is_same(before, state(choir, {}), files)


def test_a_stem_that_is_gone_is_not_the_same(choir: Any) -> None:
    files = watched_files(read_scene(choir.scene))
    before = state(choir, rendered_contents(files, choir.render()))
    (choir.folder / "2.wav").unlink()
    now = watched_files(read_scene(choir.scene))
    assert not is_same(before, state(choir, {}), now)


def test_many_exports_are_counted_and_a_move_comes_first(choir: Any) -> None:
    paths = watched_files(read_scene(choir.scene)).stems
    before = state(choir, dict.fromkeys(paths, "old"))
    choir.scene.write_text(choir.scene.read_text().replace("x = 2\n", "x = 2.5\n"))
    now = state(choir, dict.fromkeys(paths, "new"))
    moved, files = changes_between(before, now)
    assert moved.startswith("s4 moved 0.5 m")
    assert files == "0.wav, 1.wav and 3 more files exported anew"


def test_a_head_of_its_own_is_hashed_too(choir: Any) -> None:
    head = choir.folder / "mine.sofa"
    head.write_bytes(b"one")
    report = choir.render()
    files = watched_files(read_scene(choir.scene))
    with_head = type(files)(files.scene, files.stems, head, files.folders)
    contents = rendered_contents(with_head, report)
    before = SceneState(state(choir, {}).scene, (), {}, contents)
    now = SceneState(before.scene, (), states_of(with_head.inputs))
    assert is_same(before, now, with_head)
    head.write_bytes(b"two")
    assert not is_same(before, now, with_head)
    assert changes_between(before, SceneState(before.scene, (), {}, {head: "new"})) == (
        "mine.sofa replaced",
    )

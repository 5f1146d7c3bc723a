"""What a scene reads, whether it is whole, and being woken when it changes."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Any

import pytest

from seatwright.disk.scene_file import read_scene
from seatwright.disk.watching import Notices, WatchedFiles, state_of, states_of, watched_files

SEATS = """
[seats.oboe]
stem = "winds/oboe.wav"
x = 1
y = 2
[seats.violas]
stem = ["violas.wav", "gone.wav"]
x = -1
y = 2
"""


@pytest.fixture
def made(stage: Any) -> Any:
    (stage.folder / "winds").mkdir()
    for name in ("winds/oboe.wav", "violas.wav", "idle.wav"):
        stage.stem(name, stage.noise(1, 0.1))
    stage.write(SEATS)
    return stage


def names(paths: tuple[Path, ...], folder: Path) -> set[str]:
    return {str(path.relative_to(folder)) for path in paths}


def test_a_scene_reads_itself_and_the_stems_that_are_there(made: Any) -> None:
    files = watched_files(read_scene(made.scene))
    assert names(files.inputs, made.folder) == {"scene.toml", "winds/oboe.wav", "violas.wav"}
    assert names(files.folders, made.folder) == {".", "winds"}
    assert files.head is None


def test_a_head_is_watched_even_while_it_is_missing(made: Any) -> None:
    made.write(SEATS, hall='[microphones.head]\nmodel = "mine.sofa"\n')
    files = watched_files(read_scene(made.scene))
    assert files.head == made.folder / "mine.sofa"
    assert files.inputs[-1] == files.head


def test_what_an_earlier_scene_read_may_come_back(made: Any) -> None:
    earlier = watched_files(read_scene(made.scene))
    later = WatchedFiles(made.scene).also(earlier)
    assert (later.inputs, later.folders) == (earlier.inputs, earlier.folders)


def test_a_stem_is_finished_when_its_header_holds(made: Any) -> None:
    files = watched_files(read_scene(made.scene))
    path = made.folder / "violas.wav"
    assert files.is_finished(path)
    path.write_bytes(path.read_bytes()[:-300])
    assert not files.is_finished(path)


def test_an_empty_scene_is_not_finished(made: Any) -> None:
    files = watched_files(read_scene(made.scene))
    assert files.is_finished(made.scene)
    made.scene.write_text("")
    assert not files.is_finished(made.scene)
    made.scene.unlink()
    assert files.is_finished(made.scene)


def test_a_scene_is_waited_for_less_long_than_a_stem(made: Any) -> None:
    files = watched_files(read_scene(made.scene))
    assert files.patience(made.scene, 0.7).still < files.patience(files.stems[0], 0.7).still == 0.7
    assert files.patience(files.stems[0], 30.0).longest == 30.0


def test_a_state_tells_a_replaced_file_of_the_same_size(made: Any) -> None:
    before = states_of([made.scene])
    new = made.folder / "new"
    new.write_bytes(made.scene.read_bytes())
    new.replace(made.scene)
    assert states_of([made.scene]) != before
    assert state_of(made.folder / "nothing") == ()


def woken_within(notices: Notices, seconds: float) -> bool:
    begin = time.monotonic()
    notices.wait(seconds)
    return time.monotonic() - begin < 0.9 * seconds


def test_notices_wake_for_a_save_and_for_a_folder_that_came_back(made: Any) -> None:
    oboe = made.folder / "winds" / "oboe.wav"
    with Notices() as notices:
        notices.follow([made.scene, oboe])
        time.sleep(0.3)  # until the system listens
        notices.wait(0.01)
        made.scene.touch()
        assert woken_within(notices, 1.9)
        (made.folder / "winds").rename(made.folder / "away")
        assert woken_within(notices, 1.9)
        (made.folder / "winds").mkdir()
        notices.follow([made.scene, oboe])
        time.sleep(0.3)
        notices.wait(0.01)
        made.stem("winds/oboe.wav", made.noise(2, 0.1))
        assert woken_within(notices, 1.9)
        assert notices.doubt == ""


def test_polling_asks_the_system_for_nothing(made: Any) -> None:
    with Notices(poll=True) as notices:
        notices.follow([made.scene])
        made.scene.touch()
        begin = time.monotonic()
        notices.wait(60.0)
        assert 0.4 < time.monotonic() - begin < 5.0


def test_without_notices_it_polls_and_says_why(made: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_folders: str, **_options: Any) -> Any:
        raise OSError("limit of watches reached")

    monkeypatch.setattr("watchfiles.watch", refuse)
    with Notices() as notices:
        notices.follow([made.scene])
        notices.wait(1.9)
        assert notices.doubt == "limit of watches reached"
        assert notices.idle_seconds == 0.5

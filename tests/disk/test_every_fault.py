"""A scene and its stems: all faults of both at once, nothing opened that may not be."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile

from seatwright.disk.every_fault import read_and_cast
from seatwright.disk.heads import shipped_head
from seatwright.errors import SceneError, StemError


def sound(path: Path, frames: int = 4_800, value: float = 0.1) -> None:
    samples = np.full((frames, 1), value, dtype=np.float32)
    soundfile.write(path, samples, 48_000, "FLOAT")


def scene(folder: Path, *stems: str, extra: str = "", head: str = "") -> Path:
    seats = "".join(
        f'[seats.s{n}]\nstem = "{stem}"\nx = {n}\ny = 4\n' for n, stem in enumerate(stems)
    )
    path = folder / "scene.toml"
    path.write_text(f"{head}\n{seats}{extra}", encoding="utf-8")
    return path


def told(error: pytest.ExceptionInfo[SceneError] | pytest.ExceptionInfo[StemError]) -> list[str]:
    return [f"{Path(fault.file).name} {fault.what}" for fault in error.value.faults]


def test_a_right_scene_is_read_and_cast(tmp_path: Path) -> None:
    sound(tmp_path / "a.wav")
    read, cast, head = read_and_cast(scene(tmp_path, "a.wav"))
    assert head is shipped_head()
    assert list(read.scene.seats) == list(cast.seats) == ["s0"]
    assert cast.rate == 48_000


def test_faults_of_the_scene_and_of_its_stems_come_together(tmp_path: Path) -> None:
    """A wrong key, a missing stem, a broken one, and a NaN: four, each once, in one run."""
    sound(tmp_path / "nan.wav", value=float("nan"))
    (tmp_path / "text.wav").write_text("no audio at all")
    path = scene(tmp_path, "nan.wav", "text.wav", "gone.wav", extra="bearin = 3\n")
    with pytest.raises(SceneError) as error:
        read_and_cast(path)
    faults = told(error)
    assert len(faults) == 4
    for part in ("bearin", 'no file "gone.wav"', "text.wav", "nan.wav"):
        assert sum(part in f"{text} {fault.key}" for text, fault in
                   zip(faults, error.value.faults, strict=True)) == 1  # fmt: skip
    missing = next(fault for fault in error.value.faults if "gone.wav" in fault.what)
    assert (missing.file, missing.key, missing.line) == (str(path), "seats.s2.stem", 11)


def test_a_missing_stem_hides_no_broken_one(tmp_path: Path) -> None:
    (tmp_path / "text.wav").write_text("no audio at all")
    sound(tmp_path / "two.L.wav")
    sound(tmp_path / "two.R.wav", 2_400)
    with pytest.raises(StemError) as error:
        read_and_cast(scene(tmp_path, "gone.wav", "text.wav", "two.wav"))
    faults = told(error)
    assert len(faults) == 3
    assert "gone.wav" in faults[0] and "text.wav" in faults[1]
    assert "4800 frames" in faults[2] and "2400" in faults[2]


def test_nothing_outside_the_folder_is_opened(tmp_path: Path) -> None:
    """The scene's own fault stands; the file outside, though broken, has no fault told."""
    inside = tmp_path / "inside"
    inside.mkdir()
    (tmp_path / "outer.wav").write_text("no audio at all")
    (inside / "linked.wav").symlink_to(tmp_path / "outer.wav")
    for stem in ("../outer.wav", str(tmp_path / "outer.wav"), "linked.wav"):
        with pytest.raises(SceneError) as error:
            read_and_cast(scene(inside, stem, extra="bearin = 3\n"))
        assert [fault.file for fault in error.value.faults] == [str(inside / "scene.toml")] * 2
    with pytest.raises(SceneError) as error:
        read_and_cast(scene(inside, "linked.wav", extra="bearin = 3\n"), allow_outside=True)
    assert any(fault.what.startswith("linked.wav: ") for fault in error.value.faults)


@pytest.mark.parametrize("text", ["seats = 3", "stems = 4\n[seats.a]\nstem = 5", "= =", "\0"])
def test_a_scene_that_names_no_stems_has_its_own_faults_alone(tmp_path: Path, text: str) -> None:
    path = tmp_path / "scene.toml"
    path.write_text(text)
    with pytest.raises(SceneError) as error:
        read_and_cast(path)
    assert {fault.file for fault in error.value.faults} == {str(path)}


def test_no_scene_no_stems(tmp_path: Path) -> None:
    with pytest.raises(SceneError, match="found no such file"):
        read_and_cast(tmp_path / "gone.toml")


def test_truncated_stems_are_allowed_on_request(tmp_path: Path) -> None:
    sound(tmp_path / "a.wav")
    (tmp_path / "a.wav").write_bytes((tmp_path / "a.wav").read_bytes()[:-999])
    path = scene(tmp_path, "a.wav")
    with pytest.raises(StemError):
        read_and_cast(path)
    assert read_and_cast(path, allow_truncated=True)[1].frames < 4_800


HEAD = '[microphones.head]\nmodel = "mine.sofa"'


def test_a_broken_head_hides_no_stem(tmp_path: Path) -> None:
    """Scene right, head and stem not: one run, the scene's fault decides on the kind."""
    (tmp_path / "mine.sofa").write_text("no measurement")
    with pytest.raises(SceneError) as error:
        read_and_cast(scene(tmp_path, "gone.wav", head=HEAD))
    head, stem = error.value.faults
    assert (head.file, head.line, head.key) == (
        str(tmp_path / "scene.toml"), 2, "microphones.head.model"
    )  # fmt: skip
    assert head.what.startswith("mine.sofa: found ")
    assert 'no file "gone.wav"' in stem.what


def test_a_broken_head_is_told_with_the_faults_of_the_scene(tmp_path: Path) -> None:
    (tmp_path / "mine.sofa").write_text("no measurement")
    with pytest.raises(SceneError) as error:
        read_and_cast(scene(tmp_path, "gone.wav", extra="bearin = 3\n", head=HEAD))
    keys = [fault.key for fault in error.value.faults]
    assert keys == ["seats.s0.bearin", "microphones.head.model", "seats.s0.stem"]
    outside = HEAD.replace("mine", "../mine")
    with pytest.raises(SceneError, match="--allow-outside") as error:
        read_and_cast(scene(tmp_path, "gone.wav", extra="bearin = 3\n", head=outside))
    assert len(error.value.faults) == 3


@pytest.mark.parametrize(
    ("model", "says"),
    [(r"\u0000.sofa", "control characters"), (f"{'a' * 300}.sofa", "no such file")],
)
def test_a_head_whose_path_no_system_could_hold_is_one_fault(
    tmp_path: Path, model: str, says: str
) -> None:
    sound(tmp_path / "a.wav")
    head = f'weather = 1\n[microphones.head]\nmodel = "{model}"'
    with pytest.raises(SceneError) as error:
        read_and_cast(scene(tmp_path, "a.wav", head=head))
    (of_the_key, of_the_head) = error.value.faults
    assert of_the_key.key == "weather"
    assert says in of_the_head.what and of_the_head.key == "microphones.head.model"

"""Paths of stems: which files a name stands for, and what is refused rather than guessed."""

from __future__ import annotations

import os
import unicodedata
from pathlib import Path

import pytest

from seatwright.disk.scene_file import StemFiles, read_scene, stem_files
from seatwright.errors import Fault, StemError


def scene_of(folder: Path, *stems: str, files: str = "") -> Path:
    """A scene with a seat a, b, ... for each TOML value of `stem`, and the files it may find."""
    for name in files.split():
        (folder / name).parent.mkdir(exist_ok=True)
        (folder / name).touch()
    seats = [
        f"[seats.{letter}]\nstem = {stem}\nx = {number - 4}\ny = 5\n"
        for number, (letter, stem) in enumerate(zip("abcdef", stems, strict=False))
    ]
    path = folder / "scene.toml"
    path.write_text("".join(seats), encoding="utf-8")
    return path


def found(folder: Path, *stems: str, files: str = "") -> dict[str, list[list[str]]]:
    result = stem_files(read_scene(scene_of(folder, *stems, files=files)))
    return {
        seat: [[str(path.relative_to(folder)) for path in stem.paths] for stem in stems]
        for seat, stems in result.items()
    }


def faults(folder: Path, *stems: str, files: str = "") -> tuple[Fault, ...]:
    read = read_scene(scene_of(folder, *stems, files=files))
    with pytest.raises(StemError) as raised:
        stem_files(read)
    assert raised.value.exit_code == 3
    assert all(fault.file == str(read.path) and fault.line for fault in raised.value.faults)
    return raised.value.faults


def test_one_file(tmp_path: Path) -> None:
    read = read_scene(scene_of(tmp_path, '"winds/oboe.wav"', files="winds/oboe.wav"))
    path = tmp_path / "winds" / "oboe.wav"
    assert stem_files(read) == {"a": (StemFiles((path,), "oboe.wav"),)}


@pytest.mark.parametrize("ending", ["wav", "flac", "aif", "aiff", "rf64", "w64", "WAV"])
def test_ending_may_be_left_out(tmp_path: Path, ending: str) -> None:
    files = f"oboe.{ending} oboe.txt oboe2.wav"
    assert found(tmp_path, '"oboe"', files=files) == {"a": [[f"oboe.{ending}"]]}


def test_dots_in_a_name_are_no_ending(tmp_path: Path) -> None:
    (tmp_path / "vln. 1.wav").touch()
    assert found(tmp_path, '"vln. 1"') == {"a": [["vln. 1.wav"]]}


def test_folder_of_the_same_name_is_no_stem(tmp_path: Path) -> None:
    assert found(tmp_path, '"oboe"', files="oboe/take.wav oboe.wav") == {"a": [["oboe.wav"]]}


def test_ending_is_not_guessed_between_two(tmp_path: Path) -> None:
    (fault,) = faults(tmp_path, '"oboe"', files="oboe.wav oboe.flac")
    assert fault.what == "found oboe.flac and oboe.wav, wanted one"
    assert (fault.key, fault.line) == ("seats.a.stem", 2)


@pytest.mark.parametrize("mark", [".", "_", "-"])
@pytest.mark.parametrize("listed", ["{L}, {R}", "{R}, {L}", "{L}", "{R}"])
def test_left_and_right_of_one_seat_are_one_stem(tmp_path: Path, mark: str, listed: str) -> None:
    left, right = f"violas{mark}L.wav", f"violas{mark}R.wav"
    stems = listed.format(L=f'"{left}"', R=f'"{right}"')
    read = read_scene(scene_of(tmp_path, f"[{stems}]", files=f"{left} {right}"))
    paths = (tmp_path / left, tmp_path / right)
    assert stem_files(read) == {"a": (StemFiles(paths, f"{left} + {right}"),)}


def test_list_holds_pairs_and_single_files_in_order(tmp_path: Path) -> None:
    stems = '["x.L.wav", "solo.wav", "y_R.wav", "x.R.wav", "y_L.wav"]'
    files = "x.L.wav x.R.wav solo.wav y_L.wav y_R.wav"
    assert found(tmp_path, stems, files=files) == {
        "a": [["x.L.wav", "x.R.wav"], ["solo.wav"], ["y_L.wav", "y_R.wav"]]
    }


@pytest.mark.parametrize("stem", ['"violas.wav"', '"violas"'])
@pytest.mark.parametrize("mark", [".", "_", "-"])
def test_name_without_side_stands_for_the_pair(tmp_path: Path, stem: str, mark: str) -> None:
    left, right = f"violas{mark}L.wav", f"violas{mark}R.wav"
    assert found(tmp_path, stem, files=f"{left} {right}") == {"a": [[left, right]]}


def test_whole_file_comes_before_a_pair(tmp_path: Path) -> None:
    files = "violas.wav violas.L.wav violas.R.wav"
    assert found(tmp_path, '"violas.wav"', files=files) == {"a": [["violas.wav"]]}


def test_pair_is_not_guessed_between_two(tmp_path: Path) -> None:
    files = "v.L.wav v.R.wav v_L.wav v_R.wav"
    (fault,) = faults(tmp_path, '"v"', files=files)
    assert "v.L.wav and v.R.wav and v_L.wav and v_R.wav, wanted one pair" in fault.what


def test_left_and_right_on_two_seats_stay_apart(tmp_path: Path) -> None:
    files = "choir-L.wav choir-R.wav"
    assert found(tmp_path, '"choir-L.wav"', '"choir-R.wav"', files=files) == {
        "a": [["choir-L.wav"]],
        "b": [["choir-R.wav"]],
    }


@pytest.mark.parametrize(
    "stem",
    ['"violas.L.wav"', '["violas.L.wav"]', '["violas.L.wav", "violas.R.wav"]', '"violas.wav"',
     '["violas.R.wav", "violas.L.wav"]', '"violas"', '"violas.R"', '"violas.R.wav"'],
)  # fmt: skip
def test_left_without_right_is_one_fault(tmp_path: Path, stem: str) -> None:
    (fault,) = faults(tmp_path, stem, files="violas.L.wav")
    assert fault.what == "found violas.L.wav without violas.R.wav"


def test_right_without_left(tmp_path: Path) -> None:
    (fault,) = faults(tmp_path, '"v_R.flac"', files="v_R.flac")
    assert fault.what == "found v_R.flac without v_L.flac"


def test_missing_files_are_named_all_at_once(tmp_path: Path) -> None:
    missing = faults(
        tmp_path, '"obo.wav"', '["harp.wav", "tubas.wav"]', '"horn.wav"',
        files="oboe.wav harp.wav tuba.wav x.wav",
    )  # fmt: skip
    assert [(fault.key, fault.line) for fault in missing] == [
        ("seats.a.stem", 2),
        ("seats.b.stem.1", 6),
        ("seats.c.stem", 10),
    ]
    assert missing[0].what == 'found no file "obo.wav", wanted an audio file'
    assert "oboe.wav" in missing[0].hint
    assert "nearest: tuba.wav" in missing[1].hint


def test_missing_folder_is_one_fault(tmp_path: Path) -> None:
    path = scene_of(tmp_path, '"a.wav"', '"b.wav"', files="audio/a.wav")
    path.write_text('stems = "adio"\n' + path.read_text())
    with pytest.raises(StemError) as raised:
        stem_files(read_scene(path))
    (fault,) = raised.value.faults
    assert (fault.key, fault.line, fault.hint) == ("stems", 1, "nearest: audio")


def test_what_is_no_file_is_refused(tmp_path: Path) -> None:
    (tmp_path / "folder.wav").mkdir()
    os.mkfifo(tmp_path / "pipe.wav")
    (tmp_path / "gone.wav").symlink_to("nowhere.wav")
    kinds = faults(tmp_path, '"folder.wav"', '"pipe.wav"', '"gone.wav"', '"."')
    assert [fault.what.split(",")[0] for fault in kinds] == [
        'found a folder at "folder.wav"',
        'found a pipe or device at "pipe.wav"',
        'found a link to nothing at "gone.wav"',
        'found "."',
    ]


@pytest.mark.parametrize(("on_disk", "in_scene"), [("NFD", "NFC"), ("NFC", "NFD")])
def test_either_unicode_form_finds_the_file(tmp_path: Path, on_disk: str, in_scene: str) -> None:
    name = unicodedata.normalize(on_disk, "flöten.wav")  # type: ignore[arg-type]
    written = unicodedata.normalize(in_scene, "flöten")  # type: ignore[arg-type]
    assert found(tmp_path, f'"{written}.wav"', f'"{written}"', files=name) == {
        "a": [[name]],
        "b": [[name]],
    }


@pytest.mark.parametrize(
    "name", ["-dash.wav", "a b .wav", "音.wav", "l'été.wav", "a#b.wav", "%.wav"]
)
def test_unusual_names_are_accepted(tmp_path: Path, name: str) -> None:
    (tmp_path / name).touch()
    assert found(tmp_path, f'"{name}"') == {"a": [[name]]}


def test_link_made_after_reading_is_still_refused(tmp_path: Path) -> None:
    (tmp_path / "in").mkdir()
    (tmp_path / "out.wav").touch()
    read = read_scene(scene_of(tmp_path / "in", '"oboe.wav"'))
    (tmp_path / "in" / "oboe.wav").symlink_to("../out.wav")
    with pytest.raises(StemError, match="outside the stems folder"):
        stem_files(read)


def test_flag_lets_stems_lie_outside(tmp_path: Path) -> None:
    (tmp_path / "in").mkdir()
    (tmp_path / "out.wav").touch()
    (tmp_path / "in" / "link.wav").symlink_to("../out.wav")
    path = scene_of(tmp_path / "in", '"../out.wav"', f'"{tmp_path}/out.wav"', '"link.wav"')
    files = stem_files(read_scene(path, allow_outside=True))
    assert {os.path.realpath(stem.paths[0]) for (stem,) in files.values()} == {
        str(tmp_path / "out.wav")
    }


@pytest.mark.parametrize("stem", ['"OBOE"', '"oboe.WAV"', '"ob"', '"x"', '"x/oboe"', '"oboe.wav "'])
def test_what_no_name_begins_like_is_missing_all_the_same(tmp_path: Path, stem: str) -> None:
    """A folder's listing is asked first, without case: the disk has the last word."""
    if (tmp_path / "A").mkdir() or (tmp_path / "a").exists():
        pytest.skip("names differ by more than case here")
    (fault,) = faults(tmp_path, stem, files="oboe.wav")
    assert fault.what == f"found no file {stem}, wanted an audio file"


def test_many_files_that_fit_are_named_in_part(tmp_path: Path) -> None:
    endings = "wav flac aif aiff rf64 w64"
    (fault,) = faults(tmp_path, '"oboe"', files=" ".join(f"oboe.{one}" for one in endings.split()))
    assert fault.what.count(" and ") == 4 and "and 2 more, wanted one" in fault.what


def test_a_file_may_stand_on_many_seats(tmp_path: Path) -> None:
    both = '["violas", "violas", "oboe"]'
    files = "violas.L.wav violas.R.wav oboe.wav"
    pair = ["violas.L.wav", "violas.R.wav"]
    assert found(tmp_path, both, files=files) == {"a": [pair, pair, ["oboe.wav"]]}

"""What an earlier render left: ours by its report, or somebody's."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path
from typing import Any

import pytest

from seatwright.disk.earlier_render import (
    Superseded,
    is_still,
    superseded,
    whole_render,
)

FILES = ("mix.wav", "sections/strings.wav", "sections/winds.wav", "stems/oboe.flac")


def put(folder: Path, name: str, content: bytes = b"music") -> dict[str, str]:
    path = folder / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(content)
    return {"file": name, "sha256": hashlib.sha256(content).hexdigest()}


def report(folder: Path, rows: list[dict[str, str]], **more: Any) -> None:
    facts = {"report_format": 1, "outputs": rows, **more}
    (folder / "report.json").write_text(json.dumps(facts))


def names(found: Superseded) -> tuple[list[str], list[str]]:
    return [old.file for old in found.ours], list(found.foreign)


def test_listed_and_unchanged_is_ours_the_rest_is_somebodys(tmp_path: Path) -> None:
    report(tmp_path, [put(tmp_path, name, name.encode()) for name in FILES])
    put(tmp_path, "sections/winds.wav", b"louder")
    put(tmp_path, "sections/mine.wav")
    put(tmp_path, "sections/notes.txt")
    put(tmp_path, "sections/._strings.wav")
    put(tmp_path, "song.wav")
    found = superseded(tmp_path, ["mix.wav", "sections/new.wav"], ())
    assert names(found) == (
        ["sections/strings.wav", "stems/oboe.flac"],
        ["sections/mine.wav", "sections/winds.wav"],
    )
    assert all(is_still(tmp_path, old) for old in found.ours)


@pytest.mark.parametrize(
    "trim", ["NaN", "Infinity", "1" + "0" * 400, "1e400", "true", '"-3"', "null"]
)
def test_a_trim_that_is_no_number_of_decibels_is_none(tmp_path: Path, trim: str) -> None:
    text = '{"report_format": 1, "scene": "a", "part": "", "seating": "", "trim_db": %s}'
    (tmp_path / "report.json").write_text(text % "-3")
    found = whole_render([tmp_path], "a", "")
    assert found is not None and found.trim_db == -3.0
    (tmp_path / "report.json").write_text(text % trim)
    assert whole_render([tmp_path], "a", "") is None


def test_what_a_killed_render_was_to_remove_is_still_ours(tmp_path: Path) -> None:
    gone = put(tmp_path, "sections/strings.wav")
    report(tmp_path, [put(tmp_path, "mix.wav", b"mix")], removed=[gone])
    assert names(superseded(tmp_path, ["mix.wav"], ())) == (["sections/strings.wav"], [])


def test_inputs_are_never_removed_nor_named(tmp_path: Path) -> None:
    report(tmp_path, [put(tmp_path, name) for name in FILES])
    found = superseded(tmp_path, ["mix.wav"], [tmp_path / "stems" / "oboe.flac"])
    assert names(found) == (["sections/strings.wav", "sections/winds.wav"], [])


def test_what_changed_after_it_was_looked_at_is_another_file(tmp_path: Path) -> None:
    """Also the new output itself, where a disk does not tell Horns from horns."""
    report(tmp_path, [put(tmp_path, name) for name in FILES])
    found = superseded(tmp_path, (), ())
    assert len(found.ours) == 4
    put(tmp_path, "new", b"music")
    (tmp_path / "new").replace(tmp_path / "sections" / "winds.wav")
    (tmp_path / "mix.wav").unlink()
    still = [old.file for old in found.ours if is_still(tmp_path, old)]
    assert still == ["sections/strings.wav", "stems/oboe.flac"]


def test_links_are_named_and_left(tmp_path: Path) -> None:
    put(tmp_path, "elsewhere/winds.wav")
    rows = [put(tmp_path, "sections/winds.wav")]
    report(tmp_path, rows)
    (tmp_path / "sections" / "winds.wav").unlink()
    (tmp_path / "sections" / "winds.wav").symlink_to(tmp_path / "elsewhere" / "winds.wav")
    assert names(superseded(tmp_path, (), ())) == ([], ["sections/winds.wav"])


@pytest.mark.parametrize("file", ["../mine.wav", "/tmp/mine.wav", "mine.wav", "sections/a/b.wav"])
def test_a_report_leads_nowhere_else(tmp_path: Path, file: str) -> None:
    folder = tmp_path / "out"
    row = put(folder, "mine.wav")
    put(tmp_path, "mine.wav")
    put(folder, "sections/a/b.wav")
    report(folder, [{**row, "file": file}])
    assert superseded(folder, (), ()) == Superseded()


@pytest.mark.parametrize(
    "text",
    [
        "",
        "[",
        "[" * 100_000,
        "3",
        '{"report_format": 2}',
        '{"report_format": 1, "outputs": 3}',
        '{"report_format": 1, "outputs": [3, {"file": 4}]}',
        "\udcff",
    ],
    ids=range(8),
)
def test_a_report_without_sense_lists_nothing(tmp_path: Path, text: str) -> None:
    put(tmp_path, "mix.wav")
    (tmp_path / "report.json").write_bytes(text.encode(errors="surrogateescape"))
    assert names(superseded(tmp_path, (), ())) == ([], ["mix.wav"])


def test_the_whole_scene_is_looked_for_in_order(tmp_path: Path) -> None:
    facts: dict[str, dict[str, Any]] = {
        "part": {"part": "strings"},
        "seating": {"seating": "far"},
        "other": {"scene": "b.toml", "scene_sha256": "02"},
        "old": {"part": None},
        "mute": {"trim_db": None},
        "moved": {"scene": "moved/a.toml", "trim_db": -2.82},
        "edited": {"scene_sha256": "03", "trim_db": -1.5},
    }
    whole = {"scene": "a.toml", "scene_sha256": "01", "seating": "", "part": "", "trim_db": -4.0}
    for name, more in facts.items():
        (tmp_path / name).mkdir()
        report(tmp_path / name, [], **{**whole, **more})
    order = [tmp_path / name for name in ("gone", *facts)]
    found = whole_render(order, "a.toml", "01")
    assert found is not None
    assert (found.folder.name, found.trim_db) == ("moved", -2.82)
    found = whole_render(order[7:], "a.toml", "01")
    assert found is not None
    assert found.trim_db == -1.5
    assert whole_render(order[:6], "a.toml", "01") is None

"""Rendering again with a store: only what changed is computed, and the samples are the same."""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from seatwright import mixdown, seat_responses
from seatwright.disk import file_contents
from seatwright.disk.store import Store

SEATS = """
[seats.{name}]
stem = "{name}.wav"
section = "{section}"
bearing = {bearing}
distance = {distance}
"""
PLACES = {
    "flute": ("winds", -12, 2.2),
    "oboe": ("winds", 9, 2.3),
    "violins": ("strings", -40, 1.9),
    "violas": ("strings", 25, 1.9),
    "basses": ("strings", 50, 2.4),
    "horns": ("brass", -15, 2.9),
}


def scene_text(**changes: tuple[str, float, float]) -> str:
    return "".join(
        SEATS.format(name=name, section=section, bearing=bearing, distance=distance)
        for name, (section, bearing, distance) in (PLACES | changes).items()
    )


@pytest.fixture
def ensemble(stage: Any, monkeypatch: pytest.MonkeyPatch) -> Any:
    """Six seats in three sections; two of a section's three make a group."""
    monkeypatch.setattr("seatwright.stage.routing.MOST_SUMMED", 2)
    for number, name in enumerate(PLACES):
        samples = stage.noise(number, 2.0)
        samples[5_000 * (number + 1) :] = 0.0
        stage.stem(f"{name}.wav", samples)
    stage.write(scene_text())
    return stage


@pytest.fixture
def store(tmp_path: Path) -> Store:
    return Store(tmp_path / "store")


@pytest.fixture
def work(monkeypatch: pytest.MonkeyPatch) -> dict[str, list[Any]]:
    """Seats whose responses are computed, seats that are convolved, files that are read."""
    done: dict[str, list[Any]] = {"responses": [], "convolved": [], "read": []}

    def noted(where: Any, name: str, kind: str, what: Callable[..., Any]) -> None:
        original = getattr(where, name)

        def wrapped(*args: Any, **kwargs: Any) -> Any:
            done[kind].append(what(*args))
            return original(*args, **kwargs)

        monkeypatch.setattr(where, name, wrapped)

    noted(seat_responses, "seat_response", "responses", lambda _room, plan, *_: plan.name)
    noted(
        mixdown, "Voices", "convolved",
        lambda _responses, groups, *_: [seat for _, group in groups for seat in group.seats],
    )  # fmt: skip
    noted(file_contents, "_read", "read", lambda path: path.name)
    return done


def forget(work: dict[str, list[Any]]) -> None:
    for each in work.values():
        each.clear()


def samples(stage: Any, out: str) -> dict[str, str]:
    return {
        file: sha for file, sha in stage.digests(out).items() if file.endswith((".wav", ".flac"))
    }


def test_a_store_changes_no_byte(ensemble: Any, store: Store) -> None:
    ensemble.render("without")
    ensemble.render("with", store=store)
    assert ensemble.digests("with") == ensemble.digests("without")


@pytest.mark.parametrize("request_", [{}, {"stems": True}, {"start": 0.7, "stop": 1.7}])
def test_one_moved_seat(
    ensemble: Any, store: Store, work: dict[str, list[Any]], request_: dict[str, Any]
) -> None:
    ensemble.render(store=store, **request_)
    forget(work)
    ensemble.write(scene_text(oboe=("winds", 14, 2.5)))
    ensemble.render(store=store, **request_)
    assert work["responses"] == ["oboe"]
    assert work["convolved"] == [["flute", "oboe"]]
    ensemble.render("nothing", **request_)
    assert samples(ensemble, "out") == samples(ensemble, "nothing")
    old, new = (
        json.loads((ensemble.folder / f / "report.json").read_text()) for f in ("out", "nothing")
    )
    assert old == new | {"removed": old["removed"]}


def test_a_part_of_a_section_is_convolved_alone(
    ensemble: Any, store: Store, work: dict[str, list[Any]]
) -> None:
    ensemble.render(store=store)
    forget(work)
    ensemble.write(scene_text(basses=("strings", 55, 2.4)))
    ensemble.render(store=store)
    assert work["convolved"] == [["basses"]]
    ensemble.render("nothing")
    assert samples(ensemble, "out") == samples(ensemble, "nothing")


def test_nothing_changed(ensemble: Any, store: Store, work: dict[str, list[Any]]) -> None:
    first = ensemble.render(store=store)
    before = {path: path.stat().st_mtime_ns for path in ensemble.out.rglob("*")}
    forget(work)
    again = ensemble.render(store=store)
    assert (first.unchanged, again.unchanged) == (False, True)
    assert again.as_json() == first.as_json()
    assert {path: path.stat().st_mtime_ns for path in ensemble.out.rglob("*")} == before
    assert (work["responses"], work["convolved"]) == ([], [])


@pytest.mark.parametrize("file", ["mix.wav", "sections/winds.wav", "report.json", "report.txt"])
@pytest.mark.parametrize("how", ["changed", "gone", "pipe"])
def test_an_output_that_somebody_changed_is_written_again(
    ensemble: Any, store: Store, file: str, how: str
) -> None:
    ensemble.render(store=store)
    before = ensemble.digests()
    path = ensemble.out / file
    if how in ("gone", "pipe"):
        path.unlink()
        if how == "pipe":  # which nobody ever writes to
            os.mkfifo(path)
    else:
        path.write_bytes(path.read_bytes()[:-1] + b"!")
    again = ensemble.render(store=store)
    assert not again.unchanged
    assert ensemble.digests() == before


def test_outputs_that_stay_are_not_written(ensemble: Any, store: Store) -> None:
    """Where the trim stays too: quiet stems leave it at 0 dB."""
    ensemble.render(store=store)
    stood = {path.name: path.stat().st_ino for path in (ensemble.out / "sections").iterdir()}
    ensemble.write(scene_text(oboe=("winds", 14, 2.5)))
    report = ensemble.render(store=store)
    assert report.trim_db == 0.0
    now = {path.name: path.stat().st_ino for path in (ensemble.out / "sections").iterdir()}
    assert [name for name in now if now[name] != stood[name]] == ["winds.wav"]
    assert len({row.follows_from for row in report.outputs}) == len(report.outputs) == 4


def test_another_depth_writes_all_anew(
    ensemble: Any, store: Store, work: dict[str, list[Any]]
) -> None:
    ensemble.render(store=store)
    forget(work)
    ensemble.render(store=store, depth="16")
    assert work["convolved"] == [[]]
    ensemble.render("nothing", depth="16")
    assert samples(ensemble, "out") == samples(ensemble, "nothing")


def test_a_stem_exported_anew_is_noticed_by_its_audio(
    ensemble: Any, store: Store, work: dict[str, list[Any]]
) -> None:
    ensemble.render(store=store)
    forget(work)
    path = ensemble.folder / "horns.wav"
    path.write_bytes(path.read_bytes())
    assert ensemble.render(store=store).unchanged
    ensemble.stem("horns.wav", ensemble.noise(99, 2.0))
    report = ensemble.render(store=store)
    assert work["responses"] == []
    assert work["convolved"] == [["horns"]]
    assert "horns.wav" in work["read"]
    ensemble.render("nothing")
    assert samples(ensemble, "out") == samples(ensemble, "nothing")
    assert not report.unchanged


def test_muting_and_turning_down_convolve_only_what_they_must(
    ensemble: Any, store: Store, work: dict[str, list[Any]]
) -> None:
    ensemble.render(store=store)
    forget(work)
    ensemble.write(scene_text() + "\n[sections.brass]\nmute = true\n")
    ensemble.render(store=store)
    assert work["convolved"] == [[]]
    ensemble.write(scene_text() + "\n[sections.brass]\ngain = -3\n")
    ensemble.render(store=store)
    assert work["convolved"][1:] == [["horns"]]
    ensemble.render("nothing")
    assert samples(ensemble, "out") == samples(ensemble, "nothing")


def test_perspectives_are_rendered_whole(
    ensemble: Any, store: Store, work: dict[str, list[Any]]
) -> None:
    """They take of every seat; the sections beside them stay what they are."""
    ensemble.render(store=store)
    forget(work)
    ensemble.render("apart", store=store, perspectives=True)
    assert len(work["convolved"][0]) == len(PLACES)
    ensemble.render("nothing", perspectives=True)
    assert samples(ensemble, "apart") == samples(ensemble, "nothing")
    whole = samples(ensemble, "out")
    assert {file: samples(ensemble, "apart")[file] for file in whole} == whole


@pytest.mark.parametrize("kind", ["responses", "sums", "levels", "figures", "reports", "files"])
def test_flipped_bits_in_any_kind_of_result_change_no_sample(
    ensemble: Any, store: Store, kind: str
) -> None:
    ensemble.render(store=store)
    before = samples(ensemble, "out")
    shutil.rmtree(ensemble.out)
    found = sorted((store.folder / kind).rglob("*.kept"))
    for path in found:
        data = bytearray(path.read_bytes())
        data[len(data) // 3] ^= 16
        path.write_bytes(data)
    again = Store(store.folder)
    ensemble.render(store=again)
    assert samples(ensemble, "out") == before
    if kind == "responses":
        return  # not asked for: their sums are there
    told = [doubt for doubt in again.doubts if f"/{kind}/" in doubt.file]
    assert bool(told) == (kind != "files" and bool(found))
    assert all("computed again: found" in doubt.what for doubt in told)


def test_damaged_responses_are_computed_again(ensemble: Any, store: Store) -> None:
    ensemble.render(store=store)
    ensemble.write(scene_text(oboe=("winds", 14, 2.5)))
    for path in (store.folder / "responses").rglob("*.kept"):
        path.write_bytes(path.read_bytes()[:-1])
    again = Store(store.folder)
    ensemble.render(store=again)
    ensemble.render("nothing")
    assert samples(ensemble, "out") == samples(ensemble, "nothing")
    assert any("/responses/" in doubt.file for doubt in again.doubts)


def test_a_store_that_fills_up_costs_nothing_but_the_store(
    ensemble: Any, store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The disk refuses in the middle of a sum: it goes on beside the outputs."""
    from seatwright.disk.kept_file import KeptWriter

    append, count = KeptWriter._append, [0]

    def refusing(self: KeptWriter, data: memoryview) -> None:
        count[0] += "/sums/" in str(self.path)
        if "/sums/" in str(self.path) and count[0] > 5:
            append(self, data[: len(data) // 2])
            raise OSError(28, "No space left on device")
        append(self, data)

    monkeypatch.setattr(KeptWriter, "_append", refusing)
    ensemble.render(store=store)
    assert count[0] > 5
    (doubt,) = store.doubts
    assert "results are not kept: No space left" in doubt.what
    monkeypatch.setattr(KeptWriter, "_append", append)
    ensemble.render("nothing")
    assert samples(ensemble, "out") == samples(ensemble, "nothing")
    assert not list(ensemble.out.rglob(".*"))
    assert not list(store.folder.rglob(".*"))


def test_a_store_taken_away_while_it_is_used(
    ensemble: Any, store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    ensemble.render(store=store)
    ensemble.write(scene_text(oboe=("winds", 14, 2.5)))
    find = Store.find

    def emptied(self: Store, kind: str, key: str) -> Any:
        reader = find(self, kind, key)
        if kind == "sums":
            shutil.rmtree(self.folder, ignore_errors=True)
        return reader

    monkeypatch.setattr(Store, "find", emptied)
    ensemble.render(store=store)
    ensemble.render("nothing")
    assert samples(ensemble, "out") == samples(ensemble, "nothing")


def test_an_interrupt_leaves_no_temporaries_in_the_store(ensemble: Any, store: Store) -> None:
    def stop(what: str, share: float) -> None:
        if what == "rendering" and share > 0.3:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        ensemble.render(progress=stop, store=store)
    assert not list(store.folder.rglob(".*"))
    assert not ensemble.out.exists()
    ensemble.render(store=store)
    ensemble.render("nothing")
    assert samples(ensemble, "out") == samples(ensemble, "nothing")


def test_an_excerpt_is_the_whole_s_samples(ensemble: Any, store: Store) -> None:
    ensemble.float_render("whole", store=store)
    ensemble.float_render("part", store=store, start=0.5, stop=1.5)
    whole, part = ensemble.heard(out="whole"), ensemble.heard(out="part")
    assert np.array_equal(part, whole[8_000:24_000])

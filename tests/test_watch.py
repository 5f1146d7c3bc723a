"""Watching: which saves lead to a render, which do not, and what is said of them.

Saves happen at given times of a clock that moves only while the watch waits or a render runs.
Files are real; renders are where sound or outputs matter, else they only read, lock and hash.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from functools import partial
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from seatwright.disk.every_fault import read_and_cast
from seatwright.disk.file_contents import StemContents
from seatwright.disk.render_lock import RenderLock
from seatwright.disk.stems import content_hash
from seatwright.errors import SceneError
from seatwright.render import Progress, render
from seatwright.report_facts import stem_rows
from seatwright.stage.request import Request
from seatwright.views.report import OutputRow, Report
from seatwright.watch import watch
from seatwright.watch_order import Surroundings, WatchOrder, wanted_request

SCENE = """
[seats.oboe]
stem = "oboe.wav"
x = -1
y = 2
[seats.violas]
stem = "violas.wav"
x = 1
y = 2.5
gain = -3
"""


def light_render(scene: Path, folder: Path, request: Request, progress: Progress) -> Report:
    """All of a render that a watch depends on, without its sound."""
    read, cast, _ = read_and_cast(scene)
    folder.mkdir(parents=True, exist_ok=True)
    lock = RenderLock(folder)
    lock.take()
    try:
        with StemContents(cast.stems) as hashes:
            for step in range(1, 10):
                progress("rendering", step / 10)
            stems = hashes.finished()
        (folder / "report.json").write_text(read.content_hash)
    finally:
        lock.release()
    mix = OutputRow("mix.wav", "mix", "mix", read.content_hash, -20.0, -3.0, -3.0)
    hall: Any = None
    return Report(
        title="", scene=str(scene), scene_sha256=read.content_hash, seating="", versions={},
        rate=cast.rate, frames=cast.frames, first_frame=0, encoding="", head="", origin=0.0,
        response_frames=1, trim_db=request.trim_db or 0.0, hall=hall, seats=(),
        stems=stem_rows(cast.stems, stems), outputs=(mix,), warnings=(), part=request.part,
    )  # fmt: skip


class Over(Exception):
    """The script has ended and nothing is left to wait for."""


@dataclass
class World:
    """Saves at their times, what was said at which time, and what was rendered."""

    stage: Any
    saves: list[tuple[float, Callable[[], object]]] = field(default_factory=list)
    in_render: dict[int, Callable[[], object]] = field(default_factory=dict)
    render_seconds: float = 0.0
    made_by: Callable[[Path, Path, Request, Progress], Report] = light_render
    time: float = 0.0
    said: list[tuple[float, str]] = field(default_factory=list)
    complaints: list[str] = field(default_factory=list)
    asked: list[Request] = field(default_factory=list)
    finished: list[Report] = field(default_factory=list)
    doubt: str = ""
    followed: set[Path] = field(default_factory=set)

    def follow(self, paths: Iterable[Path]) -> None:
        self.followed = set(paths)

    def wait(self, seconds: float) -> None:
        if seconds > 60.0 and not self.saves:
            raise Over
        self.pass_time(min(seconds, 1000.0))

    def pass_time(self, seconds: float) -> None:
        """Time goes on to the next save, or as far as asked for."""
        until = self.time + seconds
        if self.saves and self.saves[0][0] <= until:
            at, save = self.saves.pop(0)
            self.time = max(self.time, at)
            save()
        else:
            self.time = until

    @contextmanager
    def bar(self) -> Iterator[Progress]:
        number = len(self.asked) + 1

        def progress(_what: str, share: float) -> None:
            if share > 0.1 and number in self.in_render:
                self.in_render.pop(number)()
            self.time += self.render_seconds / 10

        yield progress

    def render(self, scene: Path, folder: Path, request: Request, progress: Progress) -> Report:
        self.asked.append(request)
        report = self.made_by(scene, folder, request, progress)
        self.finished.append(report)
        return report

    def watch(self, request: Request | None = None, **order: Any) -> list[str]:
        """Watch until the script has ended; what was said, without the times of day."""
        request = request or Request(threads=1)
        around = Surroundings(
            self,
            lambda line: self.said.append((self.time, line)),
            self.complaints.append,
            self.bar,
            lambda: self.time,
            lambda: "12:00:00",
            self.render,
        )
        folder = order.pop("folder", self.stage.out)
        with pytest.raises(Over):
            watch(WatchOrder(self.stage.scene, request, folder, **order), around)
        return [line.removeprefix("12:00:00 ") for _, line in self.said]


@pytest.fixture
def world(stage: Any) -> World:
    stage.stem("oboe.wav", stage.noise(1, 0.3))
    stage.stem("violas.wav", stage.noise(2, 0.3))
    stage.write(SCENE)
    return World(stage)


def edit(stage: Any, old: str, new: str) -> None:
    """Save the scene in place."""
    text = stage.scene.read_text()
    assert old in text
    stage.scene.write_text(text.replace(old, new))


def faults(world: World) -> list[str]:
    """Lines said of what hinders a render, after the greeting."""
    assert "watching" in world.complaints[0]
    assert "low monitoring level" in world.complaints[0]
    return [line.removeprefix("12:00:00 ") for line in world.complaints[1:]]


def test_a_moved_seat_is_named_in_one_line(world: World) -> None:
    world.made_by = render
    world.saves = [(5.0, partial(edit, world.stage, "x = -1", "x = -1.5"))]
    first, second = world.watch()
    assert first.startswith(f"the whole into {world.stage.out}: rendered in ")
    assert second.startswith("oboe moved 0.5 m, bearing -10.3 degrees, distance +0.26 m: rendered")
    assert second.endswith(" LUFS")
    assert 5.0 < world.said[1][0] < 5.5
    assert world.finished[1].outputs[0].sha256 != world.finished[0].outputs[0].sha256


def test_new_warnings_are_printed_under_the_line(world: World) -> None:
    told = [("old one",), ("old one", *(f"number {number}" for number in range(5)))]

    def warned(scene: Path, folder: Path, request: Request, progress: Progress) -> Report:
        made = light_render(scene, folder, request, progress)
        return replace(made, warnings=told[len(world.finished)])

    world.made_by = warned
    world.saves = [(5.0, partial(edit, world.stage, "x = -1", "x = -1.5"))]
    first, old, second, *new = world.watch()
    assert first.endswith(", 1 warning") and old == "  old one"
    assert second.endswith(", 5 new warnings")
    assert new == ["  number 0", "  number 1", "  number 2", "  and 2 more in report.txt"]


def test_what_is_rendered_again_is_what_a_render_makes(world: World) -> None:
    world.made_by = render
    world.saves = [(5.0, partial(edit, world.stage, "x = -1", "x = -1.5"))]
    world.watch()
    world.stage.render("fresh", trim_db=world.finished[0].trim_db)
    assert world.stage.digests()["mix.wav"] == world.stage.digests("fresh")["mix.wav"]


def test_a_stem_exported_anew_is_named_and_heard(world: World) -> None:
    world.made_by = render
    new = world.stage.noise(3, 0.3)
    world.saves = [(5.0, partial(world.stage.stem, "violas.wav", new))]
    _, line = world.watch()
    assert line.startswith("violas.wav exported anew: rendered in ")
    assert world.finished[0].outputs[0].sha256 != world.finished[1].outputs[0].sha256


def test_a_stem_exported_again_as_it_was_is_not_rendered(world: World) -> None:
    world.saves = [(5.0, partial(world.stage.stem, "violas.wav", world.stage.noise(2, 0.3)))]
    _, line = world.watch()
    assert line == "violas.wav: nothing changed, not rendered again"
    assert len(world.asked) == 1


@pytest.mark.parametrize(
    ("old", "new"),
    [("[seats.oboe]", "# a comment\n[seats.oboe]"), ("gain = -3", "gain = -3.0")],
)
def test_a_scene_that_says_the_same_is_not_rendered(world: World, old: str, new: str) -> None:
    world.saves = [(5.0, partial(edit, world.stage, old, new))]
    assert world.watch()[1:] == ["scene.toml: nothing changed, not rendered again"]


def test_outputs_that_were_taken_away_are_made_again(world: World) -> None:
    world.made_by = render

    def save() -> None:
        shutil.rmtree(world.stage.out)
        world.stage.scene.touch()

    world.saves = [(5.0, save)]
    assert world.watch()[1].startswith("scene.toml saved: rendered in")
    assert (world.stage.out / "mix.wav").exists()


def test_a_slow_export_is_taken_once_and_whole(world: World) -> None:
    """In pieces with pauses longer than what a file has to stand still for."""
    path = world.stage.folder / "violas.wav"
    whole = world.stage.stem("new.wav", world.stage.noise(3, 0.3)).read_bytes()

    def piece(first: int, last: int) -> None:
        with path.open("wb" if first == 0 else "ab") as file:
            file.write(whole[first:last])

    cuts = [0, 20, 3000, 6000, 9000, len(whole)]
    world.saves = [
        (5.0 + number, partial(piece, first, last))
        for number, (first, last) in enumerate(pairwise(cuts))
    ]
    _, line = world.watch()
    assert line.startswith("violas.wav exported anew: rendered")
    assert 9.7 <= world.said[1][0] < 11.5
    assert faults(world) == ["violas.wav: waiting until it is whole"]


def test_a_stem_that_stays_cut_off_is_told_with_its_fault(world: World) -> None:
    path = world.stage.folder / "violas.wav"
    whole = path.read_bytes()
    world.saves = [
        (5.0, lambda: path.write_bytes(whole[:5000])),
        (60.0, lambda: path.write_bytes(whole)),
    ]
    lines = world.watch()
    told = faults(world)
    assert told[1] == "not rendered, 1 fault; waiting for a save that mends it"
    assert "violas.wav: truncated: found 0." in told[2]
    assert lines[1:] == ["violas.wav: nothing changed, not rendered again"]


def test_a_save_by_rename_is_one_change(world: World) -> None:
    def save() -> None:
        new = world.stage.folder / ".scene.tmp"
        new.write_text(world.stage.scene.read_text().replace("gain = -3", "gain = -6"))
        new.replace(world.stage.scene)

    world.saves = [(5.0, save)]
    assert [line[:23] for line in world.watch()[1:]] == ["violas gain -3.0 dB: re"]
    assert faults(world) == []


def test_delete_and_create_is_one_change(world: World) -> None:
    text = world.stage.scene.read_text()
    world.saves = [
        (5.0, world.stage.scene.unlink),
        (6.5, lambda: world.stage.scene.write_text(text.replace("gain = -3", "gain = 0"))),
    ]
    assert [line[:23] for line in world.watch()[1:]] == ["violas gain +3.0 dB: re"]
    assert faults(world) == []


def test_two_saves_at_once_are_one_change(world: World) -> None:
    text = world.stage.scene.read_text()
    world.saves = [
        (5.0, lambda: world.stage.scene.write_text("")),
        (5.3, lambda: world.stage.scene.write_text(text[:150])),
        (5.4, lambda: world.stage.scene.write_text(text.replace("gain = -3", "gain = 0"))),
    ]
    assert [line[:23] for line in world.watch()[1:]] == ["violas gain +3.0 dB: re"]
    assert faults(world) == []


def test_every_fault_is_told_and_the_last_good_render_stays(world: World) -> None:
    world.made_by = render
    before: dict[str, str] = {}

    def spoil() -> None:
        before.update(world.stage.digests())
        edit(world.stage, "x = -1\n", "x = -100\n")
        edit(world.stage, "gain = -3", "gian = -3")

    def mend() -> None:
        assert world.stage.digests() == before
        edit(world.stage, "gian = -3", "gain = -3")
        edit(world.stage, "x = -100\n", "x = -2\n")

    world.saves = [(5.0, spoil), (20.0, mend)]
    lines = world.watch()
    told = faults(world)
    assert told[0] == "not rendered, 2 faults; waiting for a save that mends it"
    assert any("gian" in line for line in told[1:])
    assert any("-100" in line for line in told[1:])
    assert [line[:17] for line in lines[1:]] == ["oboe moved 1.0 m,"]


def test_a_scene_with_a_fault_from_the_begin_is_watched(world: World) -> None:
    edit(world.stage, "x = -1\n", "x = -100\n")
    world.saves = [(5.0, partial(edit, world.stage, "x = -100\n", "x = -1\n"))]
    (line,) = world.watch()
    assert line.startswith("the whole into ")
    assert len(faults(world)) == 2


def test_a_missing_stem_is_rendered_when_it_comes(world: World) -> None:
    edit(world.stage, "violas.wav", "celli.wav")
    new = world.stage.noise(2, 0.3)
    world.saves = [(5.0, lambda: world.stage.stem("celli.wav", new))]
    (line,) = world.watch()
    assert line.startswith("the whole into ")
    assert 'found no file "celli.wav"' in faults(world)[1]


def test_a_folder_that_goes_is_waited_for(world: World) -> None:
    stems = world.stage.folder / "stems"
    stems.mkdir()
    for name in ("oboe.wav", "violas.wav"):
        (world.stage.folder / name).rename(stems / name)
    world.stage.write(SCENE, 'stems = "stems"')
    away = world.stage.folder / "away"

    def back() -> None:
        away.rename(stems)
        world.stage.folder = stems
        world.stage.stem("violas.wav", np.full((4000, 1), 0.1))
        world.stage.folder = stems.parent

    world.saves = [(5.0, lambda: stems.rename(away)), (60.0, back)]
    lines = world.watch()
    told = faults(world)
    assert (
        told[0].startswith("oboe.wav, violas.wav") or "2 faults" in told[0] or "1 fault" in told[0]
    )
    assert any("found no folder" in line for line in told)
    assert [line[:28] for line in lines[1:]] == ["violas.wav exported anew: re"]


def test_a_scene_that_goes_is_waited_for(world: World) -> None:
    text = world.stage.scene.read_text()
    world.saves = [
        (5.0, world.stage.scene.unlink),
        (60.0, lambda: world.stage.scene.write_text(text.replace("gain = -3", "gain = 0"))),
    ]
    lines = world.watch()
    assert faults(world)[0] == "not rendered, 1 fault; waiting until scene.toml is back"
    assert [line[:23] for line in lines[1:]] == ["violas gain +3.0 dB: re"]


def test_a_newer_scene_cuts_a_render_short(world: World) -> None:
    """One render is cut short; the next has both changes."""
    world.made_by = render
    world.render_seconds = 5.0
    world.in_render = {2: partial(edit, world.stage, "x = -1\n", "x = -2\n")}
    world.saves = [(100.0, partial(edit, world.stage, "gain = -3", "gain = 0"))]
    lines = world.watch()
    assert len(world.asked) == 3
    assert len(world.finished) == 2
    (line,) = lines[1:]
    assert line.startswith("oboe moved 1.0 m, bearing")
    assert "; violas gain +3.0 dB: rendered" in line
    assert not any(name.endswith((".part", ".raw")) for name in world.stage.digests())


def test_a_newer_scene_with_a_fault_cuts_nothing_short(world: World) -> None:
    world.render_seconds = 5.0
    world.in_render = {2: partial(edit, world.stage, "x = -1\n", "x = -100\n")}
    world.saves = [(100.0, partial(edit, world.stage, "gain = -3", "gain = 0"))]
    lines = world.watch()
    assert [line[:23] for line in lines[1:]] == ["violas gain +3.0 dB: re"]
    assert len(world.finished) == len(world.asked) == 2
    assert "1 fault" in faults(world)[0]


def test_a_save_without_a_change_cuts_nothing_short(world: World) -> None:
    world.render_seconds = 5.0
    world.in_render = {2: world.stage.scene.touch}
    world.saves = [(100.0, partial(edit, world.stage, "gain = -3", "gain = 0"))]
    lines = world.watch()
    assert len(world.asked) == 2
    assert lines[1].startswith("violas gain +3.0 dB: rendered")
    assert lines[2] == "scene.toml: nothing changed, not rendered again"


def test_only_the_first_stem_with_new_contents_is_read_before_a_render(
    world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    hashed: list[str] = []

    def counted(path: Path) -> str:
        hashed.append(path.name)
        return content_hash(path)

    monkeypatch.setattr("seatwright.rendered_scene.content_hash", counted)

    def save() -> None:
        for number, name in enumerate(("oboe.wav", "violas.wav")):
            world.stage.stem(name, world.stage.noise(7 + number, 0.3))

    world.saves = [(5.0, save)]
    _, line = world.watch()
    assert line.startswith("oboe.wav exported anew; violas.wav exported anew: rendered")
    assert hashed == ["oboe.wav"]


def test_saving_without_end_still_gives_a_render_now_and_then(world: World) -> None:
    world.render_seconds = 5.0
    world.in_render = {
        number: partial(edit, world.stage, f"x = -{number - 1}\n", f"x = -{number}\n")
        for number in (2, 3)
    } | {
        4: partial(edit, world.stage, "gain = 0", "gain = 1"),
        5: partial(edit, world.stage, "gain = 1", "gain = 2"),
    }
    world.saves = [(100.0, partial(edit, world.stage, "gain = -3", "gain = 0"))]
    lines = world.watch()
    assert len(world.asked) == 6
    assert len(world.finished) == 3
    assert "violas gain +4.0 dB: rendered" in lines[1]
    assert lines[2].startswith("violas gain +1.0 dB: rendered")


def test_a_stem_written_while_it_is_rendered_is_rendered_again(world: World) -> None:
    world.render_seconds = 5.0
    world.in_render = {
        1: lambda: world.stage.stem("violas.wav", world.stage.noise(4, 0.3)),
    }
    (line,) = world.watch()
    assert line.startswith("the whole into ")
    assert (len(world.asked), len(world.finished)) == (2, 1)
    assert faults(world) == []


def test_a_stem_deleted_while_it_is_rendered_is_no_fault_if_it_comes_back(world: World) -> None:
    path = world.stage.folder / "violas.wav"
    world.in_render = {1: path.unlink}
    world.saves = [(1.5, lambda: world.stage.stem("violas.wav", world.stage.noise(4, 0.3)))]
    (line,) = world.watch()
    assert line.startswith("the whole into ")
    assert faults(world) == []


def test_a_new_stem_that_is_half_written_is_waited_for(world: World) -> None:
    """The scene names it before its export has ended."""
    path = world.stage.folder / "harp.wav"
    whole = world.stage.stem("harp.wav", world.stage.noise(4, 0.3)).read_bytes()
    path.unlink()

    def name_it() -> None:
        path.write_bytes(whole[:5000])
        edit(
            world.stage,
            "[seats.oboe]",
            '[seats.harp]\nstem = "harp.wav"\nx = 0\ny = 3\n[seats.oboe]',
        )

    world.saves = [(5.0, name_it), (6.0, lambda: path.write_bytes(whole))]
    assert [line[:20] for line in world.watch()[1:]] == ["harp added: rendered"]
    assert faults(world) == []


def test_a_library_that_stumbles_over_a_file_written_over_ends_nothing(world: World) -> None:
    def stumble(*job: Any) -> Report:
        if len(world.asked) == 1:
            world.stage.stem("violas.wav", world.stage.noise(4, 0.3))
            raise ValueError("buffer is not what it was")
        return light_render(*job)

    world.made_by = stumble
    (line,) = world.watch()
    assert line.startswith("the whole into ")


def test_a_mistake_of_the_program_is_not_hidden(world: World) -> None:
    def mistake(*_job: Any) -> Report:
        raise ValueError("of ours")

    around = Surroundings(world, print, print, world.bar, render=mistake)
    with pytest.raises(ValueError, match="of ours"):
        watch(WatchOrder(world.stage.scene, Request(), world.stage.out), around)


def test_another_render_in_the_folder_is_waited_for(world: World) -> None:
    lock = RenderLock(world.stage.out)
    world.stage.out.mkdir()
    lock.take()
    world.saves = [(30.0, lock.release)]
    (line,) = world.watch()
    assert line.startswith("the whole into ")
    told = faults(world)
    assert told[0] == "not rendered, 1 fault; tried again until it has ended"
    assert f"found another render (process {os.getpid()}" in told[1]
    assert len(told) == 2
    assert 30.0 <= world.said[0][0] < 32.1


def test_the_trim_is_held_so_that_levels_compare(world: World) -> None:
    world.made_by = render
    loud = np.sign(world.stage.noise(5, 0.3)) * 0.9
    world.stage.stem("violas.wav", loud)
    world.saves = [
        (5.0, partial(edit, world.stage, "gain = -3", "gain = -4")),
        (10.0, partial(edit, world.stage, "gain = -4", "gain = 6")),
    ]
    first, quieter, louder = world.watch()
    trims = [report.trim_db for report in world.finished]
    assert trims[0] < 0.0
    assert trims[1] == trims[0]
    assert trims[2] < trims[0] - 5.0  # at the trim before it would have clipped
    assert "trim now" not in first + quieter
    assert louder.endswith(f"trim now {trims[2]:+.2f} dB")


def test_the_excerpt_is_where_most_stems_sound(stage: Any) -> None:
    stage.rate = 8000
    silent = np.zeros((50 * 8000, 1))
    late = silent.copy()
    late[15 * 8000 : 47 * 8000] = stage.noise(1, 32.0)
    stage.stem("oboe.wav", late)
    stage.stem("violas.wav", stage.noise(2, 50.0))
    stage.write(SCENE)
    order = WatchOrder(stage.scene, Request())
    found = wanted_request(order, ("oboe", "violas"))
    assert (found.start, found.stop) == (15.0, 45.0)
    assert wanted_request(order, ("violas",)).start == 0.0
    assert wanted_request(WatchOrder(stage.scene, Request(), whole=True), ("oboe",)).part == ""


@pytest.mark.parametrize(
    ("start", "stop", "ends"),
    [(12.0, None, (12, 42)), (None, 40.0, (10, 40)), (None, 20.0, (0, 20)), (3.0, 4.0, (3, 4))],
)
def test_one_end_gives_the_other(
    start: float | None, stop: float | None, ends: tuple[float, float]
) -> None:
    order = WatchOrder(Path("none.toml"), Request(start=start, stop=stop))
    found = wanted_request(order, ())
    assert (found.start, found.stop) == ends


def test_the_whole_and_an_excerpt_exclude_each_other() -> None:
    with pytest.raises(SceneError, match="found --whole with --from or --to"):
        WatchOrder(Path("none.toml"), Request(stop=3.0), whole=True)


def test_a_scene_that_was_never_there_is_refused(world: World) -> None:
    world.stage.scene.unlink()
    around = Surroundings(world, print, print, world.bar)
    with pytest.raises(SceneError, match=r"scene.toml: found no such file, wanted a scene"):
        watch(WatchOrder(world.stage.scene, Request()), around)


def test_missing_notices_are_told_once(world: World) -> None:
    world.doubt = "limit of watches reached"
    world.watch()
    assert faults(world) == [
        "the system sends no notices of files (limit of watches reached): looking twice a second"
    ]


def test_a_seating_is_watched_in_its_own_folder(
    world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(world.stage.folder)
    more = "[seatings.near.oboe]\nx = -1.5\n[seatings.far.oboe]\nx = -2.0\n"
    world.stage.write(SCENE + more)
    world.saves = [
        (5.0, partial(edit, world.stage, "x = -2.0", "x = -2.1")),
        (10.0, partial(edit, world.stage, "x = -1.5", "x = -1.6")),
    ]
    lines = world.watch(Request(seating="near", threads=1), folder=None)
    assert faults(world) == []
    assert lines[0].startswith(f"the whole into {Path('renders/scene near')}: ")
    assert lines[1] == "scene.toml: nothing changed, not rendered again"
    assert lines[2].startswith("oboe moved 0.1 m")

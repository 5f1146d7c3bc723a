"""A rehearsal: what is heard is a render's steady state; moves, undo and saving lose nothing."""

from __future__ import annotations

import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from pathlib import Path
from threading import Event
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from seatwright import seat_loops
from seatwright.acoustics.kept_tails import KeptTails
from seatwright.acoustics.listening import seat_plan
from seatwright.acoustics.seat_response import seat_response
from seatwright.disk.scene_edits import ChangedMeanwhile
from seatwright.disk.scene_file import read_scene
from seatwright.errors import SceneError, StemError
from seatwright.loop_sound import HEADROOM_DB, peak_db
from seatwright.loop_stretch import Beginning, Playing
from seatwright.rehearsal import Rehearsal, excerpt_of
from seatwright.stage.moves import moved
from seatwright.stage.request import Request

ROUND = 24_000  # a length that is quick to transform, 1.5 s at the small stage's rate
SEATS = """# The places
[seats.oboe]
stem = "oboe.wav"
section = "winds"
bearing = -20 # a little left
distance = 2.2
[seats.violas]
stem = "violas.wav"
section = "strings"
x = 1.2
y = 2.2
[seats.organ]
stem = "organ.wav"
section = "strings"
treatment = "untouched"
gain = -3
[seats.choir]
stem = "choir.wav"
section = "voices"
treatment = "blended"
bearing = 5
distance = 3
[sections.winds]
perspectives = { tree = 0, close = -6 }
[seatings.across]
violas = { x = -1.2, y = 2.3 } # the other side
"""


@pytest.fixture
def made(stage: Any) -> Any:
    """Stems that are the same 1.5 s four times over."""
    for number, (name, channels) in enumerate(
        [("oboe", 1), ("violas", 2), ("organ", 2), ("choir", 2)]
    ):
        once = stage.noise(number, ROUND / stage.rate, channels)
        stage.stem(f"{name}.wav", np.tile(once, (4, 1)))
    stage.write(SEATS, 'title = "Tide"\n')
    return stage


@pytest.fixture
def rehearsal(made: Any) -> Iterator[Rehearsal]:
    with closing(opened(made)) as held:
        yield held


def opened(made: Any, **request: Any) -> Rehearsal:
    held = Rehearsal(made.scene, Request(**{"start": 1.5, "stop": 3.0, **request}))
    held.prepare()
    return held


def settled(held: Rehearsal, seconds: float = 60.0) -> NDArray[np.float64]:
    """The loop without its trim, once every seat is heard where it is."""
    with held.loop.changed:
        assert held.loop.changed.wait_for(lambda: all_heard(held), seconds)
        return np.asarray(held.loop._sum.total)


def all_heard(held: Rehearsal) -> bool:
    return held.loop.version > 0 and held.loop._heard == held.loop._wanted


def apart_db(one: NDArray[Any], other: NDArray[Any]) -> float:
    gap = np.mean((one - other) ** 2) / np.mean(np.asarray(other, dtype=np.float64) ** 2)
    return float(10.0 * np.log10(gap + 1e-30))


def test_the_loop_is_what_a_render_of_the_music_over_and_over_becomes(
    made: Any, rehearsal: Rehearsal
) -> None:
    made.float_render()
    whole = made.heard().T
    once = whole[:, 2 * ROUND : 3 * ROUND]
    assert rehearsal.loop.frames == ROUND
    heard = settled(rehearsal)
    assert apart_db(heard, once) < -100.0
    made.float_render("across", seating="across")
    with closing(opened(made, seating="across")) as across:
        twice = made.heard(out="across").T[:, 2 * ROUND : 3 * ROUND]
        assert apart_db(settled(across), twice) < -100.0
    assert apart_db(twice, once) > -20.0


def test_after_many_moves_the_sum_is_what_a_new_page_renders(
    made: Any, rehearsal: Rehearsal
) -> None:
    """A hundred moves, then the same places from a file: equal, but for the earliest arrival,
    which a session keeps."""
    rng = np.random.default_rng(3)
    names = ["oboe", "violas", "choir"]
    for _ in range(100):
        name = names[rng.integers(3)]
        place = (float(rng.uniform(-2, 2)), float(rng.uniform(1.6, 2.9)))
        rehearsal.move(name, place, float(rng.uniform(-180, 180)))
        if rng.integers(4) == 0:
            rehearsal.undo()
    total = settled(rehearsal)
    assert apart_db(total, rehearsal.loop._sum.from_nothing()) < -200.0
    from_nothing = sum_from_nothing(rehearsal)
    assert apart_db(total, from_nothing) < -120.0


def sum_from_nothing(held: Rehearsal) -> NDArray[np.float64]:
    """Every wanted seat rendered once more, added up in float64."""
    total = np.zeros((2, held.loop.frames))
    for wanted in held.loop._wanted.values():
        total += held.loop._rendered(wanted)[0]
    return total


def test_a_move_is_heard_and_undo_brings_back_the_very_sound(rehearsal: Rehearsal) -> None:
    before = settled(rehearsal)
    rehearsal.move("oboe", (1.5, 2.0), None)
    after = settled(rehearsal)
    assert apart_db(after, before) > -40.0
    rehearsal.undo()
    assert apart_db(settled(rehearsal), before) < -250.0
    rehearsal.redo()
    assert apart_db(settled(rehearsal), after) < -250.0
    assert (rehearsal.steps.undoable, rehearsal.steps.redoable) == ("oboe moved", "")


@pytest.fixture
def begun(
    rehearsal: Rehearsal, monkeypatch: pytest.MonkeyPatch
) -> Iterator[tuple[Beginning, Event]]:
    """The stretch of a moved oboe; the rest is rendered once the event is set."""
    gate, rendered = Event(), seat_loops.heard_loop

    def held(*given: NDArray[np.float32]) -> NDArray[np.float32]:
        assert gate.wait(20.0)
        return rendered(*given)

    settled(rehearsal)
    monkeypatch.setattr(seat_loops, "heard_loop", held)
    loop = rehearsal.loop
    with ThreadPoolExecutor(1) as pool:
        answer = pool.submit(loop.begun_after, loop.version, 20.0, Playing(0.2, time.time()))
        waited(lambda: bool(loop._listeners))
        rehearsal.move("oboe", (1.5, 2.0), None)
        found = answer.result()
    assert isinstance(found, Beginning)
    yield found, gate
    gate.set()


def test_a_move_undone_before_its_rest_is_rendered_is_not_begun_again(
    rehearsal: Rehearsal, begun: tuple[Beginning, Event]
) -> None:
    beginning, gate = begun
    loop, before = rehearsal.loop, rehearsal.loop._sum.scaled(rehearsal.loop.trim)
    rehearsal.undo()
    for rendered in (False, True):
        start = time.time()
        rest = loop.rest_of(beginning, 10.0)
        assert time.time() - start < 5.0, "who heard the stretch hears at once what is right again"
        assert rest is not None
        assert rest[0] == loop.version == beginning.after
        np.testing.assert_array_equal(rest[1], before)
        assert loop.begun_after(loop.version, 0.1, Playing(0.2, time.time())) is None
        if not rendered:
            gate.set()
            waited(lambda: not loop._taken)


def test_the_rest_of_a_seat_that_fails_after_its_stretch_comes_without_it(
    rehearsal: Rehearsal, begun: tuple[Beginning, Event], monkeypatch: pytest.MonkeyPatch
) -> None:
    beginning, gate = begun
    loop = rehearsal.loop
    assert loop.rest_of(beginning, 0.1) is None, "it is not rendered yet"
    monkeypatch.setattr(seat_loops, "heard_loop", lambda *_given: 1 / 0)
    for place in ((1.4, 2.0), (1.3, 2.0)):  # heard before, and silent before
        rehearsal.move("oboe", place, None)
        waited(lambda: "oboe" in loop.failed)
        rest = loop.rest_of(beginning, 10.0)
        assert rest is not None
        assert "oboe" not in loop._sum.names
        np.testing.assert_array_equal(rest[1], loop._sum.scaled(loop.trim))
        assert loop._beginning is None
    gate.set()


def test_figures_that_cannot_be_found_leave_the_sound_and_the_workers(
    rehearsal: Rehearsal, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(*_given: Any) -> None:
        raise MemoryError("no more")

    settled(rehearsal)
    loop = rehearsal.loop
    waited(lambda: len(loop.figures) == 3)
    monkeypatch.setattr(seat_loops, "seat_figures", fails)
    for x in (1.0, 1.1, 1.2):  # more than there are workers
        rehearsal.move("oboe", (x, 2.0), None)
        settled(rehearsal, 10.0)
    assert all(thread.is_alive() for thread in loop._threads)
    assert set(loop.figures) == {"violas", "choir"}


def test_the_trim_leaves_headroom_and_stays(rehearsal: Rehearsal) -> None:
    settled(rehearsal)
    version, loop = rehearsal.loop.sound_after(0, 0.0) or (0, np.zeros((2, 1)))
    assert version == 1
    assert loop.dtype == np.float32
    assert peak_db(loop) <= -HEADROOM_DB + 1e-4
    trim = rehearsal.loop.trim
    rehearsal.move("violas", (0.4, 1.6), None)
    settled(rehearsal)
    assert rehearsal.loop.trim == trim


def test_steps_join_where_they_are_one_hand_s(rehearsal: Rehearsal) -> None:
    for x in (0.5, 0.6, 0.7):
        rehearsal.move("oboe", (x, 2.5), None, joined=True)
    rehearsal.move("violas", (1.0, 2.5), None, joined=True)
    rehearsal.move("violas", None, 90.0)
    rehearsal.undo()
    rehearsal.undo()
    assert rehearsal.scene.seats["violas"].floor_place == (1.2, 2.2)
    assert rehearsal.scene.seats["oboe"].floor_place == pytest.approx((0.7, 2.5), abs=0.01)
    rehearsal.undo()
    assert rehearsal.scene.seats["oboe"].bearing == -20
    rehearsal.undo()
    assert (rehearsal.steps.undoable, rehearsal.steps.redoable) == ("", "oboe moved")
    assert not rehearsal.unsaved


def test_a_chair_that_cannot_be_there_changes_nothing(rehearsal: Rehearsal) -> None:
    for act in (rehearsal.move, rehearsal.tried):
        with pytest.raises(SceneError, match="outside the hall"):
            act("oboe", (30.0, 2.0), None)
    assert not rehearsal.unsaved
    assert rehearsal.steps.undoable == ""


def test_figures_in_the_hand_are_those_that_will_be(rehearsal: Rehearsal) -> None:
    tried = rehearsal.tried("oboe", (1.1, 2.4), 20.0)
    assert not rehearsal.unsaved
    rehearsal.move("oboe", (1.1, 2.4), 20.0)
    settled(rehearsal)
    waited(lambda: "oboe" in rehearsal.loop.figures)
    then = rehearsal.loop.figures["oboe"]
    assert tried.heard_bearing == pytest.approx(then.heard_bearing, abs=1e-6)
    assert tried.clarity_db == pytest.approx(then.clarity_db, abs=0.2)
    assert tried.direct_to_reverberant_db == pytest.approx(then.direct_to_reverberant_db, abs=0.2)


def test_a_chair_that_comes_nearer_than_all_loses_none_of_its_sound(
    made: Any, rehearsal: Rehearsal
) -> None:
    """A session's time begins with the earliest arrival at its start: nothing may be cut off."""
    place = (0.1, 0.6)
    tried = rehearsal.tried("oboe", place, None)
    rehearsal.move("oboe", place, None)
    settled(rehearsal)
    waited(lambda: rehearsal.loop._wanted["oboe"] in rehearsal.loop._figures)
    kept = rehearsal.loop.figures["oboe"]
    rehearsal.save()
    with closing(opened(made)) as anew:
        assert anew.grid.origin < rehearsal.grid.origin - 0.001
        settled(anew)
        waited(lambda: "oboe" in anew.loop.figures)
        fresh = anew.loop.figures["oboe"]
        for each in (tried, kept):
            assert each.direct_to_reverberant_db == pytest.approx(
                fresh.direct_to_reverberant_db, abs=0.3
            )
            assert each.clarity_db == pytest.approx(fresh.clarity_db, abs=0.3)
        ours, theirs = rehearsal.loop._sum.part("oboe"), anew.loop._sum.part("oboe")
        assert ours is not None
        assert theirs is not None
        product = np.fft.rfft(ours) * np.conj(np.fft.rfft(theirs))
        alike = np.fft.irfft(product, n=ROUND).sum(axis=0)
        # the tails are other noise, and the two grids lie a part of a sample apart
        assert alike.max() > 0.4 * np.sum(theirs.astype(np.float64) ** 2)
        late = (np.argmax(alike) + ROUND // 2) % ROUND - ROUND // 2
        ahead = (anew.grid.origin - rehearsal.grid.origin) * made.rate
        assert late == pytest.approx(ahead, abs=1.0)  # as much earlier as it is nearer


def waited(done: Any, seconds: float = 30.0) -> None:
    end = time.monotonic() + seconds
    while not done():
        assert time.monotonic() < end
        time.sleep(0.01)


def test_a_balance_is_heard_of_its_section_alone(rehearsal: Rehearsal) -> None:
    settled(rehearsal)
    before = {name: rehearsal.loop._sum.part(name) for name in ("oboe", "violas", "organ")}
    rehearsal.balance("winds", {"tree": -20.0, "close": 0.0})
    settled(rehearsal)
    after = {name: rehearsal.loop._sum.part(name) for name in before}
    assert after["violas"] is before["violas"]
    assert after["organ"] is before["organ"]
    assert apart_db(after["oboe"], before["oboe"]) > -30.0


def test_saving_writes_what_was_moved(made: Any, rehearsal: Rehearsal) -> None:
    before = made.scene.read_text(encoding="utf-8")
    rehearsal.move("oboe", (0.0, 2.5), None)
    rehearsal.choose("across")
    rehearsal.move("violas", (-1.0, 2.0), None)
    assert rehearsal.unsaved
    rehearsal.save()
    assert not rehearsal.unsaved
    assert made.scene.read_text(encoding="utf-8") == before.replace(
        "bearing = -20 # a little left\ndistance = 2.2",
        "bearing = 0 # a little left\ndistance = 2.5",
    ).replace("violas = { x = -1.2, y = 2.3 }", "violas = { x = -1, y = 2 }")
    rehearsal.undo()
    assert rehearsal.unsaved
    rehearsal.undo()
    rehearsal.save()
    assert made.scene.read_text(encoding="utf-8") == before


def test_saving_as_a_new_seating_leaves_the_places_as_they_were(
    made: Any, rehearsal: Rehearsal
) -> None:
    before = made.scene.read_text(encoding="utf-8")
    rehearsal.move("oboe", (0.0, 2.5), None)
    rehearsal.balance("winds", {"tree": -3.0})
    heard = settled(rehearsal)
    rehearsal.save_as("oboe in the middle")
    after = made.scene.read_text(encoding="utf-8")
    assert after.startswith(before)
    assert apart_db(settled(rehearsal), heard) < -250.0
    assert (rehearsal.seating, rehearsal.unsaved) == ("oboe in the middle", False)
    seated = read_scene(made.scene).scene.seated("oboe in the middle")
    assert seated.seats["oboe"].polar_place == (0.0, 2.5)
    assert seated.balance_of(seated.seats["oboe"]) == {"tree": -3.0}
    rehearsal.undo()  # the places are as they were moved, and the new seating stays in the file
    assert rehearsal.written.seats["oboe"].bearing == 0.0
    assert "oboe in the middle" in rehearsal.written.seatings
    with pytest.raises(SceneError, match="already"):
        rehearsal.save_as("across")


def test_two_rehearsals_never_overwrite_each_other(made: Any, rehearsal: Rehearsal) -> None:
    with closing(opened(made)) as other:
        other.move("choir", (0.3, 2.8), None)
        other.save()
        theirs = made.scene.read_bytes()
        rehearsal.move("oboe", (0.0, 2.5), None)
        rehearsal.choose("across")
        rehearsal.move("violas", (-1.0, 2.0), None)
        for save in (rehearsal.save, lambda: rehearsal.save_as("mine")):
            with pytest.raises(ChangedMeanwhile, match="nothing was written"):
                save()
        assert made.scene.read_bytes() == theirs
        assert rehearsal.unsaved
        rehearsal.save_beside("mine")
    assert made.scene.read_bytes().startswith(theirs)
    scene = read_scene(made.scene).scene
    assert scene.seats["choir"].polar_place == pytest.approx((6.1, 2.82))  # the other's
    mine = scene.seated("mine").seats
    assert mine["violas"].floor_place == (-1.0, 2.0)
    assert mine["choir"].polar_place == pytest.approx((6.1, 2.82))
    assert scene.seated("mine (written)").seats["oboe"].polar_place == (0.0, 2.5)


def test_a_file_that_lost_a_moved_seat_says_so(made: Any, rehearsal: Rehearsal) -> None:
    rehearsal.move("oboe", (0.0, 2.5), None)
    text = SEATS[: SEATS.index("[seats.oboe]")] + SEATS[SEATS.index("[seats.violas]") :]
    made.write(text)
    with pytest.raises(SceneError, match="no seat oboe"):
        rehearsal.save_beside("mine")


def test_a_stem_that_goes_leaves_its_seat_silent_and_the_others_playing(made: Any) -> None:
    held = Rehearsal(made.scene, Request(start=1.5, stop=3.0))
    (made.folder / "choir.wav").unlink()
    held.prepare()
    with closing(held):
        waited(lambda: held.loop.version > 0)
        assert set(held.loop._heard) == {"oboe", "violas", "organ"}
        assert "choir.wav" in held.loop.failed["choir"]
        held.move("oboe", (0.0, 2.5), None)
        waited(lambda: held.loop.version > 1)


def test_stems_that_are_missing_are_all_named(made: Any) -> None:
    for name in ("choir.wav", "oboe.wav"):
        (made.folder / name).unlink()
    with pytest.raises(StemError) as refused:
        Rehearsal(made.scene, Request())
    assert len(refused.value.faults) == 2


def test_seats_that_hear_one_another_follow_a_move(made: Any) -> None:
    made.write(SEATS, hall="[hall]\nsize = { width = 8, depth = 10, height = 5 }\n"
               "reverberation = 0.4\n[microphones.close]\nspill = 0\n")  # fmt: skip
    with closing(opened(made)) as held:
        settled(held)
        before = held.loop._sum.part("violas")
        held.move("oboe", (-1.6, 2.4), None)
        settled(held)
        after = held.loop._sum.part("violas")
        assert after is not None
        assert before is not None
        assert apart_db(after, before) > -60.0


def test_the_loop_is_where_most_seats_sound(stage: Any) -> None:
    rate, seconds = stage.rate, 40
    for number, (begin, end) in enumerate([(0, 20), (12, 33), (14, 40)]):
        samples = stage.noise(number, seconds)
        samples[: begin * rate] = 0.0
        samples[end * rate :] = 0.0
        stage.stem(f"{number}.wav", samples)
    stage.write(
        "".join(
            f'[seats.s{number}]\nstem = "{number}.wav"\nx = {number - 1}\ny = 2.5\n'
            for number in range(3)
        )
    )
    held = Rehearsal(stage.scene, Request())
    held.prepare()
    with closing(held):
        assert held.loop.frames == 15 * rate
        assert held.first is not None
        assert 12.0 <= held.first / rate <= 14.5


@pytest.mark.parametrize(
    ("asked", "first", "seconds"),
    [
        ({}, None, 6.0),
        ({"start": 1.0}, 16_000, 5.0),
        ({"stop": 4.0}, 0, 4.0),
        ({"start": 1.0, "stop": 3.5}, 16_000, 2.5),
    ],
)
def test_excerpts(
    rehearsal: Rehearsal, asked: dict[str, float], first: int | None, seconds: float
) -> None:
    begin, frames = excerpt_of(Request(**asked), rehearsal.cast)
    assert begin == first
    assert seconds <= frames / 16_000 <= 1.03 * seconds


@pytest.mark.parametrize("asked", [{"start": 9.0}, {"start": 2.0, "stop": 2.5}])
def test_loops_that_are_none(rehearsal: Rehearsal, asked: dict[str, float]) -> None:
    with pytest.raises(SceneError, match="wanted"):
        excerpt_of(Request(**asked), rehearsal.cast)


def test_the_scene_file_itself_is_never_touched_by_listening(made: Any) -> None:
    before = (Path(made.scene).stat().st_mtime_ns, made.scene.read_bytes())
    with closing(opened(made)) as held:
        held.move("oboe", (0.0, 2.5), None)
        settled(held)
    assert (Path(made.scene).stat().st_mtime_ns, made.scene.read_bytes()) == before


def test_kept_tails_change_no_sample_and_are_bounded(rehearsal: Rehearsal) -> None:
    settled(rehearsal)
    grid, listening = rehearsal.grid, rehearsal.listening
    few = KeptTails(listening.room, 2**20)
    for place in ((0.3, 2.0), (0.9, 2.4), (0.3, 2.0)):
        scene = moved(rehearsal.written, None, "oboe", *place)
        plan = seat_plan(scene, "oboe", rehearsal.cast.channels("oboe"))
        plain = seat_response(listening, plan, grid)
        for kept in (rehearsal.loop.tails, few):
            again = seat_response(listening, plan, grid, kept=kept)
            np.testing.assert_array_equal(again.mix, plain.mix)
    assert 0 < few._bytes == sum(row.nbytes for row in few._rows.values()) <= 2**20
    known = len(rehearsal.loop.tails._rows)
    rehearsal.move("oboe", (0.7, 2.2), None)
    settled(rehearsal)
    assert len(rehearsal.loop.tails._rows) == known, "wherever it is moved, its tails are known"


@pytest.mark.parametrize("kind", [np.random.SFC64, np.random.PCG64, np.random.Philox])
def test_kept_tails_tell_generators_of_any_kind_apart(rehearsal: Rehearsal, kind: Any) -> None:
    kept = KeptTails(rehearsal.listening.room, 2**24)

    def drawn(seed: int) -> NDArray[np.complex64]:
        made = [np.random.Generator(kind(seed))]
        return kept.spectra(16_000, 4_000, np.zeros(1), made, [True])

    one, other = drawn(1), drawn(2)
    assert np.abs(one - other).max() > 0.0
    np.testing.assert_array_equal(drawn(1), one)
    assert len(kept._rows) == 2

"""When a file that changes is taken: at rest, whole, and not sooner."""

from __future__ import annotations

from pathlib import Path

from seatwright.disk.settling import GONE_AFTER, Patience, Settling, State

STEM, SCENE = Path("horns.wav"), Path("scene.toml")
OLD, NEW, NEWER = (1, 1, 100, 1), (1, 2, 200, 2), (1, 2, 300, 3)


class Disk:
    """Settling over two files, with states set by hand."""

    def __init__(self) -> None:
        self.unfinished: set[State] = set()
        self.asked: list[State] = []
        self.states = {STEM: OLD, SCENE: OLD}
        self.settling = Settling(
            lambda path: Patience(0.7, 6.0) if path == STEM else Patience(0.1, 1.0), self.finished
        )
        self.settling.take(self.states)

    def finished(self, path: Path) -> bool:
        self.asked.append(self.states[path])
        return self.states[path] not in self.unfinished

    def at(self, now: float, stem: State, scene: State = OLD) -> bool:
        """Whether all can be taken after a look."""
        self.states = {STEM: stem, SCENE: scene}
        self.settling.look(now, self.states)
        return self.settling.at_rest(now)


def test_nothing_changed_is_nothing_to_take() -> None:
    disk = Disk()
    assert disk.at(1.0, OLD)
    assert disk.settling.changed == ()


def test_a_change_is_taken_when_it_has_stood_still() -> None:
    disk = Disk()
    assert not disk.at(1.0, NEW)
    assert disk.settling.changed == (STEM,)
    assert not disk.at(1.69, NEW)
    assert disk.at(1.71, NEW)


def test_a_file_that_goes_on_growing_keeps_its_short_wait() -> None:
    disk = Disk()
    for step in range(20):
        assert not disk.at(1.0 + 0.1 * step, (1, 2, 200 + step, step))
    assert disk.at(2.9 + 0.71, (1, 2, 219, 19))


def test_a_file_that_pauses_gets_twice_its_longest_pause() -> None:
    disk = Disk()
    disk.at(1.0, NEW)
    disk.at(1.6, NEWER)  # paused for 0.6 s
    disk.at(1.7, (1, 2, 400, 4))
    assert not disk.at(1.7 + 1.19, (1, 2, 400, 4))
    assert disk.at(1.7 + 1.21, (1, 2, 400, 4))


def test_the_wait_for_a_pausing_file_has_an_end() -> None:
    disk = Disk()
    disk.at(0.0, NEW)
    disk.at(50.0, NEWER)
    assert not disk.at(55.9, NEWER)
    assert disk.at(56.1, NEWER)


def test_an_unfinished_header_is_waited_for_and_then_taken_all_the_same() -> None:
    disk = Disk()
    disk.unfinished = {NEW}
    disk.at(1.0, NEW)
    assert not disk.at(6.9, NEW)
    assert disk.at(7.1, NEW)
    assert disk.asked == [NEW]


def test_an_unfinished_header_that_is_then_finished() -> None:
    disk = Disk()
    disk.unfinished = {NEW}
    disk.at(1.0, NEW)
    assert not disk.at(2.0, NEW)
    disk.at(2.1, NEWER)
    assert not disk.at(2.1 + 2.1, NEWER)  # it paused for 1.1 s
    assert disk.at(2.1 + 2.3, NEWER)


def test_a_header_is_not_read_while_the_file_still_changes() -> None:
    disk = Disk()
    disk.at(1.0, NEW)
    disk.at(1.5, NEWER)
    assert disk.asked == []


def test_delete_and_create_is_one_change() -> None:
    disk = Disk()
    assert not disk.at(1.0, OLD, ())
    assert not disk.at(1.0 + GONE_AFTER - 0.1, OLD, ())
    disk.at(3.0, OLD, NEW)
    assert not disk.at(3.05, OLD, NEWER)  # written twice
    assert disk.settling.changed == (SCENE,)
    assert disk.at(3.05 + 0.11, OLD, NEWER)


def test_a_missing_file_counts_as_gone_after_a_while() -> None:
    disk = Disk()
    disk.at(1.0, OLD, ())
    assert disk.at(1.0 + GONE_AFTER + 0.01, OLD, ())
    assert disk.settling.changed == (SCENE,)


def test_a_file_that_comes_back_as_it_was_has_not_changed() -> None:
    disk = Disk()
    disk.at(1.0, ())
    disk.at(1.2, OLD)
    assert disk.settling.changed == ()


def test_one_file_at_rest_waits_for_the_other() -> None:
    disk = Disk()
    disk.at(1.0, NEW, NEW)
    assert not disk.at(1.2, NEW, NEW)
    assert disk.settling.at_rest(1.2, [SCENE])
    assert disk.settling.waits_for(1.2) == (STEM,)
    assert disk.at(1.8, NEW, NEW)


def test_what_was_taken_is_the_new_measure() -> None:
    disk = Disk()
    disk.at(1.0, NEW)
    disk.settling.take({STEM: NEW, SCENE: OLD})
    assert disk.at(1.1, NEW)
    assert disk.settling.changed == ()
    disk.at(1.2, OLD)
    assert disk.settling.changed == (STEM,)

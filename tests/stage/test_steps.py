"""Steps: back and forth, joined where they are one hand's, bounded."""

from __future__ import annotations

from seatwright.stage.scene import Scene
from seatwright.stage.steps import MOST_STEPS, Step, Steps


def scene(number: int) -> Scene:
    return Scene.model_validate(
        {"title": str(number), "seats": {"oboe": {"stem": "o.wav", "x": 0.0, "y": 4.0}}}
    )


def step(number: int, subject: str = "") -> Step:
    return Step(scene(number), None, f"to {number}", subject)


def test_back_and_forth() -> None:
    steps = Steps(step(0))
    assert (steps.undoable, steps.redoable, steps.back(), steps.forth()) == ("", "", None, None)
    steps.add(step(1))
    steps.add(step(2))
    assert steps.back() == step(2)
    assert (steps.here, steps.undoable, steps.redoable) == (step(1), "to 1", "to 2")
    assert steps.forth() == step(2)
    steps.back()
    steps.add(step(3))
    assert (steps.here, steps.redoable) == (step(3), "")
    steps.back()
    assert steps.here == step(1)


def test_changes_of_one_subject_join_and_the_first_state_never_goes() -> None:
    steps = Steps(step(0, "oboe"))
    for number in (1, 2, 3):
        steps.add(step(number, "oboe"), joined=True)
    steps.add(step(4, "horn"), joined=True)
    steps.add(step(5), joined=True)
    steps.add(step(6), joined=True)  # no subject, nothing to join
    assert [steps.back() for _ in range(4)] == [step(6), step(5), step(4, "horn"), step(3, "oboe")]
    assert steps.here == step(0, "oboe")


def test_all_states_can_be_changed_and_the_oldest_are_forgotten() -> None:
    steps = Steps(step(0))
    for number in range(1, MOST_STEPS + 50):
        steps.add(step(number))
    steps.all_changed(lambda one: one.model_copy(update={"stems": "elsewhere"}))
    count = 0
    while steps.back():
        count += 1
        assert steps.here.scene.stems == "elsewhere"
    assert count == MOST_STEPS

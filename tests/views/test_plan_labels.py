"""Labels of a plan: off one another, off chairs, inside the hall, near what they name."""

from __future__ import annotations

import numpy as np
import pytest

from seatwright.views.plan_labels import Label, Mark, half_width, placed_labels


def boxes(labels: list[Label]) -> list[tuple[float, float, float, float]]:
    return [(each.x - each.half, each.y - 13, each.x + each.half, each.y + 17) for each in labels]


def lies_on(box: tuple[float, float, float, float], mark: Mark) -> bool:
    left, top, right, bottom = box
    return (
        left - mark.radius < mark.x < right + mark.radius
        and top - mark.radius < mark.y < bottom + mark.radius
    )


def test_a_label_with_room_stays_where_it_is_best() -> None:
    label = Label(100.0, 50.0, "oboe", "+3 m", ((100.0, 120.0),))
    assert placed_labels([label], [Mark(100.0, 90.0, 12.0)]) == [label]


def test_a_label_goes_below_its_chairs_where_others_stand_above() -> None:
    label = Label(100.0, 50.0, "oboe", "+3 m", ((100.0, 130.0),))
    crowd = [
        Mark(100.0 + 20.0 * n, 52.0 - 20.0 * row, 12.0) for n in (-1, 0, 1) for row in range(5)
    ]
    (found,) = placed_labels([label], crowd)
    assert (found.x, found.y) == (100.0, 130.0)
    assert not any(lies_on(box, mark) for box in boxes([found]) for mark in crowd)


def test_labels_stay_inside_the_hall() -> None:
    half = half_width("soprano", "-24 m")
    label = Label(half - 20.0, 50.0, "soprano", "-24 m", ((half + 10.0, 90.0),))
    (found,) = placed_labels([label], (), (0.0, 20.0, 500.0))
    assert (found.x, found.y) == (half + 10.0, 90.0)
    (high,) = placed_labels([Label(250.0, 25.0, "alto", "")], (), (0.0, 20.0, 500.0))
    assert high.y >= 33.0


@pytest.mark.parametrize("seed", range(5))
def test_a_crowded_stage_covers_no_label_and_few_chairs(seed: int) -> None:
    rng = np.random.default_rng(seed)
    spots = [(float(x), float(y)) for x, y in rng.uniform(100.0, 900.0, (14, 2))]
    marks = [Mark(x, y, 12.0) for x, y in spots]
    labels = [
        Label(x, y - 30.0, f"seat {n}", "+12 m", ((x, y + 40.0), (x - 60.0, y), (x + 60.0, y)))
        for n, (x, y) in enumerate(spots)
    ]
    found = placed_labels(labels, marks)
    placed = boxes(found)
    for number, (left, top, right, bottom) in enumerate(placed):
        for other in placed[number + 1 :]:
            assert right < other[0] or other[2] < left or bottom <= other[1] or other[3] <= top
    covered = [mark for mark in marks if any(lies_on(box, mark) for box in placed)]
    wanted = [mark for mark in marks if any(lies_on(box, mark) for box in boxes(labels))]
    assert len(covered) < max(1, len(wanted))

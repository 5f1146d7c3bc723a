"""The stage plan: well-formed, complete, true to scale, inert."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest

from seatwright.disk.scene_file import read_scene
from seatwright.errors import SceneError
from seatwright.plans import write_plan
from seatwright.stage.scene import Scene
from seatwright.views.stage_plan import UNITS, stage_plan

FERRY = Path(__file__).parents[2] / "scenes" / "ferry.toml"
SVG = "{http://www.w3.org/2000/svg}"


def plan_of(scene: Scene, against: Scene | None = None) -> ET.Element:
    return ET.fromstring(stage_plan(scene, against))


def texts(plan: ET.Element) -> list[str]:
    return [element.text or "" for element in plan.iter(f"{SVG}text")]


@pytest.fixture(scope="module")
def ferry() -> Scene:
    return read_scene(FERRY).scene


def test_every_placed_seat_is_named_with_its_place(ferry: Scene) -> None:
    told = texts(plan_of(ferry))
    for name, seat in ferry.seats.items():
        if ferry.treatment_of(seat) == "untouched" and seat.x is None and seat.bearing is None:
            continue
        bearing, distance = seat.polar_place
        assert name in told
        assert any(f"{bearing:+.0f}\u00b0  {distance:.1f} m" in text for text in told), name


def test_sections_microphones_podium_and_scale_are_named(ferry: Scene) -> None:
    told = texts(plan_of(ferry))
    wanted = {"strings", "woodwinds", "brass", "tree", "outriggers", "ambient", "podium", "5 m"}
    assert wanted <= set(told)


def test_the_dots_of_close_microphones_are_explained_where_there_are_any(ferry: Scene) -> None:
    def dots(scene: Scene) -> int:
        return sum(e.get("r") == "2.2" for e in plan_of(scene).iter(f"{SVG}circle"))

    open_ones = [
        name for name, seat in ferry.seats.items()
        if "close" in ferry.balance_of(seat) and ferry.treatment_of(seat) == "placed"
    ]  # fmt: skip
    assert "close" in texts(plan_of(ferry))
    assert dots(ferry) == len(open_ones) + 1 > 1
    seat = {"stem": "a.wav", "bearing": 10, "distance": 5, "perspectives": {"tree": 0.0}}
    without = Scene.model_validate({"seats": {"oboe": seat}})
    assert "close" not in texts(plan_of(without))
    assert dots(without) == 0


def test_the_hall_is_drawn_to_scale(ferry: Scene) -> None:
    wall = next(e for e in plan_of(ferry).iter(f"{SVG}path") if e.get("class") == "wall")
    across = [float(x) for x, _ in re.findall(r"(-?[\d.]+) (-?[\d.]+)", wall.get("d") or "")]
    assert max(across) - min(across) == pytest.approx(ferry.hall.size.width * UNITS, abs=0.2)


def test_moves_are_drawn_for_seats_that_differ_and_only_for_them(ferry: Scene) -> None:
    divided = ferry.seated("divided")
    changed = [
        name for name, seat in divided.seats.items()
        if seat.floor_place != ferry.seats[name].floor_place
    ]  # fmt: skip
    arrows = [e for e in plan_of(divided, ferry).iter(f"{SVG}path") if e.get("class") == "move"]
    still = [e for e in plan_of(ferry, ferry).iter(f"{SVG}path") if e.get("class") == "move"]
    plain = [e for e in plan_of(divided).iter(f"{SVG}path") if e.get("class") == "move"]
    assert len(arrows) - len(plain) == len(changed) > 0
    assert len(still) == len([seat for seat in ferry.seats.values() if seat.facing is not None])


def test_sections_differ_by_mark_not_by_colour(ferry: Scene) -> None:
    drawn = stage_plan(ferry)
    colours = set(re.findall(r"#[0-9a-f]{6}", drawn))
    for colour in colours:
        red, green, blue = (int(colour[i : i + 2], 16) for i in (1, 3, 5))
        assert max(red, green, blue) - min(red, green, blue) < 12, colour


def test_markup_in_names_stays_text(ferry: Scene) -> None:
    seat = next(iter(ferry.seats.values()))
    evil = '<script>alert("x")</script>\u202e\x07'
    scene = ferry.model_copy(update={"title": evil, "seats": {evil: seat}})
    plan = plan_of(scene)
    assert not list(plan.iter(f"{SVG}script"))
    assert any("<script>" in text for text in texts(plan))


def test_labels_do_not_cover_one_another(ferry: Scene) -> None:
    names = [e for e in plan_of(ferry).iter(f"{SVG}text") if e.get("class") == "name"]
    boxes = [(float(e.get("x") or 0), float(e.get("y") or 0), len(e.text or "")) for e in names]
    for number, (x, y, letters) in enumerate(boxes):
        for other_x, other_y, other_letters in boxes[number + 1 :]:
            close = abs(x - other_x) < 3.5 * (letters + other_letters)
            assert not (close and abs(y - other_y) < 12)


def test_pictures_are_written_by_their_ending(tmp_path: Path) -> None:
    write_plan(FERRY, tmp_path / "a.svg", "divided", "written")
    ET.parse(tmp_path / "a.svg")
    pytest.importorskip("resvg_py")
    write_plan(FERRY, tmp_path / "a.png")
    assert (tmp_path / "a.png").read_bytes().startswith(b"\x89PNG\r\n")
    assert len((tmp_path / "a.png").read_bytes()) > 20_000


def test_other_endings_and_seatings_are_refused(tmp_path: Path) -> None:
    with pytest.raises(SceneError, match=r"\.svg or \.png"):
        write_plan(FERRY, tmp_path / "a.pdf")
    with pytest.raises(SceneError, match="divided"):
        write_plan(FERRY, tmp_path / "a.svg", "devided")
    with pytest.raises(SceneError, match=r"one of: written, divided.*\(nearest: written"):
        write_plan(FERRY, tmp_path / "a.svg", "divided", "writen")
    assert list(tmp_path.iterdir()) == []

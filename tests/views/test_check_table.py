"""What a check tells, in JSON and in words."""

from __future__ import annotations

import json
from dataclasses import replace
from math import inf, nan

import pytest

from seatwright.acoustics.hall_figures import RoomFigures
from seatwright.acoustics.room import room_of
from seatwright.acoustics.seat_figures import SeatFigures
from seatwright.stage.bands import BAND_NAMES
from seatwright.stage.hall import Hall
from seatwright.views.check_table import Check, CheckedSeat, check_table
from seatwright.views.report import hall_row
from seatwright.views.room_figures import measured_rows

FIGURES = RoomFigures(*((nan, *(0.5 + 0.125 * band for band in range(7)), nan),) * 14)
SEAT = SeatFigures(-21.25, 3.5, 8.75, 12.5, -1.5, 0.25, -7.5, -9.0, "loudspeakers")
CHECK = Check(
    title="Harbour",
    scene="scenes/harbour.toml",
    seating="",
    rate=48_000,
    frames=96_000,
    hall=hall_row(room_of(Hall(reverberation=1.6))),
    measured=measured_rows((0.5, -8.0, 1.2), 6, FIGURES),
    seats=(
        CheckedSeat("oboe", "winds", "oboe", "placed", -4.0, 5.5, SEAT, FIGURES.single()),
        CheckedSeat("organ", "keys", "other", "untouched", None, None, None, None),
    ),
    stems=(),
    conflicts=(),
    fold_down=None,
    warnings=("seats.oboe: heard elsewhere", "seats.organ: one of many"),
    told=("seats.oboe: heard elsewhere",),
)


def lines(check: Check) -> list[str]:
    return [" ".join(line.split()) for line in check_table(check).splitlines()]


def test_table_shows_hall_seats_and_warnings() -> None:
    told = lines(CHECK)
    assert told[:2] == ["Harbour", "no faults; renders to 2.00 s at 48000 Hz"]
    assert any(line.startswith("Hall 22 x 36 x 16 m: 12672 m3") for line in told)
    assert any("(x 0.5, y -8.0, 1.2 m up)" in line for line in told)
    assert any(line.startswith("6 seats with an omni") for line in told)
    assert "T30 s 0.50 0.62 0.75 0.88 1.00 1.12 1.25 0.81" in told
    assert "Ts ms 500 625 750 875 1000 1125 1250 812" in told
    assert "C80 dB +0.5 +0.6 +0.8 +0.9 +1.0 +1.1 +1.2 +0.8" in told
    assert "oboe winds placed -4.0 5.5 -21.2 +3.5 +8.8 +12.5 -1.5 +0.25 -7.5 -9.0" in told
    assert "organ keys untouched - - - - - - - - - -" in told
    assert "oboe 0.81 0.81 +0.8 0.81 812 +0.8 0.69 +0.7 0.88" in told
    assert not any(line.startswith("organ 0") for line in told)
    assert "seats.oboe: heard elsewhere" in told
    assert "not for designing rooms" in check_table(CHECK)
    (predicted,) = (line for line in told if line.startswith("T60 s, predicted"))
    assert float(predicted.split()[-1]) == pytest.approx(1.6, abs=0.005)


def test_json_holds_everything_and_null_for_what_has_no_value() -> None:
    broken = replace(FIGURES, t30=(nan,) * 9, clarity_db=(inf,) * 9)
    check = replace(CHECK, measured=measured_rows((0.0, -8.0, 1.2), 6, broken))
    facts = json.loads(check.as_json(), parse_constant=pytest.fail)
    assert facts["check_format"] == 1
    assert facts["measured"]["bands"]["t30"] == dict.fromkeys(BAND_NAMES[1:8])
    assert facts["measured"]["single"]["clarity_db"] is None
    assert facts["measured"]["bands"]["edt"]["1k"] == 0.875
    assert facts["seats"][0]["at_listener"]["iacc_early"] == 0.875
    assert facts["seats"][0]["figures"]["placed_bearing"] == -9.0
    assert facts["seats"][1]["at_listener"] is None
    assert "-" in [line.split()[-1] for line in lines(check) if line.startswith("T30 s")]


def test_heading_names_the_seating_and_is_safe_for_a_terminal() -> None:
    assert lines(replace(CHECK, seating="divided"))[0] == "Harbour, seating divided"
    assert "\x1b" not in check_table(replace(CHECK, title="\x1b[31mred"))
    assert lines(replace(CHECK, title=""))[0] == "scenes/harbour.toml"


def test_a_scene_of_untouched_seats_has_no_measured_hall() -> None:
    bare = replace(CHECK, measured=None, seats=CHECK.seats[1:], warnings=())
    told = lines(bare)
    assert not any("Measured" in line or "listener" in line for line in told)
    assert any(line.startswith("T60 s, predicted") for line in told)
    assert json.loads(bare.as_json())["measured"] is None

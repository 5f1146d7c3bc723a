"""The table of many cues."""

from __future__ import annotations

import json

from seatwright.errors import Fault
from seatwright.views.cue_table import CueRow, cue_table, cues_json, worst_exit_code

ROWS = (
    CueRow("1m1.toml", "out/1m1", "done", 12.34, 1, -2.5, ("one", "two")),
    CueRow("1m2.toml", "out/1m2", "done", 8.0, 2, -3.25),
    CueRow(
        "1m3\x1b.toml", "out/1m3", "failed", 1.0, 1,
        faults=(Fault("wrong", file="1m3.toml"), Fault("wrong too")), exit_code=3,
    ),
    CueRow("1m4.toml", "out/1m4", "failed", faults=(Fault("bad"),), exit_code=2),
    CueRow("1m5.toml", "out/1m5", "not begun"),
)  # fmt: skip


def test_every_cue_has_its_line() -> None:
    lines = cue_table(ROWS).splitlines()
    assert lines[1].split() == ["1m1.toml", "done", "12.3", "no", "-2.50", "2", "out/1m1"]
    assert lines[2].split() == ["1m2.toml", "done", "8.0", "yes", "-3.25", "0", "out/1m2"]
    assert lines[3].startswith("1m3\\x1b.toml  failed")
    assert lines[3].endswith("1m3.toml: wrong (and 1 more)")
    assert lines[4].split() == ["1m4.toml", "failed", "-", "-", "-", "-", "bad"]
    assert lines[5].split() == ["1m5.toml", "not", "begun", "-", "-", "-", "-", "out/1m5"]
    assert lines[7].startswith("2 of 5 scenes are rendered. Their warnings")
    assert "--trim" in lines[9]


def test_equal_trims_need_no_word() -> None:
    assert "--trim" not in cue_table(ROWS[:1])


def test_the_worst_end_decides() -> None:
    assert worst_exit_code(ROWS) == 3
    assert worst_exit_code(ROWS[:2]) == 0


def test_json_has_every_fault_in_parts_and_as_text() -> None:
    facts = json.loads(cues_json(ROWS))
    assert (facts["seatwright_cues"], facts["exit_code"]) == (1, 3)
    assert [cue["retried"] for cue in facts["cues"]] == [False, True, False, False, False]
    assert facts["cues"][2]["scene"] == "1m3\x1b.toml"
    assert facts["cues"][2]["faults"][0] == {
        "what": "wrong", "file": "1m3.toml", "line": 0, "key": "", "hint": "",
        "text": "1m3.toml: wrong",
    }  # fmt: skip
    assert facts["cues"][0]["trim_db"] == -2.5

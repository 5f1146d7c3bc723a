"""Tally, end to end: files of ballots become a verdict, and what does not count is listed."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from html import unescape
from pathlib import Path
from typing import Any

import pytest

from seatwright.cli import main
from seatwright.errors import DiskError, SceneError
from seatwright.listening.ballot_code import ballot_code
from seatwright.tally import tally
from seatwright.views.tally_page import tally_page
from seatwright.views.tally_text import tally_json, tally_text
from seatwright.views.tally_words import verdict

PLAIN = [
    {"id": "v1", "name": "near", "sha256": "0" * 64, "twin_of": None},
    {"id": "v2", "name": "far", "sha256": "1" * 64, "twin_of": None},
]


@pytest.fixture
def box(tmp_path: Path) -> Path:
    (tmp_path / "ballots").mkdir()
    return tmp_path / "ballots"


@pytest.fixture
def pair_poll(new_poll: Callable[..., Any], tmp_path: Path) -> Any:
    made = new_poll(versions=PLAIN)
    (tmp_path / "trial.json").write_text(json.dumps(made.manifest))
    return made


def vote(poll: Any, box: Path, near: int, far: int) -> None:
    for number in range(near + far):
        order = [["v1"], ["v2"]] if number < near else [["v2"], ["v1"]]
        (box / f"{number}.json").write_bytes(poll.bytes(number, ranking=order))


def test_nine_listeners_are_told_how_many_it_takes(box: Path, pair_poll: Any) -> None:
    vote(pair_poll, box, 6, 3)
    found = tally([box], box.parent / "trial.json")
    wanted = "no clear preference with 9 listeners; 35 would be needed to see 75:25."
    assert wanted in verdict(found)
    assert found.preferences is not None
    assert found.preferences.majority.winner == "v1"


def test_fifteen_of_twenty_are_clear(box: Path, pair_poll: Any) -> None:
    vote(pair_poll, box, 5, 15)
    assert verdict(tally([box], box.parent / "trial.json"))[:2] == [
        "far is preferred to near by 15 of 20 (p = 0.041).",
        "a majority prefers far to every other version.",
    ]


def test_the_order_of_files_changes_nothing(box: Path, pair_poll: Any) -> None:
    vote(pair_poll, box, 8, 5)
    files = sorted(box.iterdir())
    one, two = tally(files), tally(files[::-1])
    assert one.preferences is not None and two.preferences is not None
    assert one.preferences.strengths.low.tolist() == two.preferences.strengths.low.tolist()
    assert one.listeners == 13


def test_identification_against_chance(box: Path, pair_poll: Any) -> None:
    for number in range(2):
        right = 12 if number else 8
        answers = [{"x": "v1", "answer": "v1" if k < right else "v2"} for k in range(16)]
        data = pair_poll.bytes(number, ranking=None, identification=answers)
        (box / f"{number}.json").write_bytes(data)
    found = tally([box], box.parent / "trial.json")
    assert found.preferences is None
    assert found.identification is not None
    pooled = found.identification.pooled
    assert (pooled.right, pooled.trials, pooled.needed) == (20, 32, 22)
    (_, guessed), (_, heard) = found.identification.listeners
    assert (heard.p, guessed.p) == (
        pytest.approx(0.0384, abs=5e-5),
        pytest.approx(0.5982, abs=5e-5),
    )
    assert heard.p_corrected == pytest.approx(2 * heard.p)
    assert "not shown to be told apart; 22 would have been enough" in verdict(found)[0]


def test_text_files_hold_codes_among_words(box: Path, pair_poll: Any) -> None:
    codes = [ballot_code(pair_poll.bytes(number, ranking=[["v1", "v2"]])) for number in range(3)]
    (box / "mail.txt").write_text(f"Anna: {codes[0]} thanks\n\n{codes[1]}\r\n{codes[2][:-20]}\n")
    (box / "note.txt").write_text("no ballots yet\n")
    (box / "trial.json").write_text(json.dumps(pair_poll.manifest))
    found = tally([box])
    assert found.listeners == 2
    sources = {Path(one.source).name: one.why for one in found.refused}
    assert set(sources) == {"mail.txt:4", "note.txt", "trial.json"}
    assert "does not unpack" in sources["mail.txt:4"]
    assert found.preferences is not None
    assert found.preferences.strengths.values.tolist() == pytest.approx([0.0, 0.0], abs=1e-9)


def test_a_code_alone_is_a_ballot(
    box: Path, pair_poll: Any, capsys: pytest.CaptureFixture[str]
) -> None:
    """As an argument: whole, broken over lines by mail, or cut short; a file of that name wins."""
    first, second, third = (ballot_code(pair_poll.bytes(n, ranking=[["v1"], ["v2"]]))
                            for n in range(3))  # fmt: skip
    broken = f"{second[:70]}\n {second[70:]}"
    found = tally([Path(first), Path(broken), Path(third[:-8])], box.parent / "trial.json")
    assert (found.listeners, len(found.refused)) == (2, 1)
    assert found.refused[0].source.startswith("code SWB1.")
    assert "copied whole?" in found.refused[0].why
    with pytest.raises(SystemExit) as end:
        main(["tally", first, "--trial", str(box.parent / "trial.json")])
    assert end.value.code == 0
    assert "1 ballot counted" in capsys.readouterr().out
    file = box / "SWB1.json"
    file.write_bytes(pair_poll.bytes(1, ranking=[["v1"], ["v2"]]))
    assert tally([file]).listeners == 1
    with pytest.raises(DiskError, match="no such file"):
        tally([box / "SWB2.abc"])


@pytest.mark.parametrize(
    ("code", "word"),
    [
        ("SWB1.", "a code with nothing in it"),
        ("SWB0.", "a code with nothing in it"),
        ("SWB2.AAAA", 'a code that begins with "SWB2."'),
    ],
)
def test_what_begins_as_a_code_is_a_damaged_one(
    code: str, word: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as end:
        main(["tally", code])
    assert end.value.code == 2
    told = capsys.readouterr().err
    assert word in told and "copied whole?" in told


def test_an_empty_argument_is_not_this_folder(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as end:
        main(["tally", ""])
    assert end.value.code == 2
    assert "found an empty argument, wanted a ballot" in " ".join(capsys.readouterr().err.split())


def test_levels_as_rendered_are_another_question(box: Path, pair_poll: Any) -> None:
    """20 heard them equally loud and prefer far; 12 as rendered prefer near: nothing is mixed."""
    for number in range(32):
        rendered = number >= 20
        order = [["v1"], ["v2"]] if rendered or number < 5 else [["v2"], ["v1"]]
        levels = "rendered" if rendered else "matched"
        (box / f"{number}.json").write_bytes(pair_poll.bytes(number, ranking=order, levels=levels))
    found = tally([box], box.parent / "trial.json")
    assert (found.matched.listeners, found.rendered.listeners) == (20, 12)
    sentences = verdict(found)
    assert sentences[0] == "far is preferred to near by 15 of 20 (p = 0.041)."
    assert any("12 of 32 listened with levels as rendered" in one for one in sentences)
    text = tally_text(found)
    apart = text[text.index("With levels as rendered (12):") :]
    assert "near is preferred to far by 12 of 12 (p < 0.001)" in apart
    assert "near is preferred" not in text[: text.index("With levels as rendered (12):")]
    facts = json.loads(tally_json(found))
    assert facts["preferences"]["pairs"][0]["for_first"] == 15
    assert facts["as_rendered"]["preferences"]["pairs"][0]["for_first"] == 12
    page = tally_page(found)
    assert "counted apart" in page and page.count("<svg") == 4


def test_only_levels_as_rendered(box: Path, pair_poll: Any) -> None:
    for number in range(3):
        data = pair_poll.bytes(number, ranking=[["v1"], ["v2"]], levels="rendered")
        (box / f"{number}.json").write_bytes(data)
    found = tally([box], box.parent / "trial.json")
    assert found.preferences is None and found.rendered.preferences is not None
    assert verdict(found)[0].startswith("all 3 listened with levels as rendered")
    assert "near over far" in tally_text(found)


def test_remarks_are_told_at_their_place_in_the_piece(
    box: Path, new_poll: Callable[..., Any]
) -> None:
    """The excerpt begins at 1:05; a manifest without that counts from its own beginning."""
    said = [{"version": "v1", "seat": "harp", "seconds": 12.4, "text": "far left"}]
    for extra, clock in (({"start": 65.0}, "1:17"), ({}, "0:12")):
        poll = new_poll(**extra)
        (box.parent / "t.json").write_text(json.dumps(poll.manifest))
        (box / "1.json").write_bytes(poll.bytes(1, comments=said))
        found = tally([box], box.parent / "t.json")
        assert f"\n  {clock}\n    as written: far left" in tally_text(found)
        assert f"<p>{clock}</p>" in tally_page(found)


def test_nothing_that_counts_is_an_error_with_every_reason(
    box: Path, pair_poll: Any, capsys: pytest.CaptureFixture[str]
) -> None:
    (box / "a.json").write_text("{")
    (box / "b.json").write_bytes(pair_poll.bytes(1, trial="f" * 16))
    with pytest.raises(SystemExit) as end:
        main(["tally", str(box), "--trial", str(box.parent / "trial.json")])
    assert end.value.code == 2
    said = capsys.readouterr().err
    assert "a.json: found broken JSON" in said
    assert "another page" in said
    assert "no ballot that counts among 2" in said
    with pytest.raises(DiskError, match="no such file or folder"):
        tally([box / "none"])
    with pytest.raises(SceneError, match="no key seatwright_trial"):
        tally([box], box / "b.json")


def test_hostile_names_stay_inert(
    box: Path, new_poll: Callable[..., Any], capsys: pytest.CaptureFixture[str]
) -> None:
    evil = "</script><img src=x onerror=alert(1)>\u202e\x1b[2J\"'" + "x" * 9_000
    named = [PLAIN[0] | {"name": evil}, PLAIN[1]]
    poll = new_poll(versions=named, title=evil, seats=[evil])
    (box.parent / "t.json").write_text(json.dumps(poll.manifest))
    said = [{"version": "v1", "seat": evil, "seconds": 3.0, "text": evil}]
    (box / "1.json").write_bytes(poll.bytes(1, comments=said))
    page = box.parent / "page.html"
    main_ended = pytest.raises(SystemExit)
    with main_ended as end:
        main(["tally", str(box), "--trial", str(box.parent / "t.json"), "--html", str(page)])
    assert end.value.code == 0
    text, html = capsys.readouterr().out, page.read_text(encoding="utf-8")
    assert not {"\x1b", "\u202e"} & set(text + html)
    assert "<img" not in html and "<script" not in html
    tags = "html|head|meta|title|style|body|header|section|h[123]|p|ul|li|bdi|div|figure|figcaption"
    tags += "|table|caption|thead|tbody|tr|th|td|svg|rect|path|circle|text"
    assert all(re.fullmatch(tags, tag) for tag in re.findall(r"<(\w+)", html))
    assert "default-src 'none'" in unescape(html)


def test_json_has_everything(box: Path, poll: Any, capsys: pytest.CaptureFixture[str]) -> None:
    (box.parent / "t.json").write_text(json.dumps(poll.manifest))
    said = [
        {"version": "v1", "seat": "harp", "seconds": time, "text": f"at {time}"}
        for time in (30.0, 12.0, 15.0, None)
    ]
    for number in range(4):
        (box / f"{number}.json").write_bytes(poll.bytes(number, comments=said[number:][:1]))
    (box / "again.json").write_bytes(poll.bytes(1, ended="2024-05-31T20:00:01Z"))
    with pytest.raises(SystemExit):
        main(["tally", str(box), "--trial", str(box.parent / "t.json"), "--json"])
    found = json.loads(capsys.readouterr().out)
    assert found["listeners"] == 4
    assert [pair["for_first"] for pair in found["preferences"]["pairs"]] == [4, 4, 4]
    assert found["preferences"]["half_wins_added"] == 0.5
    assert found["preferences"]["majority"]["winner"] == "v1"
    assert found["twins"][0]["distances"] == [3.0] * 4
    moments = found["remarks"][0]["moments"]
    assert [(m["begin"], m["end"]) for m in moments] == [(12.0, 15.0), (30.0, 30.0), (None, None)]
    assert len(found["refused"]) == 1


def test_thousands_of_codes_are_read_from_one_file(box: Path, pair_poll: Any) -> None:
    lines = [ballot_code(pair_poll.bytes(n, ranking=[["v1"], ["v2"]])) for n in range(2000)]
    (box / "all.txt").write_text("\n".join(lines))
    found = tally([box])
    assert (found.listeners, len(found.refused)) == (2000, 0)

"""A whole vote in a real browser, and what the tally makes of the very ballots that come out."""

from __future__ import annotations

import hashlib
import json
import re
import zlib
from base64 import urlsafe_b64decode
from pathlib import Path
from typing import Any

import pytest

from seatwright.errors import SceneError
from seatwright.stage.scene import Scene
from seatwright.tally import tally
from seatwright.views.stage_plan import stage_plan
from seatwright.views.tally_text import tally_text


def plan() -> str:
    seats = {name: {"stem": "a.wav", "bearing": b, "distance": 5} for name, b in SEATS.items()}
    return stage_plan(Scene.model_validate({"seats": seats, "title": "Two"}))


SEATS = {"horns": -30, "violas": 30}


def told(listener: Any) -> list[str]:
    """What the page complained of or asked for besides itself."""
    return [text for text in listener.told if not text.startswith("asked for file:")]


def test_a_vote_from_the_caution_to_the_ballot(opened: Any, tmp_path: Path, kit: Any) -> None:
    path = tmp_path / "page.html"
    names = ["near", "far"]
    manifest = kit.written_page(path, names, twin=True, trials=2, seconds=1.0, plan=plan())
    listener = opened(path)
    page = listener.page
    assert "Take care of your hearing" in page.locator(".caution:visible").inner_text()
    assert page.locator("#listen").is_hidden() and page.locator("#vote").is_hidden()
    page.locator("#check").click()
    page.wait_for_timeout(400)
    assert page.locator("#ready").is_disabled()  # how one listens is asked first
    page.locator("#check").click()
    listener.start()
    assert page.locator("#finish").is_disabled()
    page.get_by_role("button", name="Hear B").click()
    assert page.locator("#play").text_content() == "Stop"
    assert page.locator("#letters [aria-pressed=true]").text_content() == "B"
    listener.play()
    listener.rank([2, 1, 2])
    assert page.locator("#finish").is_disabled()  # places alone are no vote
    listener.hear(1.2, 3)
    assert page.locator("#answer-1").is_disabled()  # X was not heard yet
    listener.identify([1])
    assert "Finish the trials you began: 1 to go" in page.locator("#guards").text_content()
    assert page.locator("#finish").is_disabled()
    listener.identify([2])
    assert page.locator("#identify-status").text_content() == "All 2 answers are kept."
    assert page.locator("#answer-1").is_disabled() and page.locator("#answer-2").is_disabled()
    listener.comment('dark "horns" é')
    assert not re.search("near|far", page.locator("body").inner_text())  # still blind
    listener.vote()
    for select in page.locator("#places select").all():
        assert select.is_disabled()  # it stands
    assert "near" in page.locator("#names").inner_text()
    assert "same version" in page.locator("#twin").text_content()
    page.locator("#comment-seat").select_option(label="violas")
    listener.comment("too close")
    page.locator("#plan text.name", has_text="horns").click()
    listener.comment("from the plan")
    ballot = listener.save()
    check_ballot(ballot, manifest)
    assert decoded_code(page.locator("#code").input_value()) == ballot
    assert decoded_code(listener.copied()) == ballot
    assert told(listener) == []


def check_ballot(ballot: dict[str, Any], manifest: dict[str, Any]) -> None:
    assert ballot["checksum"] == checksum(ballot)
    assert (ballot["seatwright_ballot"], ballot["trial"]) == (1, manifest["id"])
    assert len(bytes.fromhex(ballot["listener"])) == 16
    assert (ballot["playback"], ballot["levels"]) == ("headphones", "matched")
    letters = ballot["letters"]
    assert sorted(letters.values()) == ["v1", "v2", "v3"] and list(letters) == ["A", "B", "C"]
    assert ballot["ranking"] == [[letters["B"]], sorted([letters["A"], letters["C"]])]
    assert all(1.0 <= ballot["heard"][version] < 4.0 for version in ("v1", "v2", "v3"))
    assert 2 <= ballot["switches"] <= 12
    assert [set(each) for each in ballot["identification"]] == [{"x", "answer"}] * 2
    assert {each["x"] for each in ballot["identification"]} <= {"v1", "v2"}
    assert sorted(each["answer"] for each in ballot["identification"]) == ["v1", "v2"]
    said = [(each["text"], each["seat"]) for each in ballot["comments"]]
    assert said == [('dark "horns" é', None), ("too close", "violas"), ("from the plan", "horns")]
    assert all(0.0 <= each["seconds"] <= 1.0 for each in ballot["comments"])
    assert ballot["begun"] < ballot["ended"] and ballot["ended"].endswith("Z")


def checksum(ballot: dict[str, Any]) -> str:
    """Written out here apart from the package; no number in it differs between languages."""
    facts = {key: value for key, value in ballot.items() if key != "checksum"}
    text = json.dumps(facts, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(re.sub(r"(\d)\.0(?=[,}\]])", r"\1", text).encode()).hexdigest()


def decoded_code(code: str) -> dict[str, Any]:
    head, _, body = code.partition(".")
    data = urlsafe_b64decode(body + "=" * (-len(body) % 4))
    ballot = json.loads(zlib.decompress(data) if head == "SWB1" else data)
    assert isinstance(ballot, dict)
    return ballot


def rights(listener: Any) -> int:
    """How often the page says that X was named rightly."""
    found = re.search(r"rightly (\d+) times of 2", listener.page.locator("#score").text_content())
    assert found is not None
    return int(found[1])


def test_the_tally_counts_what_three_listeners_clicked(
    opened: Any, tmp_path: Path, kit: Any
) -> None:
    """A file, a code and one with levels as rendered, besides a ballot of another page."""
    path, box = tmp_path / "page.html", tmp_path / "box"
    box.mkdir()
    kit.written_page(path, ["near", "far"], twin=True, trials=2, seconds=1.0)
    wanted = [{"v1": 1, "v2": 2, "v3": 1}, {"v1": 1, "v2": 3, "v3": 2}, {"v1": 2, "v2": 1, "v3": 3}]
    right = []
    for number, places in enumerate(wanted):
        listener = opened(path)
        listener.start()
        if number == 2:
            listener.page.get_by_label("as rendered").check()
        listener.hear(1.15, 3)
        listener.prefer(places)
        listener.identify([1, 2])
        listener.comment(f"said by {number}")
        listener.vote()
        right.append(rights(listener))
        if number == 1:
            (box / "codes.txt").write_text(f"Anna: {listener.copied()}\n", encoding="utf-8")
        else:
            assert listener.save(box / f"{number}.json")["levels"] == (
                "rendered" if number else "matched"
            )
        assert told(listener) == []
    other = tmp_path / "other.html"
    kit.written_page(other, ["near", "far"], title="Another", seconds=1.0)
    stray = opened(other)
    stray.start()
    stray.hear(1.15, 2)
    stray.prefer({"v1": 2, "v2": 1})
    stray.vote()
    stray.save(box / "stray.json")
    found = tally([box], tmp_path / "page.json")
    assert (found.listeners, found.playback) == (3, {"headphones": 3})
    assert found.levels == {"matched": 2, "rendered": 1}
    (refused,) = found.refused
    assert "stray.json" in refused.source and "it is of another page" in refused.why
    assert found.preferences is not None and found.rendered.preferences is not None
    (pair,) = found.preferences.pairs
    assert (pair.first, pair.for_first, pair.for_second, pair.ties) == ("v1", 2, 0, 0)
    (louder,) = found.rendered.preferences.pairs
    assert (louder.first, louder.for_first, louder.for_second) == ("v2", 1, 0)
    assert found.identification is not None and found.rendered.identification is not None
    pooled = [found.identification.pooled, found.rendered.identification.pooled]
    assert [(one.right, one.trials) for one in pooled] == [(right[0] + right[1], 4), (right[2], 2)]
    (twin,) = found.twins
    assert sorted(twin.distances) == [0, 1, 1]
    said = [each.text for seat in found.remarks for m in seat.moments for each in m.comments]
    assert sorted(said) == ["said by 0", "said by 1", "said by 2"]
    assert "near" in tally_text(found)
    with pytest.raises(SceneError, match="another page"):
        tally([box / "stray.json"], tmp_path / "page.json")

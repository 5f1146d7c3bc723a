"""The page under hands and keys: places and loops, telephones, hostile names, silent browsers."""

from __future__ import annotations

import hashlib
import re
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest

HOSTILE = [
    "</script><script>window.caught = 1</script>",
    "\"><img src=x onerror='window.caught = 1'>\u202e\u2066\x07",
    "שלום " + "very long " * 1_000,
]

FROZEN = """
  const clock = Object.getOwnPropertyDescriptor(BaseAudioContext.prototype, "currentTime").get;
  Object.defineProperty(BaseAudioContext.prototype, "currentTime", {
    get() { return window.frozen && this instanceof AudioContext ? 0 : clock.call(this); },
  });
"""

SLIDE = """(each, value) => {
  each.value = value;
  each.dispatchEvent(new Event("input"));
}"""

TOGETHER = """(version) => {
  document.getElementById("play").click();
  document.querySelector(`#letters [data-version=${version}]`).click();
}"""


def test_sha_256_is_that_of_the_standard(plain: Any) -> None:
    """Lengths around the ends of a block (FIPS 180-4)."""
    for length in (0, 3, 55, 56, 63, 64, 65, 1000):
        text = "é" * (length // 2) + "a" * (length % 2)
        found = plain.page.evaluate("(text) => Ballot.sha256(new TextEncoder().encode(text))", text)
        assert found == hashlib.sha256(text.encode()).hexdigest()


def test_orders_are_drawn_alike(plain: Any) -> None:
    """All six orders of three, 600 draws: chi-square with 5 degrees below 25.7 (p = 0.0001)."""
    orders = plain.page.evaluate(
        "() => Array.from({length: 600}, () => Trial.shuffled(['a', 'b', 'c']).join(''))"
    )
    counts = np.unique(orders, return_counts=True)[1]
    assert len(counts) == 6
    assert ((counts - 100) ** 2 / 100).sum() < 25.7


def pressed(listener: Any) -> str:
    """The letter that is heard."""
    return str(listener.page.locator("#letters [aria-pressed=true]").text_content())


def test_a_letter_chosen_right_after_play_does_not_stop_the_clock(
    opened: Any, tmp_path: Path, kit: Any
) -> None:
    """In one breath, from the very first start of the browser's sound on."""
    path = tmp_path / "page.html"
    kit.written_page(path, ["one", "two", "three"], seconds=20.0)
    listener = opened(path)
    listener.start()
    for turn, version in enumerate(["v2", "v3", "v1", "v2"]):
        before = listener.clock()
        listener.page.evaluate(TOGETHER, version)
        listener.page.wait_for_timeout(700)
        on = listener.page.locator(f"#letters [data-version={version}]")
        assert on.get_attribute("aria-pressed") == "true"
        assert 0.3 < listener.clock() - before < 2.0, f"turn {turn}"
        listener.page.locator("#play").click()
    assert listener.told == [f"asked for {path.as_uri()}"]


def test_a_browser_that_makes_no_sound_is_told_of_and_goes_on_at_its_place(
    opened: Any, tmp_path: Path, kit: Any
) -> None:
    """A clock that stands still, as where there is no output: first at the check, then in play."""
    path = tmp_path / "page.html"
    kit.written_page(path, ["one", "two"], seconds=20.0)
    listener = opened(path, before=FROZEN)
    page = listener.page
    page.evaluate("window.frozen = true")
    page.get_by_label("headphones").check()
    page.locator("#check").click()
    page.get_by_text("sound does not run").wait_for(timeout=8_000)
    assert page.locator("#ready").is_disabled()
    page.evaluate("window.frozen = false")
    listener.start()
    assert page.locator("#trouble").is_hidden()
    listener.play()
    page.wait_for_timeout(1_000)
    page.keyboard.press("ArrowRight")
    page.locator("#loop-off").focus()
    page.wait_for_timeout(300)
    reached = listener.clock()
    assert reached > 0.5
    page.evaluate("window.frozen = true")
    page.get_by_text("sound does not run").wait_for(timeout=8_000)
    assert page.locator("#play").text_content() == "Play"
    page.evaluate("window.frozen = false")
    listener.play()
    page.wait_for_timeout(600)
    assert page.locator("#trouble").is_hidden()
    assert page.locator("#play").text_content() == "Stop"
    listener.play()


def test_loops_keep_within_their_points(opened: Any, tmp_path: Path, kit: Any) -> None:
    path = tmp_path / "page.html"
    kit.written_page(path, ["one", "two"], seconds=20.0)
    listener = opened(path)
    page = listener.page
    listener.start()
    assert page.locator("#loop-off").is_disabled()
    page.locator("#seek").evaluate(SLIDE, 5)
    page.locator("#loop-from").click()
    page.locator("#seek").evaluate(SLIDE, 6)
    page.locator("#loop-to").click()
    listener.play()
    seen = []
    for turn in range(24):
        page.wait_for_timeout(100)
        seen.append(listener.clock())
        page.keyboard.press("ab"[turn % 2])
    assert min(seen) >= 4.9 and max(seen) <= 6.0
    assert any(later < sooner for sooner, later in pairwise(seen))  # went round
    page.locator("#loop-off").click()
    page.wait_for_timeout(1_300)
    assert listener.clock() > 6.1
    listener.play()


def test_the_level_check_can_be_played_again_and_is_never_heard_with_the_music(
    opened: Any, tmp_path: Path, kit: Any
) -> None:
    path = tmp_path / "page.html"
    kit.written_page(path, ["near", "far"], seconds=20.0)
    listener = opened(path)
    listener.start()
    page, again = listener.page, listener.page.locator("#check-again")
    listener.play()
    page.wait_for_timeout(600)
    again.click()
    assert again.inner_text() == "Stop the level check"
    assert page.locator("#play").text_content() == "Play"  # the music has stopped
    at = listener.clock()
    page.wait_for_timeout(400)
    assert listener.clock() == at > 0.2
    listener.play()
    assert page.locator("#play").text_content() == "Stop"
    assert again.inner_text() == "Play the level check again"  # the noise has ended
    page.wait_for_timeout(300)
    assert listener.clock() > at


def test_leaving_the_identification_half_way_is_explained(
    opened: Any, tmp_path: Path, kit: Any
) -> None:
    path = tmp_path / "page.html"
    kit.written_page(path, ["near", "far"], trials=3)
    text = opened(path).page.locator("#identify-text").text_content()
    assert "the vote opens only after all 3" in text


def test_keys_play_switch_and_move(opened: Any, tmp_path: Path, kit: Any) -> None:
    path = tmp_path / "page.html"
    kit.written_page(path, ["one", "two", "three"], seconds=20.0)
    listener = opened(path)
    page = listener.page
    listener.start()
    page.locator("h1").evaluate("() => document.activeElement.blur()")
    for key, letter in (("b", "B"), ("3", "C"), ("A", "A"), ("2", "B")):
        page.keyboard.press(key)
        assert pressed(listener) == letter
    page.keyboard.press("d")  # no such letter
    page.keyboard.press("Control+c")  # not ours
    assert pressed(listener) == "B"
    page.keyboard.press("ArrowRight")
    page.wait_for_timeout(200)
    assert listener.clock() == pytest.approx(2.0)
    page.keyboard.press(" ")
    page.wait_for_timeout(500)
    assert page.locator("#play").text_content() == "Stop"
    page.get_by_role("button", name="Version C").click()
    page.keyboard.press(" ")  # a letter has the focus: space stops all the same
    assert page.locator("#play").text_content() == "Play"
    assert pressed(listener) == "C"
    page.keyboard.press("ArrowLeft")
    page.wait_for_timeout(200)
    assert listener.clock() < 1.5
    page.locator("#comment-text").focus()
    page.keyboard.type("a bad chord 1 2")
    assert pressed(listener) == "C"  # typing is not switching
    assert page.locator("#comment-text").input_value() == "a bad chord 1 2"


def test_a_telephone_is_enough_for_a_whole_vote(opened: Any, tmp_path: Path, kit: Any) -> None:
    """390 x 844 under fingers: nothing to scroll sideways, controls of 44 pixels (WCAG 2.5.5)."""
    path = tmp_path / "page.html"
    long = "violins divided across the stage, horns far back at the wall, choir on the balcony"
    kit.written_page(path, [long, "as written"], twin=True, trials=1, seconds=1.0)
    size = {"width": 390, "height": 844}
    listener = opened(path, viewport=size, has_touch=True, is_mobile=True, device_scale_factor=3)
    page = listener.page
    fits(page)
    page.get_by_text("headphones").tap()
    page.locator("#check").tap()
    page.locator("#ready:not([disabled])").tap()
    fits(page)
    page.locator("#play").tap()
    for letter in "ABC":
        page.get_by_role("button", name=f"Version {letter}").tap()
        page.wait_for_timeout(1_150)
    page.get_by_role("button", name="X", exact=True).tap()
    page.locator("#answer-1:not([disabled])").tap()
    page.locator("#play").tap()
    listener.rank([1, 2, 3])
    page.locator("#finish:not([disabled])").tap()
    fits(page)
    assert long in page.locator("#names").inner_text()
    assert listener.save()["ranking"]


def fits(page: Any) -> None:
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    for control in page.locator("button:visible, select:visible, input[type=range]:visible").all():
        box = control.bounding_box()
        assert box["height"] >= 44 and box["width"] >= 44


def test_controls_have_names(plain: Any) -> None:
    nameless = plain.page.evaluate(
        """() => Array.from(document.querySelectorAll("button, select, textarea, input"))
          .filter((each) => !(each.textContent.trim() && each.tagName === "BUTTON")
            && !each.getAttribute("aria-label") && !(each.labels && each.labels.length))
          .map((each) => each.id)"""
    )
    assert nameless == []


def test_hostile_names_stay_text(opened: Any, tmp_path: Path, kit: Any) -> None:
    path = tmp_path / "page.html"
    kit.written_page(path, HOSTILE, title=HOSTILE[0], seats=tuple(HOSTILE), seconds=0.6)
    listener = opened(path)
    page = listener.page
    listener.start()
    listener.hear(0.8, 3)
    listener.rank([1, 1, 1])
    listener.comment(HOSTILE[0] + "\ud800")
    listener.vote()
    assert page.evaluate("typeof window.caught") == "undefined"
    names = page.locator("#names bdi").all_text_contents()
    assert HOSTILE[0] in names and HOSTILE[2] in names
    assert any("onerror" in name and "\\u{202e}" in name and "\u202e" not in name for name in names)
    assert page.locator("img").count() == 0
    assert page.locator("h1").inner_text() == HOSTILE[0]
    page.set_viewport_size({"width": 390, "height": 800})
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    assert listener.save()["comments"][0]["text"] == HOSTILE[0] + "\ufffd"
    assert listener.told == [f"asked for {path.as_uri()}"]


def test_the_page_counts_down_how_long_each_version_is_still_to_be_heard(
    opened: Any, tmp_path: Path, kit: Any
) -> None:
    path = tmp_path / "page.html"
    kit.written_page(path, ["one", "two"], seconds=2.5)
    listener = opened(path)
    listener.start()
    left = listener.page.locator("#to-hear")
    left.filter(has_text="Still to hear: A 3 s, B 3 s.").wait_for()
    assert left.get_attribute("role") is None  # a screen reader is not told every second
    listener.hear(1.7, 1)
    left.filter(has_text="Still to hear: A 1 s, B 3 s.").wait_for()
    listener.hear(1.2, 1)
    left.filter(has_text="Still to hear: B 3 s.").wait_for()
    listener.hear(2.8, 2)
    listener.rank([1, 2])
    left.filter(has_text=re.compile("^$")).wait_for(state="attached")
    listener.vote()


def test_a_section_alone_is_played_and_does_not_count_as_heard(
    opened: Any, tmp_path: Path, kit: Any
) -> None:
    path = tmp_path / "page.html"
    alone = {"brass": [kit.flac(0.5 * kit.music(n, 0.6)) for n in (7, 8)]}
    kit.written_page(path, ["one", "two"], seconds=0.6, sections=alone)
    listener = opened(path)
    page = listener.page
    listener.start()
    page.locator("#solo").select_option(label="brass")
    page.get_by_text("does not count as heard").wait_for()
    listener.hear(0.8, 2)
    listener.rank([1, 2])
    page.wait_for_timeout(200)
    assert "Listen to A, B" in page.locator("#guards").text_content()
    page.locator("#solo").select_option(label="everything")
    listener.hear(0.8, 2)
    listener.vote()
    assert listener.told == [f"asked for {path.as_uri()}"]


@pytest.mark.parametrize("codec", ["FLAC", "Vorbis"])
def test_a_browser_without_the_codec_gets_a_clear_word(
    opened: Any, tmp_path: Path, kit: Any, codec: str
) -> None:
    path = tmp_path / "page.html"
    kit.written_page(path, ["one", "two"], codec=codec)
    no = "BaseAudioContext.prototype.decodeAudioData = () => Promise.reject(new Error('no codec'));"
    page = opened(path, before=no).page
    said = page.locator("#trouble").text_content()
    assert f"cannot decode the {codec} audio" in said
    assert ("Safari" in said) == (codec == "Vorbis")
    assert page.locator("#check").is_disabled()


def test_the_page_says_what_audio_it_carries(plain: Any) -> None:
    note = plain.page.locator("#audio-note").text_content()
    assert note == "The audio is FLAC of 16 bits, lossless; the same for all versions."

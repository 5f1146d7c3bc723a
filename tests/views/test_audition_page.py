"""The audition page as a file: inert names, a policy that fits its own script, no way out."""

from __future__ import annotations

import hashlib
import json
import re
from base64 import b64decode, b64encode
from html import unescape
from html.parser import HTMLParser
from typing import Any

import pytest

from seatwright.errors import printable
from seatwright.listening.trial import trial_manifest, version_row
from seatwright.stage.scene import Scene
from seatwright.views.audition_page import Audition, PageVersion, audition_page, inert_json
from seatwright.views.stage_plan import stage_plan

HOSTILE = [
    "</script><script>alert(1)</script>",
    "<!--<script>",
    "\"'><img src=x onerror=alert(1)>",
    "]]>&amp;\u2028\u2029\u202e{{SCRIPT}}",
    "long " * 2_000,
]


class Tags(HTMLParser):
    """Every tag with its attributes, and the text of every script and style."""

    def __init__(self) -> None:
        super().__init__()
        self.raw = False
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.inner: list[tuple[str, dict[str, str | None], str]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag in ("script", "style"):
            self.inner.append((tag, dict(attrs), ""))
        self.raw = tag in ("script", "style")

    def handle_endtag(self, tag: str) -> None:
        self.raw = False

    def handle_data(self, data: str) -> None:
        if self.raw:
            tag, attributes, text = self.inner.pop()
            self.inner.append((tag, attributes, text + data))


def made(names: list[str], title: str = "A trial") -> tuple[str, dict[str, Any]]:
    seats = {name: {"stem": "a.wav", "bearing": 0, "distance": 5} for name in ("horns", "a<b")}
    scene = Scene.model_validate({"seats": seats, "title": printable(title)[:400]})
    rows = [version_row(n, name, f"{n:064x}") for n, name in enumerate(names, start=1)]
    trial = trial_manifest(title, 60.0, rows, [*names, *seats], 16)
    versions = [PageVersion(f"audio {n}".encode(), 0.0) for n in range(len(names))]
    page = audition_page(Audition(trial, "FLAC", 48_000, versions, (0, 100), (), stage_plan(scene)))
    return page, trial


def parsed(page: str) -> Tags:
    tags = Tags()
    tags.feed(page)
    return tags


def test_the_policy_allows_the_page_and_nothing_else() -> None:
    """Hashes are recomputed from what a parser finds between the tags."""
    page, _ = made(["one", "two"])
    tags = parsed(page)
    (policy,) = [a["content"] for tag, a in tags.tags if a.get("http-equiv")]
    assert policy is not None
    rules = dict(rule.strip().split(" ", 1) for rule in policy.split(";"))
    assert (rules["default-src"], rules["connect-src"]) == ("'none'", "'none'")
    assert "unsafe" not in policy and "*" not in policy and "http" not in policy
    run = [text for tag, a, text in tags.inner if tag == "script" and "type" not in a]
    styled = [text for tag, _, text in tags.inner if tag == "style"]
    assert (len(run), len(styled)) == (1, 2)  # the page's own and the plan's
    for texts, rule in ((run, "script-src"), (styled, "style-src")):
        digests = {b64encode(hashlib.sha256(text.encode()).digest()).decode() for text in texts}
        assert {f"'sha256-{digest}'" for digest in digests} == set(rules[rule].split())


def test_the_page_refers_to_nothing_outside() -> None:
    page, _ = made(["one", "two"])
    tags = parsed(page)
    for tag, attributes in tags.tags:
        assert tag not in ("link", "iframe", "object", "embed", "base", "img", "audio", "a")
        assert not attributes.keys() & {"src", "href", "xlink:href", "action", "style", "srcset"}
        assert not any(key.startswith("on") for key in attributes)
    code = re.sub(r'xmlns="http://www.w3.org/2000/svg"', "", page)
    assert "http:" not in code and "https:" not in code
    for word in ("fetch(", "XMLHttpRequest", "WebSocket", "sendBeacon", "import(", "innerHTML",
                 "eval(", "insertAdjacentHTML", "document.write", "localStorage"):  # fmt: skip
        assert word not in page


@pytest.mark.parametrize("hostile", HOSTILE)
def test_hostile_names_are_data_and_come_back_as_they_were(hostile: str) -> None:
    harmless, _ = made(["one", "two"])
    page, trial = made([hostile, "two"], title=hostile)
    tags = parsed(page)
    assert [tag for tag, _ in tags.tags] == [tag for tag, _ in parsed(harmless).tags]
    (data,) = [text for _, a, text in tags.inner if a.get("type") == "application/json"]
    assert not set("<>&") & set(data) and data.isascii()
    facts = json.loads(data)
    assert facts["trial"] == trial
    assert facts["trial"]["versions"][0]["name"] == hostile


def test_audio_comes_back_byte_for_byte_and_a_twin_has_none() -> None:
    page, _ = made(["one", "two"])
    found = re.findall(r'<script type="text/plain" id="audio-(v\d+)">([^<]*)</script>', page)
    assert [(name, b64decode(data)) for name, data in found] == [
        ("v1", b"audio 0"),
        ("v2", b"audio 1"),
    ]
    rows = [version_row(1, "one", "0" * 64), version_row(2, "two", "1" * 64)]
    rows.append(version_row(3, "twin", "0" * 64, "v1"))
    trial = trial_manifest("t", 60.0, rows, [])
    versions = [PageVersion(b"x", 0.0), PageVersion(b"y", -1.0)]
    twin = audition_page(Audition(trial, "FLAC", 48_000, versions, (0,), (), ""))
    assert re.findall(r'id="audio-(v\d+)"', twin) == ["v1", "v2"]


def test_the_title_of_the_window_is_escaped_and_short() -> None:
    page, _ = made(["one", "two"], title="<b>" * 100)
    (title,) = re.findall(r"<title>(.*?)</title>", page, flags=re.S)[:1]
    assert unescape(title) == ("<b>" * 100)[:90] and "<" not in title


def test_every_part_of_the_page_is_named_for_a_screen_reader() -> None:
    """Every label, heading reference and group points at something that is there."""
    page, _ = made(["one", "two"])
    tags = parsed(page)
    ids = [a["id"] for _, a in tags.tags if "id" in a]
    assert len(ids) == len(set(ids)) > 30
    for _, attributes in tags.tags:
        for key in ("for", "aria-labelledby"):
            assert key not in attributes or attributes[key] in ids
    assert {"lang": "en"} in [a for tag, a in tags.tags if tag == "html"]


def test_inert_json_is_the_same_json() -> None:
    facts = {"a": HOSTILE, "b": [1.5, None, True]}
    assert json.loads(inert_json(facts)) == facts

"""A real browser without a window, pages to open in it, and a listener who uses them.

What needs the browser is skipped where there is none.
"""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable, Iterator
from io import BytesIO
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray

from seatwright.listening.comparison import common_waveform
from seatwright.listening.trial import trial_manifest, version_row
from seatwright.views.audition_page import Audition, PageVersion, audition_page

RATE = 48_000


@pytest.fixture(scope="module")
def chromium() -> Iterator[Any]:
    """Debian's Chromium, driven by playwright."""
    api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    program = shutil.which("chromium")
    if program is None:
        pytest.skip("no program chromium on this machine")
    with api.sync_playwright() as playwright:
        flags = ["--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage"]
        browser = playwright.chromium.launch(executable_path=program, args=flags)
        yield browser
        browser.close()


def music(seed: int, seconds: float) -> NDArray[np.float64]:
    """Noise of 16 bits, shape (frames, 2)."""
    rng = np.random.default_rng(seed)
    frames = round(seconds * RATE)
    return np.asarray(np.rint(rng.uniform(-0.2, 0.2, (frames, 2)) * 2**15) / 2**15)


def flac(samples: NDArray[np.float64], rate: int = RATE) -> bytes:
    held = BytesIO()
    soundfile.write(held, samples, rate, format="FLAC", subtype="PCM_16")
    return held.getvalue()


def written_page(
    path: Path,
    names: list[str],
    *,
    seconds: float = 1.2,
    twin: bool = False,
    trials: int = 0,
    title: str = "A trial",
    seats: tuple[str, ...] = ("horns", "violas"),
    plan: str = "",
    sections: dict[str, list[bytes]] | None = None,
    codec: str = "FLAC",
) -> dict[str, Any]:
    """Write a page with one version a name, each rendered 1 dB softer than the one before.

    Returns
    -------
    dict
        Its manifest, which is also written beside the page.
    """
    versions = [music(number, seconds) for number in range(len(names))]
    rows = [version_row(n, name, f"{n:064x}") for n, name in enumerate(names, start=1)]
    if twin:
        rows.append(version_row(len(rows) + 1, "twin", rows[0]["sha256"], "v1"))
    manifest = trial_manifest(title, seconds, rows, seats, trials)
    heard = [PageVersion(flac(one), -float(n)) for n, one in enumerate(versions)]
    outline = common_waveform([one.astype(np.float32) for one in versions])
    made = Audition(
        manifest, codec, RATE, heard, outline, (), plan, sections or {}, "FLAC of 16 bits, lossless"
    )
    path.write_text(audition_page(made), encoding="utf-8")
    path.with_suffix(".json").write_text(json.dumps(manifest), encoding="utf-8")
    return manifest


@pytest.fixture
def kit() -> SimpleNamespace:
    """Sounds and pages: `music`, `flac`, `written_page`."""
    return SimpleNamespace(music=music, flac=flac, written_page=written_page, rate=RATE)


class Listener:
    """Somebody at a page.

    Parameters
    ----------
    page : Page
        Of playwright, opened and ready for the level check.
    told : list of str
        What the page complained of and asked for.
    """

    def __init__(self, page: Any, told: list[str]):
        self.page = page
        self.told = told

    def start(self) -> None:
        """From the caution to the letters."""
        self.page.get_by_label("headphones").check()
        self.page.locator("#check").click()
        self.page.locator("#ready:not([disabled])").click(timeout=10_000)

    def play(self) -> None:
        self.page.locator("#play").click()

    def clock(self) -> float:
        """Seconds that the page shows."""
        minutes, seconds = self.page.locator("#clock").text_content().split(":")
        return 60.0 * float(minutes) + float(seconds)

    def hear(self, seconds: float, count: int) -> None:
        """Play and give each of the first letters a time."""
        self.play()
        for number in range(count):
            self.page.keyboard.press("abcdefgh"[number])
            self.page.wait_for_timeout(seconds * 1000)
        self.play()

    def rank(self, places: list[int]) -> None:
        """A place for each letter."""
        for letter, place in zip("ABCDEFGH", places, strict=False):
            self.page.get_by_label(f"Place of {letter}", exact=True).select_option(str(place))

    def prefer(self, places: dict[str, int]) -> None:
        """A place for each version, whatever letter it has."""
        for version, place in places.items():
            self.page.locator(f"#places select[data-version={version}]").select_option(str(place))

    def identify(self, answers: list[int]) -> None:
        """Hear X anew each time and answer which reference it is."""
        self.play()
        for number in answers:
            self.page.get_by_role("button", name="X", exact=True).click()
            self.page.locator(f"#answer-{number}:not([disabled])").click()
        self.play()

    def comment(self, text: str) -> None:
        self.page.locator("#comment-text").fill(text)
        self.page.get_by_role("button", name="Keep this comment").click()

    def vote(self) -> None:
        self.page.locator("#finish:not([disabled])").click(timeout=3_000)

    def save(self, path: Path | None = None) -> dict[str, Any]:
        """The ballot as it is downloaded."""
        with self.page.expect_download() as download:
            self.page.locator("#save").click()
        text = Path(download.value.path()).read_text(encoding="utf-8")
        if path is not None:
            path.write_text(text, encoding="utf-8")
        ballot = json.loads(text)
        assert isinstance(ballot, dict)
        return ballot

    def copied(self) -> str:
        """The ballot's code as it comes out of the clipboard."""
        self.page.locator("#copy").click()
        self.page.get_by_text("The code is in the clipboard.").wait_for()
        self.page.locator("#comment-text").fill("")
        self.page.locator("#comment-text").focus()
        self.page.keyboard.press("Control+V")
        code = self.page.locator("#comment-text").input_value()
        self.page.locator("#comment-text").fill("")
        return str(code)


Opened = Callable[..., Listener]


@pytest.fixture
def opened(chromium: Any) -> Iterator[Opened]:
    """A function that opens a page for a listener; further arguments are of the browser context."""
    contexts = []

    def open_page(path: Path, before: str = "", **options: Any) -> Listener:
        context = chromium.new_context(accept_downloads=True, **options)
        contexts.append(context)
        page = context.new_page()
        told: list[str] = []
        page.on("console", lambda message: told.append(message.text))
        page.on("pageerror", lambda error: told.append(str(error)))
        page.on("request", lambda request: told.append(f"asked for {request.url}"))
        if before:
            page.add_init_script(before)
        page.goto(path.as_uri())
        page.locator("#check:not([disabled]), #trouble:not([hidden])").first.wait_for(
            timeout=20_000
        )
        assert told == [f"asked for {path.as_uri()}"]
        return Listener(page, told)

    yield open_page
    for context in contexts:
        context.close()


@pytest.fixture
def plain(opened: Opened, tmp_path: Path) -> Listener:
    """A listener at a page of two versions."""
    path = tmp_path / "page.html"
    written_page(path, ["one", "two"])
    return opened(path)

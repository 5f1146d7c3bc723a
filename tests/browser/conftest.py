"""A real browser without a window; what needs it is skipped where there is none."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from typing import Any

import pytest


@pytest.fixture(scope="module")
def chromium() -> Iterator[Any]:
    """Debian's Chromium, driven by playwright."""
    api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    program = shutil.which("chromium")
    if program is None:
        pytest.skip("no program chromium on this machine")
    with api.sync_playwright() as playwright:
        flags = ["--no-sandbox", "--disable-gpu"]
        browser = playwright.chromium.launch(executable_path=program, args=flags)
        yield browser
        browser.close()

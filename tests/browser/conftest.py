"""One browser for all browser tests."""

from collections.abc import Callable, Iterator
from typing import Any

import pytest
from playwright.sync_api import Browser, sync_playwright

from tests.browser.chromium import FLAGS

PATIENCE_MS = 120_000
"""CI runs benches beside the browser: what takes a second alone may take twenty there."""


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """Debian's Chromium, headless."""
    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path="/usr/bin/chromium", args=FLAGS)
        chromium.new_page = _patient(chromium.new_page)  # type: ignore[method-assign]
        chromium.new_context = _patient(chromium.new_context)  # type: ignore[method-assign]
        yield chromium
        chromium.close()


def _patient(make: Callable[..., Any]) -> Callable[..., Any]:
    def made(*given: Any, **named: Any) -> Any:
        one = make(*given, **named)
        one.set_default_timeout(PATIENCE_MS)
        return one

    return made

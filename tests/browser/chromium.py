"""Debian's Chromium with nothing of its own on the network, and a page signed in by the one-time link."""

import os
from pathlib import Path

from playwright.sync_api import Browser, BrowserContext, Page

from scheduler.actions.people import people
from tests.end_to_end.live import Live

SIZES = ((1280, 800), (390, 844))
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
]
AXE = os.environ.get("AXE_FOLDER", "")


def signed_in(browser: Browser, live: Live, **options: object) -> tuple[BrowserContext, Page, list[str]]:
    """A page signed in by a link, and the list that collects what goes wrong on it."""
    context = browser.new_context(**options)  # type: ignore[arg-type]
    page = context.new_page()
    wrong: list[str] = []
    page.on("console", lambda message: wrong.append(message.text) if message.type == "error" else None)
    page.on("pageerror", lambda error: wrong.append(str(error)))
    page.on(
        "request",
        lambda request: wrong.append(request.url) if not request.url.startswith((live.url, "data:")) else None,
    )
    page.goto(f"{live.url}/enter/{people.make_link(live.context, 'chief')}")
    page.click("main button")
    page.wait_for_url(f"{live.url}/plants/*")
    return context, page, wrong


def axe_finds(page: Page) -> list[tuple[str, list[str]]]:
    """What axe-core finds on the page: (rule, the first elements)."""
    page.evaluate(next(Path(AXE).glob("axe-core*/axe.min.js")).read_text(encoding="utf-8"))
    found = page.evaluate("axe.run()")["violations"]
    return [(one["id"], [node["html"][:120] for node in one["nodes"]][:3]) for one in found]

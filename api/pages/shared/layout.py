"""The pages, rendered on the server. Views in, HTML text out; nothing here asks the store, the clock or the network."""

from datetime import datetime
from functools import cache
from hashlib import sha256
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup, escape

from api.pages import drawing
from api.pages.shared.codes import code_words
from api.pages.shared.frame import Frame
from api.pages.shared.help import manual_href
from scheduler.domain.base.enums import JobState, Test
from scheduler.language import gettext, language, ngettext, npgettext, pgettext
from scheduler.wording import figures
from scheduler.wording.figures import M3H, NBSP
from scheduler.wording.invisible import visible_text

_PAGES = Path(__file__).parents[1]
STATIC = _PAGES / "static"
"""The folder the application serves at /static."""
CSP = "default-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'; object-src 'none'"
"""Content-Security-Policy of every page but /docs: no inline script or style, nothing from outside."""
DOCS_CSP = (
    "default-src 'self'; img-src 'self' data:; style-src 'self' 'unsafe-inline'; base-uri 'none'; "
    "form-action 'self'; frame-ancestors 'none'; object-src 'none'"
)
"""Content-Security-Policy of /docs alone: the vendored viewer sets style attributes and draws icons from data: URLs."""


@cache
def asset(name: str) -> str:
    """Address of a static file with a mark of its content, so that a browser may keep it for ever."""
    return f"/static/{name}?v={sha256((STATIC / name).read_bytes()).hexdigest()[:10]}"


def unit_markup(said: str) -> Markup:
    """The text, escaped, with cubic metres an hour raised the way a reader can see and kept with their figure."""
    held = said.replace("m3/h", M3H).replace(f" {M3H}", f"{NBSP}{M3H}")
    return escape(held).replace(M3H, Markup("m<sup>3</sup>/h"))


def _environment() -> Environment:
    env = Environment(
        loader=FileSystemLoader(sorted({page.parent for page in _PAGES.glob("*/*.html")})),
        autoescape=True,
        undefined=StrictUndefined,
        auto_reload=False,  # a template of the package does not change while it is served
        trim_blocks=True,
        lstrip_blocks=True,
    )
    env.add_extension("jinja2.ext.i18n")
    env.install_gettext_callables(gettext, ngettext, newstyle=True, pgettext=pgettext, npgettext=npgettext)  # type: ignore[attr-defined]
    env.filters["unit"] = unit_markup
    env.filters["code"] = code_words
    env.filters["capital"] = figures.capital
    env.globals.update(
        asset=asset,
        help=manual_href,
        language=language,
        say=figures,
        parsed=datetime.fromisoformat,
        glyph=drawing.glyph,
        State=JobState,
        Test=Test,
    )
    return env


_ENV = _environment()


def render(template: str, frame: Frame, light: str, csrf: str, **values: Any) -> str:
    """A template with what every page has around it. light: "day", "night", or anything else for the system's."""
    shown = light if light in ("day", "night") else ""
    page = _ENV.get_template(template).render(
        frame=frame, light=shown, csrf=csrf, offset=frame.utc_offset_minutes, **values
    )
    return visible_text(page)


def compile_pages() -> None:
    """Make all templates ready, so that nobody who first opens a page waits for it: two seconds of a core."""
    for name in _ENV.list_templates(extensions=("html",)):
        _ENV.get_template(name)


def docs_page(openapi_href: str = "/openapi.json") -> str:
    """The interface description, shown by the vendored viewer; send it with DOCS_CSP."""
    return _ENV.get_template("docs.html").render(openapi_href=openapi_href)

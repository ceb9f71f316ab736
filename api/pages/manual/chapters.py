"""The manual's pages as they lie in the package: Markdown, read and rendered once a language; nothing here asks the database."""

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from hashlib import sha256
from html import unescape
from pathlib import Path
from typing import cast

from markdown_it import MarkdownIt
from markdown_it.renderer import RendererHTML
from markdown_it.token import Token
from markdown_it.utils import OptionsDict
from markupsafe import Markup, escape

from api.pages.shared.help import anchor_of
from api.pages.shared.layout import STATIC, asset
from scheduler.language import ENGLISH, LANGUAGES, gettext, language, marked

TEXTS = Path(__file__).parent / "text"
DRAWN = "drawn"
"""A fenced block with this word is replaced by the list of that name, made from the code."""
_HEAD = re.compile(r"<!-- English text: ([0-9a-f]{16}) -->\n\n")
_QUOTES = {ENGLISH: "\u201c\u201d\u2018\u2019", "de": "\u201e\u201c\u201a\u2018"}
"""As each language sets them: double open, close, single open, close."""


@dataclass(frozen=True, slots=True)
class ManualPart:
    """A part of the manual: whom it is for, and its pages in order; title and reader as English messages.

    keys_shown: keys, commands and instants in UTC may stand in it.
    """

    title: str
    reader: str
    names: tuple[str, ...]
    keys_shown: bool = False


PARTS: tuple[ManualPart, ...] = (
    ManualPart(
        marked("First ship"), marked("second engineer, chief engineer"), ("sign-in", "crew", "plant", "first-ship")
    ),
    ManualPart(
        marked("Every day"),
        marked("second engineer"),
        (
            "hours",
            "plan",
            "move",
            "dates",
            "calendar",
            "days",
            "dock",
            "week",
            "clogs",
            "handover",
            "pump",
            "find",
            "signs",
        ),
    ),
    ManualPart(
        marked("Work on a pump"),
        marked("second engineer"),
        ("job", "before", "isolation", "opening", "back", "test", "paper"),
    ),
    ManualPart(
        marked("When something is wrong"),
        marked("second engineer"),
        ("breakdown", "counters", "late", "below", "refused"),
    ),
    ManualPart(
        marked("For the chief engineer"), marked("chief engineer"), ("postponement", "minimum", "review", "requests")
    ),
    ManualPart(
        marked("History and proof"),
        marked("office, auditor"),
        ("fleet", "record", "verdicts", "verify", "changes"),
        keys_shown=True,
    ),
    ManualPart(marked("Automation"), marked("integrator"), ("gateway", "readings", "api", "doors"), keys_shown=True),
    ManualPart(
        marked("Keep it running"),
        marked("whoever runs it"),
        ("serve", "unit", "workers", "people", "settings", "backup", "office", "doctor", "commands"),
        keys_shown=True,
    ),
    ManualPart(marked("Words and limits"), marked("everyone"), ("words", "reckoning", "limits")),
)


@dataclass(frozen=True, slots=True)
class Chapter:
    """A page of the manual. says: its text without marks, for finding. html: whole, without what is drawn from the code."""

    name: str
    title: str
    html: str
    says: str
    headings: tuple[str, ...]


def part_of(name: str) -> ManualPart:
    """The part that a page stands in. Raises KeyError."""
    for part in PARTS:
        if name in part.names:
            return part
    raise KeyError(name)


def names() -> tuple[str, ...]:
    """All pages, in the order of the contents."""
    return tuple(name for part in PARTS for name in part.names)


def chapter(name: str) -> Chapter:
    """A page of the manual in the language spoken now, in English where it has no translation. Raises KeyError where there is none."""
    part_of(name)
    code = language()
    return _rendered(name, code if _path(name, code).is_file() else ENGLISH)


def source_of(name: str, code: str) -> str:
    """The Markdown of a page in a language of LANGUAGES, without the head that a translation has."""
    return _HEAD.sub("", _path(name, code).read_text(encoding="utf-8"), count=1)


def digest_of(name: str) -> str:
    """What the translations of a page carry in their head when they say what the English page says: 16 hexadecimal digits."""
    return sha256(_path(name, ENGLISH).read_bytes()).hexdigest()[:16]


def digest_in(name: str, code: str) -> str:
    """The digest of the English page that a translation was last held against; empty where it has none."""
    head = _HEAD.match(_path(name, code).read_text(encoding="utf-8"))
    return head[1] if head else ""


def _path(name: str, code: str) -> Path:
    return (TEXTS if code == ENGLISH else TEXTS / code) / f"{name}.md"


@cache
def _rendered(name: str, code: str) -> Chapter:
    """A translation has the anchors of the English page, heading by heading, so that one address leads to both."""
    anchors = None if code == ENGLISH else iter(_rendered(name, ENGLISH).headings)
    html = _MARKDOWN[code].render(source_of(name, code), {"anchors": anchors})
    title = re.search(r"<h1[^>]*>(.*?)</h1>", html, re.S)
    headings = tuple(re.findall(r'<h[1-6] id="([^"]+)"', html))
    inline = re.sub(r"</?(?:a|b|code|em|strong)\b[^>]*>", "", html)
    says = " ".join(unescape(re.sub(r"<[^>]+>", " ", inline)).split())
    return Chapter(name, unescape(title.group(1)) if title else name, html, says, headings)


def with_lists(html: str, lists: Mapping[str, Callable[[], Markup]]) -> str:
    """A page with the lists that are made from the code, each by its name. Raises KeyError for a name that is none."""
    return re.sub(rf"<!-- {DRAWN} ([a-z-]+) -->", lambda found: str(lists[found[1]]()), html)


def found_in_manual(words: str) -> tuple[tuple[Chapter, str], ...]:
    """(page, a piece of its text) for each page in which words begin with all of these, those with one in their title first."""
    asked = [re.compile(rf"(?<!\w){re.escape(word)}", re.IGNORECASE) for word in words.split()[:10]]
    if not asked:
        return ()
    hits = [one for one in map(chapter, names()) if all(word.search(one.says) for word in asked)]
    hits.sort(key=lambda one: not any(word.search(one.title) for word in asked))
    return tuple((one, _piece(one, asked[0])) for one in hits)


def _piece(one: Chapter, word: re.Pattern[str]) -> str:
    """About a line of the page's text, around the first place where the word stands."""
    body = one.says.removeprefix(one.title).strip()
    first = word.search(body)
    at = first.start() if first else 0
    start = body.rfind(" ", 0, max(at - 60, 0)) + 1
    piece = body[start : at + 120].rpartition(" ")[0]
    return f"{'… ' if start else ''}{piece} …"


def _markdown(code: str) -> MarkdownIt:
    made = MarkdownIt("commonmark", {"html": False, "typographer": True, "quotes": _QUOTES[code]})
    made.enable(["table", "smartquotes"])
    made.add_render_rule("heading_open", _heading)
    made.add_render_rule("fence", _fence)
    made.add_render_rule("image", _image)
    made.add_render_rule("table_open", _table)
    made.add_render_rule("table_close", lambda *_: "</table></div>\n")
    return made


def _heading(self: RendererHTML, tokens: list[Token], at: int, options: OptionsDict, env: Mapping[str, object]) -> str:
    anchors = cast(Iterator[str] | None, env["anchors"])
    tokens[at].attrSet("id", next(anchors or iter(()), anchor_of(tokens[at + 1].content)))
    return self.renderToken(tokens, at, options, {})


def _fence(_self: RendererHTML, tokens: list[Token], at: int, *_: object) -> str:
    if tokens[at].info.strip() == DRAWN:
        return "".join(f"<!-- {DRAWN} {name} -->\n" for name in tokens[at].content.split())
    text = escape(tokens[at].content)
    return f'<pre class="block" tabindex="0"><code>{text}</code></pre>\n'


def _image(_self: RendererHTML, tokens: list[Token], at: int, *_: object) -> str:
    """A picture in the words of its alternative text; its address is its file's name."""
    name = str(tokens[at].attrGet("src"))
    wide, high = size_of(STATIC / "manual" / name)
    source = asset(f"manual/{name}")
    words = escape(tokens[at].content)
    return f'<img class="shot" src="{source}" alt="{words}" width="{wide}" height="{high}" loading="lazy">'


def size_of(file: Path) -> tuple[int, int]:
    """Width and height in px of a WebP picture in the extended format. Raises ValueError for any other.

    Source: RFC 9649, 2.7.
    """
    head = file.read_bytes()[:30]
    if head[:4] != b"RIFF" or head[8:16] != b"WEBPVP8X":
        raise ValueError(f"{file} is no WebP picture in the extended format.")
    return int.from_bytes(head[24:27], "little") + 1, int.from_bytes(head[27:30], "little") + 1


def _table(*_: object) -> str:
    name = escape(gettext("Table"))
    return f'<div class="scroll" tabindex="0" role="region" aria-label="{name}"><table>'


_MARKDOWN = {code: _markdown(code) for code in LANGUAGES}

"""Takes the messages out of Python and templates, and brings them into the catalogues."""

import re
from collections.abc import Iterator
from contextlib import redirect_stderr
from io import BytesIO, StringIO
from pathlib import Path
from unittest.mock import patch

from babel.messages.catalog import Catalog, Message
from babel.messages.extract import extract_from_file
from babel.messages.pofile import read_po, write_po

from api.pages.manual import lists
from api.server.app import api_routes
from scheduler.language import CATALOGUES, ENGLISH, LANGUAGES

ROOT = Path(__file__).parents[2]
LOCALE = ROOT / "scheduler" / "locale"
*_FIRST, DRAWN = CATALOGUES
FOLDERS = dict(zip(_FIRST, ("scheduler", "api"), strict=True))
"""Whose messages stand in which catalogue; what several say stands in the first of them."""
OTHERS = tuple(code for code in LANGUAGES if code != ENGLISH)
KEYWORDS = {
    "_": None,
    "gettext": None,
    "marked": None,
    "ngettext": (1, 2),
    "pgettext": ((1, "c"), 2),
    "npgettext": ((1, "c"), 2, 3),
}
METHODS = {".py": "python", ".html": "jinja2"}
SAYS = re.compile(rf"(?<![\w.])(?:{'|'.join(KEYWORDS)})\(|{{%-? trans")
"""What a file has that says anything: the others need not be parsed."""
COUNTED = re.compile(r"""count_words\(\s*[^"']*?,\s*(["'])([^"']+)\1,\s*(["'])([^"']+)\3\s*,?\s*\)""")
"""What is counted, wherever: in the first catalogue."""
JINJA = {"trim_blocks": "true", "lstrip_blocks": "true", "silent": "false"}


def po_path(code: str, name: str) -> Path:
    """Where a language's catalogue of that name stands."""
    return LOCALE / code / "LC_MESSAGES" / f"{name}.po"


def extracted() -> dict[str, Catalog]:
    """The messages in the sources, by the name of their catalogue."""
    with redirect_stderr(StringIO()):  # Babel warns of f-strings in places, which are no part of a message
        return _extracted()


def _extracted() -> dict[str, Catalog]:
    found = {name: Catalog() for name in FOLDERS}
    first = found[CATALOGUES[0]]
    for name, folder in FOLDERS.items():
        for path in sorted((ROOT / folder).rglob("*.*")):
            if path.suffix not in METHODS:
                continue
            text, place = path.read_text(), (path.relative_to(ROOT).as_posix(), 1)
            for counted in COUNTED.finditer(text):
                first.add((counted[2], counted[4]), None, [place])
            if not SAYS.search(text):
                continue
            options = JINJA if path.suffix == ".html" else {}
            for _line, message, comments, context in extract_from_file(
                METHODS[path.suffix], path, KEYWORDS, ("i18n:",), options, strip_comment_tags=True
            ):
                if found[name] is first or not first.get(_key(message), context):
                    found[name].add(message, None, [place], auto_comments=comments, context=context)
    others = tuple(found.values())
    found[DRAWN] = Catalog()
    for message in drawn():
        if not any(one.get(message) for one in others):
            found[DRAWN].add(message, None, [("api/pages/manual/lists.py", 1)])
    return found


def drawn() -> list[str]:
    """What the manual's lists ask a catalogue for: each is drawn, and its messages noted."""
    asked: list[str] = []

    def note(message: str, /, **places: object) -> str:
        asked.append(message)
        return message.format(**places) if places else message

    with patch.object(lists, "_", note):
        for draw in lists.tables(api_routes()).values():
            draw()
    return [one for one in dict.fromkeys(asked) if re.search("[a-z]", one)]


def _key(message: str | tuple[str, ...]) -> str:
    return message if isinstance(message, str) else message[0]


def stored(code: str, name: str) -> Catalog:
    """A language's catalogue as it stands in the package."""
    return read_po(BytesIO(po_path(code, name).read_bytes()), locale=code)


def updated(code: str, name: str, template: Catalog) -> Catalog:
    """A language's catalogue with the messages of the sources alone, translated as far as they were."""
    catalogue = stored(code, name)
    catalogue.update(template, no_fuzzy_matching=True, update_creation_date=False)
    catalogue.obsolete.clear()
    return catalogue


def text_of(catalogue: Catalog, before: bytes) -> bytes:
    """A catalogue as its file has it: its head as before, then by source file, without lines, so that it changes with its messages
    alone."""
    head, _, _ = before.partition(b"\n\n")
    made = BytesIO()
    for message in catalogue:
        message.locations = sorted({(path, 0) for path, _ in message.locations})
    write_po(made, catalogue, width=110, omit_header=True, sort_by_file=True, include_lineno=False)
    return head.rstrip() + b"\n\n" + made.getvalue()


def untranslated(catalogue: Catalog) -> Iterator[Message]:
    """The messages that lack their translation, or one of its plurals."""
    for message in catalogue:
        said = message.string if isinstance(message.string, tuple | list) else (message.string,)
        if message.id and (message.fuzzy or not said or not all(said)):
            yield message

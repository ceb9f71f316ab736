"""The language in which sentences are said: English, unless who looks at a page reads another.

Record, exports, calendars, API and command line stay English: only an answer of a page is made with a language set. Messages are
English sentences, whole, with places by name; the catalogues of the others stand in `locale/`.
"""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from functools import cache
from gettext import GNUTranslations
from importlib.resources import files
from io import BytesIO

ENGLISH = "en"
LANGUAGES: Mapping[str, str] = {ENGLISH: "English", "de": "Deutsch"}
"""By code, each as it calls itself."""
CATALOGUES = ("leadline", "pages", "manual")
"""Files of a language: sentences of `scheduler`, of `api`, and what the manual's lists draw from the code."""


class Sentences(GNUTranslations):
    """A catalogue that also says one of what is counted: "step" of "step", "steps"."""

    def gettext(self, message: str) -> str:
        """The message, or as it is for one of something."""
        said = super().gettext(message)
        return self.ngettext(message, message, 1) if said == message else said


class _Speech:
    """What one request is answered in. It may be set after a worker thread took a copy of the context."""

    __slots__ = ("catalogue", "code")

    def __init__(self, code: str) -> None:
        self.set(code)

    def set(self, code: str) -> None:
        self.code = code
        self.catalogue = None if code == ENGLISH else catalogue_of(code)


_SPEECH: ContextVar[_Speech | None] = ContextVar("speech", default=None)


@cache
def catalogue_of(code: str) -> Sentences:
    """The sentences in a language of LANGUAGES other than English; read once."""
    from babel.messages.catalog import Catalog
    from babel.messages.mofile import write_mo
    from babel.messages.pofile import read_po

    whole = Catalog(locale=code)
    for name in CATALOGUES:
        text = (files("scheduler") / "locale" / code / "LC_MESSAGES" / f"{name}.po").read_bytes()
        for message in read_po(BytesIO(text), locale=code):
            if message.id:
                whole.add(message.id, message.string, context=message.context)
    compiled = BytesIO()
    write_mo(compiled, whole)
    compiled.seek(0)
    return Sentences(compiled)


@contextmanager
def in_language(code: str) -> Iterator[None]:
    """Say what is said meanwhile in a language of LANGUAGES."""
    before = _SPEECH.set(_Speech(code))
    try:
        yield
    finally:
        _SPEECH.reset(before)


def speak(code: str) -> None:
    """Go on in another language until the `in_language` around this ends; nothing where there is none, as for API and timers."""
    speech = _SPEECH.get()
    if speech is not None:
        speech.set(code if code in LANGUAGES else ENGLISH)


def language() -> str:
    """The code of the language that is spoken now."""
    speech = _SPEECH.get()
    return ENGLISH if speech is None else speech.code


def gettext(message: str, /, **places: object) -> str:
    """The message in the language spoken now, as it is where that has none; its places filled in.

    >>> gettext("{pump} stops at {time}", pump="VP1", time="08:00")
    'VP1 stops at 08:00'
    """
    speech = _SPEECH.get()
    catalogue = None if speech is None else speech.catalogue
    said = catalogue.gettext(message) if catalogue is not None and message else message  # of "" it says its own head
    return said.format(**places) if places else said


def ngettext(one: str, many: str, count: int, /, **places: object) -> str:
    """The message for that many of something, its places filled in.

    >>> ngettext("{count} pump", "{count} pumps", 2, count="2")
    '2 pumps'
    """
    speech = _SPEECH.get()
    plain = one if count == 1 else many
    said = plain if speech is None or speech.catalogue is None else speech.catalogue.ngettext(one, many, count)
    return said.format(**places) if places else said


def pgettext(context: str, message: str, /, **places: object) -> str:
    """The message, told apart from one with the same English words by where it stands; its places filled in."""
    speech = _SPEECH.get()
    said = message if speech is None or speech.catalogue is None else speech.catalogue.pgettext(context, message)
    return said.format(**places) if places else said


def npgettext(context: str, one: str, many: str, count: int, /, **places: object) -> str:
    """As `ngettext` and `pgettext`."""
    speech = _SPEECH.get()
    plain = one if count == 1 else many
    said = (
        plain if speech is None or speech.catalogue is None else speech.catalogue.npgettext(context, one, many, count)
    )
    return said.format(**places) if places else said


def marked(message: str) -> str:
    """The message as it is, marked for the catalogues: for tables, whose entries `gettext` says later."""
    return message


def language_asked(accept_language: str) -> str:
    """The language of LANGUAGES that a browser asks for first (RFC 9110, 12.5.4); English where it asks for none of them.

    >>> language_asked("fr, de-AT;q=0.8, en;q=0.5"), language_asked("en-GB,de;q=0.3"), language_asked("*")
    ('de', 'en', 'en')
    """
    asked: list[tuple[float, str]] = []
    for part in accept_language[:1000].split(","):
        name, _, weight = part.partition(";")
        quality = weight.strip().removeprefix("q=") or "1"
        code = name.strip().lower().partition("-")[0]
        if code in LANGUAGES and quality.replace(".", "", 1).isdecimal() and float(quality) > 0:
            asked.append((float(quality), code))
    return max(asked, key=lambda one: one[0])[1] if asked else ENGLISH

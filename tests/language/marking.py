"""A language that puts marks around whatever a catalogue would say: what stands outside them on a page was never translated."""

import re
from collections.abc import Iterable
from gettext import NullTranslations
from html.parser import HTMLParser

FIRST, LAST = "⟦", "⟧"
SILENT = ("script", "style", "textarea", "pre")
"""What people typed, and the form of a file, are as they are."""
SEEN = ("aria-label", "title", "alt", "placeholder")
"""Attributes whose value people read or hear."""
INLINE = frozenset({"a", "abbr", "b", "br", "code", "em", "i", "mark", "small", "span", "strong", "sub", "sup", "wbr"})
"""What stands inside a sentence."""
_WORD = re.compile(r"(?<![A-Za-z0-9])(?![0-9a-f]{8,})[A-Za-z]{3,}")
"""A word; a record stamp is none."""


class Marking(NullTranslations):
    """Marks instead of translations."""

    def gettext(self, message: str) -> str:
        """The message between marks."""
        return f"{FIRST}{message}{LAST}"

    def ngettext(self, msgid1: str, msgid2: str, n: int) -> str:
        """As `gettext`, one or many."""
        return self.gettext(msgid1 if n == 1 else msgid2)

    def pgettext(self, context: str, message: str) -> str:
        """As `gettext`."""
        return self.gettext(message)

    def npgettext(self, context: str, msgid1: str, msgid2: str, n: int) -> str:
        """As `ngettext`."""
        return self.ngettext(msgid1, msgid2, n)


class _Texts(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.depth, self.silent, self.left = 0, 0, list[str]()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._block(tag)
        self.silent += tag in SILENT
        for name, value in attrs:
            if name in SEEN and value:
                self.left.append(outside(value)[0])

    def _block(self, tag: str) -> None:
        if tag not in INLINE:  # a mark may have been cut off with the end of a sentence
            self.depth = 0

    def handle_endtag(self, tag: str) -> None:
        self._block(tag)
        self.silent -= tag in SILENT and self.silent > 0

    def handle_data(self, data: str) -> None:
        said, self.depth = outside(data, self.depth)
        if not self.silent:
            self.left.append(said)


def outside(text: str, depth: int = 0) -> tuple[str, int]:
    """What of a text stands outside the marks, and how many are open at its end."""
    left = []
    for letter in text:
        depth += (letter == FIRST) - (letter == LAST and depth > 0)
        left.append(letter if not depth and letter != LAST else " ")
    return "".join(left), depth


def unmarked(page: str, names: Iterable[str]) -> list[str]:
    """The texts of a page with words outside the marks that are none of the names; a name may begin small or large."""
    texts = _Texts()
    texts.feed(page)
    known = sorted(
        {form for one in names if one for form in (one, one[:1].lower() + one[1:], one[:1].upper() + one[1:])},
        key=len,
        reverse=True,
    )
    pattern = re.compile("|".join(rf"(?<![A-Za-z]){re.escape(one)}(?![A-Za-z])" for one in known))
    left = (" ".join(text.split()) for text in texts.left)
    return [one for one in left if _WORD.search(pattern.sub("", one))]

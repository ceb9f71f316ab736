"""Characters that nobody sees, shown: they turn the order of letters round or hide between them, so that one name reads as another."""

import re

_CONTROLS = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]")
_INVISIBLE = re.compile(
    "[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\xad\u061c\u115f\u1160\u180e\u200b-\u200f\u202a-\u202e\u2060-\u206f\u3164\ufeff\uffa0"
    "\ufff9-\ufffb\U000e0000-\U000e007f]"
)
_JOINERS = "\u200c\u200d"
"""Spelling in other scripts and in emoji; behind a Latin letter they only hide."""


def visible_text(text: str) -> str:
    r"""The text with each invisible control or filler as its code point in brackets; tab and line ends stay.

    For what people read (pages, calendars, tables, paper, the command line); JSON keeps what was given.
    Source: Unicode Standard Annex 9, 2 (directional formatting characters); Unicode Technical Report 36, 2 (visual spoofing).

    >>> visible_text("Ann \u202eeeL"), visible_text("Æthel\tO\u2019Hara")
    ('Ann [U+202E]eeL', 'Æthel\tO’Hara')
    """
    return (_CONTROLS if text.isascii() else _INVISIBLE).sub(_code_point, text)


def _code_point(found: re.Match[str]) -> str:
    spelling = found[0] in _JOINERS and found.string[: found.start()][-1:] > "\u024f"
    return found[0] if spelling else f"[U+{ord(found[0]):04X}]"

"""What a change is, and how it is put into a tree."""

from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
"""The tree that the changes are about."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """A wrong line. old: stands once in the file. breaks: the rule that does not hold. tests: files that notice."""

    name: str
    file: str
    old: str
    new: str
    breaks: str
    tests: tuple[str, ...]


class NotOnce(Exception):
    """The old text is not found, or is found more than once."""


def changed(change: Change, root: Path = ROOT) -> str:
    """The text of the file with the change made.

    Raises:
        NotOnce: the old text does not stand exactly once in the file, or there is no such file.
    """
    path = root / change.file
    if not path.is_file():
        raise NotOnce(f"{change.file} is not there")
    text = path.read_text(encoding="utf-8")
    times = text.count(change.old)
    if times != 1:
        raise NotOnce(f"the old text stands {times} times in {change.file}, once was expected")
    return text.replace(change.old, change.new)

"""Numbers of locks and tags as the next ones to be looked at: proposed, never recorded unseen."""

import re
from collections.abc import Collection, Mapping, Sequence

from scheduler.domain.work.acts import AnyStep, Note, Noted
from scheduler.domain.work.course import entries_left
from scheduler.domain.work.state import Tag, WorkState

LOCK_BOX = "lock box"
"""The name of the note that says which lock box the keys of this pump lie in."""
_LAST_DIGITS = re.compile(r"^(.*?)(\d{1,9})$", re.DOTALL)


def number_after(number: str) -> str:
    """The number that follows: its last digits and one, as wide as before; empty where it has none.

    >>> number_after("T-09"), number_after("41"), number_after("red")
    ('T-10', '42', '')
    """
    found = _LAST_DIGITS.match(number.strip())
    return "" if found is None else f"{found[1]}{int(found[2]) + 1:0{len(found[2])}}"


def box_of(work: WorkState, entries: Sequence[AnyStep]) -> str:
    """The lock box of this work: of the locks that hang, else as noted; empty where nobody said."""
    hung = [tag.box_no for tag in work.hanging if tag.box_no]
    noted = [
        one.text
        for one in entries_left(entries)
        if isinstance(one, Noted) and one.about is Note.OTHER and one.name == LOCK_BOX
    ]
    return next(iter((*reversed(hung), *reversed(noted))), "")


def proposed_numbers(
    point: str, box: str, hanging: Sequence[Tag], before: Mapping[str, tuple[str, str]]
) -> tuple[str, str]:
    """Lock and tag for a point: as at that point the last time out of this box, else those after the ones hung last, else
    numbered by the box; empty where nothing is known. Never one that hangs already.

    Args:
        before: lock and tag by point, of the last time this box was used.
    """
    if point in before:
        lock_no, tag_no = before[point]
    elif hanging:
        lock_no, tag_no = number_after(hanging[-1].lock_no), number_after(hanging[-1].tag_no)
    else:
        lock_no = tag_no = f"{box}-1" if box else ""
    return _free(lock_no, {tag.lock_no for tag in hanging}), _free(tag_no, {tag.tag_no for tag in hanging})


def _free(number: str, taken: Collection[str]) -> str:
    while number and number in taken:
        number = number_after(number)
    return number

"""Two people are two people: one rule, whichever door the second one comes through."""

import re
from typing import NamedTuple

_TOLD_BY = re.compile(r"\s*\(told by .*\)\s*$")


class Person(NamedTuple):
    """Who acted: an id (of the person, else of the key), and the name with the rank as it stands on record."""

    id: str
    name: str


def one_person(first: Person, second: Person) -> bool:
    """Whether both may be the same person: the same id, or the same name, rank and who typed it left aside.

    Either alone is enough. A second account of the same name, or the same account under another name, is not a second person.
    """
    return first.id == second.id or same_name(first.name, second.name)


def of_a_person(who: Person) -> bool:
    """Whether that id is a person's: one of a key, of the command line or of a timer has a space, or is empty."""
    return bool(who.id) and " " not in who.id


def same_name(one: str, other: str) -> bool:
    """The same name, the rank that may follow it ("A. Chief, chief engineer") left aside on either; empty is nobody's."""
    first, second = _plain(one), _plain(other)
    if not first or not second:
        return False
    bare = {first, first.rpartition(", ")[0]} - {""}
    return not bare.isdisjoint({second, second.rpartition(", ")[0]} - {""})


def surely_same_name(one: str, other: str) -> bool:
    """The same name for certain, where being the same is what permits: what follows a comma is left aside on one of them alone, so
    that "Sample, A." is not "Sample, B."."""
    first, second = _plain(one), _plain(other)
    if not first or not second:
        return False
    return first == second or first == second.rpartition(", ")[0] or first.rpartition(", ")[0] == second


def own_person(first: Person, second: Person) -> bool:
    """Whether both are the same person for certain: the same id, or surely the same name."""
    return first.id == second.id or surely_same_name(first.name, second.name)


def _plain(name: str) -> str:
    return " ".join(_TOLD_BY.sub("", name).split()).casefold()

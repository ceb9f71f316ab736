"""Ids that change: a thing that was used keeps its id, unless the new one says which it was. Pure.

What was kept under an id (hours, turns done, tests, outages) goes on under the new one; the record names both.
"""

from collections.abc import Collection, Iterator, Mapping, Sequence
from typing import Any

from scheduler.domain.vessel.document import Counter, Part, Plant, Position, Pump, Vessel
from scheduler.language import gettext

Thing = Plant | Position | Pump | Part | Counter

_REFERENCES = frozenset({"id", "pump", "position", "part", "subject"})
"""Members of the document that name a thing by its id."""
_LISTS = frozenset({"positions"})
"""Members that name things in a list of ids."""


def things(vessel: Vessel) -> Iterator[tuple[str, str, Thing]]:
    """(sort, pointer, thing) of everything in the document that has an id of its own."""
    for n, plant in enumerate(vessel.plants):
        yield "plant", f"/plants/{n}", plant
        sorts: tuple[tuple[str, Sequence[Thing]], ...] = (
            ("position", plant.positions),
            ("pump", plant.pumps),
            ("part", plant.parts),
            ("counter", plant.counters),
        )
        for sort, found in sorts:
            yield from ((sort, f"/plants/{n}/{sort}s/{i}", one) for i, one in enumerate(found))


def renames(old: Vessel, new: Vessel) -> dict[str, str]:
    """By the id that a thing had, the one it has now."""
    before = {one.id for _, _, one in things(old)}
    return {one.was: one.id for _, _, one in things(new) if one.was and one.id not in before}


def gone(old: Vessel, new: Vessel) -> dict[str, str]:
    """Sort of each thing that is in the old document and, under its own id, not in the new one; by id."""
    now = {one.id for _, _, one in things(new)}
    return {one.id: sort for sort, _, one in things(old) if one.id not in now}


def rename_faults(old: Vessel, new: Vessel, used: Collection[str]) -> list[tuple[str, str]]:
    """What is wrong with ids that changed, a (pointer, sentence) each; empty when nothing is.

    Args:
        used: those of the ids that are gone under which something is kept.
    """
    before = {one.id: (sort, one) for sort, _, one in things(old)}
    left = gone(old, new)
    faults: list[tuple[str, str]] = []
    taken: dict[str, str] = {}
    newcomers: dict[str, list[tuple[str, str]]] = {}
    for sort, at, one in things(new):
        known = before.get(one.id)
        if known is not None:
            if one.was and one.was != known[1].was:
                faults.append(
                    (
                        f"{at}/was",
                        gettext("{id} was here already under this id. Take was out, or put it as it stood.", id=one.id),
                    )
                )
            continue
        if not one.was:
            newcomers.setdefault(sort, []).append((at, one.id))
            continue
        if left.get(one.was) != sort:
            what = gettext("is still here") if one.was in before else gettext("is not known here")
            says = gettext(
                "{id} says it was {was}, and no {sort} of that id leaves with this document: {was} {what}.",
                id=one.id,
                was=one.was,
                sort=sort,
                what=what,
            )
            faults.append((f"{at}/was", gettext("{says} Give the id it has now, or leave was out.", says=says)))
        elif one.was in taken:
            faults.append(
                (
                    f"{at}/was",
                    gettext(
                        "{id} and {taken} both say they were {was}: one of them was.",
                        id=one.id,
                        taken=taken[one.was],
                        was=one.was,
                    ),
                )
            )
        taken.setdefault(one.was, one.id)
    for lost, sort in left.items():
        if lost in used and lost not in taken and sort in newcomers:
            at, name = newcomers[sort][0]
            says = gettext(
                "{capitalize} {lost} was used and is gone, and {name} is new. If {name} is the same "
                'under another name, say so: "was": "{lost}". If it is another one, leave {lost} in '
                "the document (a stay or fitting that is over ends with to_at), so that its history "
                "stays with it.",
                capitalize=sort.capitalize(),
                lost=lost,
                name=name,
            )
            faults.append((f"{at}/id", says))
    return faults


def with_new_ids(plain: Any, renamed: Mapping[str, str], member: str = "") -> Any:
    """A document as JSON values with the ids that changed put in place of the old ones, so that versions can be compared.

    >>> with_new_ids({"id": "a", "stays": [{"pump": "a", "name": "a"}]}, {"a": "b"})
    {'id': 'b', 'stays': [{'pump': 'b', 'name': 'a'}]}
    """
    if isinstance(plain, Mapping):
        # what a kind is counted on is a word of the document, and no id
        return {
            name: value if name == "job_kinds" else with_new_ids(value, renamed, name) for name, value in plain.items()
        }
    if isinstance(plain, list | tuple):
        return [
            renamed.get(one, one) if member in _LISTS and isinstance(one, str) else with_new_ids(one, renamed)
            for one in plain
        ]
    return renamed.get(plain, plain) if member in _REFERENCES and isinstance(plain, str) else plain

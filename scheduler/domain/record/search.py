"""Words of the record, to be found again: what is put into the index, what is looked for, and where a text shows it."""

import re
import unicodedata
from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime

from scheduler.domain.due.subjects import where
from scheduler.domain.vessel.document import Plant, Vessel
from scheduler.domain.vessel.job_kinds import BREAKDOWN

MOST_WORDS = 8
"""Words looked for at once; what is typed beyond is left aside."""
_OF_THE_SHEET = frozenset({"flags", "against", "not_recorded", "differences"})
"""Members that say what stands against an act or was left out, in the words of the sheet or the document: nobody found that."""
_WORD = re.compile(r"[^\W_]+")
_DIGEST = re.compile(r"[0-9a-f]{8,64}")
_INSTANT = re.compile(r"\d{4}-\d\d-\d\dT[0-9:.]+(?:Z|[+-]\d\d:\d\d)")


def plain_words(text: str) -> list[str]:
    """The words of a text as they are compared: letters and digits only, small, without accents.

    >>> plain_words("Cloth round rotor, DP-1041; Größe")
    ['cloth', 'round', 'rotor', 'dp', '1041', 'grosse']
    """
    flat = unicodedata.normalize("NFKD", text.casefold())
    return _WORD.findall("".join(one for one in flat if not unicodedata.combining(one)))


def record_words(payload: object) -> str:
    """The words of a record's texts, in one line; its digests, instants and names of members are left out."""
    return " ".join(word for text in texts_of(payload) for word in plain_words(text))


def texts_of(payload: object) -> Iterator[str]:
    """All that somebody may look for in a record: its texts and figures, member by member."""
    if isinstance(payload, str):
        if not (_DIGEST.fullmatch(payload) and re.search("[a-f]", payload)) and not _INSTANT.fullmatch(payload):
            yield payload
    elif isinstance(payload, Mapping):
        ticked = payload.get("about") == "step"  # a step of the sheet done: the sheet's words, nobody's finding
        for name, value in payload.items():
            if name not in _OF_THE_SHEET and not (ticked and name == "name"):
                yield from texts_of(value)
    elif isinstance(payload, Sequence):
        for value in payload:
            yield from texts_of(value)


def shows(text: str, words: Sequence[str]) -> list[tuple[int, int]]:
    """Where a text shows one of the words, or a word that begins like it: (from, to) in letters, in order.

    >>> shows("Two wipes, a cloth", ["wipe"])
    [(4, 9)]
    """
    return [
        found.span()
        for found in _WORD.finditer(text)
        if any(word.startswith(tuple(words)) for word in plain_words(found[0]))
    ]


def pump_about(members: Mapping[str, object], vessel: Vessel, at: datetime) -> str | None:
    """Id of the pump a record is about at an instant: named, by its serial number, by its job or by its counter; none for none."""
    for plant in vessel.plants:
        found = _pump_of(members, plant, at)
        if found is not None:
            return found
    return None


def _pump_of(members: Mapping[str, object], plant: Plant, at: datetime) -> str | None:
    ids = {pump.id for pump in plant.pumps}
    serials = {pump.serial: pump.id for pump in plant.pumps}
    if str(members.get("pump")) in ids:
        return str(members["pump"])
    serial = members.get("pump_serial") or members.get("serial")
    if isinstance(serial, str) and serial in serials:
        return serials[serial]
    parts = str(members.get("job_no") or "").split(":")
    if len(parts) == 3:
        kind = next((one for one in (*plant.job_kinds, BREAKDOWN) if one.code == parts[0]), None)
        pump = where(plant, kind.subject, parts[1], at)[0] if kind else None
        return pump if pump in ids else None
    counter = next((one for one in plant.counters if one.id == members.get("counter")), None)
    return plant.pump_in(counter.position, at) if counter else None

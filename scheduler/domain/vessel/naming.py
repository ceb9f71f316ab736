"""Names short enough for a glance: under a tube, in a calendar's title."""

from collections.abc import Collection, Iterable, Mapping

TITLE_LETTERS = 25
"""What a phone shows of a calendar's title."""

_PLAIN = {"inspection", "check", "test", "renewal", "replacement", "set"}


def short_kind(name: str, longest: int = 9) -> str:
    """A kind's name short enough to stand under a tube: plain words dropped, then the last word, then cut.

    >>> short_kind("Mechanical seal inspection"), short_kind("Knife inspection"), short_kind("Pump overhaul")
    ('Seal', 'Knife', 'Overhaul')
    """
    words = [w for w in name.split() if w.lower() not in _PLAIN] or name.split() or ["?"]
    text = " ".join(words)
    if len(text) > longest:
        text = words[-1]
    if len(text) > longest:
        text = text[: longest - 1] + "…"
    return text[:1].upper() + text[1:]


def title(place: str, kind_name: str, others: Iterable[str] = (), state: str = "") -> str:
    """Position and job within 25 letters, and the state behind them where it presses; place empty: of the plant itself.

    Args:
        beside: names of the plant's other job kinds: two that are alike when short are written out.

    >>> title("VP2", "Knife inspection", ["Alarm test"], "past due")
    'VP2 knife · past due'
    >>> title("VP2", "Seal inspection", ["Seal renewal"]), title("", "Alarm test")
    ('VP2 seal inspection', 'Alarm test')
    """
    others = tuple(others)
    room = max(8, TITLE_LETTERS - len(place) - bool(place))
    name = kind_name if not place or _alike(kind_name, others, room) else short_kind(kind_name, room)
    if len(name) > room:
        cut = any(other != kind_name and other[: room - 1] == name[: room - 1] for other in others)
        name = f"{name[: room // 2]}…{name[-(room - room // 2 - 1) :]}" if cut else f"{name[: room - 1]}…"
    small = len(name) < 2 or name[1].islower()  # an abbreviation stays as it is
    said = f"{place} {name[:1].lower() if small else name[:1]}{name[1:]}" if place else f"{name[:1].upper()}{name[1:]}"
    return f"{said} · {state}" if state else said


def _alike(kind_name: str, others: Iterable[str], room: int) -> bool:
    short = short_kind(kind_name, room).casefold()
    return any(other != kind_name and short_kind(other, room).casefold() == short for other in others)


def ship_names(names: Mapping[str, str]) -> dict[str, str]:
    """By vessel id, the last word of her name where no other of the fleet ends so, else the whole name.

    >>> ship_names({"a": "Demo Plover", "b": "Demo Avocet", "c": "Old Avocet"})
    {'a': 'Plover', 'b': 'Demo Avocet', 'c': 'Old Avocet'}
    """
    last = {vessel: (name.split() or [name])[-1] for vessel, name in names.items()}
    words: Collection[str] = list(last.values())
    return {vessel: last[vessel] if list(words).count(last[vessel]) == 1 else name for vessel, name in names.items()}

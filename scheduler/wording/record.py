"""What a record is called on a page, and the part of its text that shows what was looked for."""

from collections.abc import Mapping, Sequence
from typing import Any

from scheduler.domain.record.search import plain_words, shows, texts_of
from scheduler.language import gettext as _

_WORK = "work: "
_NAMES = frozenset(
    {
        "job_no", "pump", "plant", "vessel", "person", "counter", "kind", "event", "event_id", "plan", "problem", "key", "address",
        "recorded_at", "number", "code", "about", "shows", "trigger", "hours_source", "against", "flags", "undoes", "job_kind",
        "position", "pump_serial", "serial", "plan_before", "media_type", "bytes", "undone_kind", "by", "done_by", "recorded_by",
    }
)  # fmt: skip
"""Members that name or count things: what people wrote stands in the others, and whoever did it stands beside."""
_PERSONS = ("done_by", "by", "recorded_by", "said_by")
WIDTH = 150
"""Letters of a text that are shown around what was looked for."""


def record_kind_words(kind: str, members: Mapping[str, Any]) -> str:
    """What a record is, as a person would say it: "note at work", "closed: in window", "pump tested"."""
    if kind == "closed job":
        return _("closed: {verdict}", verdict=_(str(members.get("verdict"))))
    act = kind.removeprefix(_WORK)
    return _("note at work") if kind == f"{_WORK}noted" else _(act)


def record_person(members: Mapping[str, Any]) -> str:
    """Who did it, empty where nobody is named."""
    return next((str(members[name]) for name in _PERSONS if members.get(name)), "")


def record_excerpt(members: Mapping[str, Any], words: Sequence[str]) -> tuple[tuple[str, bool], ...]:
    """The written text of a record that shows most of the words, as (piece, whether it is what was looked for); else its longest."""
    texts = [text for text in texts_of(_written(members)) if any(one.isalpha() for one in text)]
    if not texts:
        return ()
    best = max(texts, key=lambda text: (_shown(text, words), len(text)))
    spans = shows(best, words) if words else []
    first = max(0, spans[0][0] - WIDTH // 3) if spans and len(best) > WIDTH else 0
    last = min(len(best), first + WIDTH)
    pieces: list[tuple[str, bool]] = [("… ", False)] if first else []
    at = first
    for low, high in spans:
        if low >= at and high <= last:
            pieces += [(best[at:low], False), (best[low:high], True)]
            at = high
    pieces.append((best[at:last] + ("…" if last < len(best) else ""), False))
    return tuple(piece for piece in pieces if piece[0])


def _written(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {name: _written(one) for name, one in value.items() if name not in _NAMES}
    return [_written(one) for one in value] if isinstance(value, list) else value


def _shown(text: str, words: Sequence[str]) -> int:
    found = plain_words(text)
    return sum(any(one.startswith(word) for one in found) for word in words)

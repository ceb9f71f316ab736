"""From what was found to the view of its page: things aboard first, then the record, one line a job. Pure."""

from collections.abc import Sequence
from itertools import count

from api.pages.record.page import FindView, Hit
from api.pages.shared.frame import Frame
from scheduler.actions.record.search import RecordHit, SearchAnswer
from scheduler.domain.record.search import plain_words
from scheduler.domain.vessel.document import Plant, Vessel
from scheduler.language import gettext as _
from scheduler.wording.figures import capital, count_words, inner, moment
from scheduler.wording.names import job_words, pump_words
from scheduler.wording.record import record_excerpt, record_kind_words, record_person

MOST_SHOWN = 60


def find_view(
    found: SearchAnswer, looked_for: str, people: Sequence[tuple[str, str]], *, frame: Frame, action: str
) -> FindView:
    """The view. people: (name, rank) of the ship."""
    if not looked_for.strip():
        heading = _("Find a pump, a job, a part, a person, or words of the record.")
        return FindView(frame=frame, action=action, looked_for="", heading=heading)
    hits = _hits(found, frame)
    aboard = tuple(_aboard(found, looked_for, people, frame))
    return FindView(
        frame=frame,
        action=action,
        looked_for=looked_for,
        heading=_heading(looked_for, len(hits) + len(aboard), cut=found.cut),
        aboard=aboard,
        hits=tuple(hits[:MOST_SHOWN]),
        cut=found.cut or len(hits) > MOST_SHOWN,
    )


def _heading(looked_for: str, count: int, *, cut: bool) -> str:
    if not count:
        return _("Nothing on this ship holds “{looked_for}”.", looked_for=looked_for)
    said = count_words(count, "place", "places")
    return _(
        "{places} for “{looked_for}”.",
        places=_("More than {name}", name=inner(said)) if cut else said,
        looked_for=looked_for,
    )


def _hits(found: SearchAnswer, frame: Frame) -> list[Hit]:
    groups: dict[str, list[RecordHit]] = {}
    single = count()
    for hit in found.hits:
        job = str(hit.members.get("job_no") or "")
        groups.setdefault(job or f"#{next(single)}", []).append(hit)
    return [_hit(found, group, frame) for group in groups.values()]


def _hit(found: SearchAnswer, group: Sequence[RecordHit], frame: Frame) -> Hit:
    best = max(group, key=lambda one: sum(marked for _, marked in record_excerpt(one.members, found.words)))
    plant, job = _plant_of(found.vessel, best), str(best.members.get("job_no") or "")
    pump = next((one for one in plant.pumps if one.id == best.pump), None)
    return Hit(
        pump="" if pump is None else f"{pump_words(plant, best.recorded_at, pump.id)} {pump.serial}",
        name=job_words(plant, best.recorded_at, job) if job else capital(record_kind_words(best.kind, best.members)),
        href=f"/vessels/{found.vessel.id}/jobs/{job}" if job else f"/pumps/{pump.id}/record" if pump else "",
        kind=record_kind_words(best.kind, best.members) if job else "",
        pieces=record_excerpt(best.members, found.words),
        when=moment(best.recorded_at, frame.utc_offset_minutes, frame.now_at),
        by=record_person(best.members),
        more=len(group) - 1,
    )


def _plant_of(vessel: Vessel, hit: RecordHit) -> Plant:
    return next((p for p in vessel.plants if any(one.id == hit.pump for one in p.pumps)), vessel.plants[0])


def _aboard(
    found: SearchAnswer, looked_for: str, people: Sequence[tuple[str, str]], frame: Frame
) -> list[tuple[str, str, str]]:
    """Pumps, parts, kinds of job and people whose name holds every word."""
    words, now_at = plain_words(looked_for), frame.now_at
    lines: list[tuple[str, str, str]] = []

    def fits(*names: str) -> bool:
        said = [word for name in names for word in (*plain_words(name), "".join(plain_words(name)))]
        return bool(words) and all(any(one.startswith(word) for one in said) for word in words)

    for plant in found.vessel.plants:
        for pump in plant.pumps:
            name = pump_words(plant, now_at, pump.id) if now_at else pump.serial
            if fits(name, pump.serial):
                lines.append((name, _("pump, serial {serial}", serial=pump.serial), f"/pumps/{pump.id}/record"))
        for part in plant.parts:
            if fits(part.name):
                sits = plant.pump_of_part(part.id, now_at) if now_at else None
                where = (
                    _("in {pump_words}", pump_words=pump_words(plant, now_at, sits))
                    if sits and now_at
                    else _("in no pump")
                )
                lines.append((part.name, _("part, {where}", where=where), f"/pumps/{sits}/record" if sits else ""))
    lines += [(name, rank or _("aboard"), "") for name, rank in people if fits(name)]
    return lines

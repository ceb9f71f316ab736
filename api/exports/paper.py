"""The compliance history on paper (PDF), for a surveyor: page 1 answers, then a page a pump, then what went otherwise.

Set by typst in a process of its own, from data and never from markup. Same arguments, same bytes.
"""

import io
from collections.abc import Iterable, Iterator, Mapping
from datetime import datetime
from typing import Any

from PIL import Image, ImageOps

from api.exports.first_page import KindCounts, Papers, first_page, gaps_of
from api.exports.pump_pages import SIGNS, TimeAxis, pump_pages
from api.pages.shared.qr import svg
from api.typesetting import PaperSize, typeset
from scheduler.actions.record.history import NOT_APPROVED
from scheduler.domain.record.period import PeriodEntry, ship_date
from scheduler.domain.vessel.job_kinds import BREAKDOWN
from scheduler.shiptime import NBSP
from scheduler.wording import papers
from scheduler.wording.figures import capital, inner, listed, number
from scheduler.wording.invisible import visible_text
from scheduler.wording.names import pump_words

THUMBNAIL = (360, 260)
"""Pixels; at the size they have on paper, 200 and more an inch."""
MOST_BRIEF = 150
"""Letters of a non-conformity on page 1; the whole of it stands further on."""
_HOUR = 3600
_PIECE = 65_536


def pdf(given: Papers, *, size: PaperSize = "a4", photos: Iterable[tuple[str, bytes]] = ()) -> Iterator[bytes]:
    """The document in pieces.

    Args:
        photos: (SHA-256, content) of those that are shown.

    Raises:
        Refused, Busy: as `typeset`.
    """
    pictures = dict(thumbnails(photos))
    files = {name: f"{name}.jpg" for name in pictures}
    axis = TimeAxis(given.period.first_on, given.period.last_on)
    data = seen(history_data(given, axis, files))
    with (
        typeset(
            "history", data, size=size, pictures={files[name]: content for name, content in pictures.items()}
        ) as path,
        path.open("rb") as file,
    ):
        while piece := file.read(_PIECE):
            yield piece


def thumbnails(photos: Iterable[tuple[str, bytes]], size: tuple[int, int] = THUMBNAIL) -> Iterator[tuple[str, bytes]]:
    """Each photo made small, the right way up, as JPEG."""
    for name, content in photos:
        with Image.open(io.BytesIO(content)) as picture:
            small = ImageOps.fit(ImageOps.exif_transpose(picture).convert("RGB"), size)
            file = io.BytesIO()
            small.save(file, "JPEG", quality=72)
        yield name, file.getvalue()


def seen(value: Any) -> Any:
    """The same with nothing in its texts that cannot be seen."""
    if isinstance(value, dict):
        return {name: seen(one) for name, one in value.items()}
    if isinstance(value, list | tuple):
        return [seen(one) for one in value]
    return visible_text(value) if isinstance(value, str) else value


def history_data(given: Papers, axis: TimeAxis, files: Mapping[str, str]) -> dict[str, Any]:
    """All that the layout shows."""
    page = first_page(given)
    nonconformities = [_nonconformity(given, one) for one in given.extras.non_conformities]
    missed = [
        {
            "pump": one.position,
            "job": one.kind,
            "due": "not known" if one.due_at is None else given.ship_day(one.due_at),
            "limit": "" if one.limit_at is None else given.ship_day(one.limit_at),
            "state": one.state if one.done_at is None else f"done later, {given.ship_day(one.done_at)}",
        }
        for one in given.missed
    ]
    postponed = [_postponement(given, one) for one in given.extras.postponements]
    changes = [
        {
            "on": given.ship_day(datetime.fromisoformat(one.recorded)),
            "what": one.what,
            "why": one.reason,
            "by": one.by,
            "approved": one.approved,
        }
        for one in given.extras.changes
    ]
    there = [
        (len(missed), "job not done", "jobs not done"),
        (len(postponed), "postponement asked", "postponements asked"),
        (len(nonconformities), "non-conformity", "non-conformities"),
        (len(changes), "change", "changes"),
    ]
    said = [papers.counted(count, one, many) for count, one, many in there if count]
    nothing = [one for count, one, _ in there if not count]
    return {
        "title": f"{page.vessel}: compliance history, {page.period}",
        "vessel": page.vessel,
        "imo": page.imo,
        "period": page.period,
        "plants": page.plants,
        "note": page.note,
        "answer": page.answer,
        "more": page.more,
        "glance": _glance(given, axis),
        "ticks": axis.ticks(),
        "kinds": [_count_row(one) for one in page.kinds],
        "total": _count_row(page.total, name="All together"),
        "complete": page.complete,
        "missing": page.missing,
        "nc": nonconformities,
        "nc_words": "none"
        if not nonconformities
        else f"{page.nonconformities_open} open, {page.nonconformities_closed} closed",
        "months": [{"name": papers.month_words(month), "on": on} for month, _, on in page.months],
        "months_words": f"Months reviewed: {page.signed} of {len(page.months)} signed by the chief engineer",
        "signers": f"Signed by {page.signers}, each by own sign-in; the date is the day of signing."
        if page.signers
        else "No month is signed.",
        "stamp": stamp_data(page.stamp, page.record, page.check, page.vessel),
        "made": page.made,
        "made_by": given.frame.made_by,
        "pumps": list(pump_pages(given, axis, files)),
        "otherwise": capital(listed(said)) if said else "Nothing went otherwise than planned",
        "nothing": f"In the period no {listed(nothing, 'and no')}." if nothing and said else "",
        "notdone": missed,
        "postponed": postponed,
        "changes": changes,
        "not_approved": NOT_APPROVED,
        "completeness": list(_completeness(given)),
        "defs": papers.DEFINITIONS,
    }


def stamp_data(stamp: str, record: int, check: str, vessel: str) -> dict[str, Any]:
    """A record stamp as text and code, and how to check it."""
    plain = vessel.encode("ascii", "replace").decode()
    code = svg(f"{plain}, record {record}, stamp {stamp}", "record stamp")
    return {
        "code": str(code).replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" '),
        "groups": papers.stamp_groups(stamp),
        "after": f"after record {number(record)}",
        "check": check,
    }


def _count_row(one: KindCounts, name: str = "") -> dict[str, Any]:
    return {
        "name": name or one.name,
        "due": one.due,
        "counts": [one.counts.get(part, 0) for part in papers.PARTS],
        "percent": one.percent,
    }


def _glance(given: Papers, axis: TimeAxis) -> dict[str, Any]:
    """Every job that opened a pump as a sign, a line a pump, and what was not done."""
    letters = _letters(given)
    lines, said = [], []
    for plant in given.period.plants:
        for pump in plant.pumps:
            name = pump_words(plant.plant, given.frame.as_of, pump.pump.id)
            mine = [
                one
                for one in given.facts.closed
                if one.text("pump_serial") == pump.pump.serial and one.kind_code in letters
            ]
            signs: list[dict[str, Any]] = [
                {"x": axis.share(_on(given, one)), "sign": SIGNS[one.verdict], "letter": letters[one.kind_code]}
                for one in mine
            ]
            names = {given.kinds[code].name: letter for code, letter in letters.items()}
            for gone in given.missed:
                if gone.position == name and gone.kind in names and gone.due_at is not None:
                    on = ship_date(gone.limit_at or gone.due_at, given.period.offset)
                    signs.append({"x": axis.share(on), "sign": "notdone", "letter": names[gone.kind]})
            signs.sort(key=lambda sign: sign["x"])
            swaps = [
                axis.share(ship_date(one.at, given.period.offset))
                for one in given.facts.counters
                if one.text("event") == "replacement"
                and any(
                    counter.id == one.text("counter") and plant.plant.pump_in(counter.position, one.at) == pump.pump.id
                    for counter in plant.plant.counters
                )
            ]
            if given.frame.filter is None or mine:
                lines.append({"name": name, "jobs": signs, "swaps": swaps})
                jobs = [f"{one.text('job_kind')} {papers.day_on(_on(given, one))} {one.verdict.value}" for one in mine]
                said.append(f"{name}: {', '.join(jobs) or 'none'}")
    return {
        "lines": lines,
        "alt": f"Every job that opened a pump, a line a pump, a sign a job. {'; '.join(said)}",
        "letters": ", ".join(f"{letter} {inner(given.kinds[code].name)}" for code, letter in letters.items()),
    }


def _letters(given: Papers) -> dict[str, str]:
    """A letter, or two, for each job kind that opens a pump."""
    found: dict[str, str] = {}
    kinds = sorted(
        (kind for kind in given.kinds.values() if kind.takes_pump_out),
        key=lambda kind: (kind.code == BREAKDOWN.code, kind.interval_running_hours or 0, kind.code),
    )
    for kind in kinds:
        initial = kind.name[:1].upper()
        second = f"{initial}{kind.name[1:2].lower()}"
        found[kind.code] = (
            initial if initial not in found.values() else second if second not in found.values() else kind.name[:4]
        )
    return found


def _on(given: Papers, one: PeriodEntry) -> Any:
    minutes = one.figure("utc_offset_minutes")
    return ship_date(one.at, given.period.offset if minutes is None else int(minutes))


def _brief(text: str) -> str:
    """As much of a text as page 1 has room for, cut between words."""
    return text if len(text) <= MOST_BRIEF else f"{text[:MOST_BRIEF].rpartition(' ')[0] or text[:MOST_BRIEF]} …"


def _nonconformity(given: Papers, one: Mapping[str, Any]) -> dict[str, Any]:
    opened = datetime.fromisoformat(str(one["opened_at"]))
    what = str(one["what"] or "")
    name = given.job_name(str(one["job"]), opened)
    if not what:
        limit = f" of {given.ship_day(datetime.fromisoformat(str(one['limit_at'])))}" if one["limit_at"] else ""
        what = f"{capital(name)} past its limit{limit}."
    else:
        what = f"{capital(name)}, {one['about']}. {what}"
    closed = one["closed_at"]
    state = capital(str(one["state"]))
    if closed:
        state = f"Closed {given.ship_day(datetime.fromisoformat(str(closed)))}"
    by = [str(one[member]) for member in ("answered_by", "closed_by") if one[member]]
    return {
        "no": str(one["non_conformity"]),
        "opened": given.ship_day(opened),
        "open": not closed,
        "state": state,
        "what": what,
        "brief": _brief(what),
        "cause": str(one["cause"] or "–"),
        "action": str(one["corrective_action"] or "–"),
        "by": ", ".join(by) or "–",
    }


def _postponement(given: Papers, one: Mapping[str, Any]) -> dict[str, Any]:
    def day(member: str) -> str:
        return given.ship_day(datetime.fromisoformat(str(one[member]))) if one[member] else "–"

    decided = "not decided yet"
    if one["state"] != "asked":
        decided = f"{capital(str(one['state']))} by {one['decided_by']}, {day('decided_at')}"
        decided += f": {one['note']}" if one["note"] else ""
        decided += f" Class: {one['class_agreed']}" if one["class_agreed"] else ""
    rest = [str(one["risk"] or ""), f"Meanwhile: {one['mitigation']}" if one["mitigation"] else ""]
    return {
        "no": str(one["postponement"]),
        "job": capital(given.job_name(str(one["job"]), datetime.fromisoformat(str(one["asked_at"])))),
        "limit": day("limit_at"),
        "to": day("to_at"),
        "reason": str(one["reason"]),
        "risk": ". ".join(text.rstrip(".") for text in rest if text),
        "asked": f"Asked by {one['asked_by']}, {day('asked_at')}",
        "decided": decided,
    }


def _completeness(given: Papers) -> Iterator[dict[str, Any]]:
    for plant in given.period.plants:
        for pump in plant.pumps:
            unknown, laid_days, laid = gaps_of(pump)
            ran = sum(day.seconds or 0 for day in pump.days) / _HOUR
            known = sum(day.seconds is not None for day in pump.days)
            days = known + unknown
            if days:
                yield {
                    "name": pump_words(plant.plant, given.frame.as_of, pump.pump.id),
                    "serial": pump.pump.serial,
                    "ran": number(ran),
                    "read": number(ran - laid),
                    "laid": number(laid) if laid_days else "–",
                    "unknown": str(unknown) if unknown else "–",
                    "laid_share": laid_days / days,
                    "unknown_share": unknown / days,
                    "percent": f"{100 * (days - laid_days - unknown) / days:.1f}{NBSP}%",
                }

"""From the work on a job to its sheet."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict
from datetime import datetime
from typing import Any

from api.saying import clock, moment, offset_words, short_date
from api.shapes import z
from api.sheet_view import MeasureLine, PartLine, SheetView, StepLine, TagRow
from scheduler.actions import history, parts
from scheduler.actions.house import House
from scheduler.actions.situation import Situation
from scheduler.actions.work_state import KeptStep, state_of
from scheduler.domain.beside import due_beside
from scheduler.domain.due import DueJob
from scheduler.domain.fleet import JobKind, Plant
from scheduler.domain.sheets import MeasureAsked
from scheduler.domain.work import Note, Noted, Tag


def sheet_of(
    plant: Plant,
    kind: JobKind,
    notes: Iterable[Noted],
    tags: Sequence[Tag],
    *,
    offset_minutes: int,
    aboard: Mapping[str, int] | None = None,
    also_due: tuple[str, ...] = (),
    address: str = "",
    printed_from: str = "",
    stamp: str = "",
    count_action: str = "",
) -> SheetView:
    """The sheet of a job of that kind, with what was noted, tagged and counted so far."""
    noted = list(notes)
    ticked = {one.name: one for one in noted if one.about is Note.STEP}
    found = {one.name: one for one in noted if one.about is Note.MEASURE}
    counts = aboard or {}

    def done(text: str) -> str:
        tick = ticked.get(text)
        return "" if tick is None else f"{tick.by}, {moment(tick.at, offset_minutes)}"

    return SheetView(
        tags=tuple(_tag_rows(plant, tags, offset_minutes)) if kind.takes_pump_out else (),
        steps=tuple(StepLine(number=i, text=text, done=done(text)) for i, text in enumerate(kind.steps, 1)),
        measures=tuple(_measure(asked, found.get(asked.name)) for asked in kind.measures),
        parts=tuple(PartLine(name=p.name, need=p.quantity, aboard=counts.get(p.name)) for p in kind.parts),
        tools=kind.tools,
        findings=tuple(one.seen for one in plant.findings),
        also_due=also_due,
        note=kind.note,
        address=address,
        printed_from=printed_from,
        stamp=stamp,
        count_action=count_action,
    )


def limits_words(asked: MeasureAsked) -> str:
    """The limits with their unit: "0.1 to 0.5 mm", "at most 12 A", "no limit, s"."""
    unit = f" {asked.unit}" if asked.unit else ""
    if asked.low is None:
        return f"no limit{unit and ','}{unit}" if asked.high is None else f"at most {asked.high:g}{unit}"
    return f"at least {asked.low:g}{unit}" if asked.high is None else f"{asked.low:g} to {asked.high:g}{unit}"


def _measure(asked: MeasureAsked, noted: Noted | None) -> MeasureLine:
    if noted is None or noted.value is None:
        return MeasureLine(asked=asked, limits=limits_words(asked))
    found = f"{noted.value:g} {noted.unit}".strip()
    return MeasureLine(asked=asked, limits=limits_words(asked), found=found, out=noted.out_of_limit)


def _tag_rows(plant: Plant, tags: Sequence[Tag], offset_minutes: int) -> Iterable[TagRow]:
    newest = {tag.point: tag for tag in tags}
    others = [point for point in newest if point not in plant.isolation_points]
    for point in (*plant.isolation_points, *others):
        tag = newest.get(point)
        if tag is None:
            yield TagRow(point=point)
            continue
        yield TagRow(
            point=point,
            lock_no=tag.lock_no,
            tag_no=tag.tag_no,
            placed=_hand(tag.placed_by, tag.placed_at, offset_minutes),
            removed=_hand(tag.removed_by, tag.removed_at, offset_minutes),
        )


def _hand(by: str, at: datetime | None, offset_minutes: int) -> str:
    return "" if at is None else f"{by}, {short_date(at, offset_minutes)} {clock(at, offset_minutes)}"


def open_sheet(house: House, now: Situation, job: DueJob, kept: Sequence[KeptStep], address: str) -> SheetView:
    """The sheet of an open job as things stand."""
    kind = now.plant.kind(job.occurrence.kind)
    offset = now.offset_minutes
    number, stamp = history.head_of(house, now.vessel.id)
    plan = now.taken or now.proposed
    planned = f", plan {plan.digest[:8]}{'' if now.taken else ' (proposed)'}" if plan else ""
    return sheet_of(
        now.plant,
        kind,
        (one.step for one in kept if isinstance(one.step, Noted)),
        state_of(kept).tags,
        offset_minutes=offset,
        aboard=parts.aboard_of(house, now.vessel.id, now.plant.id),
        count_action=f"/plants/{now.plant.id}/parts",
        also_due=tuple(
            f"{beside.kind_name}, {beside.state.value}, due {short_date(beside.due_at, offset)}"
            for beside in due_beside(now.shown, job, now.at)
        ),
        address=address,
        printed_from=f"Printed {moment(now.at, offset)} {offset_words(offset)}{planned}, after record {number}",
        stamp=stamp,
    )


def sheet_json(now: Situation, job: DueJob) -> dict[str, Any]:
    """What the sheet of an open job asks for, and what else falls due on its isolation, as an answer tells it."""
    kind = now.plant.kind(job.occurrence.kind)
    return {
        "steps": list(kind.steps),
        "measures": [asdict(asked) for asked in kind.measures],
        "parts": [asdict(part) for part in kind.parts],
        "tools": list(kind.tools),
        "isolation_points": list(now.plant.isolation_points) if kind.takes_pump_out else [],
        "also_due": [
            {"job": one.occurrence.key, "name": one.kind_name, "state": one.state.value, "due_at": z(one.due_at)}
            for one in due_beside(now.shown, job, now.at)
        ],
    }

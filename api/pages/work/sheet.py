"""From the work on a job to its sheet."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict
from datetime import datetime
from typing import Any

from api.pages.work.sheet_view import MeasureLine, PartLine, SheetView, StepLine, TagRow
from api.routes.shared.shapes import z
from scheduler.actions.base.context import Context
from scheduler.actions.plant_state.load import PlantState
from scheduler.actions.plant_state.work import StoredStep, state_of
from scheduler.actions.record import history
from scheduler.actions.work import parts
from scheduler.domain.due.jobs import DueJob
from scheduler.domain.vessel.document import Plant
from scheduler.domain.vessel.job_kinds import JobKind
from scheduler.domain.vessel.sheets import MeasureAsked, SheetStep
from scheduler.domain.work.acts import AnyStep, Note, Noted, Struck
from scheduler.domain.work.same_isolation import due_on_same_isolation
from scheduler.domain.work.state import Tag, struck_numbers
from scheduler.language import gettext as _
from scheduler.wording.figures import clock, moment, offset_words, short_date


def job_sheet_of(
    plant: Plant,
    kind: JobKind,
    entries: Sequence[AnyStep],
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
    gone = struck_numbers(entries)
    standing = [one for n, one in enumerate(entries, 1) if n not in gone and not isinstance(one, Struck)]
    noted = [one for one in standing if isinstance(one, Noted)]
    ticked = {one.name: one for one in noted if one.about is Note.STEP}
    acts: dict[str, AnyStep] = {one.kind: one for one in standing}
    counts = aboard or {}

    def done(step: SheetStep) -> str:
        told = acts.get(step.act) if step.act else ticked.get(step.text)
        return "" if told is None else f"{told.by}, {moment(told.at, offset_minutes)}"

    return SheetView(
        tags=tuple(_tag_rows(plant, tags, offset_minutes)) if kind.takes_pump_out else (),
        steps=tuple(StepLine(number=i, text=one.text, done=done(one)) for i, one in enumerate(kind.sheet, 1)),
        measures=tuple(
            _measure(
                asked, [one for one in noted if one.about is Note.MEASURE and one.name == asked.name], offset_minutes
            )
            for asked in kind.measures
        ),
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
        return (
            _("no limit{unit}").format(unit=unit and f",{unit}")
            if asked.high is None
            else _("at most {high}{unit}").format(high=f"{asked.high:g}", unit=unit)
        )
    return (
        _("at least {low}{unit}").format(low=f"{asked.low:g}", unit=unit)
        if asked.high is None
        else _("{low} to {high}{unit}").format(low=f"{asked.low:g}", high=f"{asked.high:g}", unit=unit)
    )


def _measure(asked: MeasureAsked, noted: Sequence[Noted], offset_minutes: int) -> MeasureLine:
    """The measure with its newest figure; those before it, each with its time, stay beside it."""
    figures = [one for one in noted if one.value is not None]
    if not figures:
        return MeasureLine(asked=asked, limits=limits_words(asked))
    newest = figures[-1]
    out = _(" out of limit")
    before = ", ".join(
        f"{one.value:g}{out if one.out_of_limit else ''} {clock(one.at, offset_minutes)}" for one in figures[:-1]
    )
    found = f"{newest.value:g} {newest.unit}".strip()
    return MeasureLine(asked=asked, limits=limits_words(asked), found=found, out=newest.out_of_limit, before=before)


def _tag_rows(plant: Plant, tags: Sequence[Tag], offset_minutes: int) -> Iterable[TagRow]:
    newest = {tag.point: tag for tag in tags}
    own = [point.name for point in plant.points]
    for point in (*own, *(point for point in newest if point not in own)):
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


def open_sheet(context: Context, now: PlantState, job: DueJob, kept: Sequence[StoredStep], address: str) -> SheetView:
    """The sheet of an open job as things stand."""
    kind = now.plant.kind(job.job_id.kind)
    offset = now.offset_minutes
    number, stamp = history.head_of(context, now.vessel.id)
    plan = now.taken or now.proposed
    planned = (
        (_(", plan {digest}") if now.taken else _(", plan {digest} (proposed)")).format(digest=plan.digest[:8])
        if plan
        else ""
    )
    return job_sheet_of(
        now.plant,
        kind,
        [one.step for one in kept],
        state_of(kept).tags,
        offset_minutes=offset,
        aboard=parts.part_counts_of(context, now.vessel.id, now.plant.id),
        count_action=f"/plants/{now.plant.id}/parts",
        also_due=tuple(
            _(
                "{kind_name}, {value}, due {short_date}",
                kind_name=beside.kind_name,
                value=beside.state.value,
                short_date=short_date(beside.due_at, offset),
            )
            for beside in due_on_same_isolation(now.shown, job, now.at)
        ),
        address=address,
        printed_from=_(
            "Printed {moment} {offset_words}{planned}, after record {number}",
            moment=moment(now.at, offset),
            offset_words=offset_words(offset),
            planned=planned,
            number=number,
        ),
        stamp=stamp,
    )


def job_sheet_json(now: PlantState, job: DueJob) -> dict[str, Any]:
    """What the sheet of an open job asks for, and what else falls due on its isolation, as an answer tells it."""
    kind = now.plant.kind(job.job_id.kind)
    return {
        "steps": [one.text for one in kind.sheet],
        "sheet": [{"text": one.text, "when": one.when and one.when.value, "act": one.act} for one in kind.sheet],
        "measures": [asdict(asked) for asked in kind.measures],
        "parts": [asdict(part) for part in kind.parts],
        "tools": list(kind.tools),
        "isolation_points": [point.name for point in now.plant.points] if kind.takes_pump_out else [],
        "also_due": [
            {"job": one.job_id.key, "name": one.kind_name, "state": one.state.value, "due_at": z(one.due_at)}
            for one in due_on_same_isolation(now.shown, job, now.at)
        ],
    }

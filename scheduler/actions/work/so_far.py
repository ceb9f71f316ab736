"""What an act on a job rests on of its work so far: procedure, version, rest; and what of the work goes into its record."""

import json
from collections import Counter as Tally
from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta
from itertools import pairwise
from typing import Any

from scheduler.actions.plant_state.work import STEP, StoredStep
from scheduler.domain.base.enums import Test
from scheduler.domain.vessel.crew import Crew
from scheduler.domain.vessel.document import Plant
from scheduler.domain.vessel.job_kinds import JobKind
from scheduler.domain.work.acts import Note, Noted, Reported, Tested
from scheduler.domain.work.against import Procedure
from scheduler.domain.work.rest import DAY, WEEK, RestRule, rest_between, rest_faults
from scheduler.domain.work.state import WorkState, struck_numbers
from scheduler.errors import Stale
from scheduler.language import gettext as _
from scheduler.storage.database import Session
from scheduler.storage.work import NotFittedRow, not_fitted_rows, step_rows_since
from scheduler.wording.rest import rest_words


def procedure_of(
    session: Session,
    vessel_id: str,
    plant: Plant,
    kind: JobKind,
    pump: str | None,
    begun_at: datetime,
    offset_minutes: int,
) -> Procedure:
    """How the ship does it by her document, and what the sheet of this kind asks for on this pump.

    Args:
        begun_at: when the work began; a point signed as not fitted on that ship's day or later is asked for all the same.
    """
    absent = {
        row.point
        for row in not_fitted_rows(session, vessel_id, pump or "")
        if _counts(row, begun_at, timedelta(minutes=offset_minutes))
    }
    return Procedure(
        points=tuple(point for point in plant.points if point.name not in absent),
        own_tag_only=plant.own_tag_only,
        permit_needed=plant.permit_needed,
        h2s_limit_ppm=plant.h2s_limit_ppm,
        gas_minutes=plant.gas_minutes,
        sheet=kind.sheet,
        nameplate=frozenset(one.name for one in kind.measures if one.nameplate),
    )


def _counts(row: NotFittedRow, begun_at: datetime, offset: timedelta) -> bool:
    """Signed by both, not withdrawn, and on a ship's day before the work began: never for today's job."""
    if row.withdrawn_at is not None or row.signed_at is None:
        return False
    return (row.signed_at + offset).date() < (begun_at + offset).date()


def begun_at(kept: Sequence[StoredStep], at: datetime) -> datetime:
    """When the work began: at its first entry, or at `at` while there is none."""
    return min((one.step.at for one in kept), default=at)


def must_be_newest(kept: Sequence[StoredStep], if_match: int | None) -> None:
    """Raises Stale when others recorded steps since the version that was looked at; a job's version counts its steps.

    `more` has the version held and the steps that are new, so that the second of two people sees what the first did.
    """
    if if_match is None or if_match == len(kept):
        return
    newer = [one for one in kept if one.number > if_match]
    said = "; ".join(f"{one.step.kind} by {one.step.by}" for one in newer[-5:])
    raise Stale(
        _(
            "The work has gone on since you looked: {said}. Look at it, then send yours again.",
            said=said or "it is another version",
        ),
        more={
            "version": len(kept),
            "newer_steps": [{"number": one.number, **json.loads(STEP.dump_json(one.step))} for one in newer],
        },
    )


def work_summary(kept: Sequence[StoredStep], work: WorkState) -> dict[str, Any]:
    """What of the steps goes into the record of the closed job: tags, parts, measures, findings, lowest vacuum, in words."""
    gone = struck_numbers([one.step for one in kept])
    standing = [one.step for one in kept if one.number not in gone]
    notes = [one for one in standing if isinstance(one, Noted)]
    lowest = [one.lowest_vacuum_kpa for one in standing if isinstance(one, Reported)]
    known = [value for value in lowest if value is not None]
    return {
        "tags": "; ".join(
            f"{tag.point} {tag.tag_no}".strip()
            + f": {tag.placed_by} {_short(tag.placed_at)}, off {tag.removed_by} {_short(tag.removed_at)}"
            + (f" for the other by exception ({tag.other_hand.reason})" if tag.other_hand else "")
            for tag in work.tags
        ),
        "parts_used": "; ".join(_note(one) for one in notes if one.about is Note.PART),
        "measures": "; ".join(
            [*_measured(notes), *(f"{a.name} accepted by {a.by}: {a.reason}" for a in work.accepted)]
        ),
        "tests": "; ".join(_tested(one) for one in work.tests),
        "findings": "; ".join(_note(one) for one in notes if one.about in (Note.FINDING, Note.OBJECT)),
        "lowest_vacuum_kpa": min(known, default=None),
    }


def _measured(notes: Sequence[Noted]) -> Iterator[str]:
    """Every figure of every measure; where one was taken again, each with its time, so that the failed one stays."""
    measures = [one for one in notes if one.about is Note.MEASURE]
    times = Tally(one.name for one in measures)
    for one in measures:
        yield f"{_note(one)}{f' at {_short(one.at)}' if times[one.name] > 1 else ''}"


def _tested(one: Tested) -> str:
    figures = "" if one.pull_down_seconds is None else f" {one.pull_down_seconds:g} s"
    limit = "" if one.limit_seconds is None else f" (limit {one.limit_seconds:g} s)"
    result = one.result.value if one.passes or one.result is Test.FAILED else "slower than its limit, not passed"
    return f"{result}{figures}{limit} at {_short(one.at)}{f': {one.text}' if one.text else ''}"


def _note(one: Noted) -> str:
    value = "" if one.value is None else f" {one.value:g} {one.unit}".rstrip()
    limits = "" if one.low is None and one.high is None else f" (limits {_bound(one.low)} to {_bound(one.high)})"
    out = ", OUT OF LIMIT" if one.out_of_limit else ""
    text = f": {one.text}" if one.text else ""
    behind = ", ".join(filter(None, (one.mode, one.mechanism, one.cause)))
    return f"{one.name}{value}{limits}{out}{text}{f' ({behind})' if behind else ''}"


def _bound(value: float | None) -> str:
    return "none" if value is None else f"{value:g}"


def _short(at: datetime | None) -> str:
    return "not" if at is None else f"{at:%Y-%m-%d %H:%MZ}"


def rest_warnings(session: Session, vessel_id: str, crew: Crew, by: str, at: datetime) -> list[str]:
    """What the steps on record leave a person short of rest, in words; a warning only, other work is not known here."""
    since = at - WEEK - DAY
    spans: dict[str, list[datetime]] = {}
    for row in step_rows_since(session, vessel_id, since):
        step = STEP.validate_json(row.detail)
        if step.by.strip().casefold() == by.strip().casefold() and step.at <= at:
            spans.setdefault(row.job_key, []).append(step.at)
    work = [pair for times in spans.values() for pair in pairwise(times) if pair[1] - pair[0] < DAY]
    rule = RestRule(periods=crew.rest_periods, week_hours=crew.rest_week_hours)
    return [rest_words(by, fault) for fault in rest_faults(rest_between(work, since, at), since, at, rule)]

"""The work on a job as stored: its steps, the state they give, and whether a tag hangs on a pump."""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise
from typing import Annotated, Any

from pydantic import Field, TypeAdapter

from scheduler.actions.house import instant
from scheduler.domain.rest import DAY, WEEK, rest_between, rest_faults
from scheduler.domain.work import AnyStep, Note, Noted, Reported, Work, replay
from scheduler.errors import Clash, Stale
from scheduler.storage import work_rows
from scheduler.storage.database import Session
from scheduler.storage.tables import WorkStepRow

STEP: TypeAdapter[AnyStep] = TypeAdapter(Annotated[AnyStep, Field(discriminator="kind")])
"""Reads and writes one step; shape only."""


@dataclass(frozen=True, slots=True)
class KeptStep:
    """A step as kept: what was told, what stood against it, who recorded it, and its record in the history."""

    number: int
    step: AnyStep
    flags: tuple[str, ...]
    recorded_by: str
    recorded_at: datetime
    record: int


def steps_of(session: Session, vessel_id: str, job_key: str) -> list[KeptStep]:
    """The steps on a job, in order of recording."""
    return [_kept(row) for row in work_rows.work_steps(session, vessel_id, job_key)]


def _kept(row: WorkStepRow) -> KeptStep:
    flags = tuple(json.loads(row.flags))
    step = STEP.validate_json(row.detail)
    return KeptStep(row.number, step, flags, row.actor, instant(row.recorded_s), row.record)


def state_of(kept: Sequence[KeptStep], until: datetime | None = None) -> Work:
    """The state that the steps give (those up to `until`)."""
    return replay(one.step for one in kept if until is None or one.step.at <= until)


def must_be_newest(kept: Sequence[KeptStep], if_match: int | None) -> None:
    """Raises Stale when others recorded steps since the version that was looked at; a job's version counts its steps.

    `more` has the version held and the steps that are new, so that the second of two people sees what the first did.
    """
    if if_match is None or if_match == len(kept):
        return
    newer = [one for one in kept if one.number > if_match]
    said = "; ".join(f"{one.step.kind} by {one.step.by}" for one in newer[-5:])
    raise Stale(
        f"The work has gone on since you looked: {said or 'it is another version'}. Look at it, then send yours again.",
        more={
            "version": len(kept),
            "newer_steps": [{"number": one.number, **json.loads(STEP.dump_json(one.step))} for one in newer],
        },
    )


def require_no_tag(session: Session, vessel_id: str, pump: str) -> None:
    """Raises Clash when a tag hangs on a pump: with a tag on it, it is not in use, whatever is said."""
    for key in work_rows.jobs_worked_on(session, vessel_id, pump):
        hanging = state_of(steps_of(session, vessel_id, key)).hanging
        if hanging:
            hang = ", ".join(f"{tag.point} (by {tag.placed_by})" for tag in hanging)
            raise Clash(f"A tag hangs on pump {pump} at {hang}, in job {key}. Take it off there first.")


def summary(kept: Sequence[KeptStep]) -> dict[str, Any]:
    """What of the steps goes into the record of the closed job: tags, parts, measures, findings, lowest vacuum, in words."""
    work = state_of(kept)
    notes = [one.step for one in kept if isinstance(one.step, Noted)]
    lowest = [one.step.lowest_vacuum_kpa for one in kept if isinstance(one.step, Reported)]
    known = [value for value in lowest if value is not None]
    return {
        "tags": "; ".join(
            f"{tag.point} {tag.tag_no}".strip()
            + f": {tag.placed_by} {_short(tag.placed_at)}, off {tag.removed_by} {_short(tag.removed_at)}"
            + (f" for the other by exception ({tag.other_hand.reason})" if tag.other_hand else "")
            for tag in work.tags
        ),
        "parts_used": "; ".join(_note(one) for one in notes if one.about is Note.PART),
        "measures": "; ".join(_note(one) for one in notes if one.about is Note.MEASURE),
        "findings": "; ".join(_note(one) for one in notes if one.about in (Note.FINDING, Note.OBJECT)),
        "lowest_vacuum_kpa": min(known, default=None),
    }


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


def rest_warnings(session: Session, vessel_id: str, by: str, at: datetime) -> list[str]:
    """What the steps on record leave a person short of rest, in words; a warning only, other work is not known here."""
    since = at - WEEK - DAY
    spans: dict[str, list[datetime]] = {}
    for row in work_rows.work_steps_since(session, vessel_id, int(since.timestamp())):
        step = STEP.validate_json(row.detail)
        if step.by.strip().casefold() == by.strip().casefold() and step.at <= at:
            spans.setdefault(row.job_key, []).append(step.at)
    work = [pair for times in spans.values() for pair in pairwise(times) if pair[1] - pair[0] < DAY]
    faults = rest_faults(rest_between(work, since, at), since, at)
    return [f"{by}: by the steps on record, {fault} (STCW A-VIII/1)." for fault in faults]

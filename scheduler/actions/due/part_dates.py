"""When a job's parts come: a ship's date that a person gives. The planner puts the job no earlier."""

from dataclasses import dataclass
from datetime import date

from scheduler.actions.base.context import Answer, Context, Hand, hand_action
from scheduler.actions.base.matching import must_match
from scheduler.actions.base.pending import ask_plan
from scheduler.actions.plant_state.load import PlantState, load_plant
from scheduler.actions.plant_state.open_jobs import open_job
from scheduler.actions.vessel.fleet import Place
from scheduler.domain.due.last_done import JobId
from scheduler.domain.vessel.job_kinds import BREAKDOWN
from scheduler.errors import Clash, Refused
from scheduler.language import gettext
from scheduler.shiptime import day_text
from scheduler.storage.database import Session
from scheduler.storage.due import PartDateRow, part_date_row
from scheduler.storage.record import append_record
from scheduler.wording.names import job_words


@dataclass(frozen=True, slots=True)
class PartDate:
    """From which ship's date the parts of a job are aboard, and who said so."""

    from_on: date
    note: str
    by: str
    version: int
    """Number of the record that said so."""


def date_of(context: Context, vessel_id: str, job_key: str) -> PartDate | None:
    """What was said of that job's parts, none when nothing was."""
    with context.db.read() as session:
        row = part_date_row(session, vessel_id, job_key)
        return None if row is None else PartDate(row.from_on, row.note, row.actor, row.record)


def set_date(
    context: Context,
    hand: Hand,
    place: Place,
    job_id: JobId,
    *,
    from_on: date | None,
    note: str = "",
    if_match: int | None = None,
) -> Answer:
    """Say from which ship's date the parts of an open job are aboard, and ask for a new plan; none takes the date back.

    Args:
        if_match: version that was looked at: number of the record that said when they come, 0 for none.

    Raises:
        Stale: somebody has said something else since.
        Clash: the job was done, or there is no date to take back. Refused: it is not the open turn, or a breakdown.
    """

    def act(session: Session) -> Answer:
        key = job_id.key
        now = load_plant(session, context, place.vessel_id, place.plant_id)
        if job_id.kind == BREAKDOWN.code:
            raise Refused(
                gettext("A breakdown is not planned, so a date for its parts would move nothing. Note it there.")
            )
        open_job(session, now, job_id)
        row = part_date_row(session, place.vessel_id, key)
        before = None if row is None else row.from_on
        _must_be_last(now, key, row, if_match)
        if from_on is None:
            if row is None:
                raise Clash(
                    gettext(
                        "{job} has no date for its parts; there is nothing to take back.",
                        job=job_words(now.plant, now.at, key),
                    )
                )
            session.delete(row)
        else:
            row = row or PartDateRow(
                vessel_id=place.vessel_id, job_key=key, from_on=from_on, note="", actor="", recorded_at=now.at
            )
            row.from_on, row.note = from_on, note.strip()
            row.actor, row.recorded_at = hand.actor.name, context.now()
        payload = {"job_no": key, "from_on": from_on, "before": before, "note": note, "by": hand.actor.name}
        record, _ = append_record(session, place.vessel_id, "part date", now.at, payload)
        if row is not None and from_on is not None:
            row.record = record
            session.add(row)
        ask_plan(session, place.vessel_id, place.plant_id, context.now())
        return Answer(
            200,
            {
                "job": key,
                "parts_from": None if from_on is None else from_on.isoformat(),
                "before": None if before is None else before.isoformat(),
                "record": record,
            },
        )

    return hand_action(context, hand, place.vessel_id, act)


def _must_be_last(now: PlantState, key: str, row: PartDateRow | None, if_match: int | None) -> None:
    words = job_words(now.plant, now.at, key)
    if row is None:
        must_match(if_match, 0, f"{words} has no date for its parts by now.", {"parts_from": None})
        return
    says = gettext(
        "The parts of {words} come on {day} by now, as {actor} said.",
        words=words,
        day=day_text(row.from_on),
        actor=row.actor,
    )
    must_match(if_match, row.record, says, {"parts_from": row.from_on.isoformat(), "note": row.note, "by": row.actor})

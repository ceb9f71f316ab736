"""When a job's parts come: a ship's date that a person gives. The planner puts the job no earlier."""

from dataclasses import dataclass
from datetime import date

from scheduler.actions.base.context import Answer, Context, Hand, hand_action
from scheduler.actions.base.pending import ask_plan
from scheduler.actions.plant_state.load import load_plant
from scheduler.actions.plant_state.open_jobs import open_job
from scheduler.actions.vessel.fleet import Place
from scheduler.domain.due.last_done import JobId
from scheduler.domain.vessel.job_kinds import BREAKDOWN
from scheduler.errors import Clash, Refused
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


def date_of(context: Context, vessel_id: str, job_key: str) -> PartDate | None:
    """What was said of that job's parts, none when nothing was."""
    with context.db.read() as session:
        row = part_date_row(session, vessel_id, job_key)
        return None if row is None else PartDate(row.from_on, row.note, row.actor)


def set_date(
    context: Context, hand: Hand, place: Place, job_id: JobId, *, from_on: date | None, note: str = ""
) -> Answer:
    """Say from which ship's date the parts of an open job are aboard, and ask for a new plan; none takes the date back.

    Raises:
        Clash: the job was done, or there is no date to take back. Refused: it is not the open turn, or a breakdown.
    """

    def act(session: Session) -> Answer:
        key = job_id.key
        now = load_plant(session, context, place.vessel_id, place.plant_id)
        if job_id.kind == BREAKDOWN.code:
            raise Refused("A breakdown is not planned, so a date for its parts would move nothing. Note it there.")
        open_job(session, now, job_id)
        row = part_date_row(session, place.vessel_id, key)
        before = None if row is None else row.from_on
        if from_on is None:
            if row is None:
                raise Clash(
                    f"{job_words(now.plant, now.at, key)} has no date for its parts; there is nothing to take back."
                )
            session.delete(row)
        else:
            row = row or PartDateRow(
                vessel_id=place.vessel_id, job_key=key, from_on=from_on, note="", actor="", recorded_at=now.at
            )
            row.from_on, row.note = from_on, note.strip()
            row.actor, row.recorded_at = hand.actor.name, context.now()
            session.add(row)
        payload = {"job_no": key, "from_on": from_on, "before": before, "note": note, "by": hand.actor.name}
        record, _ = append_record(session, place.vessel_id, "part date", now.at, payload)
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

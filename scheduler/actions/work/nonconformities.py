"""Non-conformities: a job past its limit without a postponement opens one; a person answers it, another closes it."""

from collections.abc import Sequence
from typing import Any

from scheduler.actions.base.context import Answer, Context, Hand, hand_action, utc_text
from scheduler.actions.hours.ledger import derive_vessel
from scheduler.actions.people.sides import ASKS, AUTHORITY, Side, must_be_another, person_acting, remember_side
from scheduler.actions.plant_state.load import PlantState, load_plant
from scheduler.actions.plant_state.turning import turns_after
from scheduler.actions.vessel.document import document_of
from scheduler.actions.vessel.fleet import offset_minutes
from scheduler.domain.base.enums import JobState
from scheduler.domain.due.jobs import DueJob
from scheduler.domain.people.persons import Person
from scheduler.domain.work.against import Objection, from_plain, to_plain
from scheduler.errors import Clash, NotFound, Refused
from scheduler.language import gettext
from scheduler.storage.database import Session, bump_revision
from scheduler.storage.paging import PageAsked
from scheduler.storage.record import append_record
from scheduler.storage.types import floor_second
from scheduler.storage.vessel import revision_of
from scheduler.storage.watches import MOST, Watch, vessels_to_watch, watch_again
from scheduler.storage.work import NonConformityRow, next_nonconformity_number, nonconformity_row, nonconformity_rows
from scheduler.wording.work import against_words

PAST_LIMIT = "past limit"


def open_where_due(context: Context) -> list[str]:
    """Open a non-conformity for each job past its limit that has none yet; the vessels where one was opened."""
    with context.db.read() as session:
        vessels = vessels_to_watch(session, Watch.LIMITS, context.now())
    return [vessel_id for vessel_id in vessels if watch_limits(context, vessel_id)]


def watch_limits(context: Context, vessel_id: str) -> bool:
    """The same of one vessel; whether one was opened. She is looked at again when something changes or the clock may bring one."""
    derive_vessel(context, vessel_id)
    with context.db.read() as session:
        revision = revision_of(session, vessel_id)
        plants = [load_plant(session, context, vessel_id, one.id) for one in document_of(session, vessel_id)[0].plants]
    with context.db.write(vessel_id) as session:
        opened = [
            open_for(session, now, job, "timer")
            for now in plants
            for job in now.jobs
            if job.first and job.state is JobState.PAST_LIMIT
        ]
        next_at = min((turns_after(now) for now in plants), default=context.now() + MOST)
        watch_again(session, Watch.LIMITS, vessel_id, next_at, at=context.now(), revision=revision)
        if any(opened):
            bump_revision(session, vessel_id)
    return any(opened)


def open_for(session: Session, now: PlantState, job: DueJob, by: str) -> bool:
    """Open one for a job past its limit, unless that limit has one; whether it was opened."""
    vessel_id, key, limit_at = now.vessel.id, job.job_id.key, job.limit_at
    if limit_at is None:
        return False
    of_job = [row for row in nonconformity_rows(session, vessel_id) if (row.job_key, row.about) == (key, PAST_LIMIT)]
    postponed = job.postponed_to is not None
    if any(not postponed or row.limit_at == floor_second(limit_at) for row in of_job):
        return False
    number = next_nonconformity_number(session, vessel_id)
    session.add(
        NonConformityRow(
            vessel_id=vessel_id,
            number=number,
            plant_id=now.plant.id,
            job_key=key,
            limit_at=limit_at,
            opened_at=now.at,
        )
    )
    session.flush()
    payload = {
        "non_conformity": number,
        "job_no": key,
        "job_kind": job.kind_name,
        "limit_at": limit_at,
        "limit_running_seconds": job.limit_running_seconds,
        "postponed": postponed,
        "by": by,
    }
    append_record(session, vessel_id, "non-conformity opened", now.at, payload)
    return True


def open_about(
    session: Session, now: PlantState, key: str, about: str, against: Sequence[Objection], by: str, **more: object
) -> int:
    """Open one for what broke a rule in the work on a job, or add to the one that nobody answered yet; its number.

    Args:
        about: what it is of, in few words; one is open for each at a time. more: further members of its record.
    """
    vessel_id = now.vessel.id
    plain = [to_plain(one) for one in against]
    waiting = [
        row
        for row in nonconformity_rows(session, vessel_id, only_open=True)
        if (row.job_key, row.about) == (key, about) and row.answered_at is None
    ]
    if waiting:
        row = waiting[-1]
        row.facts = [*row.facts, *plain]
    else:
        row = NonConformityRow(
            vessel_id=vessel_id,
            number=next_nonconformity_number(session, vessel_id),
            plant_id=now.plant.id,
            job_key=key,
            limit_at=now.at,
            opened_at=now.at,
            about=about,
            facts=plain,
        )
    session.add(row)
    session.flush()
    payload = {"non_conformity": row.number, "job_no": key, "about": about, "against": plain, "by": by, **more}
    append_record(session, vessel_id, "non-conformity widened" if waiting else "non-conformity opened", now.at, payload)
    return row.number


def answer_nonconformity(
    context: Context, hand: Hand, vessel_id: str, number: int, *, cause: str, corrective_action: str
) -> Answer:
    """Say why it came about and what is done so that it does not again.

    Raises:
        NotFound: no such non-conformity. Clash: it is closed. Refused: no cause or no corrective action. NotAllowed: by nobody known.
    """
    by = person_acting(context, hand.actor, ASKS, gettext("answer a non-conformity"))
    faults = [
        (f"/{name}", gettext("this is empty"))
        for name, text in (("cause", cause), ("corrective_action", corrective_action))
        if not text.strip()
    ]
    if faults:
        raise Refused(
            gettext("A non-conformity is answered with its cause and the corrective action; give both."), faults=faults
        )

    def act(session: Session) -> Answer:
        row = _held(session, hand, vessel_id, number)
        row.cause, row.corrective_action = cause.strip(), corrective_action.strip()
        row.answered_by_id, row.answered_by = by
        row.answered_at = context.now()
        session.add(row)
        payload = {
            "non_conformity": number,
            "job_no": row.job_key,
            "cause": cause,
            "corrective_action": corrective_action,
            "by": hand.actor.name,
        }
        remember_side(session, vessel_id, f"non-conformity {number} answered", hand.actor)
        record, _ = append_record(session, vessel_id, "non-conformity answered", context.now(), payload)
        return Answer(200, {"non_conformity": number, "state": "answered", "record": record})

    return hand_action(context, hand, vessel_id, act)


def close_nonconformity(context: Context, hand: Hand, vessel_id: str, number: int) -> Answer:
    """Close an answered non-conformity; chief engineer or office, not the one who answered.

    Raises:
        NotAllowed: by nobody known, by the one who answered, or by someone below the chief engineer. Clash: not answered, or closed.
    """
    person_acting(context, hand.actor, AUTHORITY, gettext("close a non-conformity"))

    def act(session: Session) -> Answer:
        row = _held(session, hand, vessel_id, number)
        if row.answered_at is None:
            raise Clash(
                gettext(
                    "Non-conformity {number} has no cause and corrective action yet; answer it first.", number=number
                )
            )
        answered_by = Person(row.answered_by_id or "", row.answered_by or "")
        says = gettext("Who answered a non-conformity does not close it: another person does.")
        side = Side(vessel_id, f"non-conformity {number} answered", answered_by)
        must_be_another(context, session, side, hand.actor, says)
        row.closed_by, row.closed_at = hand.actor.name, context.now()
        session.add(row)
        payload = {"non_conformity": number, "job_no": row.job_key, "by": hand.actor.name}
        record, _ = append_record(session, vessel_id, "non-conformity closed", context.now(), payload)
        return Answer(200, {"non_conformity": number, "state": "closed", "record": record})

    return hand_action(context, hand, vessel_id, act)


def _held(session: Session, hand: Hand, vessel_id: str, number: int) -> NonConformityRow:
    hand.actor.must_reach(vessel_id, f"vessel {vessel_id}")
    row = nonconformity_row(session, vessel_id, number)
    if row is None:
        raise NotFound(gettext("There is no non-conformity {number} on this vessel.", number=number))
    if row.closed_at is not None:
        raise Clash(
            gettext(
                "Non-conformity {number} is closed already, by {closed_by}.", number=number, closed_by=row.closed_by
            )
        )
    return row


def nonconformities_listed(context: Context, vessel_id: str, page: PageAsked | None = None) -> list[dict[str, Any]]:
    """A vessel's non-conformities, newest first, as answers tell them."""
    with context.db.read() as session:
        rows = nonconformity_rows(session, vessel_id, page=page)
        offset = offset_minutes(session, vessel_id, context.now())
    return [
        {
            "non_conformity": row.number,
            "job": row.job_key,
            "about": row.about,
            "what": " ".join(against_words(from_plain(one), offset) for one in row.facts),
            "limit_at": utc_text(row.limit_at) if row.about == PAST_LIMIT else None,
            "opened_at": utc_text(row.opened_at),
            "state": "closed" if row.closed_at else "answered" if row.answered_at else "open",
            "cause": row.cause,
            "corrective_action": row.corrective_action,
            "answered_by": row.answered_by,
            "closed_by": row.closed_by,
            "closed_at": utc_text(row.closed_at),
        }
        for row in reversed(rows)
    ]

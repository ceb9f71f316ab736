"""First dates: where nobody knows when a job was last done, the chief engineer says when it first falls due, and why."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, time
from types import MappingProxyType

from scheduler.actions.base.context import Answer, Context, Hand, hand_action
from scheduler.actions.base.matching import must_match
from scheduler.actions.base.pending import ask_plan
from scheduler.actions.hours.ledger import totals_of
from scheduler.actions.people.sides import AUTHORITY, Side, must_be_another, person_acting, remember_side
from scheduler.actions.plant_state.load import PlantState, load_plant
from scheduler.actions.plant_state.open_jobs import kind_of, open_job
from scheduler.actions.plant_state.stored import done_of, first_dates_of
from scheduler.actions.vessel.document import document_of
from scheduler.actions.vessel.fleet import Place
from scheduler.domain.base.enums import JobState, Role, Subject
from scheduler.domain.due.deciding import DECIDES
from scheduler.domain.due.first_date import first_date_faults, latest_on
from scheduler.domain.due.jobs import DueJob
from scheduler.domain.due.last_done import Done, JobId, known_from, last_not_known
from scheduler.domain.due.subjects import Key, where
from scheduler.domain.hours.running import RunningHours, Totals, running_hours
from scheduler.domain.people.persons import Person
from scheduler.domain.vessel.document import Plant
from scheduler.errors import Clash, NotAllowed, NotFound, Refused
from scheduler.language import gettext
from scheduler.shiptime import day_text, instant_of, ship_time
from scheduler.storage.database import Session
from scheduler.storage.due import FirstDateRow, first_date_row, first_date_rows
from scheduler.storage.hours.counters import counter_rows
from scheduler.storage.record import append_record
from scheduler.storage.vessel import kinds_since
from scheduler.storage.work import latest_done_rows
from scheduler.wording.figures import short_date
from scheduler.wording.names import job_words


@dataclass(frozen=True, slots=True, kw_only=True)
class FirstDue:
    """A first date as set. on: ship's date. waits: it counts once another person has agreed; agreed_by: who did, where it took one."""

    on: date
    reason: str
    by: str
    by_id: str
    set_as: str
    set_at: datetime
    waits: bool
    agreed_by: str | None
    version: int
    """Number of the newest record about it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NotKnown:
    """A job that nobody knows when it was last done. key: of its open turn; position: name of its place."""

    key: str
    position: str
    kind_name: str


def may_be_set(job: DueJob) -> bool:
    """Whether a first date may be set, or brought forward, for that open turn."""
    return job.first and (job.state is JobState.NOT_KNOWN or job.first_set_at is not None)


def latest(now: PlantState, job: DueJob) -> date:
    """The last ship's date that may be set for that job now."""
    return latest_on(now.plant.kind(job.job_id.kind), ship_time(now.at, now.offset_minutes).date())


def given(context: Context, vessel_id: str, job_id: JobId) -> FirstDue | None:
    """What was set for that job, none when nothing was."""
    with context.db.read() as session:
        row = first_date_row(session, vessel_id, job_id.kind, job_id.subject)
    if row is None:
        return None
    return FirstDue(
        on=row.due_on,
        reason=row.reason,
        by=row.actor,
        by_id=row.actor_id,
        set_as=row.set_as,
        set_at=row.set_at,
        waits=row.waits,
        agreed_by=row.agreed_by,
        version=row.record,
    )


def set_first(
    context: Context,
    hand: Hand,
    place: Place,
    job_id: JobId,
    *,
    on: date,
    reason: str,
    class_agreed: str = "",
    if_match: int | None = None,
) -> Answer:
    """Set the ship's date on which an open turn whose last time is not known falls due; a new plan is asked for. That of a critical
    kind counts once another person has agreed (status 202); bringing one forward that counts takes nobody else.

    Args:
        if_match: version that was looked at: number of the newest record about it, 0 for none.

    Raises:
        Stale: somebody has set another, or agreed, since.
        NotAllowed: by nobody known, or someone who is neither chief engineer nor office.
        Clash: the job was done. Refused: its last time is known, no reason, no class agreement for a class item, a date not
            to come, further off than an interval, or later than the one set before.
    """
    by = person_acting(context, hand.actor, AUTHORITY, gettext("set a first date"))

    def act(session: Session) -> Answer:
        key = job_id.key
        now = load_plant(session, context, place.vessel_id, place.plant_id)
        kind = kind_of(now.plant, job_id)
        job = open_job(session, now, job_id)
        if not may_be_set(job):
            before = now.done.get((job_id.kind, job_id.subject))
            when = (
                ""
                if before is None
                else gettext(", on {day}", day=short_date(before.done_at, now.offset_minutes, now.at))
            )
            raise Refused(
                gettext(
                    "When {job} was last done is known{when}: its due date follows from that.",
                    job=job_words(now.plant, now.at, key),
                    when=when,
                )
            )
        if job.postponed_to is not None:
            to = short_date(job.postponed_to, now.offset_minutes, now.at)
            raise Refused(
                gettext(
                    "The limit of {job} was postponed to {to}: its first date is no more what binds it. Do the "
                    "job, or have the postponement decided anew.",
                    job=job_words(now.plant, now.at, key),
                    to=to,
                )
            )
        row = first_date_row(session, place.vessel_id, job_id.kind, job_id.subject)
        _must_be_last(now, key, row, if_match)
        counts = row is not None and not row.waits
        before_on = row.due_on if row is not None and counts else None
        waits = kind.critical and not counts
        today = ship_time(now.at, now.offset_minutes).date()
        faults = first_date_faults(kind, on, today=today, before=before_on, reason=reason, class_agreed=class_agreed)
        if faults:
            raise Refused(f"{faults[0][0].lstrip('/')}: {faults[0][1]}", faults=faults)
        due_at = instant_of(datetime.combine(on, time()), now.offset_minutes)
        ran = None if kind.subject is Subject.PLANT else now.hours[kind.subject, job_id.subject].seconds
        payload = {
            "job_no": key,
            "job_kind": kind.name,
            "due_on": on,
            "before": before_on,
            "running_seconds": ran,
            "reason": reason.strip(),
            "class_agreed": class_agreed.strip(),
            "by": by.name,
        }
        what = "first date asked" if waits else "first date set"
        record, _ = append_record(session, place.vessel_id, what, now.at, payload)
        if row is None:
            row = FirstDateRow(
                vessel_id=place.vessel_id,
                kind=job_id.kind,
                subject_id=job_id.subject,
                plant_id=place.plant_id,
                due_on=on,
                due_at=due_at,
                set_at=now.at,
                running_seconds=ran,
                reason="",
                actor_id="",
                actor="",
                record=0,
            )
        row.due_on, row.due_at, row.reason, row.record = on, due_at, reason.strip(), record
        row.actor_id, row.actor, row.set_as, row.waits = by.id, by.name, hand.actor.role.value, waits
        remember_side(session, place.vessel_id, f"first date {job_id.kind}:{job_id.subject} set", hand.actor)
        if waits:
            row.set_at, row.running_seconds = now.at, ran
        session.add(row)
        answer = {"job": key, "first_due_on": on.isoformat(), "record": record}
        if waits:
            says = f"{kind.name} is critical: it counts once another person has agreed, one of both being the office or the master."
            return Answer(202, {**answer, "says": says})
        ask_plan(session, place.vessel_id, place.plant_id, context.now())
        return Answer(200, answer)

    return hand_action(context, hand, place.vessel_id, act)


def agree_first(context: Context, hand: Hand, place: Place, job_id: JobId) -> Answer:
    """Agree to the first date that another person set for a job of a critical kind: it counts from now on; a new plan is asked for.

    Raises:
        NotAllowed: by nobody known, by who set it, or by the chief engineer what a chief engineer set. NotFound: none was set.
        Clash: it counts already, its day has come, or the job was done or its last time came to be known.
    """
    by = person_acting(context, hand.actor, DECIDES, gettext("agree to a first date"))

    def act(session: Session) -> Answer:
        now = load_plant(session, context, place.vessel_id, place.plant_id)
        kind_of(now.plant, job_id)
        job = open_job(session, now, job_id)
        words = job_words(now.plant, now.at, job_id.key)
        row = first_date_row(session, place.vessel_id, job_id.kind, job_id.subject)
        if row is None:
            raise NotFound(gettext("No first date was set for {words}.", words=words))
        if not row.waits:
            raise Clash(gettext("The first date of {words} counts already.", words=words))
        if not may_be_set(job):
            raise Clash(
                gettext("When {words} was last done is known by now: its due date follows from that.", words=words)
            )
        side = Side(place.vessel_id, f"first date {job_id.kind}:{job_id.subject} set", Person(row.actor_id, row.actor))
        must_be_another(
            context, session, side, hand.actor, gettext("{actor} set it: another person agrees to it.", actor=row.actor)
        )
        if hand.actor.role.value == row.set_as == Role.CHIEF.value:
            raise NotAllowed(
                gettext("What a chief engineer set, the office agrees to, or the master while the link is down.")
            )
        if row.due_on <= ship_time(now.at, now.offset_minutes).date():
            raise Clash(gettext("Its day has come meanwhile: do the job, or have a later date set and agreed to."))
        row.waits, row.agreed_by_id, row.agreed_by, row.agreed_at = False, by.id, by.name, now.at
        payload = {
            "job_no": job_id.key,
            "due_on": row.due_on,
            "set_by": row.actor,
            "agreed_as": hand.actor.role.value,
            "by": by.name,
        }
        record, _ = append_record(session, place.vessel_id, "first date agreed", now.at, payload)
        row.record = record
        session.add(row)
        ask_plan(session, place.vessel_id, place.plant_id, context.now())
        return Answer(200, {"job": job_id.key, "first_due_on": row.due_on.isoformat(), "record": record})

    return hand_action(context, hand, place.vessel_id, act)


def _must_be_last(now: PlantState, key: str, row: FirstDateRow | None, if_match: int | None) -> None:
    words = job_words(now.plant, now.at, key)
    if row is None:
        must_match(
            if_match, 0, gettext("No first date is set for {words} by now.", words=words), {"first_due_on": None}
        )
        return
    how = gettext("{actor} set it", actor=row.actor)
    how += gettext(", {agreed_by} agreed", agreed_by=row.agreed_by) if row.agreed_by else ""
    says = gettext("The first date of {words} is {day} by now: {how}.", words=words, day=day_text(row.due_on), how=how)
    newer = {"first_due_on": row.due_on.isoformat(), "by": row.actor, "reason": row.reason, "counts": not row.waits}
    must_match(if_match, row.record, says, newer)


def not_known(
    session: Session, vessel_id: str, at: datetime, known: Mapping[str, Mapping[Key, Done]] = MappingProxyType({})
) -> list[NotKnown]:
    """Every job of a vessel that nobody knows when it was last done, in the order of her plants and their kinds.

    known: by plant, what `known_from` gives, where the caller has it.
    """
    vessel, _ = document_of(session, vessel_id)
    first, recorded = first_dates_of(first_date_rows(session, vessel_id)), done_of(latest_done_rows(session, vessel_id))
    found = []
    for plant in vessel.plants:
        rows = [row for row in counter_rows(session, vessel_id) if row.plant_id == plant.id]
        totals = totals_of(session, vessel_id, rows)

        def hours_at(
            subject: Subject, subject_id: str, when: datetime, plant: Plant = plant, totals: Totals = totals
        ) -> RunningHours:
            return running_hours(plant, totals, subject, subject_id, when)

        done = known.get(plant.id)
        if done is None:
            done = known_from(plant, hours_at, kinds_since(session, vessel_id, plant.id), recorded)
        names = {position.id: position.name for position in plant.positions}
        for code, subject in last_not_known(plant, done, first, at):
            kind = plant.kind(code)
            position = where(plant, kind.subject, subject, at)[1]
            found.append(
                NotKnown(
                    key=JobId(kind=code, subject=subject, sequence=1).key,
                    position=names.get(position or "", plant.name),
                    kind_name=kind.name,
                )
            )
    return found

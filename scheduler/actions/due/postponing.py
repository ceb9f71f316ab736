"""Postponements: asked by one person, decided by another. The limit moves, the due point does not."""

from typing import Any

from scheduler.actions.base.context import Answer, Context, Hand, hand_action, utc_text
from scheduler.actions.base.pending import ask_plan
from scheduler.actions.people.sides import ASKS, Side, must_be_another, person_acting, remember_side
from scheduler.actions.plant_state.load import PlantState, load_plant
from scheduler.actions.plant_state.open_jobs import kind_of, open_job
from scheduler.actions.vessel.fleet import Place
from scheduler.domain.due.deciding import DECIDES, Decider, Unfit, decision_objections
from scheduler.domain.due.last_done import JobId
from scheduler.domain.due.postponing import Asked, ask_faults
from scheduler.domain.people.persons import Person
from scheduler.errors import Clash, NotAllowed, NotFound, Refused
from scheduler.language import gettext
from scheduler.planning.explain.dates import FactKind, plan_facts
from scheduler.storage.database import Session
from scheduler.storage.due import PostponementRow, next_postponement_number, postponement_row, postponement_rows
from scheduler.storage.paging import PageAsked
from scheduler.storage.record import append_record
from scheduler.wording.deciding import unfit_words
from scheduler.wording.names import job_words, pump_words


def ask_postponement(context: Context, hand: Hand, place: Place, job_id: JobId, asked: Asked) -> Answer:
    """Ask for a later limit of the open turn of a job.

    Raises:
        Clash: one is asked for and not decided yet, or the job is closed. Refused: no reason or risk, or no later date.
        NotAllowed: by nobody known.
    """
    asker = person_acting(context, hand.actor, ASKS, gettext("ask for a postponement"))

    def act(session: Session) -> Answer:
        now = load_plant(session, context, place.vessel_id, place.plant_id)
        kind = kind_of(now.plant, job_id)
        job = open_job(session, now, job_id)
        limit_at = job.limit_at
        if limit_at is None:
            raise Refused(
                gettext(
                    "Nobody has said when this job was last done, so it has no limit that could be put off. Do "
                    "it, or let the chief engineer set its first date."
                )
            )
        faults = [
            *ask_faults(asked, limit_at=limit_at, now_at=now.at, offset_minutes=now.offset_minutes),
            *resting_on_return(now, job_id.key),
        ]
        if faults:
            raise Refused(f"{faults[0][0].lstrip('/')}: {faults[0][1]}", faults=faults)
        before = postponement_rows(session, place.vessel_id, job_id.key)
        waiting = next((row for row in before if row.granted is None), None)
        if waiting is not None:
            raise Clash(
                gettext(
                    "Postponement {number} of {job} is asked for already and not decided yet.",
                    number=waiting.number,
                    job=job_words(now.plant, now.at, job_id.key),
                )
            )
        number = next_postponement_number(session, place.vessel_id)
        session.add(
            PostponementRow(
                vessel_id=place.vessel_id,
                number=number,
                plant_id=place.plant_id,
                job_key=job_id.key,
                limit_at=limit_at,
                to_at=asked.to_at,
                reason=asked.reason.strip(),
                risk=asked.risk.strip(),
                mitigation=asked.mitigation.strip(),
                asked_by_id=asker.id,
                asked_by=hand.actor.name,
                asked_at=context.now(),
            )
        )
        payload = {
            "postponement": number,
            "job_no": job_id.key,
            "job_kind": kind.name,
            "critical": kind.critical,
            "class_item": kind.class_item,
            "limit_at": limit_at,
            "to_at": asked.to_at,
            "reason": asked.reason,
            "risk": asked.risk,
            "mitigation": asked.mitigation,
            "times_before": len([row for row in before if row.granted]),
            "by": hand.actor.name,
        }
        remember_side(session, place.vessel_id, f"postponement {number} asked", hand.actor)
        record, _ = append_record(session, place.vessel_id, "postponement asked", now.at, payload)
        who = "the office" if kind.critical else "the chief engineer or the office"
        return Answer(
            201,
            {"postponement": number, "job": job_id.key, "record": record, "says": f"Asked; {who} decides."},
        )

    return hand_action(context, hand, place.vessel_id, act)


def resting_on_return(now: PlantState, key: str) -> list[tuple[str, str]]:
    """What is wrong with postponing a job whose date rests on a return that nobody told: a postponement does not rest on one."""
    held = now.proposed or now.taken
    facts = plan_facts(held.problem, held.plan) if held is not None else ()
    for fact in facts:
        if fact.code is FactKind.RESTS_ON_RETURN and fact.assumed and key in fact.keys:
            name = pump_words(now.plant, now.at, fact.pump or "")
            says = gettext(
                "its date rests on the return of {name}, which nobody told: say first when {name} is back.", name=name
            )
            return [("/to_at", says)]
    return []


def decide_postponement(
    context: Context,
    hand: Hand,
    vessel_id: str,
    number: int,
    *,
    granted: bool,
    note: str,
    class_agreed: str = "",
) -> Answer:
    """Grant or refuse a postponement, as chief engineer, as office, or as master while the link to the office is down. Granted,
    the job's limit is the new one, and a new plan is asked for.

    Raises:
        NotFound: no such postponement. Clash: decided already, or granted though its date rests on a return that nobody told.
        NotAllowed: by nobody known, by the one who asked, or by someone who may not.
        Refused: a class item without the class's agreement, or no note to a refusal.
    """
    hand.actor.must_reach(vessel_id, f"vessel {vessel_id}")
    decider = Decider(person_acting(context, hand.actor, DECIDES, gettext("decide a postponement")), hand.actor.role)

    def act(session: Session) -> Answer:
        row = postponement_row(session, vessel_id, number)
        if row is None:
            raise NotFound(gettext("There is no postponement {number} on this vessel.", number=number))
        if row.granted is not None:
            who = row.decided_by
            yes = gettext("Postponement {number} was granted already, by {who}.", number=number, who=who)
            no = gettext("Postponement {number} was refused already, by {who}.", number=number, who=who)
            raise Clash(yes if row.granted else no)
        now = load_plant(session, context, vessel_id, row.plant_id)
        kind = kind_of(now.plant, _occurrence(row.job_key))
        asked_by = Person(row.asked_by_id, row.asked_by)
        against = decision_objections(
            kind, asked_by=asked_by, decider=decider, granted=granted, class_agreed=class_agreed
        )
        if against:
            error = Refused if against[0].code is Unfit.CLASS_ITEM else NotAllowed
            raise error(unfit_words(against))
        says = gettext("{name} asked for it: another person decides it.", name=asked_by.name)
        must_be_another(context, session, Side(vessel_id, f"postponement {number} asked", asked_by), hand.actor, says)
        resting = resting_on_return(now, row.job_key) if granted else []
        if resting:
            raise Clash(gettext("Not to be granted as it stands: {resting}", resting=resting[0][1]))
        if not granted and not note.strip():
            raise Refused(
                gettext("Say why it is refused; note is empty."), faults=[("/note", gettext("this is empty"))]
            )
        row.granted, row.decided_by, row.decided_at = granted, decider.person.name, context.now()
        row.decided_as = decider.role.value
        row.note, row.class_agreed = note.strip(), class_agreed.strip()
        session.add(row)
        words = "granted" if granted else "refused"
        payload = {
            "postponement": number,
            "job_no": row.job_key,
            "to_at": row.to_at,
            "asked_by": row.asked_by,
            "note": note,
            "class_agreed": class_agreed,
            "decided_by": row.decided_by,
            "decided_as": row.decided_as,
            "by": hand.actor.name,
        }
        record, _ = append_record(session, vessel_id, f"postponement {words}", now.at, payload)
        ask_plan(session, vessel_id, row.plant_id, context.now())
        return Answer(200, {"postponement": number, "job": row.job_key, "granted": granted, "record": record})

    return hand_action(context, hand, vessel_id, act)


def postponements_listed(
    context: Context, vessel_id: str, job_key: str | None = None, page: PageAsked | None = None
) -> list[dict[str, Any]]:
    """A vessel's postponements, newest first, as answers tell them."""
    with context.db.read() as session:
        rows = postponement_rows(session, vessel_id, job_key, page)
    return [
        {
            "postponement": row.number,
            "job": row.job_key,
            "limit_at": utc_text(row.limit_at),
            "to_at": utc_text(row.to_at),
            "reason": row.reason,
            "risk": row.risk,
            "mitigation": row.mitigation,
            "asked_by": row.asked_by,
            "asked_at": utc_text(row.asked_at),
            "state": {None: "asked", True: "granted", False: "refused"}[row.granted],
            "decided_by": row.decided_by,
            "decided_as": row.decided_as,
            "entered_by": row.entered_by,
            "decided_at": utc_text(row.decided_at),
            "note": row.note,
            "class_agreed": row.class_agreed,
        }
        for row in reversed(rows)
    ]


def _occurrence(key: str) -> JobId:
    kind, _, rest = key.partition(":")
    subject, _, number = rest.rpartition(":")
    return JobId(kind=kind, subject=subject, sequence=int(number))

"""What is wrong or odd in this installation: gathered here, said in `domain.looks`; the command and the pages show the same."""

from datetime import timedelta
from pathlib import Path

from scheduler.actions.base.context import Context, instant, seconds
from scheduler.actions.care.rounds import watched_flags
from scheduler.actions.due import first_dates
from scheduler.actions.hours.ledger import derive_vessel
from scheduler.actions.hours.questions import questions_of
from scheduler.actions.vessel.document import document_of
from scheduler.domain.checks import diagnosis
from scheduler.domain.checks.diagnosis import Diagnosis
from scheduler.domain.hours.ledger import Code, Flag
from scheduler.errors import NotFound, SchedulerError
from scheduler.settings import EVERY_ADDRESS, NO_BASE_URL, Settings
from scheduler.storage.base import failed_tasks
from scheduler.storage.database import Database, Session
from scheduler.storage.feed import feed_body_rows
from scheduler.storage.hours.counters import counter_rows, flag_rows
from scheduler.storage.hours.readings import newest_received, unstored_since
from scheduler.storage.migrate import newest, step_of
from scheduler.storage.plan import PlanStatus, plan_row
from scheduler.storage.vessel import vessel_rows

DAY_S = 86_400
INTAKE_DAYS = 7
FRESH_S = 14 * DAY_S
"""Flags about a clock stay in the ledger for good; older ones are past, and so is one whose clock is right again."""
COPY_OLD_DAYS = 7


def fleet_diagnosis(context: Context, vessel_id: str | None = None) -> list[Diagnosis]:
    """Everything to look at, of one vessel or of all, and of the installation itself. Raises NotFound for an unknown vessel."""
    with context.db.read() as session:
        known = [row.id for row in vessel_rows(session)]
    if vessel_id is not None and vessel_id not in known:
        raise NotFound(f"There is no vessel {vessel_id} here. Known: {', '.join(known) or 'none'}.")
    found = [*of_settings(context.settings), *of_database(context.db, context.now_s()), *_tasks(context)]
    for one in known if vessel_id is None else [vessel_id]:
        found += vessel_diagnosis(context, one)
    return found


def vessel_diagnosis(context: Context, vessel_id: str) -> list[Diagnosis]:
    """Everything to look at on a vessel: counters, what was not stored, plans, calendar. Raises NotFound."""
    with context.db.read() as session:
        behind = _backlog(context, session, vessel_id)
    derive_vessel(context, vessel_id)
    with context.db.read() as session:
        return [*behind, *_counters(context, session, vessel_id), *_rest(context, session, vessel_id)]


def of_settings(settings: Settings) -> list[Diagnosis]:
    """Settings that cannot work, or not together."""
    found = []
    if settings.host in EVERY_ADDRESS and not settings.base_url:
        do = "Calendar entries carry no links and no sign-in link can be made until it is set."
        found.append(
            Diagnosis(about="setting", which="base_url", says=f"{NO_BASE_URL[:1].upper()}{NO_BASE_URL[1:]}", do=do)
        )
    if not settings.insecure_cookie and settings.base_url.startswith("http:"):
        says = "insecure_cookie is off, but base_url is plain http: a browser will not send the sign-in cookie back."
        do = "Serve it by https, or set insecure_cookie to true on the ship's own network."
        found.append(Diagnosis(about="setting", which="insecure_cookie", says=says, do=do))
    if settings.frozen_days >= settings.horizon_days:
        says = (
            f"frozen_days ({settings.frozen_days}) reaches horizon_days ({settings.horizon_days}): no plan can change."
        )
        found.append(Diagnosis(about="setting", which="frozen_days", says=says, do="Make it less than horizon_days."))
    return found


def of_database(database: Database, now_s: int) -> list[Diagnosis]:
    """Space, log, version and copies of the database."""
    place = str(database.path or database.url.render_as_string(hide_password=True))
    found = [diagnosis.of_space(place, database.free_bytes(), database.floor_bytes)]
    try:
        found += diagnosis.of_engine(place, database.engine_says(), database.journal())
    except SchedulerError as error:
        found.append(Diagnosis(about="database", which=place, says=error.says, do="Nothing works until it answers."))
    found.append(_copies(database, place, now_s))
    return [one for one in found if one is not None]


def of_tables(database: Database) -> Diagnosis | None:
    """Tables that are not at this program's step; nothing else can be looked at then."""
    step, wanted = step_of(database), newest()
    if step == wanted:
        return None
    return Diagnosis(
        about="tables",
        which=str(database.path or "database"),
        says=f"The tables are at step {step or 'none'}, this program needs {wanted}.",
        do="Stop the server and run `leadline upgrade`; it makes a copy first.",
    )


def _copies(database: Database, place: str, now_s: int) -> Diagnosis | None:
    if database.path is None:
        return None
    copies = database.copies()
    last_s = int(copies[-1].stat().st_mtime) if copies else None
    if last_s is not None and now_s - last_s < COPY_OLD_DAYS * DAY_S:
        return None
    says = (
        "No copy of the database lies beside it."
        if last_s is None
        else f"The newest copy beside it is {_name(copies)}."
    )
    return Diagnosis(
        about="copy",
        which=place,
        says=says,
        do="If none is kept elsewhere, make one: sqlite3 FILE \"VACUUM INTO 'COPY'\" works while the server runs.",
        since_at=None if last_s is None else instant(last_s),
        note=True,
    )


def _name(copies: list[Path]) -> str:
    return copies[-1].name


def _tasks(context: Context) -> list[Diagnosis]:
    """What the timers could not do in the last day."""
    with context.db.read() as session:
        failed = failed_tasks(session, context.now() - timedelta(days=1))[:5]
    return [
        Diagnosis(
            about="timer",
            which=f"{row.task} {row.period}",
            says=str(row.outcome),
            do="It is tried again; if it stays, the server's log says more.",
            since_at=row.started_at,
        )
        for row in failed
    ]


def _backlog(context: Context, session: Session, vessel_id: str) -> list[Diagnosis]:
    found = []
    for row in counter_rows(session, vessel_id):
        if row.dirty_from_s is not None and row.no is not None:
            received_s = newest_received(session, row.no)
            found.append(diagnosis.of_backlog(row.id, received_s, context.now_s()))
    return [one for one in found if one is not None]


def _counters(context: Context, session: Session, vessel_id: str) -> list[Diagnosis]:
    rows = counter_rows(session, vessel_id)
    flags = flag_rows(session, vessel_id)
    watched = watched_flags(context, session, vessel_id)
    found: list[Diagnosis] = []
    for row in rows:
        if row.newest_s is None:
            found.append(diagnosis.of_unread(row.id))
        own = [flag for flag in flags if flag.counter_no == row.no]
        found += [diagnosis.of_question(row.id, asked) for asked in questions_of(session, row, own)]
        found += [
            one for name, flag in watched if name == row.id and (one := diagnosis.of_flag(row.id, flag)) is not None
        ]
        right_s = max((flag.at_s for flag in own if flag.code == Code.CLOCK_RIGHT), default=0)
        for code, after_s in ((Code.CLOCK, right_s), (Code.FUTURE, 0)):
            fresh = [f for f in own if f.code == code and f.at_s > after_s and context.now_s() - f.at_s < FRESH_S]
            if fresh:
                newest_one = max(fresh, key=lambda flag: flag.at_s)
                told = Flag(code, newest_one.at_s, newest_one.says, newest_one.seconds or 0)
                found += [one for one in (diagnosis.of_flag(row.id, told),) if one is not None]
    return found


def _rest(context: Context, session: Session, vessel_id: str) -> list[Diagnosis]:
    now_s = context.now_s()
    vessel, _ = document_of(session, vessel_id)
    found: list[Diagnosis | None] = list(
        diagnosis.of_intake(vessel_id, unstored_since(session, vessel_id, now_s - INTAKE_DAYS * DAY_S), INTAKE_DAYS)
    )
    found += [
        diagnosis.of_not_known(one.key, f"{one.position} {one.kind_name}")
        for one in first_dates.not_known(session, vessel_id, context.now())
    ]
    for plant in vessel.plants:
        made = [
            None if row is None else seconds(row.made_at)
            for status in (PlanStatus.TAKEN, PlanStatus.PROPOSED)
            for row in [plan_row(session, vessel_id, plant.id, status)]
        ]
        found.append(diagnosis.of_plan(plant.id, made[0], made[1], now_s))
        found += diagnosis.of_blocks(plant, context.now().date())
    bodies = feed_body_rows(session, vessel_id)
    found.append(diagnosis.of_calendar(vessel_id, max((seconds(row.made_at) for row in bodies), default=None), now_s))
    return [one for one in found if one is not None]


def diagnosis_in_order(found: list[Diagnosis]) -> list[Diagnosis]:
    """What is wrong first, then what is worth knowing; within that as gathered."""
    return sorted(found, key=lambda one: one.note)

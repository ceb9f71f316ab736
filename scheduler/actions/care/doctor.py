"""What is wrong or odd in this installation: gathered here as facts; the command and the pages show the same."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from scheduler.actions.base.context import Context, seconds
from scheduler.actions.care.backups import backup_folder, newest_backup_at, same_disk
from scheduler.actions.care.failures import of_pending, of_tasks
from scheduler.actions.care.rounds import NIGHTLY, watched_flags
from scheduler.actions.care.ships_seen import ships_seen
from scheduler.actions.due import first_dates
from scheduler.actions.hours.ledger import derive_vessel
from scheduler.actions.hours.questions import questions_of
from scheduler.actions.hours.signs import folded_plant
from scheduler.actions.plant_state.load import PlantState
from scheduler.actions.record.chains import faults_found
from scheduler.actions.vessel.document import document_of, position_names
from scheduler.actions.vessel.fleet import clock_of
from scheduler.domain.checks import diagnosis
from scheduler.domain.checks.diagnosis import About, Diagnosis
from scheduler.domain.due.last_done import Done
from scheduler.domain.due.subjects import Key
from scheduler.domain.hours.ledger import Code
from scheduler.domain.hours.sign_facts import PlantSigns
from scheduler.domain.shore.line_state import of_line
from scheduler.domain.vessel.document import Vessel
from scheduler.errors import NotFound, SchedulerError
from scheduler.settings import EVERY_ADDRESS, NO_BASE_URL, OPEN_NETWORK, Settings
from scheduler.storage.database import INSTALLATION, Database, Session
from scheduler.storage.feed import feed_body_rows
from scheduler.storage.hours.counters import counter_rows, flag_rows
from scheduler.storage.hours.readings import newest_received, unstored_since
from scheduler.storage.migrate import newest, step_of
from scheduler.storage.plan import PlanStatus, plan_row
from scheduler.storage.shore.lines import shore_line
from scheduler.storage.shore.outbox import line_status
from scheduler.storage.shore.ships import heard_at
from scheduler.storage.tasks import task_rows
from scheduler.storage.vessel import vessel_ids
from scheduler.wording.figures import inner

DAY_S = 86_400
INTAKE_DAYS = 7
FRESH_S = 14 * DAY_S
"""Flags about a clock stay in the ledger for good; older ones are past, and so is one whose clock is right again."""


def fleet_diagnosis(context: Context, vessel_id: str | None = None) -> list[Diagnosis]:
    """Everything to look at, of one vessel or of all, and of the installation itself. Raises NotFound for an unknown vessel."""
    with context.db.read() as session:
        known = vessel_ids(session)
    if vessel_id is not None and vessel_id not in known:
        raise NotFound(f"There is no vessel {vessel_id} here. Known: {', '.join(known) or 'none'}.")
    found = [*of_settings(context.settings), *of_database(context.db), *_backups(context), *_tasks(context)]
    with context.db.read() as session:
        found += _record(session, INSTALLATION, "the installation")
    found += [look for one in ships_seen(context, vessel_id) for look in one.diagnoses]
    for one in known if vessel_id is None else [vessel_id]:
        found += vessel_diagnosis(context, one)
    return found


def vessel_diagnosis(context: Context, vessel_id: str, *loaded: tuple[PlantState, PlantSigns]) -> list[Diagnosis]:
    """Everything to look at on a vessel: counters, what was not stored, plans, calendar.

    loaded: of plants of hers, where the caller has that: it is not loaded again. Raises NotFound.
    """
    known = {now.plant.id: now.done for now, _ in loaded}
    signs = {now.plant.id: said for now, said in loaded}
    with context.db.read() as session:
        vessel, _ = document_of(session, vessel_id)
        behind = _backlog(context, session, vessel)
    derive_vessel(context, vessel_id)
    with context.db.read() as session:
        found = [
            *behind,
            *_counters(context, session, vessel),
            *_rest(context, session, vessel, known),
            *of_tasks(context, session, vessel_id),
            *_record(session, vessel_id, vessel.name),
            _office(context, session, vessel),
        ]
        clock = clock_of(session, vessel_id, context.now())
    for plant in vessel.plants:
        said = signs[plant.id] if plant.id in signs else folded_plant(context, vessel_id, plant.id).facts()
        found += diagnosis.of_signs(plant, said)
    return [replace(one, offset_minutes=clock) for one in found if one is not None]


def of_settings(settings: Settings) -> list[Diagnosis]:
    """Settings that cannot work, or not together."""
    found: list[tuple[str, dict[str, Any]]] = []
    if settings.host in EVERY_ADDRESS and not settings.base_url:
        found.append(("base_url", {"says": f"{NO_BASE_URL[:1].upper()}{NO_BASE_URL[1:]}"}))
    if not settings.insecure_cookie and settings.base_url.startswith("http:"):
        found.append(("insecure_cookie", {}))
    if settings.crosses_open_network():
        found.append(("open network", {"says": f"{OPEN_NETWORK[:1].upper()}{OPEN_NETWORK[1:]}"}))
    if settings.frozen_days >= settings.horizon_days:
        days = {"frozen_days": settings.frozen_days, "horizon_days": settings.horizon_days}
        found.append(("frozen_days", days))
    return [Diagnosis(about=About.SETTING, which=name, name=name, facts=facts) for name, facts in found]


def of_database(database: Database) -> list[Diagnosis]:
    """Space, log and version of the database."""
    place = str(database.path or database.url.render_as_string(hide_password=True))
    found = [diagnosis.of_space(place, database.free_bytes(), database.floor_bytes)]
    try:
        found += diagnosis.of_engine(place, database.engine_says(), database.journal())
    except SchedulerError as error:
        found.append(Diagnosis(about=About.DATABASE, which=place, name=place, facts={"error": error.says}))
    return [one for one in found if one is not None]


def of_tables(database: Database) -> Diagnosis | None:
    """Tables that are not at this program's step; nothing else can be looked at then."""
    step, expected = step_of(database), newest()
    if step == expected:
        return None
    place = str(database.path or "database")
    return Diagnosis(about=About.TABLES, which=place, name=place, facts={"step": step, "expected": expected})


def _record(session: Session, vessel_id: str, name: str) -> list[Diagnosis]:
    """What the last walk over the record found."""
    return [
        Diagnosis(
            about=About.RECORD,
            which=vessel_id or "installation",
            name=name,
            facts={"fault": one.fault, "number": one.number},
        )
        for one in faults_found(session, vessel_id)
    ]


def _office(context: Context, session: Session, vessel: Vessel) -> Diagnosis | None:
    """How the line to the office stands; none where the vessel has joined none."""
    line = shore_line(session, vessel.id)
    return None if line is None else of_line(line_status(session, line), vessel.name, context.now())


def _backups(context: Context) -> list[Diagnosis]:
    """How old the newest backup is, and whether it lies on the database's own disk."""
    folder = backup_folder(context.settings, context.db.path)
    made_at = newest_backup_at(folder)
    with context.db.read() as session:
        nights = task_rows(session, NIGHTLY)
    since_s = min((seconds(row.started_at) for row in nights), default=None)
    place = "" if folder is None else str(folder)
    made_s = None if made_at is None else seconds(made_at)
    found = [diagnosis.of_backup(place, made_s, since_s, context.now_s())]
    if made_at is not None and folder is not None and context.db.path and same_disk(folder, context.db.path):
        found.append(Diagnosis(about=About.BACKUP_DISK, which=place, name=place, note=True))
    return [one for one in found if one is not None]


def _tasks(context: Context) -> list[Diagnosis]:
    """What timers or workers could not do, but for plans and calendars, which are of a vessel; and what waits for them."""
    with context.db.read() as session:
        failed = [one for one in of_tasks(context, session) if one.about is About.TIMER]
        return [*failed, *of_pending(context, session)]


def _backlog(context: Context, session: Session, vessel: Vessel) -> list[Diagnosis | None]:
    names = position_names(vessel)
    return [
        diagnosis.of_backlog(row.id, names[row.position_id], newest_received(session, row.no), context.now_s())
        for row in counter_rows(session, vessel.id)
        if row.dirty_from_s is not None and row.no is not None
    ]


def _counters(context: Context, session: Session, vessel: Vessel) -> list[Diagnosis | None]:
    names = position_names(vessel)
    flags = flag_rows(session, vessel.id)
    watched = watched_flags(context, session, vessel.id)
    found: list[Diagnosis | None] = []
    for row in counter_rows(session, vessel.id):
        position = names[row.position_id]
        if row.newest_s is None:
            found.append(Diagnosis(about=About.UNREAD, which=row.id, name=position))
        own = [flag.flag() for flag in flags if flag.counter_no == row.no]
        found += [diagnosis.of_question(row.id, position, asked) for asked in questions_of(session, row, own)]
        found += [diagnosis.of_flag(row.id, position, flag) for name, flag in watched if name == row.id]
        right_s = max((flag.at_s for flag in own if flag.code is Code.CLOCK_RIGHT), default=0)
        for code, after_s in ((Code.CLOCK, right_s), (Code.FUTURE, 0)):
            fresh = [f for f in own if f.code is code and f.at_s > after_s and context.now_s() - f.at_s < FRESH_S]
            if fresh:
                newest_one = max(fresh, key=lambda flag: flag.at_s)
                found.append(diagnosis.of_flag(row.id, position, newest_one))
    return found


def _rest(
    context: Context, session: Session, vessel: Vessel, known: Mapping[str, Mapping[Key, Done]]
) -> list[Diagnosis | None]:
    now_s, names = context.now_s(), position_names(vessel)
    heard = heard_at(session, vessel.id)
    planned_s = now_s if heard is None else min(now_s, seconds(heard))  # who writes aboard plans aboard
    positions = {counter.id: names[counter.position] for plant in vessel.plants for counter in plant.counters}
    unstored = unstored_since(session, vessel.id, now_s - INTAKE_DAYS * DAY_S)
    found: list[Diagnosis | None] = [*diagnosis.of_intake(vessel.id, positions, unstored, INTAKE_DAYS)]
    found += [
        Diagnosis(about=About.NOT_KNOWN, which=one.key, name=f"{one.position} {inner(one.kind_name)}")
        for one in first_dates.not_known(session, vessel.id, context.now(), known)
    ]
    for plant in vessel.plants:
        made = [
            None if row is None else seconds(row.made_at)
            for status in (PlanStatus.TAKEN, PlanStatus.PROPOSED)
            for row in [plan_row(session, vessel.id, plant.id, status)]
        ]
        look = diagnosis.of_plan(plant, made[0], made[1], planned_s)
        found.append(look if look is None or heard is None else replace(look, facts={"aboard": vessel.name}))
        found += diagnosis.of_blocks(plant, context.now().date())
    written = max((seconds(row.made_at) for row in feed_body_rows(session, vessel.id)), default=None)
    return [*found, diagnosis.of_calendar(vessel.id, vessel.name, written, now_s)]


def diagnosis_in_order(found: list[Diagnosis]) -> list[Diagnosis]:
    """What is wrong first, then what is worth knowing; within that as gathered."""
    return sorted(found, key=lambda one: one.note)

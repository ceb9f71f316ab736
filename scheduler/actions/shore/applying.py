"""Aboard: what the office asks is stored, then applied as an ordinary action in that person's name; its one outcome travels up."""

import logging
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from pydantic import ValidationError

from scheduler.actions.base.actor import Actor
from scheduler.actions.base.context import Context, Hand, Waker, instant, seconds
from scheduler.actions.due import part_dates, postponing
from scheduler.actions.hours.undoing import confirm_event
from scheduler.actions.shore.arguments import (
    ApproveVersion,
    Arguments,
    ChangeDocument,
    CloseNonConformity,
    ConfirmHours,
    DecidePostponement,
    Handed,
    SetPartDate,
    read_arguments,
)
from scheduler.actions.shore.patching import changed_document
from scheduler.actions.shore.requests import ASKERS, pumps_out
from scheduler.actions.vessel import changes, fleet
from scheduler.actions.vessel.document import document_of, plant_of
from scheduler.actions.work import jobs, nonconformities
from scheduler.domain.base.enums import Role
from scheduler.domain.people.authentication import Authentication, Proof
from scheduler.domain.people.persons import Person, same_name
from scheduler.domain.shore.asking import EFFECTS, OPEN_STATES, Effect, Lapse, RequestKind, RequestState
from scheduler.errors import Busy, NotAllowed, Refused, SchedulerError, StorageFull
from scheduler.language import ENGLISH, in_language
from scheduler.shiptime import moment_text
from scheduler.storage.database import INSTALLATION, Session, bump_revision
from scheduler.storage.due import postponement_row
from scheduler.storage.people import VouchedRow, person_row
from scheduler.storage.shore.requests import (
    OfficeRequestRow,
    newest_office_requests,
    office_request_row,
    office_requests_open,
)
from scheduler.storage.types import floor_second
from scheduler.storage.vessel import AssetKind, document_version
from scheduler.storage.work import nonconformity_row
from scheduler.wording.names import pump_words
from scheduler.wording.requests import lapse_words, never_words

log = logging.getLogger("leadline")

MOST_TAKEN = 1000
"""Requests read from one answer; a server of ours hands down fewer."""
FETCHED_SAID = 100
"""Numbers of the newest requests that are named to the office as fetched."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of a request. record: that was made, 0: none."""

    state: RequestState
    says: str = ""
    record: int = 0


@dataclass(frozen=True, slots=True)
class RequestUnderWay:
    """A request under way. context: writes into the transaction of `session`; hand: in the asker's name."""

    context: Context
    session: Session
    row: OfficeRequestRow
    hand: Hand

    @property
    def vessel_id(self) -> str:
        """The ship."""
        return self.row.vessel_id


class Lapsed(Exception):
    """What a request rested on is so no more; the argument says it."""


def take_in(context: Context, vessel_id: str, requests: Sequence[Any]) -> None:
    """Store what the office asks and do what takes effect at once, in order of number; let run out what waited too long.

    Whatever comes, in whatever order and however often: each number is applied at most once and has one outcome.

    Raises:
        Busy, StorageFull: the database could not be written; what is stored is done next time.
    """
    with in_language(ENGLISH):
        for one in sorted(_readable(requests[:MOST_TAKEN]), key=lambda handed: handed.number):
            _store(context, vessel_id, one)
        with context.db.read() as session:
            waiting = [(row.number, row.state, row.until_at) for row in office_requests_open(session, vessel_id)]
        now = floor_second(context.now())
        for number, state, until_at in waiting:
            if state is RequestState.TAKEN or until_at < now:
                _settle(context, vessel_id, number)


def _readable(requests: Sequence[Any]) -> list[Handed]:
    found = []
    for one in requests:
        try:
            found.append(Handed.model_validate(one))
        except ValidationError as error:
            log.warning("a request of the office cannot be read and is left: %s", str(error).splitlines()[0])
    return found


def _store(context: Context, vessel_id: str, handed: Handed) -> None:
    """Store a request unless its number is there; nothing is done yet."""
    with context.db.read() as session:
        there = office_request_row(session, vessel_id, handed.number)
    if there is not None:
        if there.fingerprint != handed.fingerprint:
            log.warning(
                "request %s of the office is another than the one of that number aboard; it is left", there.number
            )
        return
    with context.db.write(vessel_id) as session:
        if office_request_row(session, vessel_id, handed.number) is not None:
            return
        if handed.vouched_id:
            act = asked_act(handed.number)
            session.add(VouchedRow(vessel_id=vessel_id, act=act, maker_id=handed.vouched_id, maker=handed.vouched))
        session.add(
            OfficeRequestRow(
                vessel_id=vessel_id,
                number=handed.number,
                what=handed.what,
                arguments=handed.arguments,
                seen=handed.seen,
                fingerprint=handed.fingerprint,
                by_id=handed.by_id,
                by=handed.by,
                role=handed.role,
                vouched_id=handed.vouched_id,
                vouched=handed.vouched,
                asked_at=instant(handed.asked_s),
                until_at=instant(handed.until_s),
                taken_at=context.now(),
                state=RequestState.TAKEN,
            )
        )


def asked_act(number: int) -> str:
    """What asking a request is called, as the first half of what takes two."""
    return f"office request {number} asked"


def _settle(context: Context, vessel_id: str, number: int) -> None:
    """Do what was stored, or let it wait for the chief engineer, in one transaction with its outcome."""
    try:
        with context.db.write(vessel_id) as session:
            row = office_request_row(session, vessel_id, number)
            if row is None or row.state not in OPEN_STATES:
                return
            now = floor_second(context.now())
            if row.until_at < now:
                put_outcome(session, row, ran_out(session, context, row), now)
            elif row.state is RequestState.TAKEN:
                if must_wait(session, row):
                    row.state = RequestState.WAITING
                    session.add(row)
                else:
                    put_outcome(session, row, apply_request(context, session, row), now)
            bump_revision(session, vessel_id)
    except (Busy, StorageFull):
        raise
    except Exception as error:
        store_failure(context, vessel_id, number, error)
    context.wake()


def must_wait(session: Session, row: OfficeRequestRow) -> bool:
    """Whether the chief engineer accepts it first. What will be refused anyhow does not wait.

    Raises:
        As `apply_request` does of what is known already.
    """
    what = _kind(row)
    if EFFECTS[what] is not Effect.AFTER_CHIEF:
        return False
    office_person(session, row)
    said = read_arguments(what, row.arguments)
    assert isinstance(said, ChangeDocument)
    changed_document(*document_of(session, row.vessel_id), said)
    return True


def ran_out(session: Session, context: Context, row: OfficeRequestRow) -> Outcome:
    """The outcome of a request whose time is over."""
    clock = fleet.clock_of(session, row.vessel_id, context.now())
    return Outcome(RequestState.LAPSED, lapse_words(Lapse.RAN_OUT, {"until": moment_text(row.until_at, clock)}))


def put_outcome(session: Session, row: OfficeRequestRow, outcome: Outcome, now: datetime) -> None:
    """Store what came of a request; it stays so."""
    row.state, row.says, row.record, row.decided_at = outcome.state, outcome.says[:4000], outcome.record, now
    session.add(row)


def store_failure(context: Context, vessel_id: str, number: int, error: Exception) -> Outcome | None:
    """Store why a request was not done, unless it has an outcome meanwhile; none where it had."""
    outcome = outcome_of(error)
    with context.db.write(vessel_id) as session:
        row = office_request_row(session, vessel_id, number)
        if row is None or row.state not in OPEN_STATES:
            return None
        put_outcome(session, row, outcome, context.now())
        bump_revision(session, vessel_id)
    return outcome


def outcome_of(error: Exception) -> Outcome:
    """What came of a request that was not done."""
    if isinstance(error, Lapsed):
        return Outcome(RequestState.LAPSED, str(error))
    if isinstance(error, SchedulerError):
        return Outcome(RequestState.REFUSED, error.says)
    log.error("a request of the office could not be done", exc_info=error)
    return Outcome(RequestState.REFUSED, "It could not be done aboard; the log of the ship's server says why.")


def fetched_numbers(session: Session, vessel_id: str) -> tuple[int, ...]:
    """Numbers of requests that are stored aboard, the newest of them, rising: the office is told with the next batch."""
    return tuple(sorted(newest_office_requests(session, vessel_id, FETCHED_SAID)))


def apply_request(context: Context, session: Session, row: OfficeRequestRow) -> Outcome:
    """Do what is asked, in that person's name, inside a transaction of the vessel that is open.

    Raises:
        Lapsed: what the office looked at is so no more. SchedulerError: as the action refuses it. Nothing is to be stored then.
    """
    what = _kind(row)
    if EFFECTS[what] is Effect.NEVER:
        raise NotAllowed(never_words(what))
    actor = office_person(session, row)
    said = read_arguments(what, row.arguments)
    hand = Hand(actor, f"office:{row.number}", {"request": row.number, "fingerprint": row.fingerprint})
    inside = replace(context, db=context.db.within(session, row.vessel_id), waker=Waker())
    record = _ACTS[type(said)](RequestUnderWay(inside, session, row, hand), said)
    return Outcome(RequestState.DONE, record=record)


def _kind(row: OfficeRequestRow) -> RequestKind:
    try:
        return RequestKind(row.what)
    except ValueError:
        says = f"This ship's server does not know what that is: “{row.what[:80]}”. Update it, then ask again."
        raise Refused(says) from None


def office_person(session: Session, row: OfficeRequestRow) -> Actor:
    """Who asked, as an actor aboard: of the office, on this vessel alone.

    Raises:
        NotAllowed: not of the office, or withdrawn here.
    """
    if row.role not in {role.value for role in ASKERS}:
        raise NotAllowed(f"{row.by} is not of the office: it takes the role office to ask something of a ship.")
    known = person_row(session, INSTALLATION, row.by_id)
    if known is not None and known.withdrawn_at is not None and same_name(known.name, row.by):
        raise NotAllowed(f"{row.by} is withdrawn aboard. Another person of the office asks.")
    vouched = Person(row.vouched_id, row.vouched) if row.vouched_id else None
    proof = Authentication(Proof.PASSPHRASE, None if vouched else row.asked_at, vouched)
    return Actor(f"person {row.by_id}", row.by, Role.OFFICE, row.vessel_id, row.by_id, authentication=proof)


def _decide_postponement(asked: RequestUnderWay, said: DecidePostponement) -> int:
    if said.granted:
        _must_not_be_fewer(asked, said.postponement)
    body = postponing.decide_postponement(
        asked.context,
        asked.hand,
        asked.vessel_id,
        said.postponement,
        granted=said.granted,
        note=said.note,
        class_agreed=said.class_agreed,
    ).body
    return int(body["record"])


def _must_not_be_fewer(asked: RequestUnderWay, number: int) -> None:
    """Raises Lapsed when another pump is out than the office knew of: then a job put off weighs more."""
    postponed = postponement_row(asked.session, asked.vessel_id, number)
    if postponed is None:
        return
    now, known = asked.context.now(), asked.row.seen.get("out")
    out = pumps_out(asked.session, asked.vessel_id, postponed.plant_id, now)
    more = [one for one in out if not isinstance(known, list) or one not in known]
    if more:
        vessel, _version = document_of(asked.session, asked.vessel_id)
        plant = plant_of(vessel, postponed.plant_id)
        raise Lapsed(lapse_words(Lapse.PUMP_STOPPED, {"pumps": [pump_words(plant, now, one) for one in more]}))


def _close_nonconformity(asked: RequestUnderWay, said: CloseNonConformity) -> int:
    number = said.non_conformity
    there = nonconformity_row(asked.session, asked.vessel_id, number)
    answered = None if there is None or there.answered_at is None else seconds(there.answered_at)
    if answered is not None and answered != asked.row.seen.get("answered_s"):
        raise Lapsed(lapse_words(Lapse.ANSWER_CHANGED, {"number": number}))
    return int(nonconformities.close_nonconformity(asked.context, asked.hand, asked.vessel_id, number).body["record"])


def _confirm_hours(asked: RequestUnderWay, said: ConfirmHours) -> int:
    place = fleet.locate(asked.context, asked.hand.actor, said.counter, AssetKind.COUNTER)
    return int(confirm_event(asked.context, asked.hand, place, said.event, said.reason).body["record"])


def _set_part_date(asked: RequestUnderWay, said: SetPartDate) -> int:
    place, job_id = jobs.job_place(asked.context, asked.hand.actor, said.job)
    body = part_dates.set_date(
        asked.context, asked.hand, place, job_id, from_on=said.from_on, note=said.note, if_match=said.version
    ).body
    return int(body["record"])


def _approve_version(asked: RequestUnderWay, said: ApproveVersion) -> int:
    return int(changes.approve_version(asked.context, asked.hand, asked.vessel_id, said.version).body["record"])


def _change_document(asked: RequestUnderWay, said: ChangeDocument) -> int:
    vessel, version = document_of(asked.session, asked.vessel_id)
    stored, _new = changes.put_vessel(
        asked.context,
        asked.hand.actor,
        changed_document(vessel, version, said),
        if_match=said.version,
        reason=said.reason,
        class_agreed=said.class_agreed,
    )
    row = document_version(asked.session, asked.vessel_id, stored)
    return 0 if row is None else row.record


_ACTS: dict[type[Arguments], Callable[[RequestUnderWay, Any], int]] = {
    DecidePostponement: _decide_postponement,
    CloseNonConformity: _close_nonconformity,
    ConfirmHours: _confirm_hours,
    SetPartDate: _set_part_date,
    ApproveVersion: _approve_version,
    ChangeDocument: _change_document,
}
"""How each is done; each gives the number of its record."""

"""At the office: ask something of a ship, take it back while nobody has fetched it, hand it down, see how far it is."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from scheduler.actions.base.actor import Actor, maker_of
from scheduler.actions.base.context import Answer, Context, Hand, hand_action, seconds
from scheduler.actions.people.sides import Side, must_be_another, person_acting
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
from scheduler.actions.vessel.document import document_of
from scheduler.domain.base.enums import Role
from scheduler.domain.people.persons import Person, of_a_person
from scheduler.domain.shore.asking import ABOARD_STAGES, EFFECTS, Effect, RequestKind, RequestStage
from scheduler.errors import Clash, NotAllowed, NotFound, Refused
from scheduler.language import gettext as _
from scheduler.storage.capacity import outage_rows
from scheduler.storage.database import INSTALLATION, Session
from scheduler.storage.due import postponement_row
from scheduler.storage.hours.counters import counter_event_rows, find_counter
from scheduler.storage.paging import PageAsked
from scheduler.storage.people import person_row
from scheduler.storage.record import append_record
from scheduler.storage.shore.home import name_of_mirror
from scheduler.storage.shore.requests import (
    OfficeRequestRow,
    ShipRequestRow,
    next_ship_request,
    office_request_row,
    ship_request_row,
    ship_request_rows,
    ship_requests_open,
)
from scheduler.storage.types import floor_second
from scheduler.storage.vessel import asset_row, document_version
from scheduler.storage.work import nonconformity_row
from scheduler.wording.requests import never_words, stage_words

ASKERS = frozenset({Role.OFFICE})
"""Who asks something of a ship."""
USUAL, LONGEST = timedelta(days=30), timedelta(days=366)
"""How long a request may be done if nothing is said, and at most."""
MOST_AT_ONCE = 100
"""Requests handed down in one answer."""
WITHDRAWN, RAN_OUT = "withdrawn", "ran out"
"""Why a request is not handed over any more."""
_ENDED = {WITHDRAWN: RequestStage.WITHDRAWN, RAN_OUT: RequestStage.SENT}


@dataclass(frozen=True, slots=True)
class RequestSeen:
    """A request as the office knows it. aboard: as it stands on the ship, as far as heard; none: nothing was heard of it."""

    row: ShipRequestRow
    aboard: OfficeRequestRow | None
    stage: RequestStage
    ran_out: bool

    @property
    def may_withdraw(self) -> bool:
        """Whether nobody aboard can have it yet."""
        return self.stage is RequestStage.SENT and self.row.handed_at is None


def ask_of_ship(
    context: Context,
    hand: Hand,
    vessel_id: str,
    what: RequestKind,
    arguments: dict[str, Any],
    *,
    until_at: datetime | None = None,
) -> Answer:
    """Ask something of a ship whose own server keeps her records; it is done there, in this person's name.

    Args:
        until_at: it lapses where it is not done by then; none: in 30 days.

    Raises:
        NotAllowed: by nobody known, by who is not of the office, by who did the other half, or what is never asked of a ship.
        NotFound: no such vessel, or no such thing on her as far as heard. Refused: arguments that cannot be read, a document
            that makes no sense, an instant that is past or over a year ahead.
        Clash: it is decided, closed or approved already. Stale: another version of the document is known by now.
    """
    hand.actor.must_reach(vessel_id, f"vessel {vessel_id}")
    if EFFECTS[what] is Effect.NEVER:
        raise NotAllowed(never_words(what))
    by = person_acting(context, hand.actor, ASKERS, "ask something of a ship")
    said = read_arguments(what, arguments)
    now = floor_second(context.now())
    until = floor_second(until_at) if until_at is not None else now + USUAL
    if not now < until <= now + LONGEST:
        raise Refused(
            _("until: an instant still to come is expected, within a year."),
            faults=[("/until", _("this is past, or over a year ahead"))],
        )

    def act(session: Session) -> Answer:
        vessel, _version = document_of(session, vessel_id)
        if name_of_mirror(session, vessel_id) is None:
            raise Clash(_("{ship} keeps her records here: do it here, nobody has to be asked.", ship=vessel.name))
        seen = _look(session, context, hand.actor, vessel_id, said)
        maker = maker_of(hand.actor)
        vouched = maker if of_a_person(maker) and maker.id != by.id else Person("", "")
        handed = Handed(
            number=next_ship_request(session, vessel_id),
            what=what.value,
            arguments=said.model_dump(mode="json"),
            seen=seen,
            by_id=by.id,
            by=by.name,
            role=hand.actor.role.value,
            vouched_id=vouched.id,
            vouched=vouched.name,
            asked_s=seconds(now),
            until_s=seconds(until),
        )
        session.add(
            ShipRequestRow(
                vessel_id=vessel_id,
                number=handed.number,
                what=what.value,
                arguments=handed.arguments,
                seen=seen,
                fingerprint=handed.fingerprint,
                by_id=by.id,
                by=by.name,
                role=handed.role,
                vouched_id=vouched.id,
                vouched=vouched.name,
                asked_at=now,
                until_at=until,
            )
        )
        payload = {
            "vessel": vessel_id,
            "request": handed.number,
            "what": what.value,
            "fingerprint": handed.fingerprint,
            "until_at": until,
            "by": by.name,
        }
        record, _hash = append_record(session, INSTALLATION, "ship request asked", now, payload)
        body = {"vessel": vessel_id, "request": handed.number, "stage": RequestStage.SENT.value, "record": record}
        return Answer(201, body)

    return hand_action(context, hand, INSTALLATION, act)


def is_written_aboard(context: Context, vessel_id: str) -> bool:
    """Whether a ship's own server keeps her records, so that things are asked of her instead of done here."""
    with context.db.read() as session:
        return name_of_mirror(session, vessel_id) is not None


def _look(session: Session, context: Context, actor: Actor, vessel_id: str, said: Arguments) -> dict[str, Any]:
    """What the office sees of what it asks for, to be compared aboard; refuses what cannot come to anything as far as heard."""
    match said:
        case DecidePostponement():
            return _postponement_seen(session, context, actor, vessel_id, said)
        case CloseNonConformity():
            return _answer_seen(session, context, actor, vessel_id, said.non_conformity)
        case ConfirmHours():
            counter = find_counter(session, said.counter)
            if counter is None or counter.no is None or counter.vessel_id != vessel_id:
                raise NotFound(_("There is no counter {counter} on this ship.", counter=said.counter))
            if all(event.id != said.event for event in counter_event_rows(session, counter.no)):
                raise NotFound(_("That counter has no event {event}, as far as the ship was heard.", event=said.event))
        case SetPartDate():
            asset = asset_row(session, said.job.partition(":")[2].rpartition(":")[0])
            if asset is None or asset.vessel_id != vessel_id:
                raise NotFound(_("There is no job {job} on this ship.", job=said.job))
        case ApproveVersion():
            stored = document_version(session, vessel_id, said.version)
            if stored is None:
                raise NotFound(_("Version {number} of the ship's document was not heard of here.", number=said.version))
            side = Side(vessel_id, f"document {said.version} stored", Person(stored.by_id or "", stored.by))
            must_be_another(
                context, session, side, actor, _("{name} stored it: another person approves it.", name=stored.by)
            )
        case ChangeDocument():
            vessel, version = document_of(session, vessel_id)
            changed_document(vessel, version, said)
    return {}


def _postponement_seen(
    session: Session, context: Context, actor: Actor, vessel_id: str, said: DecidePostponement
) -> dict[str, Any]:
    row = postponement_row(session, vessel_id, said.postponement)
    if row is None:
        raise NotFound(_("There is no postponement {number} on this vessel.", number=said.postponement))
    if row.granted is not None:
        raise Clash(
            _("Postponement {number} is decided already, by {who}.", number=said.postponement, who=row.decided_by)
        )
    if not said.granted and not said.note.strip():
        raise Refused(_("Say why it is refused; note is empty."), faults=[("/arguments/note", _("this is empty"))])
    side = Side(vessel_id, f"postponement {row.number} asked", Person(row.asked_by_id, row.asked_by))
    says = _("{name} asked for it: another person decides it.", name=row.asked_by)
    must_be_another(context, session, side, actor, says)
    return {"out": pumps_out(session, vessel_id, row.plant_id, context.now())} if said.granted else {}


def pumps_out(session: Session, vessel_id: str, plant_id: str, at: datetime) -> list[str]:
    """Ids of a plant's pumps that are out at an instant, sorted."""
    rows = outage_rows(session, vessel_id, plant_id, since_at=at)
    return sorted({row.pump_id for row in rows if row.from_at <= at})


def _answer_seen(session: Session, context: Context, actor: Actor, vessel_id: str, number: int) -> dict[str, Any]:
    row = nonconformity_row(session, vessel_id, number)
    if row is None:
        raise NotFound(_("There is no non-conformity {number} on this vessel.", number=number))
    if row.closed_at is not None:
        raise Clash(
            _("Non-conformity {number} is closed already, by {closed_by}.", number=number, closed_by=row.closed_by)
        )
    if row.answered_at is None:
        raise Clash(
            _("Non-conformity {number} has no cause and corrective action yet; answer it first.", number=number)
        )
    side = Side(vessel_id, f"non-conformity {number} answered", Person(row.answered_by_id or "", row.answered_by or ""))
    must_be_another(
        context, session, side, actor, _("Who answered a non-conformity does not close it: another person does.")
    )
    return {"answered_s": seconds(row.answered_at)}


def withdraw_request(context: Context, hand: Hand, vessel_id: str, number: int) -> Answer:
    """Take a request back that was not handed over yet.

    Raises:
        NotAllowed: by nobody known, or by who is not of the office. NotFound: no such request.
        Clash: the ship has it, or may have it: an answer that was sent to her may have come through.
    """
    hand.actor.must_reach(vessel_id, f"vessel {vessel_id}")
    by = person_acting(context, hand.actor, ASKERS, "take back what was asked of a ship")

    def act(session: Session) -> Answer:
        row = ship_request_row(session, vessel_id, number)
        if row is None:
            raise NotFound(_("There is no request {number} for this ship.", number=number))
        if row.ended == WITHDRAWN:
            raise Clash(_("Request {number} was withdrawn already, by {who}.", number=number, who=row.ended_by))
        if row.ended:
            raise Clash(
                _("Request {number} is not handed over any more; there is nothing to take back.", number=number)
            )
        if row.handed_at is not None or office_request_row(session, vessel_id, number) is not None:
            raise Clash(
                _(
                    "Request {number} was handed to the ship's server, which may have done it by now. Wait for what came of it, then "
                    "ask for the opposite.",
                    number=number,
                )
            )
        row.ended, row.ended_by, row.ended_at = WITHDRAWN, by.name, context.now()
        session.add(row)
        payload = {"vessel": vessel_id, "request": number, "by": by.name}
        record, _hash = append_record(session, INSTALLATION, "ship request withdrawn", context.now(), payload)
        body = {"vessel": vessel_id, "request": number, "stage": RequestStage.WITHDRAWN.value, "record": record}
        return Answer(200, body)

    return hand_action(context, hand, INSTALLATION, act)


def not_fetched(session: Session, vessel_id: str, now: datetime) -> list[dict[str, Any]]:
    """What is to be handed to the ship's server, in order of number; each is noted as handed. In the transaction of the answer.

    What ran out before it was ever handed over is not; nor is what a person asked who was withdrawn since.
    """
    found = []
    for row in ship_requests_open(session, vessel_id, MOST_AT_ONCE):
        if office_request_row(session, vessel_id, row.number) is not None:
            row.fetched_at = now
        elif row.handed_at is None and (asker := person_row(session, INSTALLATION, row.by_id)) and asker.withdrawn_at:
            row.ended, row.ended_by, row.ended_at = RequestStage.ASKER_WITHDRAWN.value, row.by, now
        elif row.handed_at is not None or row.until_at >= floor_second(now):
            row.handed_at = row.handed_at or now
            found.append(_handed(row).model_dump(mode="json"))
        else:
            row.ended, row.ended_at = RAN_OUT, now
        session.add(row)
    return found


def _handed(row: ShipRequestRow) -> Handed:
    return Handed(
        number=row.number,
        what=row.what,
        arguments=row.arguments,
        seen=row.seen,
        by_id=row.by_id,
        by=row.by,
        role=row.role,
        vouched_id=row.vouched_id,
        vouched=row.vouched,
        asked_s=seconds(row.asked_at),
        until_s=seconds(row.until_at),
    )


def mark_fetched(session: Session, vessel_id: str, numbers: list[int] | tuple[int, ...], now: datetime) -> None:
    """Note that the ship's server says it has these; numbers that were never handed out are left alone."""
    for number in numbers:
        row = ship_request_row(session, vessel_id, number)
        if row is not None and row.handed_at is not None and row.fetched_at is None:
            row.fetched_at = now
            session.add(row)


def requests_asked(context: Context, vessel_id: str, page: PageAsked | None = None) -> list[RequestSeen]:
    """What was asked of a ship and how far each is, newest first."""
    now = context.now()
    with context.db.read() as session:
        rows = ship_request_rows(session, vessel_id, page)
        return [_seen(row, office_request_row(session, vessel_id, row.number), now) for row in reversed(rows)]


def _seen(row: ShipRequestRow, aboard: OfficeRequestRow | None, now: datetime) -> RequestSeen:
    ran_out = row.until_at < floor_second(now)
    if aboard is not None:
        same = aboard.fingerprint == row.fingerprint
        return RequestSeen(row, aboard, ABOARD_STAGES[aboard.state] if same else RequestStage.NUMBER_TAKEN, ran_out)
    stage = RequestStage.SENT if row.fetched_at is None else RequestStage.FETCHED
    if row.ended:
        stage = _ENDED.get(row.ended, RequestStage.ASKER_WITHDRAWN)
    return RequestSeen(row, None, stage, ran_out)


def request_words(seen: RequestSeen, now: datetime) -> str:
    """How far it is, in words."""
    aboard = seen.aboard
    return stage_words(
        seen.stage,
        asked_at=seen.row.asked_at,
        now=now,
        record=0 if aboard is None else aboard.record,
        says="" if aboard is None else aboard.says,
        by=seen.row.ended_by if aboard is None else aboard.answered_by,
        ran_out=seen.ran_out,
    )

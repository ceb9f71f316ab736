"""Aboard: what the office asks and the chief engineer accepts first, or declines with a reason."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from scheduler.actions.base.context import Answer, Context, Hand, hand_action
from scheduler.actions.people.sides import Side, must_be_another, person_acting
from scheduler.actions.shore.applying import apply_request, asked_act, outcome_of, put_outcome, ran_out
from scheduler.actions.shore.arguments import ChangeDocument, read_arguments
from scheduler.actions.shore.patching import changed_document
from scheduler.actions.vessel.document import as_plain, document_of
from scheduler.domain.base.enums import Role
from scheduler.domain.people.persons import Person
from scheduler.domain.shore.asking import RequestKind, RequestState
from scheduler.domain.vessel.differing import document_differences
from scheduler.errors import Busy, Clash, NotFound, Refused, SchedulerError, StorageFull
from scheduler.language import ENGLISH, in_language
from scheduler.language import gettext as _
from scheduler.storage.database import Session
from scheduler.storage.paging import PageAsked
from scheduler.storage.record import append_record
from scheduler.storage.shore.requests import OfficeRequestRow, office_request_row, office_request_rows
from scheduler.storage.types import floor_second

ACCEPTS = frozenset({Role.CHIEF})
"""Who accepts aboard what the office asks."""


class _NotApplied(Exception):
    """The action itself refused what was accepted."""

    def __init__(self, error: Exception) -> None:
        super().__init__(str(error))
        self.error = error


@dataclass(frozen=True, slots=True)
class RequestAboard:
    """A request as it stands aboard. differences: what of the document would change, as of `document_differences`; against: why it
    would be refused now, "" where it would not."""

    row: OfficeRequestRow
    differences: tuple[Mapping[str, Any], ...] = ()
    against: str = ""


def answer_request(
    context: Context, hand: Hand, vessel_id: str, number: int, *, accepted: bool, reason: str = ""
) -> Answer:
    """Accept what the office asks, and it is done in the asker's name; or decline it, with a reason.

    What is accepted and then refused by the action itself is refused for good: the answer's state says so, with the words.

    Raises:
        NotFound: no such request. NotAllowed: by nobody known, by who is not chief engineer, or by who asked.
        Clash: it does not wait any more. Refused: declined without a reason.
    """
    hand.actor.must_reach(vessel_id, f"vessel {vessel_id}")
    by = person_acting(context, hand.actor, ACCEPTS, "accept or decline what the office asks")
    if not accepted and not reason.strip():
        raise Refused(_("Say why it is declined; reason is empty."), faults=[("/reason", _("this is empty"))])

    def waiting(session: Session) -> OfficeRequestRow:
        row = office_request_row(session, vessel_id, number)
        if row is None:
            raise NotFound(_("There is no request {number} of the office on this vessel.", number=number))
        if row.state is not RequestState.WAITING:
            raise Clash(_("Request {number} of the office does not wait for an answer any more.", number=number))
        says = _("{name} asked for it: another person accepts it.", name=row.by)
        must_be_another(context, session, _side(row), hand.actor, says)
        return row

    def act(session: Session) -> Answer:
        row = waiting(session)
        now = floor_second(context.now())
        row.answered_by_id, row.answered_by = by.id, by.name
        payload: dict[str, Any] = {"request": number, "what": row.what, "asked_by": row.by, "by": by.name}
        if row.until_at < now:
            put_outcome(session, row, ran_out(session, context, row), now)
            return _answer(row)
        if not accepted:
            record, _hash = append_record(
                session, vessel_id, "office request declined", now, {**payload, "reason": reason.strip()}
            )
            row.state, row.says, row.record, row.decided_at = RequestState.DECLINED, reason.strip(), record, now
            session.add(row)
            return _answer(row)
        try:
            with in_language(ENGLISH):
                outcome = apply_request(context, session, row)
        except (Busy, StorageFull):
            raise
        except Exception as error:
            raise _NotApplied(error) from error
        append_record(session, vessel_id, "office request accepted", now, {**payload, "record": outcome.record})
        put_outcome(session, row, outcome, now)
        return _answer(row)

    try:
        return hand_action(context, hand, vessel_id, act)
    except _NotApplied as error:
        refusal = error.error

    def refuse(session: Session) -> Answer:
        row = waiting(session)
        row.answered_by_id, row.answered_by = by.id, by.name
        with in_language(ENGLISH):
            put_outcome(session, row, outcome_of(refusal), context.now())
        return _answer(row)

    return hand_action(context, hand, vessel_id, refuse)


def _side(row: OfficeRequestRow) -> Side:
    return Side(row.vessel_id, asked_act(row.number), Person(row.by_id, row.by))


def _answer(row: OfficeRequestRow) -> Answer:
    body = {"vessel": row.vessel_id, "request": row.number, "state": row.state.value, "says": row.says}
    return Answer(200, body | ({"record": row.record} if row.record else {}))


def requests_aboard(context: Context, vessel_id: str, page: PageAsked | None = None) -> list[RequestAboard]:
    """What the office asked, newest first, with what would change where it waits for the chief engineer."""
    with context.db.read() as session:
        rows = office_request_rows(session, vessel_id, page)
        return [_aboard(session, row) for row in reversed(rows)]


def _aboard(session: Session, row: OfficeRequestRow) -> RequestAboard:
    if row.state is not RequestState.WAITING:
        return RequestAboard(row)
    vessel, version = document_of(session, row.vessel_id)
    try:
        said = read_arguments(RequestKind(row.what), row.arguments)
        assert isinstance(said, ChangeDocument)
        changed = changed_document(vessel, version, said)
    except SchedulerError as error:
        return RequestAboard(row, against=error.says)
    return RequestAboard(row, tuple(document_differences(as_plain(vessel), as_plain(changed))))

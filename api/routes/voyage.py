"""The operating calendar by API: which kind of day each ship's day was, or will be."""

from fastapi import APIRouter, Response

from api.routes.answers.voyage import DaysChangedAnswer, DaysPreviewAnswer, VoyageDaysAnswer
from api.routes.bodies.voyage import (
    CalendarBody,
    CalendarChangeBody,
    CalendarFileBody,
    KindOfDayBody,
    ReasonBody,
    StretchBody,
)
from api.routes.shared.calls import HandCall, ReplacingCallDep
from api.routes.shared.problems import JsonRoute
from api.server.deps import AskingDep, ContextDep
from scheduler.actions.base.context import Answer
from scheduler.actions.voyage import days as voyage_days
from scheduler.domain.voyage.stretches import KindOfDay, Spell

router = APIRouter(route_class=JsonRoute)


@router.get("/api/v1/vessels/{vessel_id}/calendar", tags=["operating calendar"], summary="The operating calendar")
def get_calendar(vessel_id: str, context: ContextDep, who: AskingDep, response: Response) -> VoyageDaysAnswer:
    """Kinds of day with their weights, and the stretches by date. The version is the ETag; 0 before the first entry."""
    found = voyage_days.get_voyage_days(context, who.actor, vessel_id)
    response.headers["ETag"] = f'"{found.version}"'
    return VoyageDaysAnswer.of(vessel_id, found)


@router.put(
    "/api/v1/vessels/{vessel_id}/calendar",
    tags=["operating calendar"],
    summary="Store a whole operating calendar",
)
def put_calendar(vessel_id: str, call: ReplacingCallDep, body: CalendarBody) -> DaysChangedAnswer:
    """It holds these stretches alone afterwards. If-Match: the version that is replaced (0 for none yet)."""
    wish = voyage_days.Wish(
        stretches=_spells(body.stretches), kinds=_kinds(body.kinds), whole=True, reason=body.reason, what="stored anew"
    )
    return _stored(
        call,
        voyage_days.change_days(call.context, call.hand(body), vessel_id, wish, if_match=call.version()),
    )


@router.patch(
    "/api/v1/vessels/{vessel_id}/calendar",
    tags=["operating calendar"],
    summary="Enter, correct or clear days",
)
def patch_calendar(vessel_id: str, call: ReplacingCallDep, body: CalendarChangeBody) -> DaysChangedAnswer:
    """Days are cleared first, then the stretches are laid over what is there. If-Match: the version that is changed.

    The log stands over the plan; of two entries of the same origin the later one counts. Two stretches of one request
    that put different kinds on the same day are refused, both named.
    """
    wish = voyage_days.Wish(
        stretches=_spells(body.stretches),
        cleared=tuple((days.from_on, days.to_on) for days in body.clear),
        kinds=_kinds(body.kinds),
        reason=body.reason,
    )
    return _stored(
        call,
        voyage_days.change_days(call.context, call.hand(body), vessel_id, wish, if_match=call.version()),
    )


@router.post(
    "/api/v1/vessels/{vessel_id}/calendar/previews", tags=["operating calendar"], summary="What a CSV file would change"
)
def try_days(vessel_id: str, context: ContextDep, who: AskingDep, body: CalendarFileBody) -> DaysPreviewAnswer:
    """Every cell that cannot be taken is named: row, column, what was there, what was expected. Nothing is stored."""
    return DaysPreviewAnswer.of(voyage_days.try_days(context, who.actor, vessel_id, body.csv))


@router.post(
    "/api/v1/vessels/{vessel_id}/calendar/file",
    tags=["operating calendar"],
    summary="Take in a CSV file",
)
def take_file(vessel_id: str, call: ReplacingCallDep, body: CalendarFileBody) -> DaysChangedAnswer:
    """Columns from, to, kind, source, note. If-Match: the version that is changed. One bad cell, and nothing is taken in."""
    sheet = voyage_days.days_table(call.context, call.actor, vessel_id, body.csv)
    wish = voyage_days.Wish(stretches=sheet.spells, reason=body.reason, what=f"file of {len(sheet.rows)} rows taken in")
    return _stored(
        call,
        voyage_days.change_days(call.context, call.hand(body), vessel_id, wish, if_match=call.version()),
    )


@router.post(
    "/api/v1/vessels/{vessel_id}/calendar/undo",
    tags=["operating calendar"],
    summary="Take the last change back",
)
def undo_days(vessel_id: str, call: ReplacingCallDep, body: ReasonBody) -> DaysChangedAnswer:
    """As a new version; the history keeps both. If-Match: the version that is taken back."""
    answer = voyage_days.undo_days(
        call.context, call.hand(body), vessel_id, reason=body.reason, if_match=call.version()
    )
    return _stored(call, answer)


def _stored(call: HandCall, answer: Answer) -> DaysChangedAnswer:
    return call.answered(DaysChangedAnswer, answer, etag=True)


def _spells(given: list[StretchBody]) -> tuple[Spell, ...]:
    return tuple(Spell(**one.model_dump()) for one in given)


def _kinds(given: list[KindOfDayBody] | None) -> tuple[KindOfDay, ...] | None:
    return None if given is None else tuple(KindOfDay(**one.model_dump()) for one in given)

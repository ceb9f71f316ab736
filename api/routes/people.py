"""People, sign-in links, sessions and keys by API. Links and keys are shown once, so nothing of them is kept for a repetition."""

from datetime import timedelta
from operator import attrgetter
from typing import Annotated

from fastapi import APIRouter, Path, Query

from api.routes.answers import people as answers
from api.routes.bodies.people import KeyBody, OfVesselBody, PersonBody, PersonChangeBody, RotateBody
from api.routes.shared.calls import HandCall, HandCallDep, OnceCallDep
from api.routes.shared.paging import NamedPagesDep
from api.routes.shared.problems import JsonRoute
from api.routes.shared.shapes import z
from api.server.deps import AskingDep, ContextDep, reached_at
from scheduler.actions.base.context import Answer
from scheduler.actions.people import keys, managing, people
from scheduler.actions.work import leaving
from scheduler.domain.base.enums import Role

router = APIRouter(route_class=JsonRoute)

_ONCE = {"Cache-Control": "no-store"}
Prefix = Annotated[str, Path(max_length=64)]


@router.get("/api/v1/people", tags=["people"], summary="People, and where they are signed in")
def list_people(
    context: ContextDep,
    who: AskingDep,
    pages: NamedPagesDep,
    withdrawn: Annotated[bool, Query(description="those that were withdrawn too")] = False,
) -> answers.PeopleAnswer:
    """Of the own vessel and of the installation; all of them for the office. Sessions of oneself and of people one manages."""
    found = [one for one in managing.people_shown(context, who.actor) if withdrawn or one.withdrawn_at is None]
    shown = pages.shown_of_all(found, lambda one: f"{one.vessel_id or ''}/{one.id}")
    return answers.PeopleAnswer(people=[answers.PersonAnswerLine.of(one) for one in shown])


@router.post("/api/v1/people", tags=["people"], status_code=201, summary="Make a person known")
def add_person(call: HandCallDep, body: PersonBody) -> answers.PersonDoneAnswer:
    """By somebody who may do no less. To sign in the person needs a link."""
    people.add_person(
        call.context,
        call.hand(body),
        person_id=body.id,
        name=body.name,
        rank=body.rank,
        role=Role(body.role),
        vessel_id=body.vessel,
    )
    return call.answered(answers.PersonDoneAnswer, Answer(201, {"person": body.id}))


@router.put("/api/v1/people/{person_id}", tags=["people"], summary="Change name, rank and role")
def change_person(person_id: str, call: HandCallDep, body: PersonChangeBody) -> answers.PersonDoneAnswer:
    """Sessions and keys do from now on what the new role may. On record with what it was."""
    vessel = _vessel(call, person_id, body.vessel)
    hand, role = call.hand(body), Role(body.role)
    done = managing.change_person(
        call.context, hand, vessel, person_id, name=body.name, rank=body.rank, role=role, language=body.language
    )
    return call.answered(answers.PersonDoneAnswer, done)


@router.post("/api/v1/people/{person_id}/withdrawal", tags=["people"], summary="Withdraw a person")
def withdraw_person(person_id: str, call: HandCallDep, body: OfVesselBody) -> answers.PersonDoneAnswer:
    """Sessions, keys, links and calendar addresses are good no more; what was done stays on record under the name.
    Refused while locks of that person hang; what still waits in that name is told."""
    vessel = _vessel(call, person_id, body.vessel)
    return call.answered(
        answers.PersonDoneAnswer, leaving.withdraw_leaver(call.context, call.hand(body), vessel, person_id)
    )


@router.post("/api/v1/people/{person_id}/return", tags=["people"], summary="Take a withdrawn person back")
def return_person(person_id: str, call: HandCallDep, body: OfVesselBody) -> answers.PersonDoneAnswer:
    """Under the same id, with nothing to sign in by yet."""
    vessel = _vessel(call, person_id, body.vessel)
    return call.answered(answers.PersonDoneAnswer, managing.take_back(call.context, call.hand(body), vessel, person_id))


@router.post("/api/v1/people/{person_id}/link", tags=["people"], status_code=201, summary="A link to sign in by, once")
def make_link(person_id: str, call: OnceCallDep, body: OfVesselBody) -> answers.SignInLinkAnswer:
    """For oneself, or for people one manages; on record with its maker, who is never that person's second side by it."""
    base, vessel = reached_at(call.request, call.context), _vessel(call, person_id, body.vessel)
    token = people.make_link(call.context, person_id, vessel, call.actor, once=call.hand(body))
    call.response.headers.update(_ONCE)
    until_at = call.context.now() + timedelta(minutes=call.context.settings.link_minutes)
    return answers.SignInLinkAnswer(link=f"{base}/enter/{token}", expires_at=z(until_at))


@router.delete("/api/v1/sessions/{session_id}", tags=["people"], summary="End a session")
def end_session(session_id: Prefix, context: ContextDep, who: AskingDep) -> answers.SessionEndedAnswer:
    """One's own, or one of people one manages."""
    managing.end_session(context, who.actor, session_id)
    return answers.SessionEndedAnswer(session=session_id)


@router.get("/api/v1/keys", tags=["people"], summary="Keys, without their secrets")
def list_keys(context: ContextDep, who: AskingDep, pages: NamedPagesDep) -> answers.KeysAnswer:
    """One's own and those one manages: whose, last used, until when."""
    shown = pages.shown_of_all(keys.keys_shown(context, who.actor), attrgetter("prefix"))
    return answers.KeysAnswer(keys=[answers.KeyLine.of(one) for one in shown])


@router.post("/api/v1/keys", tags=["people"], status_code=201, summary="Make a key")
def make_key(call: OnceCallDep, body: KeyBody) -> answers.KeyOnceAnswer:
    """Shown this once. A person's key does what the person may, and no more; a counter's is nobody's."""
    made = people.add_key(
        call.context,
        call.actor,
        role=Role(body.role),
        label=body.label,
        vessel_id=body.vessel,
        person_id=body.person,
        days=body.days,
        once=call.hand(body),
    )
    call.response.headers.update(_ONCE)
    return answers.KeyOnceAnswer(key=made)


@router.post("/api/v1/keys/{prefix}/rotate", tags=["people"], status_code=201, summary="A key that takes over from one")
def rotate_key(prefix: Prefix, call: OnceCallDep, body: RotateBody) -> answers.KeyOnceAnswer:
    """Both are good for the days chosen, so that nothing falls silent while it is changed."""
    made = keys.rotate_key(call.context, call.actor, prefix, body.both_days, once=call.hand(body))
    call.response.headers.update(_ONCE)
    return answers.KeyOnceAnswer(key=made)


@router.delete("/api/v1/keys/{prefix}", tags=["people"], summary="Withdraw a key")
def withdraw_key(prefix: Prefix, context: ContextDep, who: AskingDep) -> answers.KeyWithdrawnAnswer:
    """At once."""
    people.revoke_key(context, who.actor, prefix)
    return answers.KeyWithdrawnAnswer(key=prefix, state="withdrawn")


def _vessel(call: HandCall, person_id: str, vessel: str | None) -> str:
    return managing.vessel_of_person(call.context, call.actor, person_id, vessel)

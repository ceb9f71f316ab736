"""A person's own page: choose a passphrase and a PIN, give the passphrase anew, end own sessions."""

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response

from api.pages.people.own_page import OwnView, own_page
from api.pages.shared import frame
from api.pages.shared.answers import page_answer
from api.pages.shared.forms import FormRefusal, FormState, PageForm, form_of
from api.pages.shared.frame import Frame
from api.server.deps import COOKIE, Asking, AskingDep, ContextDep
from api.server.try_limiter import address_of, limiter_of
from scheduler.actions.base.context import Context
from scheduler.actions.people import managing, signing_in
from scheduler.errors import NotAllowed, NotSignedIn, Refused, SchedulerError
from scheduler.language import gettext as _

router = APIRouter(include_in_schema=False)


@router.get("/you")
def own(request: Request, context: ContextDep, who: AskingDep) -> Response:
    """Who one is here."""
    return _answer(request, context, who)


@router.post("/you")
async def change_own(request: Request, context: ContextDep, who: AskingDep) -> Response:
    """One of the page's forms. What was typed is a secret, so it is not drawn again."""
    form = await form_of(request, who)

    def again(refused: FormRefusal) -> Response:
        state = FormState(faults=refused.faults, says="" if refused.faults else refused.error.says)
        # A wrong passphrase is wrong typing of somebody who is signed in, so no 401, which would say that nobody is.
        status = 403 if isinstance(refused.error, NotSignedIn) else refused.status
        return _answer(request, context, who, status, refused=form["do"], state=state)

    return await form.act(lambda: _do(request, context, who, form), again)


def _do(request: Request, context: Context, who: Asking, form: PageForm) -> str:
    secret, what = request.cookies.get(COOKIE, ""), form["do"]
    if what == "end":
        managing.end_session(context, who.actor, form["who"])
    elif what == "pin":
        signing_in.set_pin(context, who.actor, form["pin"])
    elif what == "language":
        managing.choose_language(context, who.actor, form["language"])
    elif what in ("passphrase", "anew"):
        new = form["passphrase"]
        if what == "passphrase" and " ".join(new.split()) != " ".join(form["again"].split()):
            raise Refused(
                _("The two are not the same. Type it twice."),
                faults=[("/again", _("It is not the same as the one above."))],
            )
        with limiter_of(request).passphrase_try(address_of(request), who.actor.name):
            if what == "anew":
                signing_in.prove_anew(context, secret, who.actor, new)
            else:
                signing_in.set_passphrase(context, secret, who.actor, new, form["old"])
    else:
        raise Refused(_("This form is not known here. Load the page again."))
    return "/you"


def _answer(request: Request, context: Context, who: Asking, status: int = 200, **members: Any) -> Response:
    by = who.actor.authentication
    person = next((one for one in managing.people_shown(context, who.actor) if one.own), None)
    if by is None or person is None:
        raise NotAllowed(_("This page is a person's own: sign in at a browser to see it."))
    view = OwnView(
        frame=_frame(context, who),
        name=person.name,
        rank=person.rank,
        by=by.proof,
        maker="" if by.maker is None else by.maker.name.partition(",")[0],
        proved_at=by.proved_at,
        passphrase_at=person.passphrase_at,
        has_pin=person.has_pin,
        aboard=bool(person.vessel_id),
        language=person.language,
        session_id=who.session_id,
        sessions=person.sessions,
        **members,
    )
    return page_answer(request, who, own_page, view, status)


def _frame(context: Context, who: Asking) -> Frame:
    if who.actor.vessel_id is not None:
        try:
            return frame.vessel_frame(context, who, who.actor.vessel_id, "/you", _("Your own page"), "you")
        except SchedulerError:  # no document yet
            pass
    return Frame(
        title=_("Your own page · Leadline"),
        here="/you",
        links=frame.fleet_links("/you", who),
        now_at=context.now(),
        **frame.who_frame(who),
    )

"""The doors of a job done already: its sheet on paper looked at, then taken in."""

import secrets
from dataclasses import replace

from fastapi import APIRouter, Request
from fastapi.responses import Response

from api.pages.shared.answers import page_answer
from api.pages.shared.forms import FormRefusal, FormState, form_of
from api.pages.shared.frame import frame_of
from api.pages.shared.layout import render
from api.pages.work.box import measure_fields
from api.pages.work.forms import checked_step
from api.pages.work.paper import PaperView, looked_at, paper_rows, read_paper, unseen_words
from api.pages.work.route import close_again_checked, job_href
from api.routes.shared.fields import Fields
from api.server.deps import Asking, AskingDep, ContextDep
from scheduler.actions.base.context import Context
from scheduler.actions.people.managing import people_shown
from scheduler.actions.plant_state.load import plant_state
from scheduler.actions.plant_state.open_jobs import kind_of
from scheduler.actions.work import acts, jobs, steps
from scheduler.actions.work.counter_at_close import counter_at_subject
from scheduler.domain.work.paper import paper_objections
from scheduler.errors import NotFound
from scheduler.language import gettext as _
from scheduler.wording.due import job_name
from scheduler.wording.figures import capital, field_moment
from scheduler.wording.hours import hours_field
from scheduler.wording.work import against_words

router = APIRouter(include_in_schema=False)


@router.get("/vessels/{vessel_id}/jobs/{key}/paper")
def paper(vessel_id: str, key: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """The form for a job done already."""
    return page_answer(request, who, _page, _view(context, who, vessel_id, key))


def _page(view: PaperView, *, light: str, csrf: str) -> str:
    return render("paper.html", view.frame, light, csrf, view=view, unseen=unseen_words(view))


def _view(context: Context, who: Asking, vessel_id: str, key: str, state: FormState | None = None) -> PaperView:
    place, job_id = jobs.job_place(context, who.actor, key)
    now = plant_state(context, vessel_id, place.plant_id)
    job = now.job(key)
    if place.vessel_id != vessel_id or job is None:
        raise NotFound(_("There is no open job {key} here. The plant page shows those that are open.", key=key))
    kind = now.plant.kind(job.job_id.kind)
    here = job_href(vessel_id, key)
    shown = replace(now.as_shown(job), position=now.position_name(job.position) if job.position else None)
    state = state or FormState(values={"done_on": field_moment(now.at, now.offset_minutes)[:10]})
    return PaperView(
        frame=frame_of(now, who, f"{here}/paper", _("{job}, from paper", job=capital(job.kind_name)), ""),
        name=job_name(shown),
        key=key,
        job_href=here,
        rows=paper_rows(now.plant, kind),
        measures=measure_fields([one for one in kind.measures if not (one.nameplate and kind.takes_pump_out)]),
        findings=tuple(one.seen for one in now.plant.findings),
        idempotency_key=secrets.token_hex(16),
        version=len(steps.stored_steps(context, place, job_id)),
        steps=sum(not one.act for one in kind.sheet),
        hours=hours_field(counter_at_subject(now, kind, job_id), job, now.hours.get((kind.subject, job_id.subject))),
        aboard=tuple(
            one.name
            for one in people_shown(context, who.actor)
            if one.vessel_id == vessel_id and one.withdrawn_at is None
        ),
        **state.members,
    )


@router.post("/vessels/{vessel_id}/jobs/{key}/paper")
async def take_paper(vessel_id: str, key: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """The sheet looked at, and the page that says what it lacks; or taken in: its notes and the close, as facts."""
    form = await form_of(request, who)

    def act() -> str | Response:
        job = jobs.job_asked(context, who.actor, key)
        plant, kind, offset = job.plant, kind_of(job.plant, job.job_id), job.clock
        fields = Fields(form.values, offset)
        read = read_paper(fields, plant, kind, offset)
        close = close_again_checked(context, job, replace(read.close, on_paper=read.acts))
        if form["do"] != "take":
            view = _view(context, who, vessel_id, key, FormState(values=form.values))
            against = [against_words(one, offset) for one in paper_objections(read.acts, plant.h2s_limit_ppm)]
            return page_answer(request, who, _page, looked_at(view, read, plant, kind, against))
        notes = [checked_step(one, fact=True).step for one in read.notes]
        acts.take_acts(context, form.hand(), job.place, job.job_id, notes, close, fact=True, if_match=form.version)
        return f"{job_href(vessel_id, key)}#h-photos"

    def again(refused: FormRefusal) -> Response:
        view = _view(context, who, vessel_id, key, refused.state)
        return page_answer(request, who, _page, view, refused.status)

    return await form.act(act, again)

"""May I open, on the plant page: the form as typed, the answer, and the day as it would be with the pump open."""

from collections.abc import Mapping
from datetime import timedelta

from markupsafe import Markup

from api.pages import drawing
from api.pages.plant.view import MayOpenView, PlantView
from api.routes.shared.fields import Fields
from scheduler.actions.base.context import Context
from scheduler.actions.capacity.opening import opening_answer
from scheduler.actions.plant_state.load import PlantState
from scheduler.domain.capacity.may_open import OpeningCode
from scheduler.domain.vessel.job_kinds import BREAKDOWN
from scheduler.errors import Refused
from scheduler.language import gettext as _
from scheduler.parsing import Unreadable, moment_near
from scheduler.wording.capacity import OpeningWords
from scheduler.wording.due import job_rank
from scheduler.wording.figures import ship, short_date
from scheduler.wording.names import job_words

DRAWN = timedelta(hours=24)


def may_open_view(now: PlantState, context: Context, asked: Mapping[str, str], hours_href: str) -> MayOpenView:
    """The answer to what was asked (pump, at, vacuum), or why it was refused; nothing was asked: the empty form."""
    values = {name: asked[name].strip()[:40] for name in ("open", "when", "vacuum") if name in asked}
    pump = asked.get("open", "")
    if not pump:
        return MayOpenView(values=values)
    fields = Fields(values, now.offset_minutes)
    vacuum = fields.figure("vacuum")
    try:
        at = moment_near(values.get("when", ""), now.at, now.offset_minutes)
    except Unreadable as error:
        at = None
        fields.fault("when", error)
    try:
        fields.check()
        if not any(one.id == pump for one in now.plant.pumps):
            raise Refused(_("open: this pump is none of this plant's."))
        answer = opening_answer(context, now, pump, at=at, vacuum_kpa=vacuum)
    except Refused as error:
        named = {"/at": "when", "/vacuum_kpa": "vacuum", "/when": "when", "/vacuum": "vacuum"}
        faults = {named[pointer]: says for pointer, says in error.faults if pointer in named}
        return MayOpenView(values=values, faults=faults, says="" if faults else error.says)
    words = OpeningWords(answer, now.plant, now.at, now.offset_minutes)
    key = answer.work.job_key if answer.work is not None else _to_begin(now, pump)
    again = answer.next_hold
    return MayOpenView(
        values=values,
        answer=answer,
        words=words,
        begin=job_words(now.plant, now.at, key) if key else "",
        begin_href=f"/vessels/{now.vessel.id}/jobs/{key}" if key else "",
        hours_href=hours_href,
        again="" if again is None else f"{ship(again.from_at, now.offset_minutes):%Y-%m-%d %H:%M}",
    )


def _to_begin(now: PlantState, pump: str) -> str:
    """Key of the job for which the pump would be opened: an open repair, else the most pressing one."""
    own = [job for job in (*now.breakdowns, *now.shown) if job.pump == pump and job.takes_pump_out and job.first]
    found = min(own, key=lambda job: (job.job_id.kind != BREAKDOWN.code, job_rank(job)), default=None)
    return "" if found is None else found.job_id.key


def opening_chart(view: PlantView) -> Markup:
    """The 24 hours from then on with the pump open; empty where capacity is not the matter."""
    answer = view.may.answer
    if answer is None or view.may.words is None or answer.code is OpeningCode.WORKED_ON:
        return Markup("")
    name = view.may.words.name(answer.pump)
    return drawing.open_hours_chart(
        answer.stretches,
        from_at=answer.at,
        to_at=answer.at + DRAWN,
        now_at=view.now_at,
        utc_offset_minutes=view.frame.utc_offset_minutes,
        width=358,
        depth=70,
        name=f"The day from {short_date(answer.at, view.frame.utc_offset_minutes)} on with {name} open.",
    )

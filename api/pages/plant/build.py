"""From the plant state to the view of the plant page."""

from collections.abc import Mapping
from datetime import datetime, timedelta
from types import MappingProxyType

from api.pages.plan.plan_line import newer_plan, plan_line
from api.pages.plant.opening import may_open_view
from api.pages.plant.view import PlantView, PumpRow
from api.pages.shared.frame import frame_of, may
from api.pages.shared.job_line import JobLine, job_line
from api.pages.shared.margin import margin_stretches, positions_of
from api.pages.shared.waits import wait_lines
from api.server.deps import Asking
from scheduler.actions.base.context import Context
from scheduler.actions.hours.shown import CounterShows, counters_show
from scheduler.actions.plan import planning
from scheduler.actions.plant_state.load import PlantState
from scheduler.actions.work.waiting import matters_of
from scheduler.domain.base.enums import Subject
from scheduler.domain.capacity.returning import planned_back
from scheduler.language import gettext as _

LOOK_AHEAD_DAYS = 28
DAYS_DRAWN = ("7", "28")
_NOTHING: Mapping[str, str] = MappingProxyType({})


def plant_view(
    now: PlantState,
    context: Context,
    who: Asking,
    here: str,
    current: str,
    *,
    days: str = "",
    asked: Mapping[str, str] = _NOTHING,
) -> PlantView:
    """The plant page's view. days: as asked for, 7 or 28. asked: what the form of May I open was sent with."""
    problem, plan = planning.as_now(now, context)
    slot_margins = planning.slot_margins(problem, plan)
    ends_at = now.at + timedelta(days=LOOK_AHEAD_DAYS)
    proposed = newer_plan(now)
    hours_href = f"/vessels/{now.vessel.id}/hours" if may(who, "POST", "/vessels/{vessel_id}/hours") else ""
    with context.db.read() as session:
        shows = counters_show(session, now.vessel.id, [one.id for one in now.counters if one.primary])
    return PlantView(
        frame=frame_of(now, who, here, _("Plant") if current != "figures" else _("Figures"), current),
        plant=now.plant.name,
        now_at=now.at,
        horizon_at=ends_at,
        pumps=tuple(_pump_lines(now, shows, may(who, "POST", "/pumps/{pump_id}/out"), who.heard_at)),
        jobs=_lines(now, slot_margins),
        waits=wait_lines(matters_of(context, now, who.actor, slot_margins), now.at, now.offset_minutes),
        margins=margin_stretches(problem, plan.slots, positions_of(now), ends_at),
        plan=plan_line(now, now.taken, taken=True, take=""),
        proposed=plan_line(now, proposed, taken=False, take=""),
        plan_href=f"/plants/{now.plant.id}/plan",
        plant_href=f"/plants/{now.plant.id}",
        figures_href=f"/plants/{now.plant.id}/figures",
        moved_href=f"/plants/{now.plant.id}/moved",
        feed_href="/feeds",
        minimum_href=f"/plants/{now.plant.id}/minimum",
        hours_href=hours_href,
        days=int(days) if days in DAYS_DRAWN else LOOK_AHEAD_DAYS,
        asked_days=days in DAYS_DRAWN,
        may_begin=may(who, "POST", "/vessels/{vessel_id}/jobs/{key}/acts"),
        may=may_open_view(now, context, asked, hours_href),
    )


def job_lines(now: PlantState, context: Context) -> tuple[JobLine, ...]:
    """The open jobs of the plant, breakdowns among them, each with its slot."""
    return _lines(now, planning.margins_now(now, context))


def _lines(now: PlantState, margins: Mapping[str, float]) -> tuple[JobLine, ...]:
    return tuple(job_line(now, job, margins) for job in (*now.jobs, *now.breakdowns) if job.first)


def _pump_lines(
    now: PlantState, shows: Mapping[str, CounterShows], may_put_out: bool, heard_at: datetime | None
) -> list[PumpRow]:
    repairs = {job.job_id.subject: job.job_id.key for job in now.breakdowns}
    lines = []
    for position in now.plant.positions:
        pump_id = now.plant.pump_in(position.id, now.at)
        pump = next((p for p in now.plant.pumps if p.id == pump_id), None)
        silent = [c for c in now.counters if c.position == position.id and c.silent_when(heard_at) and c.primary]
        hours = now.hours.get((Subject.PUMP, pump_id or ""))
        projected = now.projected.get((Subject.PUMP, pump_id or ""))
        out = next((o for o in now.outages if o.pump == pump_id and o.from_at <= now.at), None)
        lines.append(
            PumpRow(
                position=position.name,
                pump_id=pump_id or "",
                serial=pump.serial if pump else "",
                href=f"/pumps/{pump.id}/record" if pump else "",
                hours=hours if hours and hours.as_of else None,
                projected_hours=None if projected is None else projected / 3600,
                outage=out,
                silent_since_at=silent[0].newest_at if silent else None,
                shows=shows.get(position.id),
                stopped_href=f"/pumps/{pump_id}/stopped" if pump and may_put_out else "",
                repair_href=f"/vessels/{now.vessel.id}/jobs/{repairs[pump_id]}" if pump_id in repairs else "",
                back=None if out is None else planned_back(out, now.at),
            )
        )
    return lines

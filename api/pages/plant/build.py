"""From the plant state to the view of the plant page."""

from datetime import timedelta

from api.pages.plan.plan_line import newer_plan, plan_line
from api.pages.plant.view import PlantView, PumpRow
from api.pages.shared.frame import frame_of, may
from api.pages.shared.job_line import JobLine, job_line
from api.pages.shared.margin import margin_stretches, positions_of
from api.server.deps import Asking
from scheduler.actions.base.context import Context
from scheduler.actions.plan import planning
from scheduler.actions.plant_state.load import PlantState
from scheduler.domain.base.enums import Subject
from scheduler.domain.capacity.returning import planned_back

LOOK_AHEAD_DAYS = 28


def plant_view(now: PlantState, context: Context, who: Asking, here: str, current: str) -> PlantView:
    """The plant page's view."""
    problem, plan = planning.as_now(now, context)
    margins = margin_stretches(problem, plan.slots, positions_of(now))
    ends_at = now.at + timedelta(days=LOOK_AHEAD_DAYS)
    proposed = newer_plan(now)
    return PlantView(
        frame=frame_of(now, who, here, "Plant" if current != "figures" else "Figures", current),
        plant=now.plant.name,
        now_at=now.at,
        horizon_at=ends_at,
        pumps=tuple(_pump_lines(now, may(who, "POST", "/pumps/{pump_id}/out"))),
        jobs=job_lines(now, context),
        margins=tuple(run for run in margins if run.from_at < ends_at),
        plan=plan_line(now, now.taken, taken=True, take=""),
        proposed=plan_line(now, proposed, taken=False, take=""),
        plan_href=f"/plants/{now.plant.id}/plan",
        plant_href=f"/plants/{now.plant.id}",
        figures_href=f"/plants/{now.plant.id}/figures",
        moved_href=f"/plants/{now.plant.id}/moved",
        feed_href="/feeds",
        minimum_href=f"/plants/{now.plant.id}/minimum",
        hours_href=f"/vessels/{now.vessel.id}/hours" if may(who, "POST", "/vessels/{vessel_id}/hours") else "",
    )


def job_lines(now: PlantState, context: Context) -> tuple[JobLine, ...]:
    """The open jobs of the plant, breakdowns among them, each with its slot."""
    margins = planning.margins_now(now, context)
    return tuple(job_line(now, job, margins) for job in (*now.jobs, *now.breakdowns) if job.first)


def _pump_lines(now: PlantState, may_put_out: bool) -> list[PumpRow]:
    repairs = {job.job_id.subject: job.job_id.key for job in now.breakdowns}
    lines = []
    for position in now.plant.positions:
        pump_id = now.plant.pump_in(position.id, now.at)
        pump = next((p for p in now.plant.pumps if p.id == pump_id), None)
        silent = [c for c in now.counters if c.position == position.id and c.silent and c.primary]
        hours = now.hours.get((Subject.PUMP, pump_id or ""))
        projected = now.projected.get((Subject.PUMP, pump_id or ""))
        out = next((o for o in now.outages if o.pump == pump_id and o.from_at <= now.at), None)
        down = out is not None and out.to_at is None and out.counts_for.m3_per_h <= 0
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
                out_action=f"/pumps/{pump_id}/out" if pump and may_put_out and pump_id not in repairs else "",
                repair_href=f"/vessels/{now.vessel.id}/jobs/{repairs[pump_id]}" if pump_id in repairs else "",
                return_action=f"/pumps/{pump_id}/return" if down and may_put_out else "",
                in_use_action=f"/pumps/{pump_id}/runs" if down and may_put_out and pump_id in repairs else "",
                back=None if out is None else planned_back(out, now.at),
            )
        )
    return lines

"""Invented plants for the page tests: values only, no store. Every figure is made up."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from typing import Any

from api.pages.error.page import ErrorView
from api.pages.people.page import SignInView
from api.pages.plan.plan_line import PlanLine
from api.pages.plant.view import PlantView, PumpRow
from api.pages.shared.frame import Frame, Link
from api.pages.shared.job_line import JobLine
from api.pages.shared.margin import MarginStretch, margin_stretches
from api.pages.vessel.view import EmptyView, FleetView, VesselLine
from api.pages.work.view import Closed, CloseForm, JobView
from scheduler.actions.hours.shown import CounterShows
from scheduler.domain.base.enums import JobState, Subject, Test, Trigger
from scheduler.domain.capacity.minimum import Outage, Swept
from scheduler.domain.due.forecast import Forecast
from scheduler.domain.due.jobs import DueJob
from scheduler.domain.due.last_done import JobId
from scheduler.domain.feed.summary import Trouble
from scheduler.domain.hours.running import RunningHours
from scheduler.domain.vessel.job_kinds import JobKind
from scheduler.planning.problem.values import Derated, MinimumStretch, Problem, PumpCapacity, Slot
from scheduler.wording.hours import HoursField

NOW = datetime(2026, 11, 25, 9, 20, tzinfo=UTC)
START = datetime(2026, 11, 25, 9, tzinfo=UTC)
STEPS = 28 * 24
OFFSET = 60
HOUR = 3600

KNIFE = JobKind(
    code="knife",
    name="Knife inspection",
    subject=Subject.PART,
    part_kind="knife set",
    takes_hours=3,
    interval_running_hours=1500,
    window_running_hours=150,
    tolerance_running_hours=150,
)
SEAL = JobKind(
    code="seal",
    name="Mechanical seal inspection",
    subject=Subject.PART,
    part_kind="mechanical seal",
    takes_hours=5,
    interval_running_hours=3000,
    window_running_hours=200,
    tolerance_running_hours=150,
)
OVERHAUL = JobKind(
    code="overhaul",
    name="Overhaul",
    subject=Subject.PUMP,
    takes_hours=24,
    hands=2,
    interval_running_hours=8000,
    window_running_hours=400,
    tolerance_running_hours=200,
    critical=True,
)
SWITCH = JobKind(
    code="level",
    name="Receiver level-switch test",
    subject=Subject.PLANT,
    takes_hours=1,
    interval_months=1,
    window_days=7,
    tolerance_days=7,
    takes_pump_out=False,
)
_SINCE = {
    "knife": (1190, 1512, 1410, 560, 320, 1488, 1330, 15),
    "seal": (2950, 1580, 850, 2300, 2470, 1200, 2060, 2890),
    "overhaul": (3460, 4550, 5800, 1560, 7890, 2500, 7000, 640),
}
_PLAN = (
    # position, kind, first step, steps
    (2, "knife", 4, 3),
    (3, "knife", 23, 3),
    (1, "seal", 124, 5),
    (1, "knife", 124, 5),
    (5, "overhaul", 215, 33),
    (4, "seal", 500, 5),
    (6, "knife", 30, 3),
    (8, "seal", 52, 5),
    (7, "knife", 150, 3),
)


def frame(title: str = "Plant · Demo Plover", here: str = "/plants/demo", **more: object) -> Frame:
    """A signed-in frame with the usual links."""
    links = (
        Link(label="Plant", href="/plants/demo", current=here == "/plants/demo"),
        Link(label="Figures", href="/plants/demo/figures", current=here.endswith("figures")),
        Link(label="Fleet", href="/", current=here == "/"),
    )
    usual = Frame(
        title=title,
        here=here,
        vessel="Demo Plover",
        subtitle="Vacuum plant",
        links=links,
        now_at=NOW,
        utc_offset_minutes=OFFSET,
        person="Second engineer",
        sign_out_action="/sign-out",
    )
    return replace(usual, **more)  # type: ignore[arg-type]


def job(
    kind: JobKind, position: int | None, since_hours: int, *, state: JobState | None = None, rate: float = 14.2
) -> JobLine:
    """A due job by running hours (or calendar when the kind has none), in the state its hours put it in."""
    subject = f"{kind.code}-{position or 'plant'}"
    job_id = JobId(kind=kind.code, subject=subject, sequence=4)
    pump, place = (f"pump-{position}", f"VP{position}") if position else (None, None)
    interval = kind.interval_running_hours
    if interval is None:
        due_at = NOW + timedelta(days=since_hours)
        due = DueJob(
            job_id=job_id,
            kind_name=kind.name,
            pump=pump,
            position=place,
            takes_hours=kind.takes_hours,
            hands=kind.hands,
            takes_pump_out=kind.takes_pump_out,
            due_at=due_at,
            window_opens_at=due_at - timedelta(days=kind.window_days),
            limit_at=due_at + timedelta(days=kind.tolerance_days),
            trigger=Trigger.CALENDAR,
            state=state or JobState.AHEAD,
            first=True,
            calendar_due_at=due_at,
        )
        return JobLine(due=due, kind=kind, href=f"/plants/demo/jobs/{job_id.key}")
    left = interval - since_hours

    def when(hours: float) -> datetime:
        return NOW + timedelta(hours=hours / rate * 24)

    tolerance = kind.tolerance_running_hours
    found = JobState.AHEAD
    if left <= kind.window_running_hours:
        found = JobState.WINDOW_OPEN
    if left < 0:
        found = JobState.PAST_DUE if left + tolerance >= 0 else JobState.PAST_LIMIT
    found = state or found
    due = DueJob(
        job_id=job_id,
        kind_name=kind.name,
        pump=pump,
        position=place,
        takes_hours=kind.takes_hours,
        hands=kind.hands,
        takes_pump_out=kind.takes_pump_out,
        due_at=when(left),
        window_opens_at=when(left - kind.window_running_hours),
        limit_at=when(left + tolerance),
        trigger=Trigger.RUNNING_HOURS,
        state=found,
        first=True,
        due_running_seconds=(12000 + interval) * HOUR,
        limit_running_seconds=(12000 + interval + tolerance) * HOUR,
        running_seconds_left=left * HOUR,
        since_seconds=since_hours * HOUR,
        interval_seconds=interval * HOUR,
        forecast=Forecast(
            early_at=when(left * 0.8),
            likely_at=when(left),
            late_at=when(left * 1.3),
            h_per_day=rate,
            look_back_days=30,
            runs=8,
        ),
        hours_as_of=NOW - timedelta(minutes=6),
        postponed_to=when(left + 300) if found is JobState.POSTPONED else None,
    )
    return JobLine(due=due, kind=kind, href=f"/plants/demo/jobs/{job_id.key}")


def plan_line(**more: object) -> PlanLine:
    """A lawful, proven plan that was taken."""
    usual = PlanLine(
        digest="3f9a1c77e2b04d5588ab90cc12ef34567890abcdef1234567890abcdef123456",
        made_at=NOW - timedelta(hours=7),
        starts_at=START,
        proven=True,
        taken_at=NOW - timedelta(hours=2),
    )
    return replace(usual, **more)  # type: ignore[arg-type]


def problem(pumps: int, *, down: int | None = None, busy: bool = False, full: float = 1.0) -> Problem:
    """Pumps of 23 m3/h over 28 days, a full-ship stretch, with `busy` higher minima in morning and evening."""
    usual, more = max(1, pumps - 2) * 23000 + 3000, int(max(1, pumps - 1) * 23000 * full)
    edges: list[tuple[int, int, int, str]] = []
    if busy:
        for day in range(28):
            for a, b, high in ((0, 6, False), (6, 10, True), (10, 17, False), (17, 22, True), (22, 24, False)):
                edges.append(
                    (day * 24 + a, day * 24 + b, usual + 12000 if high else usual, "busy hours" if high else "minimum")
                )
    else:
        edges = [(0, 408, usual, "minimum"), (408, 456, more, "full ship"), (456, STEPS, usual, "minimum")]
    return Problem(
        starts_at=START,
        steps=STEPS,
        pumps=tuple(
            PumpCapacity(
                pump=f"pump-{i}",
                litres_per_h=23000,
                derated=(Derated(from_step=0, to_step=260, litres_per_h=0),) if i == down else (),
            )
            for i in range(1, pumps + 1)
        ),
        minimum=tuple(MinimumStretch(from_step=a, to_step=b, litres_per_h=m, label=t) for a, b, m, t in edges),
        crew=(),
        start_steps=(),
        jobs=(),
    )


def plant(
    pumps: int = 5,
    *,
    planned: bool = True,
    down: int | None = None,
    busy: bool = False,
    states: Sequence[tuple[int, str, int, JobState | None]] = (),
    crowded: bool = False,
) -> PlantView:
    """A plant of 1 to 8 pumps. states: (position, kind, running hours since, state) to set apart from the usual."""
    kinds = {k.code: k for k in (KNIFE, SEAL, OVERHAUL)}
    asked = {(p, k): (h, s) for p, k, h, s in states}
    jobs = []
    for position in range(1, pumps + 1):
        for code, since in _SINCE.items():
            hours, state = asked.get((position, code), (since[position - 1], None))
            jobs.append(job(kinds[code], position, hours, state=state))
    jobs.append(job(SWITCH, None, 14))
    slots = [s for s in _PLAN if s[0] <= pumps] if planned else []
    if crowded:
        slots = [(1 + i % pumps, ("knife", "seal")[i // pumps % 2], 4 + 9 * i, 3) for i in range(min(12, pumps * 2))]
    made = problem(pumps, down=down, busy=busy)
    held = [
        Slot(key=f"{k}-{p}", pump=f"pump-{p}", start=a, end=a + n, least_margin_litres_per_h=0) for p, k, a, n in slots
    ]
    margins = margin_stretches(made, held, {f"pump-{i}": f"VP{i}" for i in range(1, pumps + 1)})
    placed = []
    for line in jobs:
        spot = next((s for s in slots if line.due.position == f"VP{s[0]}" and line.due.job_id.kind == s[1]), None)
        if spot is not None:
            a, b = START + timedelta(hours=spot[2]), START + timedelta(hours=spot[2] + spot[3])
            least = min(r.margin_m3_per_h for r in margins if r.from_at < b and r.to_at > a)
            line = replace(line, slot_from_at=a, slot_to_at=b, margin_m3_per_h=least)
        placed.append(line)
    horizon = NOW + timedelta(days=28)
    soon = [j for j in placed if j.slot_from_at or j.due.due_at < horizon or j.due.position]
    outage = Outage(
        pump=f"pump-{down}",
        from_at=NOW - timedelta(days=1),
        to_at=START + timedelta(hours=260),
        counts_for=Swept(0),
        reason="bearing noise",
    )
    return PlantView(
        frame=frame(),
        plant="Vacuum plant",
        now_at=NOW,
        horizon_at=START + timedelta(hours=STEPS),
        pumps=tuple(
            PumpRow(
                position=f"VP{i}",
                serial=f"D-10{i}",
                hours=RunningHours(seconds=int((9000 + 731.3 * i) * HOUR), as_of=NOW - timedelta(minutes=6 + i)),
                shows=CounterShows(9_000_000 + 731_300 * i, HOUR, NOW - timedelta(minutes=6 + i)),
                outage=outage if i == down else None,
            )
            for i in range(1, pumps + 1)
        ),
        jobs=tuple(soon),
        margins=margins,
        plan=plan_line() if planned else None,
        plant_href="/plants/demo",
        figures_href="/plants/demo/figures",
        feed_href="/vessels/demo/plan",
    )


def calm(pumps: int = 4) -> PlantView:
    """Nothing due, nothing silent."""
    asked = [
        (i, k, h, None)
        for i in range(1, pumps + 1)
        for k, h in (("knife", 300 + 90 * i), ("seal", 900), ("overhaul", 2000))
    ]
    view = plant(pumps, states=asked)
    bare = tuple(replace(j, slot_from_at=None, slot_to_at=None, margin_m3_per_h=None) for j in view.jobs)
    return replace(view, jobs=bare, margins=margin_stretches(problem(pumps), (), {}))


def all_states(pumps: int = 6) -> PlantView:
    """Every state at once, a silent counter, a newer plan, a job without a place."""
    states = (
        (1, "knife", 1690, None),
        (2, "knife", 1512, None),
        (3, "knife", 1900, None),
        (4, "seal", 3060, JobState.POSTPONED),
        (5, "overhaul", 8090, None),
    )
    view = plant(pumps, states=states)
    pumps_now = list(view.pumps)
    pumps_now[3] = replace(
        pumps_now[3],
        silent_since_at=NOW - timedelta(hours=40),
        hours=RunningHours(seconds=9760 * HOUR, as_of=NOW - timedelta(hours=40), estimated=True),
    )
    lacking = "VP5 overhaul has no slot before its limit: the minimum would be broken by 4 m³/h while VP1 is open."
    return replace(
        view,
        pumps=tuple(pumps_now),
        plan=plan_line(proven=False, shortfalls=(lacking,), unplaced=1),
        proposed=plan_line(
            digest="aa" * 32,
            taken_at=None,
            changes=(
                "VP3 knife inspection: Thu 26 Nov 13:00 instead of 09:00.",
                "VP1 mechanical seal inspection: new, Mon 30 Nov 13:00.",
            ),
            take_action="/plants/demo/plan",
            idempotency_key="0b0e",
        ),
    )


def deficit(pumps: int = 3) -> PlantView:
    """A pump down, so that the plant is below its minimum for ten days, and a job open on top."""
    view = plant(pumps, down=3)
    deep = tuple(
        replace(r, available_m3_per_h=15.0, down_positions=("VP1", "VP3"))
        if START + timedelta(days=6) <= r.from_at < START + timedelta(days=9)
        else r
        for r in _cut(view.margins, START + timedelta(days=6), START + timedelta(days=9))
    )
    lacking = "Capacity is 11 m³/h short from Tue 1 Dec to Fri 4 Dec with VP1 and VP3 down; no slot causes it."
    return replace(view, margins=deep, plan=plan_line(shortfalls=(lacking,)))


def _cut(margins: Sequence[MarginStretch], *at: datetime) -> Iterator[MarginStretch]:
    for run in margins:
        edges = [run.from_at, *(a for a in at if run.from_at < a < run.to_at), run.to_at]
        for start, end in pairwise(edges):
            yield replace(run, from_at=start, to_at=end)


def nothing() -> PlantView:
    """A plant that was set up a minute ago: no readings, jobs, plan or capacity."""
    bare = plant(3)
    return replace(
        bare,
        pumps=tuple(replace(p, hours=None, shows=None) for p in bare.pumps),
        jobs=(),
        margins=(),
        plan=None,
        hours_href="/plants/demo/hours",
    )


def long_names() -> PlantView:
    """Long position names, long kinds, hours of five digits."""
    view = plant(8, crowded=True)
    kind = replace(OVERHAUL, name="Pump overhaul with bearings and couplings", interval_running_hours=16000)
    jobs = tuple(
        replace(
            j,
            kind=kind if j.kind.code == "overhaul" else j.kind,
            due=replace(
                j.due,
                kind_name=kind.name if j.kind.code == "overhaul" else j.due.kind_name,
                since_seconds=12345 * HOUR if j.kind.code == "overhaul" else j.due.since_seconds,
                interval_seconds=16000 * HOUR if j.kind.code == "overhaul" else j.due.interval_seconds,
                position=f"{j.due.position}-AFT" if j.due.position else None,
            ),
        )
        for j in view.jobs
    )
    pumps = tuple(replace(p, position=f"{p.position}-AFT", serial="D-2019-000123-B") for p in view.pumps)
    named = frame(vessel="Demo Avocet of the Outer Northern Islands", person="M. Łącki")
    return replace(view, frame=named, jobs=jobs, pumps=pumps)


def job_view(**more: object) -> JobView:
    """VP2's knife inspection with an untouched form."""
    line = next(j for j in plant().jobs if j.due.position == "VP2" and j.kind.code == "knife")
    usual = JobView(
        frame=frame("VP2 knife inspection · Demo Plover", "/plants/demo/jobs/knife:knife-2:4"),
        now_at=NOW,
        job=line,
        serial="D-102",
        running_hours=RunningHours(seconds=int(13905.2 * HOUR), as_of=NOW - timedelta(minutes=6)),
        plant_href="/plants/demo",
        form=CloseForm(
            action="/plants/demo/jobs/knife:knife-2:4/close",
            version='"7"',
            idempotency_key="6f1c",
            hours=HoursField("Counter showed when done", "Counter shows 13 905. Empty: as counted."),
            values={"done_at": "2026-11-25T14:00", "running_hours": "13905.2", "done_by": "Second engineer"},
        ),
    )
    return replace(usual, **more)  # type: ignore[arg-type]


def job_refused() -> JobView:
    """The same form sent back with what was typed and two faults."""
    typed = {
        "done_at": "2026-11-25T14:00",
        "running_hours": "1395.2",
        "done_by": "Second engineer",
        "test": "none",
        "findings": "Edges <dull>",
    }
    faults = {
        "running_hours": "Lower than the reading then, 13905.2 h. If the counter was replaced, record that first.",
        "checked_by": "Someone else than the one who did it has to check it.",
    }
    view = job_view()
    assert view.form is not None
    return replace(view, form=replace(view.form, values=typed, faults=faults, idempotency_key="70aa"))


def job_closed() -> JobView:
    """Closed, with its record."""
    view = job_view(form=None)
    done = replace(view.job, due=replace(view.job.due, state=JobState.DONE))
    closed = Closed(
        done_at=NOW,
        done_by="Second engineer",
        checked_by="Chief engineer",
        running_hours=13905.2,
        test=Test.NONE,
        findings="Edges within limits; one wipe removed.",
        permit_no="CW-118",
        record_no=458,
        stamp="9c1f" * 16,
    )
    return replace(view, job=done, closed=closed)


def fleet() -> FleetView:
    """Six vessels."""

    def line(name: str, trouble: Trouble, **more: Any) -> VesselLine:
        return VesselLine(name=name, imo="0123450", href=f"/plants/{name[-2:]}", trouble=trouble, **more)

    lines = (
        line("Demo Dunlin", Trouble.SHORT, below_at=NOW + timedelta(days=9)),
        line("Demo Whimbrel", Trouble.PAST_LIMIT, past_limit=2, silent_counters=1),
        line("Demo Plover", Trouble.PAST_DUE, past_due=1, window_open=2),
        line("Demo Knot", Trouble.NO_PLAN, no_plan=True),
        line("Demo Ruff", Trouble.WINDOW_OPEN, window_open=1, postponed=1),
        line("Demo Avocet", Trouble.NONE, next_due_at=NOW + timedelta(days=20)),
    )
    return FleetView(
        frame=frame("Fleet", "/", vessel="Fleet office", subtitle=""), now_at=NOW, vessels=lines, total=6, troubled=4
    )


OUTSIDE = Frame(title="Sign in", here="/sign-in")


def sign_in(**more: object) -> SignInView:
    """The page of somebody who is not signed in."""
    return replace(SignInView(frame=OUTSIDE), **more)  # type: ignore[arg-type]


def error() -> ErrorView:
    """A refused move, with the ways on."""
    return ErrorView(
        frame=frame("Not possible"),
        status=409,
        says="VP4 cannot be opened on Thu 3 Dec 08:00: capacity would go 4 m³/h below the minimum. Choose another time.",
        faults=("Thu 3 Dec 13:00 holds with 6 m3/h.",),
        ways=(
            Link(label="Back to the plant", href="/plants/demo"),
            Link(label="See the figures", href="/plants/demo/figures"),
        ),
        request_id="9f00aa11bb22cc33",
    )


def empty() -> EmptyView:
    """First run."""
    return EmptyView(frame=frame("First run", "/", vessel="", subtitle=""))

"""An invented plan page in each of its states, on the invented plants."""

from dataclasses import replace
from datetime import timedelta

from api.pages.drawing.field import Plumb
from api.pages.drawing.windows import WindowLine, WindowMark
from api.pages.plan.view import (
    BlockerLine,
    Help,
    LateLine,
    MoveForm,
    MoveLine,
    MoveView,
    PlanView,
    ReasonsLine,
    SlotLine,
    StartChoice,
    Tried,
)
from api.pages.plant.view import PlantView
from api.pages.shared.job_line import JobLine
from scheduler.planning.judge.cover import Cover
from tests.unit.api import invented
from tests.unit.api.invented import NOW, START, frame

HERE = "/plants/demo/plan"


def _slot(job: JobLine, **more: object) -> SlotLine:
    usual = SlotLine(key=job.due.job_id.key, job=job, move_href=f"{HERE}?job=x#move")
    return replace(usual, **more)  # type: ignore[arg-type]


def _lines(view: PlantView, slots: tuple[SlotLine, ...]) -> tuple[WindowLine, ...]:
    return tuple(
        WindowLine(
            name=pump.position,
            says="no job planned in these days",
            marks=tuple(
                WindowMark(
                    label=one.job.kind.code,
                    opens_at=one.job.due.window_opens_at,
                    due_at=one.job.due.due_at,
                    limit_at=one.job.due.limit_at,
                    from_at=one.job.slot_from_at,
                    to_at=one.job.slot_to_at,
                    late=one.late_days > 0,
                    by_hand=one.by_hand,
                )
                for one in slots
                if one.job.due.position == pump.position
            ),
        )
        for pump in view.pumps
    )


def plan(plant: PlantView | None = None, **more: object) -> PlanView:
    """The usual plan of a plant: taken, proved, nothing wrong."""
    view = plant or invented.plant(5)
    slots = tuple(
        _slot(job)
        for job in sorted(view.jobs, key=lambda j: (j.slot_from_at or NOW, j.due.job_id.key))
        if job.slot_from_at
    )
    usual = PlanView(
        frame=frame("Plan · Demo Plover", HERE),
        plant=view.plant,
        plant_href="/plants/demo",
        here=HERE,
        now_at=NOW,
        ends_at=view.horizon_at,
        days=28,
        plan=view.plan,
        read_at=NOW - timedelta(minutes=6),
        margins=view.margins,
        slots=slots,
        later=9,
        lines=_lines(view, slots),
        jobs=len(view.jobs),
        whys=(
            ReasonsLine(
                names="VP1 knife inspection and VP2 knife inspection", reasons=("Each stands on its best day.",)
            ),
        ),
        cover=Cover(hours=672, at_n=672, at_n_less_1=600, uncovered_by_plan=((4, 7),), uncovered_anyway=((408, 456),)),
        cover_words=("In 3 h it is the plan's own work that leaves no cover.",),
        cautions=("Isolate, lock and tag.",),
        again_action=f"{HERE}/again",
        frozen_days=7,
    )
    return replace(usual, **more)  # type: ignore[arg-type]


def no_plan() -> PlanView:
    """Jobs wait and nothing was planned yet."""
    bare = invented.plant(5, planned=False)
    return plan(bare, plan=None, slots=(), later=0, whys=(), cover=None, cover_words=(), cautions=())


def no_jobs() -> PlanView:
    """A plan was made and nothing falls due."""
    return plan(slots=(), later=0, jobs=0, whys=(), lines=_lines(invented.plant(5), ()))


def empty_plant() -> PlanView:
    """A plant without pumps, readings or plan."""
    bare = invented.nothing()
    return plan(bare, plan=None, slots=(), lines=(), margins=(), jobs=0, later=0, whys=(), cover=None, read_at=None)


def pinned() -> PlanView:
    """Every slot is held, one of them by hand."""
    view = plan(later=0)
    slots = tuple(replace(one, fixed=True, by_hand=i == 0) for i, one in enumerate(view.slots))
    return replace(view, slots=slots, lines=_lines(invented.plant(5), slots))


def below() -> PlanView:
    """A breakdown takes the plant below its minimum; no slot is in it."""
    lacking = invented.deficit()
    margins = tuple(replace(run, open_positions=()) for run in lacking.margins)
    says = "Capacity is below the minimum for 72 h whatever is planned (VP1 and VP3 down or not proved)."
    return plan(lacking, margins=margins, facts=(says,))


def below_by_plan() -> PlanView:
    """The plan was made before a pump broke down, and opens another one meanwhile."""
    lacking = invented.deficit()
    margins = tuple(
        replace(run, open_positions=("VP2",)) if run.margin_m3_per_h < 0 and i == 0 else run
        for i, run in enumerate(lacking.margins)
    )
    return plan(lacking, margins=(replace(margins[0], available_m3_per_h=0.0, open_positions=("VP2",)), *margins[1:]))


def troubled() -> PlanView:
    """One job ends past its limit, one has no place; help was asked for the second."""
    view = plan()
    late = view.slots[-1]
    without = next(job for job in invented.plant(5).jobs if not job.slot_from_at)
    bar = BlockerLine(
        from_at=NOW,
        to_at=NOW + timedelta(days=2),
        starts=4,
        reason="the minimum would be broken while VP1 is open for its knife inspection",
        lacking_m3_per_h=1.2,
    )
    troubles = (
        LateLine(key=late.key, job=late.job, name="VP4 seal inspection", days=3, reasons=("It ends 3 days past.",)),
        LateLine(
            key="o:5:1", job=without, name="VP5 overhaul", days=None, reasons=("It has no place: x.",), bars=(bar,) * 14
        ),
    )
    slots = (*view.slots[:-1], replace(late, late_days=3))
    return replace(view, slots=slots, troubles=troubles, lines=_lines(invented.plant(5), slots))


def helped() -> PlanView:
    """What would help is listed with its price."""
    help_ = Help(key="o:5:1", name="VP5 overhaul", reliefs=(("1 more hand on Tue 1 Dec", "up to 8 man-hours"),))
    return replace(troubled(), help=help_)


def newer() -> PlanView:
    """A newer plan waits."""
    return plan(newer=invented.all_states().proposed)


def moving(*, holds: bool = False) -> PlanView:
    """VP3's knife inspection tried at a time at which VP2 is open: 1.2 below the minimum; or at one that holds."""
    view = plan()
    start, end = START + timedelta(hours=4), START + timedelta(hours=7)
    margins = tuple(
        replace(run, available_m3_per_h=run.minimum_m3_per_h - 1.2, open_positions=("VP2", "VP3"))
        if run.from_at == start and not holds
        else run
        for run in view.margins
    )
    says = "VP2 is open at that time. With both open 70.8 m³/h remains, 1.2 below the minimum."
    choices = (
        StartChoice(start_at=START + timedelta(hours=9), end_at=START + timedelta(hours=12), margin_m3_per_h=22.4),
        StartChoice(
            start_at=START + timedelta(hours=23), end_at=START + timedelta(hours=26), margin_m3_per_h=22.4, planned=True
        ),
        *([StartChoice(start_at=start, end_at=end, margin_m3_per_h=21.0, asked=True)] if holds else []),
    )
    tried = Tried(
        start_at=start,
        end_at=end,
        holds=holds,
        margin_m3_per_h=21.0 if holds else -1.2,
        against=() if holds else (says,),
        cautions=("It begins before its window opens.",) if holds else (),
        margins=margins,
        plumbs=(
            Plumb(from_at=start, to_at=end, label="VP2 knife"),
            Plumb(from_at=start, to_at=end, label="VP3 knife"),
        ),
        from_at=START,
        to_at=START + timedelta(days=3),
        choices=choices,
    )
    move = MoveView(
        key="knife:knife-3:4",
        name="VP3 knife inspection",
        along=("VP3 seal inspection",),
        planned=(START + timedelta(hours=23), START + timedelta(hours=26)),
        by="Second engineer",
        form=MoveForm(values={"day": "2026-11-25", "at": "14:00"}),
        hours=("13:00", "14:00", "15:00"),
        tried=tried,
        action=f"{HERE}/moves",
        version=3,
        idempotency_key="5a",
    )
    return replace(view, move=move)


def moved() -> PlanView:
    """A move that can be undone, and one that was."""
    line = MoveLine(
        number=2,
        name="VP3 knife inspection",
        href="/vessels/demo/jobs/knife:knife-3:4",
        from_at=START + timedelta(hours=23),
        to_at=START + timedelta(hours=9),
        by="Second engineer",
        at=NOW - timedelta(hours=1),
        reason="the bell is on the other deck",
        record=41,
        undo_action=f"{HERE}/moves/2/undo",
    )
    old = replace(line, number=1, from_at=None, undo_action="", undone_by="Chief engineer", undone_at=NOW)
    return plan(moves=(line, old), once="0c")


VIEWS = {
    "usual": plan(),
    "no plan": no_plan(),
    "no jobs": no_jobs(),
    "empty plant": empty_plant(),
    "pinned": pinned(),
    "below": below(),
    "below by plan": below_by_plan(),
    "troubled": troubled(),
    "helped": helped(),
    "newer": newer(),
    "moving": moving(),
    "moving, holds": moving(holds=True),
    "moved": moved(),
    "long names": plan(invented.long_names()),
}

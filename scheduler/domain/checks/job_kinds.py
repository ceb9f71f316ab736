"""Whether the job kinds of a plant, and when they were last done, make sense.

Limits without a source are judgement: wide enough for any plant of this kind, narrow enough to catch a slip of the pen.
"""

from collections.abc import Iterator

from scheduler.domain.base.enums import Subject
from scheduler.domain.checks.crew import MOST_STOP_MINUTES
from scheduler.domain.checks.faults import (
    CODE,
    MOST_RUNNING_HOURS,
    Fault,
    figure_faults,
    id_faults,
    instant_faults,
    name_faults,
    text_faults,
    twice_faults,
)
from scheduler.domain.checks.job_sheets import sheet_faults
from scheduler.domain.vessel.document import Plant
from scheduler.domain.vessel.job_kinds import BREAKDOWN, JobKind, LastDone
from scheduler.language import gettext as _

LONGEST_NOTE = 2000
MOST_MONTHS, MOST_DAYS = 240, 7300
LONGEST_JOB_HOURS = 72
SHORTEST_MONTH_DAYS = 28


def kind_faults(at: str, kind: JobKind, plant: Plant) -> Iterator[Fault]:
    """Of one job kind of the plant."""
    named = _('Job kind "{code}"', code=kind.code)
    yield from id_faults(f"{at}/code", _("Job kind code"), kind.code, CODE)
    yield from text_faults(f"{at}/name", _("The name of job kind {code}", code=f"{kind.code!r}"), kind.name)
    yield from text_faults(
        f"{at}/note",
        _("The note of job kind {code}", code=f"{kind.code!r}"),
        kind.note,
        LONGEST_NOTE,
        may_be_empty=True,
    )
    if kind.code == BREAKDOWN.code:
        yield (
            f"{at}/code",
            _("{named}: this code is reserved for repairs without a plan. Give this kind another.", named=named),
        )
    if not 1 <= kind.takes_hours <= LONGEST_JOB_HOURS:
        yield (
            f"{at}/takes_hours",
            _(
                "{named} takes {takes_hours} h: 1 to {longest_job_hours} whole hours was expected. "
                "Give the working time with isolation and test; split a longer job.",
                named=named,
                takes_hours=kind.takes_hours,
                longest_job_hours=LONGEST_JOB_HOURS,
            ),
        )
    most = plant.crew.most_hands
    if not 1 <= kind.hands <= most:
        yield (
            f"{at}/hands",
            _(
                "{named} needs {hands} hands and the crew has {most}: 1 to {most} was expected. "
                "Lower the hands of the job or raise those of the crew.",
                named=named,
                hands=kind.hands,
                most=most,
            ),
        )
    yield from _occasions(at, kind, named)
    yield from _intervals(at, kind, named)
    yield from _part_kind(at, kind, plant, named)
    yield from sheet_faults(at, kind)
    codes = {k.code: k for k in plant.job_kinds}
    for j, code in enumerate(kind.renews):
        here = f"{at}/renews/{j}"
        if code == kind.code:
            yield (
                here,
                _(
                    "{named} renews itself: only others were expected. Take it out; a done job renews its own.",
                    named=named,
                ),
            )
        elif code not in codes:
            yield from name_faults(here, named, code, set(codes), "job kind")
        elif codes[code].subject is Subject.PLANT and kind.subject is not Subject.PLANT:
            yield (
                here,
                _(
                    '{named} renews "{code}", a job of the whole plant: a job of a {subject} cannot do '
                    "that. Take it out, or give the two one subject.",
                    named=named,
                    code=code,
                    subject=kind.subject,
                ),
            )


def _occasions(at: str, kind: JobKind, named: str) -> Iterator[Fault]:
    if not 0 <= kind.setup_hours < max(1, kind.takes_hours):
        yield (
            f"{at}/setup_hours",
            _(
                "{named} has {setup_hours} h of set-up in {takes_hours} h of work: 0 or more, and "
                "less than the work, was expected. Give the hours that isolate, open and shut the "
                "pump.",
                named=named,
                setup_hours=kind.setup_hours,
                takes_hours=kind.takes_hours,
            ),
        )
    for i, need in enumerate(kind.needs):
        yield from text_faults(f"{at}/needs/{i}", _("What {named} needs", named=named), need)
    if not 0 <= kind.stop_minutes < MOST_STOP_MINUTES:
        yield (
            f"{at}/stop_minutes",
            _(
                "{named} stops pumps for {stop_minutes} min: 0 to {most_stop_minutes} was expected. "
                "A longer stop takes the pump out: give takes_pump_out and hours of work.",
                named=named,
                stop_minutes=kind.stop_minutes,
                most_stop_minutes=MOST_STOP_MINUTES - 1,
            ),
        )
    if kind.stop_minutes > 0 and kind.takes_pump_out:
        yield (
            f"{at}/takes_pump_out",
            _(
                "{named} stops pumps for {stop_minutes} min and takes its pump out as well: one of "
                "the two was expected. A short test has takes_pump_out false.",
                named=named,
                stop_minutes=kind.stop_minutes,
            ),
        )


def _intervals(at: str, kind: JobKind, named: str) -> Iterator[Fault]:
    hours, months, days = kind.interval_running_hours, kind.interval_months, kind.interval_days
    for member, figure, most in (
        ("interval_running_hours", hours, MOST_RUNNING_HOURS),
        ("interval_months", months, MOST_MONTHS),
        ("interval_days", days, MOST_DAYS),
    ):
        if figure is not None and not 1 <= figure <= most:
            yield (
                f"{at}/{member}",
                _(
                    "{named} has {member} {figure}: 1 to {most} was expected. Give the interval, or leave it out.",
                    named=named,
                    member=member,
                    figure=figure,
                    most=most,
                ),
            )
    if hours is None and months is None and days is None:
        yield (
            at,
            _(
                "{named} has no interval: running hours, months or days was expected. Give at least "
                "one of interval_running_hours, interval_months, interval_days.",
                named=named,
            ),
        )
    if hours is not None and kind.subject is Subject.PLANT:
        yield (
            f"{at}/interval_running_hours",
            _(
                "{named} counts running hours of the plant, which has none: a calendar interval was "
                "expected. Give months or days, or another subject.",
                named=named,
            ),
        )
    for member, figure, per, words in (
        ("interval_running_hours", hours, 1, "running hours"),
        ("interval_months", months, SHORTEST_MONTH_DAYS * 24, "months"),
        ("interval_days", days, 24, "days"),
    ):
        if figure is not None and 1 <= figure * per <= kind.takes_hours:
            yield (
                f"{at}/{member}",
                _(
                    "{named} falls due every {figure} {words} and takes {takes_hours} h: an interval "
                    "longer than the job was expected, or it is due again before it is done. Lengthen "
                    "the interval or shorten the job.",
                    named=named,
                    figure=figure,
                    words=words,
                    takes_hours=kind.takes_hours,
                ),
            )
    calendar_days = min(
        (n for n in (days, None if months is None else months * SHORTEST_MONTH_DAYS) if n is not None), default=None
    )
    for member, figure, interval, needs in (
        ("window_running_hours", kind.window_running_hours, hours, True),
        ("window_days", kind.window_days, calendar_days, False),
        ("tolerance_running_hours", kind.tolerance_running_hours, hours, True),
        ("tolerance_days", kind.tolerance_days, calendar_days, True),
    ):
        if figure < 0:
            yield (
                f"{at}/{member}",
                _(
                    "{named} has {member} {figure}: 0 or more was expected. Give 0 for none.",
                    named=named,
                    member=member,
                    figure=figure,
                ),
            )
        elif figure and interval is None and needs:
            yield (
                f"{at}/{member}",
                _(
                    "{named} has {member} {figure} without such an interval, so it would never count. "
                    "Take it out or give the interval.",
                    named=named,
                    member=member,
                    figure=figure,
                ),
            )
        elif interval is not None and interval > 0 and figure > interval:
            yield (
                f"{at}/{member}",
                _(
                    "{named} has {member} {figure}, longer than its interval of {interval}: at most that "
                    "was expected. Shorten it or lengthen the interval.",
                    named=named,
                    member=member,
                    figure=figure,
                    interval=interval,
                ),
            )
        elif figure > MOST_RUNNING_HOURS or (member.endswith("_days") and figure > MOST_DAYS):
            yield (
                f"{at}/{member}",
                _(
                    "{named} has {member} {figure}, beyond any interval. Give a shorter one.",
                    named=named,
                    member=member,
                    figure=figure,
                ),
            )


def _part_kind(at: str, kind: JobKind, plant: Plant, named: str) -> Iterator[Fault]:
    if kind.subject is not Subject.PART:
        return
    if kind.part_kind is None:
        yield (
            f"{at}/part_kind",
            _(
                "{named} is due on parts and does not say on which: a part kind was expected. Give part_kind.",
                named=named,
            ),
        )
    elif kind.part_kind not in {part.kind for part in plant.parts}:
        yield (
            f"{at}/part_kind",
            _(
                '{named} is due on parts of kind "{part_kind}" and plant "{id}" has none, so it '
                "would never fall due. Add such parts or correct part_kind.",
                named=named,
                part_kind=kind.part_kind,
                id=plant.id,
            ),
        )


def renewal_faults(at: str, plant: Plant) -> Iterator[Fault]:
    """One for each job kind that is renewed, by way of others, by a kind it renews."""
    renews = {kind.code: set(kind.renews) - {kind.code} for kind in plant.job_kinds}
    for i, kind in enumerate(plant.job_kinds):
        seen: set[str] = set()
        ahead = set(renews[kind.code])
        while ahead - seen:
            seen |= ahead
            ahead = {code for reached in ahead for code in renews.get(reached, ())}
        if kind.code in seen:
            yield (
                f"{at}/job_kinds/{i}/renews",
                _(
                    'Job kind "{code}" is renewed by a job that it renews itself: one direction was '
                    "expected. Let only the larger job renew the smaller.",
                    code=kind.code,
                ),
            )


def last_done_faults(at: str, plant: Plant) -> Iterator[Fault]:
    """Of what was done before this tool kept count."""
    kinds = {kind.code: kind for kind in plant.job_kinds}
    of = {
        Subject.PLANT: {plant.id},
        Subject.POSITION: {p.id for p in plant.positions},
        Subject.PUMP: {p.id for p in plant.pumps},
        Subject.PART: {p.id for p in plant.parts},
    }
    for i, last in enumerate(plant.last_done):
        here = f"{at}/last_done/{i}"
        kind = kinds.get(last.kind)
        if kind is None:
            yield from name_faults(f"{here}/kind", "last_done", last.kind, set(kinds), "job kind")
        else:
            known = of[kind.subject]
            if kind.subject is Subject.PART:
                known = {p.id for p in plant.parts if p.kind == kind.part_kind}
            yield from name_faults(f"{here}/subject", f'last_done of "{last.kind}"', last.subject, known, kind.subject)
        yield from instant_faults(f"{here}/done_at", f'done_at of "{last.kind}" on "{last.subject}"', last.done_at)
        yield from _last_hours(here, last)
    pairs = [(f"{at}/last_done/{i}", f"{last.kind} of {last.subject}") for i, last in enumerate(plant.last_done)]
    yield from twice_faults(pairs, "last_done for")


def _last_hours(at: str, last: LastDone) -> Iterator[Fault]:
    if last.running_hours is not None:
        yield from figure_faults(
            f"{at}/running_hours",
            f'running_hours of "{last.kind}" on "{last.subject}"',
            last.running_hours,
            MOST_RUNNING_HOURS,
            "running hours",
            least=0,
        )

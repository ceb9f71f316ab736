"""Why a job of a plan stands where it stands, what would help, and what a plan did with the dates given before."""

from collections.abc import Sequence

from scheduler.language import gettext as _
from scheduler.language import marked, ngettext
from scheduler.planning.explain.dates import FactKind, PlanFact
from scheduler.planning.explain.figures import PlanFigures
from scheduler.planning.explain.reasons import PlaceReason, ReasonCode
from scheduler.planning.explain.reliefs import ReliefChoice, ReliefKind
from scheduler.planning.judge.cover import Cover, CoverSteps
from scheduler.planning.problem.facts import Because
from scheduler.wording.figures import listed
from scheduler.wording.plan import PlanWords, blocker_words, flow_words

_BECAUSE = {
    Because.CAPACITY: marked("the minimum would break"),
    Because.HANDS: marked("hands lack"),
    Because.NO_WORK: marked("nobody is at work"),
    Because.PUMP: marked("a pump or branch is in use"),
    Because.ORDER: marked("the turn before it is not finished"),
    Because.FACT: marked("its parts, what it needs, or a quiet hour lack"),
}
MOST_NAMED = 4
MOST_TIMES = 5


def reason_words(reason: PlaceReason, words: PlanWords, *, many: bool = False) -> str:
    """Why a job stands where it stands. many: of several jobs alike."""
    limit = "" if reason.limit is None else words.day(reason.limit)
    limit += _(", which the turn before it sets") if reason.chained else ""
    shared = _(", which saves setting up twice") if reason.saves_setup else ""
    late = _("It ends {days} past its limit on {limit}", days=_days(reason.days), limit=limit)
    why = "" if reason.blocker is None else blocker_words(reason.blocker, words)
    match reason.code:
        case ReasonCode.NO_PLACE:
            return _("It has no place: {why}.", why=why)
        case ReasonCode.NO_START_LEFT:
            return _("It has no place: no start is left in the days that are planned.")
        case ReasonCode.OTHER_STARTS:
            return _("Other starts: {why}.", why=why)
        case ReasonCode.LATE_NO_ROOM:
            return _("{late}: every earlier place is taken or forbidden.", late=late)
        case ReasonCode.LATE_BEST:
            return _("{late}; an earlier start is free by itself, but no plan has fewer days late in all.", late=late)
        case ReasonCode.LATE_NOT_PROVED:
            return _("{late}; an earlier start is free by itself, and the plan is not proved best.", late=late)
        case ReasonCode.IN_TIME:
            return _("It ends on {step}, before its limit on {limit}.", step=words.day(reason.step or 0), limit=limit)
        case ReasonCode.PINNED:
            return (
                _("Each is pinned: it begins within the days that are not moved any more, or work on it has begun.")
                if many
                else _("It is pinned: it begins within the days that are not moved any more, or work on it has begun.")
            )
        case ReasonCode.SET_BY_HAND:
            move = _(" (move {move})", move=reason.move) if reason.move else ""
            said = (
                marked("Each was set there by hand, by {by}{move}: planning again leaves it there.")
                if many
                else marked("It was set there by hand, by {by}{move}: planning again leaves it there.")
            )
            return _(said, by=reason.by, move=move)
        case ReasonCode.GOES_ON:
            return _("It goes on with the isolation of {job}{shared}.", job=words.job(reason.key or ""), shared=shared)
        case ReasonCode.GONE_ON_WITH:
            return _("{job} goes on with its isolation{shared}.", job=words.job(reason.key or ""), shared=shared)
        case ReasonCode.BEST_DAY:
            on = "" if reason.step is None else f", {words.day(reason.step)}"
            ends = _(" and ends before its limit on {limit}", limit=limit) if limit else ""
            ends = f",{ends}" if on and ends else ends
            said = (
                marked("Each stands on its best day{on}{ends}.")
                if many
                else marked("It stands on its best day{on}{ends}.")
            )
            return _(said, on=on, ends=ends)
        case ReasonCode.BEST_DAY_PAST:
            day = words.day(reason.step or 0)
            return _("{best}, {day}, was past when this was planned.", best=_best(many), day=day)
        case ReasonCode.BEST_DAY_AWAY:
            day, away = words.day(reason.step or 0), _days(abs(reason.days))
            said = (
                marked("{best} is {day}, {away} earlier.")
                if reason.days > 0
                else marked("{best} is {day}, {away} later.")
            )
            return _(said, best=_best(many), day=day, away=away)
        case ReasonCode.NEARER_STARTS:
            assert reason.blocker is not None
            days = words.days(reason.blocker.from_step, reason.blocker.to_step - 1)
            return _("Nearer starts, {days}: {why}.", days=days, why=why)
        case ReasonCode.AS_PUBLISHED:
            return _("It is kept where it was published, {step}.", step=words.day(reason.step or 0))
        case ReasonCode.OUTWEIGHED:
            return _(
                "A nearer start is free by itself: the turn after it, cover for one more failure, a shared "
                "isolation or evener work weigh more."
            )
        case ReasonCode.EVENER:
            return _(
                "A nearer start is free by itself: the turn after it, cover for one more failure, a shared "
                "isolation, evener work or an evener margin weigh more."
            )
        case ReasonCode.NOT_PROVED:
            return _("A nearer start is free by itself; the plan is not proved best.")


def _best(many: bool) -> str:
    return _("The best day of each") if many else _("Its best day")


def relief_words(choice: ReliefChoice, words: PlanWords) -> tuple[str, str]:
    """A choice that somebody aboard has, and its price."""
    at = words.when(choice.from_step)
    match choice.kind:
        case ReliefKind.HANDS:
            days = {words.day(choice.from_step): None, words.day(choice.to_step): None}
            more = ngettext(
                "{count} more hand on {days}",
                "{count} more hands on {days}",
                choice.hands,
                count=choice.hands,
                days=listed(list(days)),
            )
            return more, _("up to {hours} man-hours", hours=choice.hours)
        case ReliefKind.RETURN:
            return _("return {pump} by {at}", pump=words.pump(choice.pump), at=at), _(
                "{hours} h earlier than it is expected back", hours=choice.hours
            )
        case ReliefKind.WORK:
            span = words.span(choice.from_step, choice.to_step)
            return _("work on {span} although {label}", span=span, label=choice.label), _(
                "{hours} h of work in it", hours=choice.hours
            )
        case ReliefKind.BLOCK:
            return _('end "{label}" at {at}', label=choice.label, at=at), _("{hours} h less of it", hours=choice.hours)
        case ReliefKind.MINIMUM:
            span = words.span(choice.from_step, choice.to_step)
            less = _(
                "up to {litres} less for {hours} h",
                litres=flow_words(choice.less_litres_per_h),
                hours=choice.hours,
            )
            return _(
                "agree on a minimum of {litres} for {span}", litres=flow_words(choice.litres_per_h), span=span
            ), less
        case ReliefKind.POSTPONE:
            late = _("{days} past the limit", days=_days(choice.days))
            return _("ask for a postponement of {job} to {at}", job=words.job(choice.key), at=at), late


def fact_words(fact: PlanFact, words: PlanWords) -> str:
    """What a plan did with a date given before, or what rests on a return."""
    job = words.job(fact.key) if fact.key else ""
    match fact.code:
        case FactKind.FROZEN_MOVED:
            why = _("another date serves better") if fact.because is None else _(_BECAUSE[fact.because])
            kept = words.when(fact.from_step or 0)
            if fact.to_step is None:
                return _("{job} cannot keep {kept}: {why}. It has no place.", job=job, kept=kept, why=why)
            to = words.when(fact.to_step)
            return _("{job} cannot keep {kept}: {why}. It moves to {to}.", job=job, kept=kept, why=why, to=to)
        case FactKind.KEPT_EARLY:
            return _("{job} keeps its date {hours} h before its window as reckoned now.", job=job, hours=fact.hours)
        case FactKind.RESTS_ON_RETURN:
            return _return_words(fact, words)
        case FactKind.FITS_NO_STAY:
            over = (
                _("No lay-over is known")
                if fact.to_step is None
                else _("The next lay-over begins {when}", when=words.when(fact.to_step))
            )
            return _("{job} takes {hours} h and fits no stay. {over}.", job=job, hours=fact.hours, over=over)
        case FactKind.ONE_NEEDED_OF_TWO:
            return _("Two pumps, one needed: while one is open the other runs alone.")


def _return_words(fact: PlanFact, words: PlanWords) -> str:
    name, day = words.pump(fact.pump or ""), words.day(fact.to_step or 0)
    known = (
        _("{name}'s return is not known; the plan assumes {day}", name=name, day=day)
        if fact.assumed
        else _("{name} is expected back by {day}", name=name, day=day)
    )
    if not fact.keys:
        return _("{known}. No date rests on it.", known=known)
    named = [words.job(key) for key in fact.keys[:MOST_NAMED]]
    more = [_("{count} more", count=len(fact.keys) - MOST_NAMED)] if len(fact.keys) > MOST_NAMED else []
    return _(
        "{known}. If {name} is back by {day}: {jobs}.",
        known=known,
        name=name,
        day=day,
        jobs=listed([*named, *more]),
    )


def cover_words(cover: Cover, words: PlanWords) -> tuple[str, ...]:
    """One more failure: the hours with cover and without, and the first times without."""
    if not cover.hours:
        return (_("No hours are planned."),)
    lines = [
        _(
            "As planned the plant is at or above its minimum in {at_n} of {hours} h; if its largest pump "
            "tripped, in {at_n_less_1} h.",
            at_n=cover.at_n,
            hours=cover.hours,
            at_n_less_1=cover.at_n_less_1,
        ),
    ]
    if cover.uncovered_by_plan:
        lines.append(
            _(
                "In {hours} h it is the plan's own work that leaves no cover; if one more "
                "pump trips it is short {times}.",
                hours=cover.hours_uncovered_by_plan,
                times=_times(cover.uncovered_by_plan, words),
            )
        )
    else:
        lines.append(_("The plan's own work takes that cover away in no hour."))
    if cover.uncovered_anyway:
        lines.append(
            _(
                "In {hours} h there is no such cover even with no pump open; no date can "
                "help there: only more capacity or a lower minimum would ({times}).",
                hours=cover.hours_uncovered_anyway,
                times=_times(cover.uncovered_anyway, words),
            )
        )
    return tuple(lines)


def _times(runs: Sequence[CoverSteps], words: PlanWords) -> str:
    more = _(" and {count} more times", count=len(runs) - MOST_TIMES) if len(runs) > MOST_TIMES else ""
    return f"{', '.join(words.span(*run) for run in runs[:MOST_TIMES])}{more}"


def left_words(figures: PlanFigures) -> list[str]:
    """What a plan leaves that is not good, in a few words each; empty when all is."""
    left = []
    if (many := figures.without_place) > 0:
        left.append(ngettext("{count} job without a place", "{count} jobs without a place", many, count=many))
    if (many := figures.past_limit) > 0:
        left.append(ngettext("{count} job past the limit", "{count} jobs past the limit", many, count=many))
    if figures.hours_below_minimum:
        left.append(_("{hours} h below the minimum", hours=figures.hours_below_minimum))
    return left


def _days(many: int) -> str:
    return ngettext("{count} day", "{count} days", many, count=many)

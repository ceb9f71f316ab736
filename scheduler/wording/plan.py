"""The plan's facts as sentences: what falls short and why, why a job stands where it stands, what would help; in ship time, with
the names people use, the same for page, command and API."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from scheduler.domain.vessel.document import Plant
from scheduler.language import gettext as _
from scheduler.language import marked, ngettext
from scheduler.planning.explain.dates import FactKind, PlanFact
from scheduler.planning.explain.figures import PlanFigures
from scheduler.planning.explain.reasons import PlaceReason, ReasonCode
from scheduler.planning.explain.reliefs import ReliefChoice, ReliefKind
from scheduler.planning.judge.check import Fault
from scheduler.planning.judge.cover import Cover, CoverSteps
from scheduler.planning.problem.facts import Bar, BarCode, Because, Blocker
from scheduler.planning.problem.values import Problem, Remark, RemarkCode, ShortCode, Shortfall
from scheduler.shiptime import ship_time
from scheduler.wording.figures import M3H, NBSP, day_label, listed
from scheduler.wording.names import job_words, pump_words

_BECAUSE = {
    Because.CAPACITY: marked("the minimum would break"),
    Because.HANDS: marked("hands lack"),
    Because.NO_WORK: marked("nobody is at work"),
    Because.PUMP: marked("a pump or branch is in use"),
    Because.ORDER: marked("the turn before it is not finished"),
    Because.FACT: marked("its parts, what it needs, or a quiet hour lack"),
}
_PLAIN = ("", "minimum", "normal")
"""Labels of a minimum that say nothing."""
MOST_NAMED = 4
MOST_TIMES = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanWords:
    """How things of one plan are called aboard. clock: minutes ahead of UTC. year: the one that goes without saying.

    job, pump: what people call the job of a key, and a pump.
    """

    starts_at: datetime
    clock: int
    year: int
    job: Callable[[str], str]
    pump: Callable[[str], str]

    def day(self, step: int) -> str:
        """The ship's date of a step: "Tue 1 Dec", with the year where it is not this one."""
        there = self._there(step)
        return day_label(there, None if there.year == self.year else there.year).replace(NBSP, " ")

    def when(self, step: int) -> str:
        """A step in ship time: "Tue 1 Dec 08:00"."""
        return f"{self.day(step)} {self._there(step):%H:%M}"

    def span(self, first: int, last: int) -> str:
        """From a step to another, the day said once where it is the same."""
        ends = f"{self._there(last):%H:%M}" if self.day(first) == self.day(last) else self.when(last)
        return _("{first} to {ends}", first=self.when(first), ends=ends)

    def days(self, first: int, last: int) -> str:
        """From a day to another, said once where it is the same."""
        return (
            self.day(first)
            if self.day(first) == self.day(last)
            else _("{first} to {last}", first=self.day(first), last=self.day(last))
        )

    def pumps(self, pumps: Sequence[str]) -> str:
        """Pumps by name, in their order."""
        return listed(sorted(map(self.pump, pumps)))

    def open_for(self, pump: str, key: str) -> str:
        """What a pump is open for: "VP2 is open for its knife inspection"."""
        name, job = self.pump(pump), self.job(key)
        own = job.removeprefix(f"{name} ")
        said = marked("{name} is open for {job}") if own == job else marked("{name} is open for its {job}")
        return _(said, name=name, job=own)

    def _there(self, step: int) -> datetime:
        return ship_time(self.starts_at + timedelta(hours=step), self.clock)


def plan_words(plant: Plant, at: datetime, clock: int, problem: Problem) -> PlanWords:
    """How things of a plan of this problem are called aboard at an instant."""
    return PlanWords(
        starts_at=problem.starts_at,
        clock=clock,
        year=ship_time(at, clock).year,
        job=lambda key: job_words(plant, at, key),
        pump=lambda pump: pump_words(plant, at, pump),
    )


def bar_words(bar: Bar, words: PlanWords) -> str:
    """What forbids a start, as the end of a sentence."""
    key, pump = next(iter(bar.keys), ""), next(iter(bar.pumps), "")
    opened = listed([words.open_for(one, other) for one, other in zip(bar.pumps, bar.keys, strict=False)])
    meanwhile = _(" while {opened}", opened=opened) if opened else ""
    match bar.code:
        case BarCode.NO_START:
            return _("no start is allowed")
        case BarCode.NOT_FINISHED:
            return _("it would not be finished within the planned days")
        case BarCode.PARTS:
            return _("its parts are not aboard")
        case BarCode.NEED:
            return _("it needs {label}", label=bar.label)
        case BarCode.NO_QUIET:
            return _("no quiet hour is agreed for stopping pumps {needed} min", needed=bar.needed)
        case BarCode.NOBODY:
            return _("nobody is at work ({label})", label=bar.label) if bar.label else _("nobody is at work")
        case BarCode.FEW_HANDS:
            return _("it needs {hands}, {there} at work", hands=_hands(bar.needed), there=bar.there)
        case BarCode.HANDS_ELSEWHERE:
            return _("the hands are at other jobs")
        case BarCode.DAY_WORKED:
            return _("the hands have worked their {needed} h of the day", needed=bar.needed)
        case BarCode.MINIMUM:
            return _("{label} would be broken{meanwhile}", label=minimum_named(bar.label), meanwhile=meanwhile)
        case BarCode.NUMBER:
            return _("too few pumps would be left{meanwhile}", meanwhile=meanwhile)
        case BarCode.PUMP_OPEN:
            return opened
        case BarCode.BRANCH:
            return _(
                "of {pumps} no more than {needed} may be open at once", pumps=words.pumps(bar.pumps), needed=bar.needed
            )
        case BarCode.TEST_ON:
            return _("the {job} is on", job=words.job(key))
        case BarCode.UNDER_TEST:
            return _("{pump} is under test ({job})", pump=words.pump(pump), job=words.job(key))
        case BarCode.ALL_CLOSED:
            return _("{job} is on, which needs every pump closed", job=words.job(key))
        case BarCode.BEFORE:
            return _("the turn before it, {job}, is not finished", job=words.job(key))
        case BarCode.AFTER:
            return _("the turn after it, {job}, has begun", job=words.job(key))


def minimum_named(label: str) -> str:
    """The minimum, with its label where that says something."""
    return _("the minimum") if label in _PLAIN else _("the minimum ({label})", label=label)


def blocker_words(one: Blocker, words: PlanWords) -> str:
    """What forbids starts, and what lacks."""
    lacking = _(", {litres} lacking", litres=_m3(one.lacking_litres_per_h)) if one.lacking_litres_per_h else ""
    return f"{bar_words(one.bar, words)}{lacking}"


def remark_words(remark: Remark, words: PlanWords) -> str:
    """How a plan was made, where that is worth saying."""
    plain = _("The plain rule was used instead: earliest due first.")
    match remark.code:
        case RemarkCode.UNUSABLE:
            return _(
                "Tier {tier} ({name}): the solver's answer was not usable ({ended}); kept {value}.",
                tier=remark.tier,
                name=remark.name,
                ended=remark.ended,
                value=remark.value,
            )
        case RemarkCode.STOPPED:
            return _(
                "Tier {tier} ({name}): stopped before it was proven; {value}, at best {bound}.",
                tier=remark.tier,
                name=remark.name,
                value=remark.value,
                bound=f"{remark.bound:g}",
            )
        case RemarkCode.NOT_STARTED:
            return _("The planner could not be started: {text}. {plain}", text=remark.text, plain=plain)
        case RemarkCode.ENDED:
            return _("The planner ended with code {number}. {plain}", number=remark.number, plain=plain)
        case RemarkCode.TOO_LONG:
            return _("The planner took longer than {number} s. {plain}", number=remark.number, plain=plain)
        case RemarkCode.UNREAD:
            return _("The planner's answer could not be read. {plain}", plain=plain)
        case RemarkCode.OTHER:
            return _("The planner answered another problem. {plain}", plain=plain)
        case RemarkCode.BY_HAND:
            return _(
                "Set by hand by {person} (move {number}): {job}, {when}.",
                person=remark.text,
                number=remark.number,
                job=words.job(remark.key),
                when=words.when(remark.step),
            )
        case RemarkCode.AS_STORED:
            return remark.text


def shortfall_words(short: Shortfall, words: PlanWords) -> str:
    """What a plan could not give."""
    job = words.job(short.key) if short.key else ""
    pinned = ""
    if short.pinned_by:
        pinned = _(
            " It is pinned there by hand, by {pinned_by} (move {move}): move it, or undo the move.",
            pinned_by=short.pinned_by,
            move=short.move,
        )
    match short.code:
        case ShortCode.AS_STORED:
            return f"{short.text}{pinned}"
        case ShortCode.BELOW:
            return _below_words(short, words)
        case ShortCode.NOT_PLANNED:
            return _(
                "{job} has no place in the plan aboard. The next plan looks for one.{pinned}", job=job, pinned=pinned
            )
        case ShortCode.SLOT_PASSED:
            return _(
                "{job} has no place: its slot of {start} has passed, or its work cannot be finished from "
                "there any more. The next plan looks for a place.{pinned}",
                job=job,
                start=words.when(short.start or 0),
                pinned=pinned,
            )
        case ShortCode.NO_PLACE:
            why = [
                _("starts {when}: {why}", when=_starts(one, words), why=blocker_words(one, words))
                for one in short.blockers
            ]
            if short.more:
                more = ngettext("and {count} more reason", "and {count} more reasons", short.more, count=short.more)
                why.append(more)
            lead = (
                _("has no place")
                if short.start is None
                else _("cannot keep its date {start}", start=words.when(short.start))
            )
            crew = (
                ""
                if short.most_hands is None
                else _("; the crew never has more than {most_hands}", most_hands=_hands(short.most_hands))
            )
            takes = _(
                "{work_steps} h of work, {hands}{crew}",
                work_steps=short.work_steps,
                hands=_hands(short.hands),
                crew=crew,
            )
            return f"{job} {lead} ({takes}): {'; '.join(why) or _('no start is left')}.{pinned}"


def _below_words(short: Shortfall, words: PlanWords) -> str:
    hours = sum(last - first for first, last in short.steps)
    need, lacking = short.minimum_litres_per_h, short.lacking_litres_per_h
    label = "" if short.label in _PLAIN else f" ({short.label})"
    why = (
        _("{causes} down or not proved", causes=words.pumps(short.causes))
        if short.causes
        else _("all pumps together are too small")
    )
    return _(
        "Capacity is below the minimum for {hours} h, {steps}, whatever is planned: {why}. At worst "
        "{left} of {need}{label}.",
        hours=hours,
        steps=words.span(short.steps[0][0], short.steps[-1][1]),
        why=why,
        left=f"{(need - lacking) / 1000:g}",
        need=_m3(need),
        label=label,
    )


def _starts(one: Blocker, words: PlanWords) -> str:
    last = one.to_step - 1
    return words.span(one.from_step, last) if last > one.from_step else words.when(one.from_step)


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
                litres=_m3(choice.less_litres_per_h),
                hours=choice.hours,
            )
            return _("agree on a minimum of {litres} for {span}", litres=_m3(choice.litres_per_h), span=span), less
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


def fault_words(fault: Fault, words: PlanWords) -> str:
    """A rule that the judge finds broken."""
    keys = dict.fromkeys(([fault.key] if fault.key else []) + list(fault.keys))
    about = [words.job(key) for key in keys] + sorted(map(words.pump, fault.pumps))
    about += [] if fault.step is None else [words.when(fault.step)]
    return _("Broken: {rule}", rule=_(fault.rule.value)) + (f" ({', '.join(about)})." if about else ".")


def _hands(many: int) -> str:
    return ngettext("{count} hand", "{count} hands", many, count=many)


def _days(many: int) -> str:
    return ngettext("{count} day", "{count} days", many, count=many)


def _m3(litres_per_h: int) -> str:
    return f"{litres_per_h / 1000:g} {M3H}"

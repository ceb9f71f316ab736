"""The plan's facts as sentences: what falls short and why, why a job stands where it stands, what would help; in ship time, with
the names people use, the same for page, command and API."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from scheduler.domain.vessel.document import Plant
from scheduler.planning.explain.dates import FactKind, PlanFact
from scheduler.planning.explain.figures import PlanFigures
from scheduler.planning.explain.reasons import PlaceReason, ReasonCode
from scheduler.planning.explain.reliefs import ReliefChoice, ReliefKind
from scheduler.planning.judge.check import Fault
from scheduler.planning.judge.cover import Cover, CoverSteps
from scheduler.planning.problem.facts import Bar, BarCode, Because, Blocker
from scheduler.planning.problem.values import Problem, Remark, RemarkCode, ShortCode, Shortfall
from scheduler.shiptime import ship_time
from scheduler.wording.figures import M3H, listed
from scheduler.wording.names import job_words, pump_words

_BECAUSE = {
    Because.CAPACITY: "the minimum would break",
    Because.HANDS: "hands lack",
    Because.NO_WORK: "nobody is at work",
    Because.PUMP: "a pump or branch is in use",
    Because.ORDER: "the turn before it is not finished",
    Because.FACT: "its parts, what it needs, or a quiet hour lack",
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
        return f"{there:%a} {there.day} {there:%b}{'' if there.year == self.year else f' {there.year}'}"

    def when(self, step: int) -> str:
        """A step in ship time: "Tue 1 Dec 08:00"."""
        return f"{self.day(step)} {self._there(step):%H:%M}"

    def span(self, first: int, last: int) -> str:
        """From a step to another, the day said once where it is the same."""
        ends = f"{self._there(last):%H:%M}" if self.day(first) == self.day(last) else self.when(last)
        return f"{self.when(first)} to {ends}"

    def days(self, first: int, last: int) -> str:
        """From a day to another, said once where it is the same."""
        return self.day(first) if self.day(first) == self.day(last) else f"{self.day(first)} to {self.day(last)}"

    def pumps(self, pumps: Sequence[str]) -> str:
        """Pumps by name, in their order."""
        return listed(sorted(map(self.pump, pumps)))

    def open_for(self, pump: str, key: str) -> str:
        """What a pump is open for: "VP2 is open for its knife inspection"."""
        name, job = self.pump(pump), self.job(key)
        own = job.removeprefix(f"{name} ")
        return f"{name} is open for {job if own == job else f'its {own}'}"

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
    meanwhile = f" while {opened}" if opened else ""
    match bar.code:
        case BarCode.NO_START:
            return "no start is allowed"
        case BarCode.NOT_FINISHED:
            return "it would not be finished within the planned days"
        case BarCode.PARTS:
            return "its parts are not aboard"
        case BarCode.NEED:
            return f"it needs {bar.label}"
        case BarCode.NO_QUIET:
            return f"no quiet hour is agreed for stopping pumps {bar.needed} min"
        case BarCode.NOBODY:
            return f"nobody is at work ({bar.label})" if bar.label else "nobody is at work"
        case BarCode.FEW_HANDS:
            return f"it needs {_count(bar.needed, 'hand')}, {bar.there} at work"
        case BarCode.HANDS_ELSEWHERE:
            return "the hands are at other jobs"
        case BarCode.DAY_WORKED:
            return f"the hands have worked their {bar.needed} h of the day"
        case BarCode.MINIMUM:
            return f"{minimum_named(bar.label)} would be broken{meanwhile}"
        case BarCode.NUMBER:
            return f"too few pumps would be left{meanwhile}"
        case BarCode.PUMP_OPEN:
            return opened
        case BarCode.BRANCH:
            return f"of {words.pumps(bar.pumps)} no more than {bar.needed} may be open at once"
        case BarCode.TEST_ON:
            return f"the {words.job(key)} is on"
        case BarCode.UNDER_TEST:
            return f"{words.pump(pump)} is under test ({words.job(key)})"
        case BarCode.ALL_CLOSED:
            return f"{words.job(key)} is on, which needs every pump closed"
        case BarCode.BEFORE:
            return f"the turn before it, {words.job(key)}, is not finished"
        case BarCode.AFTER:
            return f"the turn after it, {words.job(key)}, has begun"


def minimum_named(label: str) -> str:
    """The minimum, with its label where that says something."""
    return "the minimum" if label in _PLAIN else f"the minimum ({label})"


def blocker_words(one: Blocker, words: PlanWords) -> str:
    """What forbids starts, and what lacks."""
    lacking = f", {_m3(one.lacking_litres_per_h)} lacking" if one.lacking_litres_per_h else ""
    return f"{bar_words(one.bar, words)}{lacking}"


def remark_words(remark: Remark, words: PlanWords) -> str:
    """How a plan was made, where that is worth saying."""
    plain = "The plain rule was used instead: earliest due first."
    match remark.code:
        case RemarkCode.UNUSABLE:
            return (
                f"Tier {remark.tier} ({remark.name}): the solver's answer was not usable ({remark.ended}); "
                f"kept {remark.value}."
            )
        case RemarkCode.STOPPED:
            return (
                f"Tier {remark.tier} ({remark.name}): stopped before it was proven; {remark.value}, "
                f"at best {remark.bound:g}."
            )
        case RemarkCode.NOT_STARTED:
            return f"The planner could not be started: {remark.text}. {plain}"
        case RemarkCode.ENDED:
            return f"The planner ended with code {remark.number}. {plain}"
        case RemarkCode.TOO_LONG:
            return f"The planner took longer than {remark.number} s. {plain}"
        case RemarkCode.UNREAD:
            return f"The planner's answer could not be read. {plain}"
        case RemarkCode.OTHER:
            return f"The planner answered another problem. {plain}"
        case RemarkCode.BY_HAND:
            return f"Set by hand by {remark.text} (move {remark.number}): {words.job(remark.key)}, {words.when(remark.step)}."
        case RemarkCode.AS_STORED:
            return remark.text


def shortfall_words(short: Shortfall, words: PlanWords) -> str:
    """What a plan could not give."""
    job = words.job(short.key) if short.key else ""
    pinned = ""
    if short.pinned_by:
        pinned = f" It is pinned there by hand, by {short.pinned_by} (move {short.move}): move it, or undo the move."
    match short.code:
        case ShortCode.AS_STORED:
            return f"{short.text}{pinned}"
        case ShortCode.BELOW:
            return _below_words(short, words)
        case ShortCode.NOT_PLANNED:
            return f"{job} has no place in the plan aboard. The next plan looks for one.{pinned}"
        case ShortCode.SLOT_PASSED:
            return (
                f"{job} has no place: its slot of {words.when(short.start or 0)} has passed, or its work cannot be finished from "
                f"there any more. The next plan looks for a place.{pinned}"
            )
        case ShortCode.NO_PLACE:
            why = [f"starts {_starts(one, words)}: {blocker_words(one, words)}" for one in short.blockers]
            if short.more:
                why.append(f"and {_count(short.more, 'more reason')}")
            lead = "has no place" if short.start is None else f"cannot keep its date {words.when(short.start)}"
            crew = (
                "" if short.most_hands is None else f"; the crew never has more than {_count(short.most_hands, 'hand')}"
            )
            takes = f"{short.work_steps} h of work, {_count(short.hands, 'hand')}{crew}"
            return f"{job} {lead} ({takes}): {'; '.join(why) or 'no start is left'}.{pinned}"


def _below_words(short: Shortfall, words: PlanWords) -> str:
    hours = sum(last - first for first, last in short.steps)
    need, lacking = short.minimum_litres_per_h, short.lacking_litres_per_h
    label = "" if short.label in _PLAIN else f" ({short.label})"
    why = f"{words.pumps(short.causes)} down or not proved" if short.causes else "all pumps together are too small"
    return (
        f"Capacity is below the minimum for {hours} h, {words.span(short.steps[0][0], short.steps[-1][1])}, whatever is planned: "
        f"{why}. At worst {(need - lacking) / 1000:g} of {_m3(need)}{label}."
    )


def _starts(one: Blocker, words: PlanWords) -> str:
    last = one.to_step - 1
    return words.span(one.from_step, last) if last > one.from_step else words.when(one.from_step)


def reason_words(reason: PlaceReason, words: PlanWords, *, many: bool = False) -> str:
    """Why a job stands where it stands. many: of several jobs alike."""
    it = "Each" if many else "It"
    limit = "" if reason.limit is None else words.day(reason.limit)
    limit += ", which the turn before it sets" if reason.chained else ""
    shared = ", which saves setting up twice" if reason.saves_setup else ""
    late = f"It ends {_count(reason.days, 'day')} past its limit on {limit}"
    why = "" if reason.blocker is None else blocker_words(reason.blocker, words)
    match reason.code:
        case ReasonCode.NO_PLACE:
            return f"It has no place: {why}."
        case ReasonCode.NO_START_LEFT:
            return "It has no place: no start is left in the days that are planned."
        case ReasonCode.OTHER_STARTS:
            return f"Other starts: {why}."
        case ReasonCode.LATE_NO_ROOM:
            return f"{late}: every earlier place is taken or forbidden."
        case ReasonCode.LATE_BEST:
            return f"{late}; an earlier start is free by itself, but no plan has fewer days late in all."
        case ReasonCode.LATE_NOT_PROVED:
            return f"{late}; an earlier start is free by itself, and the plan is not proved best."
        case ReasonCode.IN_TIME:
            return f"It ends on {words.day(reason.step or 0)}, before its limit on {limit}."
        case ReasonCode.PINNED:
            return f"{it} is pinned: it begins within the days that are not moved any more, or work on it has begun."
        case ReasonCode.SET_BY_HAND:
            move = f" (move {reason.move})" if reason.move else ""
            return f"{it} was set there by hand, by {reason.by}{move}: planning again leaves it there."
        case ReasonCode.GOES_ON:
            return f"It goes on with the isolation of {words.job(reason.key or '')}{shared}."
        case ReasonCode.GONE_ON_WITH:
            return f"{words.job(reason.key or '')} goes on with its isolation{shared}."
        case ReasonCode.BEST_DAY:
            on = "" if reason.step is None else f", {words.day(reason.step)}"
            ends = f"{',' if on else ''} and ends before its limit on {limit}" if limit else ""
            return f"{it} stands on its best day{on}{ends}."
        case ReasonCode.BEST_DAY_PAST:
            return f"{_best(many)}, {words.day(reason.step or 0)}, was past when this was planned."
        case ReasonCode.BEST_DAY_AWAY:
            away = f"{_count(abs(reason.days), 'day')} {'earlier' if reason.days > 0 else 'later'}"
            return f"{_best(many)} is {words.day(reason.step or 0)}, {away}."
        case ReasonCode.NEARER_STARTS:
            assert reason.blocker is not None
            days = words.days(reason.blocker.from_step, reason.blocker.to_step - 1)
            return f"Nearer starts, {days}: {why}."
        case ReasonCode.AS_PUBLISHED:
            return f"It is kept where it was published, {words.day(reason.step or 0)}."
        case ReasonCode.OUTWEIGHED:
            return (
                "A nearer start is free by itself: the turn after it, cover for one more failure, a shared isolation or "
                "evener work weigh more."
            )
        case ReasonCode.EVENER:
            return (
                "A nearer start is free by itself: the turn after it, cover for one more failure, a shared isolation, "
                "evener work or an evener margin weigh more."
            )
        case ReasonCode.NOT_PROVED:
            return "A nearer start is free by itself; the plan is not proved best."


def _best(many: bool) -> str:
    return "The best day of each" if many else "Its best day"


def relief_words(choice: ReliefChoice, words: PlanWords) -> tuple[str, str]:
    """A choice that somebody aboard has, and its price."""
    at = words.when(choice.from_step)
    match choice.kind:
        case ReliefKind.HANDS:
            days = {words.day(choice.from_step): None, words.day(choice.to_step): None}
            return f"{_count(choice.hands, 'more hand')} on {listed(list(days))}", f"up to {choice.hours} man-hours"
        case ReliefKind.RETURN:
            return f"return {words.pump(choice.pump)} by {at}", f"{choice.hours} h earlier than it is expected back"
        case ReliefKind.WORK:
            span = words.span(choice.from_step, choice.to_step)
            return f"work on {span} although {choice.label}", f"{choice.hours} h of work in it"
        case ReliefKind.BLOCK:
            return f'end "{choice.label}" at {at}', f"{choice.hours} h less of it"
        case ReliefKind.MINIMUM:
            span = words.span(choice.from_step, choice.to_step)
            less = f"up to {_m3(choice.less_litres_per_h)} less for {choice.hours} h"
            return f"agree on a minimum of {_m3(choice.litres_per_h)} for {span}", less
        case ReliefKind.POSTPONE:
            late = f"{_count(choice.days, 'day')} past the limit"
            return f"ask for a postponement of {words.job(choice.key)} to {at}", late


def fact_words(fact: PlanFact, words: PlanWords) -> str:
    """What a plan did with a date given before, or what rests on a return."""
    job = words.job(fact.key) if fact.key else ""
    match fact.code:
        case FactKind.FROZEN_MOVED:
            why = "another date serves better" if fact.because is None else _BECAUSE[fact.because]
            now = "has no place" if fact.to_step is None else f"moves to {words.when(fact.to_step)}"
            return f"{job} cannot keep {words.when(fact.from_step or 0)}: {why}. It {now}."
        case FactKind.KEPT_EARLY:
            return f"{job} keeps its date {fact.hours} h before its window as reckoned now."
        case FactKind.RESTS_ON_RETURN:
            return _return_words(fact, words)
        case FactKind.FITS_NO_STAY:
            over = (
                "No lay-over is known"
                if fact.to_step is None
                else f"The next lay-over begins {words.when(fact.to_step)}"
            )
            return f"{job} takes {fact.hours} h and fits no stay. {over}."
        case FactKind.ONE_NEEDED_OF_TWO:
            return "Two pumps, one needed: while one is open the other runs alone."


def _return_words(fact: PlanFact, words: PlanWords) -> str:
    name, day = words.pump(fact.pump or ""), words.day(fact.to_step or 0)
    known = (
        f"{name}'s return is not known; the plan assumes {day}" if fact.assumed else f"{name} is expected back by {day}"
    )
    if not fact.keys:
        return f"{known}. No date rests on it."
    named = [words.job(key) for key in fact.keys[:MOST_NAMED]]
    more = [f"{len(fact.keys) - MOST_NAMED} more"] if len(fact.keys) > MOST_NAMED else []
    return f"{known}. If {name} is back by {day}: {listed([*named, *more])}."


def cover_words(cover: Cover, words: PlanWords) -> tuple[str, ...]:
    """One more failure: the hours with cover and without, and the first times without."""
    if not cover.hours:
        return ("No hours are planned.",)
    lines = [
        f"As planned the plant is at or above its minimum in {cover.at_n} of {cover.hours} h; if its largest pump tripped, "
        f"in {cover.at_n_less_1} h.",
    ]
    if cover.uncovered_by_plan:
        lines.append(
            f"In {cover.hours_uncovered_by_plan} h it is the plan's own work that leaves no cover; if one more pump trips it is short "
            f"{_times(cover.uncovered_by_plan, words)}."
        )
    else:
        lines.append("The plan's own work takes that cover away in no hour.")
    if cover.uncovered_anyway:
        lines.append(
            f"In {cover.hours_uncovered_anyway} h there is no such cover even with no pump open; no date can help there: "
            f"only more capacity or a lower minimum would ({_times(cover.uncovered_anyway, words)})."
        )
    return tuple(lines)


def _times(runs: Sequence[CoverSteps], words: PlanWords) -> str:
    more = f" and {len(runs) - MOST_TIMES} more times" if len(runs) > MOST_TIMES else ""
    return f"{', '.join(words.span(*run) for run in runs[:MOST_TIMES])}{more}"


def left_words(figures: PlanFigures) -> list[str]:
    """What a plan leaves that is not good, in a few words each; empty when all is."""
    left = [
        f"{_count(many, 'job')} {what}"
        for many, what in ((figures.without_place, "without a place"), (figures.past_limit, "past the limit"))
        if many
    ]
    if figures.hours_below_minimum:
        left.append(f"{figures.hours_below_minimum} h below the minimum")
    return left


def fault_words(fault: Fault, words: PlanWords) -> str:
    """A rule that the judge finds broken."""
    keys = dict.fromkeys(([fault.key] if fault.key else []) + list(fault.keys))
    about = [words.job(key) for key in keys] + sorted(map(words.pump, fault.pumps))
    about += [] if fault.step is None else [words.when(fault.step)]
    return f"Broken: {fault.rule.value}" + (f" ({', '.join(about)})." if about else ".")


def _count(many: int, one: str) -> str:
    return f"{many} {one}{'' if many == 1 else 's'}"


def _m3(litres_per_h: int) -> str:
    return f"{litres_per_h / 1000:g} {M3H}"

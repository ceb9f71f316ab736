"""The plan's facts as sentences: what falls short and why, why a job stands where it stands, what would help; in ship time, with
the names people use, the same for page, command and API."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from scheduler.domain.vessel.document import Plant
from scheduler.language import gettext as _
from scheduler.language import marked, ngettext
from scheduler.planning.judge.check import Fault
from scheduler.planning.problem.facts import Bar, BarCode, Blocker
from scheduler.planning.problem.values import Problem, Remark, RemarkCode, ShortCode, Shortfall
from scheduler.shiptime import ship_time
from scheduler.wording.figures import M3H, NBSP, day_label, listed
from scheduler.wording.names import job_words, pump_words

_PLAIN = ("", "minimum", "normal")
"""Labels of a minimum that say nothing."""


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
    lacking = _(", {litres} lacking", litres=flow_words(one.lacking_litres_per_h)) if one.lacking_litres_per_h else ""
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
            because = "; ".join(why) or _("no start is left")
            return f"{job} {lead} ({takes}): {because}.{pinned}"


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
        need=flow_words(need),
        label=label,
    )


def _starts(one: Blocker, words: PlanWords) -> str:
    last = one.to_step - 1
    return words.span(one.from_step, last) if last > one.from_step else words.when(one.from_step)


def fault_words(fault: Fault, words: PlanWords) -> str:
    """A rule that the judge finds broken."""
    keys = dict.fromkeys(([fault.key] if fault.key else []) + list(fault.keys))
    about = [words.job(key) for key in keys] + sorted(map(words.pump, fault.pumps))
    about += [] if fault.step is None else [words.when(fault.step)]
    return _("Broken: {rule}", rule=_(fault.rule.value)) + (f" ({', '.join(about)})." if about else ".")


def _hands(many: int) -> str:
    return ngettext("{count} hand", "{count} hands", many, count=many)


def flow_words(litres_per_h: int) -> str:
    """Litres an hour, said in cubic metres."""
    return f"{litres_per_h / 1000:g} {M3H}"

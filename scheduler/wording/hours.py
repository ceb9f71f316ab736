"""What the counters' flags and questions say to an engineer: which counter, what, what was expected, what to do."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime

from scheduler.domain.due.jobs import DueJob
from scheduler.domain.hours.counter_figure import CounterFigure
from scheduler.domain.hours.ledger_values import Code, Flag
from scheduler.domain.hours.running import RunningHours
from scheduler.language import gettext as _
from scheduler.language import marked
from scheduler.wording.figures import NBSP, inner, number, ship_moment

UNITS = {
    3600: marked("hours"),
    360: marked("tenths of an hour"),
    36: marked("hundredths of an hour"),
    60: marked("minutes"),
    1: marked("seconds"),
}
_AGAIN = marked(" If it comes again, check its supply and wiring.")


def unit_name(seconds_per_count: int) -> str:
    """What a counter counts: "hours", "minutes", "counts of 7 s"."""
    known = UNITS.get(seconds_per_count)
    return _(known) if known else _("counts of {seconds} s", seconds=seconds_per_count)


def unit_short(seconds_per_count: int) -> str:
    """The same beside a counter's name: "hours", "0.1 h", "minutes"."""
    return {360: f"0.1{NBSP}h", 36: f"0.01{NBSP}h"}.get(seconds_per_count) or unit_name(seconds_per_count)


def hours_text(seconds: int) -> str:
    """Hours to a tenth, without a needless nought.

    >>> hours_text(75600), hours_text(360)
    ('21 h', '0.1 h')
    """
    return f"{round(seconds / 3600, 1):g} h" if abs(seconds) < 3_600_000_000 else f"{seconds // 3600} h"


def counts_text(value_milli: int) -> str:
    """Counts as the counter shows them, as a person types them.

    >>> counts_text(12_000_000), counts_text(215_600)
    ('12000', '215.6')
    """
    whole, rest = divmod(value_milli, 1000)
    return f"{whole}.{rest:03d}".rstrip("0") if rest else str(whole)


def counts_words(value_milli: int) -> str:
    """A counter's value for reading: narrow spaces at the thousands, as many decimals as it has."""
    return number(value_milli / 1000, len(counts_text(value_milli).partition(".")[2]))


def flag_words(flag: Flag, position: str, offset_minutes: int) -> str:
    """A flag in sentences, in ship time and the counter's own unit.

    Args:
        position: what people call the position of its counter.
    """
    says = flag.facts.get("says")
    return says if isinstance(says, str) else _WORDS[flag.code](_Facts(flag, position, offset_minutes))


class _Facts:
    """A flag's facts as text."""

    def __init__(self, flag: Flag, position: str, offset_minutes: int) -> None:
        self.flag, self.counter, self._offset = flag, _("The counter of {position}", position=position), offset_minutes
        self.at, self.run = self._moment(flag.at_s), hours_text(flag.seconds)

    def figure(self, name: str) -> int:
        """The figure; 0 when it is not among the facts."""
        return int(self.flag.facts.get(name, 0))

    def moment(self, name: str) -> str:
        """An instant in ship time."""
        return self._moment(self.figure(name))

    def value(self, name: str) -> str:
        """A counter's value without its unit."""
        return counts_words(self.figure(name))

    @property
    def unit(self) -> str:
        """What the counter counts."""
        return unit_name(self.figure("per"))

    def _moment(self, at_s: int) -> str:
        return ship_moment(datetime.fromtimestamp(at_s, UTC), self._offset)


def _held(f: _Facts) -> str:
    if f.figure("to") >= f.figure("from"):
        step = marked("{counter} rose from {first} to {last} {unit} at {at}: {why}.")
        passed = hours_text(f.flag.at_s - f.figure("from_s"))
        why = _("that is {run} in {passed}, more than can have run", run=f.run, passed=passed)
    else:
        step = marked("{counter} fell from {first} to {last} {unit} at {at}: {why}.")
        why = _("it neither rolled over nor started again from 0")
    said = _(step, counter=f.counter, first=f.value("from"), last=f.value("to"), unit=f.unit, at=f.at, why=why)
    do = _(
        "Nothing is counted from there on. Read the counter; then mark the reading bad, decide what the step counts, "
        "or record the replacement."
    )
    return f"{said} {do}{_hint(f)}"


def _hint(f: _Facts) -> str:
    if "as_per" in f.flag.facts:
        up, down = f.figure("as_per"), f.figure("per")
        sum_of = f"x {up // down}" if up % down == 0 else f"/ {down // up}" if down % up == 0 else f"x {up / down:g}"
        return _(
            " {last} {sum_of} = {value} would fit, as if it counted {unit} now: if so, record the change of scale.",
            last=f.value("to"),
            sum_of=sum_of,
            value=f.value("as_value"),
            unit=unit_name(up),
        )
    if "swapped" in f.flag.facts:
        return _(
            " With its two 16-bit words swapped it would be {value}, which fits: check the word order.",
            value=f.value("swapped"),
        )
    return ""


def _erratic(f: _Facts) -> str:
    look = _("Read it again") if f.figure("by_hand") else _("Check register, word order and wiring")
    return _(
        "{counter} has shown {count} values that do not follow from each other, the latest at {at}. "
        "Everything is held until a person decides. {look}, then decide the step.",
        counter=f.counter,
        count=f.figure("values"),
        at=f.at,
        look=look,
    )


def _off(f: _Facts) -> str:
    minutes = abs(f.figure("skew_s")) // 60
    behind = f.figure("skew_s") > 0
    return _("{minutes} min behind", minutes=minutes) if behind else _("{minutes} min ahead", minutes=minutes)


def _replaced(f: _Facts) -> str:
    changed = _("changed its scale") if f.figure("rescaled") else _("was exchanged")
    counted = _("{value} {unit} at {moment}", value=f.value("from"), unit=f.unit, moment=f.moment("from_s"))
    if "to" not in f.flag.facts:
        return _(
            "{counter} {changed} at {at} and its final value is not known: counted up to {counted}, up "
            "to {run} may be missing. If you know the hours, add an adjustment.",
            counter=f.counter,
            changed=changed,
            at=f.at,
            counted=counted,
            run=f.run,
        )
    return _(
        "{counter} {changed} at {at} with a final value of {value}, which does not follow from "
        "{counted}: counted up to the latter only. Undo it and record it anew with the right value, "
        "or add an adjustment.",
        counter=f.counter,
        changed=changed,
        at=f.at,
        value=f.value("to"),
        counted=counted,
    )


def _conflict(f: _Facts) -> str:
    times = _("once") if f.figure("times") == 1 else _("{count} times", count=f.figure("times"))
    return _(
        "{counter} was sent {times} another value for an instant that has one, last at {moment}. The "
        "first value stays; the others are in the intake log. See whether two senders post this "
        "counter, or one sends wrong stamps; if the first value is the wrong one, mark that reading "
        "bad.",
        counter=f.counter,
        times=times,
        moment=f.moment("newest_s"),
    )


_WORDS: Mapping[Code, Callable[[_Facts], str]] = {
    Code.HELD: _held,
    Code.ERRATIC: _erratic,
    Code.FUTURE: lambda f: _(
        "{counter} posted a reading for {at}, {seconds} min after it was received. It is not "
        "counted. Set the clock of the sender by a time server.",
        counter=f.counter,
        at=f.at,
        seconds=f.flag.seconds // 60,
    ),
    Code.CLOCK: lambda f: _(
        "{counter}: at {at} the clock of its gateway was {off}. While it is off, readings are counted "
        "at the instant put right by that and keep the stamp they came with. Set the clock of the "
        "gateway by a time server.",
        counter=f.counter,
        at=f.at,
        off=_off(f),
    ),
    Code.CLOCK_RIGHT: lambda f: _(
        "{counter}: from {at} on its readings come with a clock that is right again; it was last "
        "{off}. Nothing is to be done.",
        counter=f.counter,
        at=f.at,
        off=_off(f),
    ),
    Code.SPIKE: lambda f: _(
        "{counter} showed a false value at {at}; at {moment} it went on from where it was. Nothing is lost.{again}",
        counter=f.counter,
        at=f.at,
        moment=f.moment("ended_s"),
        again="" if f.figure("by_hand") else _(" If it comes again, check wiring and register."),
    ),
    Code.RESET: lambda f: _(
        "{counter} fell from {first} to {last} {unit} between {moment} and {at}: taken as started again "
        "from 0, up to {run} may be missing. If it was exchanged, record the replacement; if hours "
        "are missing, add an adjustment.",
        counter=f.counter,
        first=f.value("from"),
        last=f.value("to"),
        unit=f.unit,
        moment=f.moment("from_s"),
        at=f.at,
        run=f.run,
    ),
    Code.GLITCH: lambda f: _(
        "{counter} seemed to start again at {at}, but at {moment} it went on from where it was. "
        "Nothing is lost.{again}",
        counter=f.counter,
        at=f.at,
        moment=f.moment("ended_s"),
        again="" if f.figure("by_hand") else _(_AGAIN),
    ),
    Code.REPLACEMENT: _replaced,
    Code.DECISION: lambda f: _(
        "{counter} has a decision for a reading at {moment}, but there is no reading at that second. "
        "Give the instant of the reading itself.",
        counter=f.counter,
        moment=f.moment("decided_s"),
    ),
    Code.SILENT: lambda f: _(
        "{counter} has not posted since {at}; expected within {hours} h. Hours are carried on at "
        "the recent rate and marked estimated. Check the gateway, or enter the counter by hand.",
        counter=f.counter,
        at=f.at,
        hours=f.figure("quiet_h"),
    ),
    Code.STANDING: lambda f: _(
        "{counter} posts but has not risen since {at}, while other pumps ran: the pump is standing, "
        "or its counter is dead. See whether the pump runs in automatic; if it does, the counter "
        "needs attention.",
        counter=f.counter,
        at=f.at,
    ),
    Code.SOURCES: lambda f: _(
        "{counter} that only checks ran {checked} and the one that counts {ran} from {first} to "
        "{last}: {run} apart. Read both at the pump; if the one that checks is right, make it "
        "the one that counts from the day on at which the other went wrong.",
        counter=f.counter,
        checked=hours_text(f.figure("checked_s")),
        ran=hours_text(f.figure("ran_s")),
        first=f.moment("from_s"),
        last=f.moment("until_s"),
        run=f.run,
    ),
    Code.CONFLICT: _conflict,
}


def figure_words(figure: CounterFigure) -> str:
    """What a counter shows, in its own counts first: "24 800", "145 880 (14 588 h)"."""
    return _counts_and_hours(figure, figure.value_milli)


def counter_due_words(figure: CounterFigure, running_seconds_left: int) -> str:
    """At what the counter shows something is due, in its own counts first; empty where that was before it started."""
    due = figure.after(running_seconds_left)
    return "" if due is None else _counts_and_hours(figure, due)


def since_words(since_seconds: int, interval_seconds: int | None) -> str:
    """Like "1 539 of 1 500 h", whole hours that have run; without an interval "1 539 h"."""
    since = number(since_seconds // 3600)
    return (
        f"{since}{NBSP}h"
        if not interval_seconds
        else _("{since} of {interval}\u00a0h", since=since, interval=number(interval_seconds // 3600))
    )


def counter_line(figure: CounterFigure | None, job: DueJob) -> str:
    """The one figure of hours of a job: "counter shows 24 800; since knife inspection 1 539 of 1 500 h; due at 24 761".

    Empty for a job that no hours make due, or where no counter counts.
    """
    left, since = job.running_seconds_left, job.since_seconds
    if figure is None or left is None or since is None:
        return ""
    shows = _("counter shows {figure}", figure=figure_words(figure))
    due = counter_due_words(figure, left)
    about = _("about ") if job.estimated else ""
    ran = _(
        "since {kind} {about}{since}",
        kind=inner(job.kind_name),
        about=about,
        since=since_words(since, job.interval_seconds),
    )
    return (
        _("{shows}; {ran}; due at {about}{due}", shows=shows, ran=ran, about=about, due=due)
        if due
        else f"{shows}; {ran}"
    )


@dataclass(frozen=True, slots=True)
class HoursField:
    """A field for the hours at which a job was done: what its counter showed, where one counts; else the subject's own."""

    label: str
    hint: str


def hours_field(figure: CounterFigure | None, job: DueJob, hours: RunningHours | None) -> HoursField | None:
    """None where no hours are counted. The hint says what the counter shows now, and what an empty field takes."""
    if hours is None:
        return None
    if figure is None:
        empty = _("Empty: as counted, {hours}\u00a0h now.", hours=number(hours.seconds // 3600))
        return HoursField(_("Running hours at close"), empty)
    line = counter_line(figure, job) or _("counter shows {figure}", figure=figure_words(figure))
    unit = figure.seconds_per_count
    typed = "" if unit == 3600 else _("Typed as it shows, in {unit}.", unit=unit_name(unit))
    empty = _("Empty: as counted.")
    hint = f"{line[:1].upper()}{line[1:]}. {typed} {empty}"
    return HoursField(_("Counter showed when done"), hint.replace("  ", " "))


def _counts_and_hours(figure: CounterFigure, value_milli: int) -> str:
    said = counts_words(value_milli)
    if figure.seconds_per_count == 3600:
        return said
    return f"{said} ({number(value_milli * figure.seconds_per_count // 3_600_000)}{NBSP}h)"

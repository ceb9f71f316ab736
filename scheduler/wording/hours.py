"""What the counters' flags and questions say to an engineer: which counter, what, what was expected, what to do."""

from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime

from scheduler.domain.due.jobs import DueJob
from scheduler.domain.hours.counter_figure import CounterFigure
from scheduler.domain.hours.ledger_values import Code, Flag
from scheduler.domain.hours.preview import ReadingFit, ReadingPreview, SlipKind
from scheduler.wording.figures import NBSP, count_words, inner, number, ship_moment

UNITS = {3600: "hours", 360: "tenths of an hour", 36: "hundredths of an hour", 60: "minutes", 1: "seconds"}
_AGAIN = " If it comes again, check its supply and wiring."


def unit_name(seconds_per_count: int) -> str:
    """What a counter counts: "hours", "minutes", "counts of 7 s"."""
    return UNITS.get(seconds_per_count, f"counts of {seconds_per_count} s")


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
        self.flag, self.counter, self._offset = flag, f"The counter of {position}", offset_minutes
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
        step, passed = "rose", hours_text(f.flag.at_s - f.figure("from_s"))
        why = f"that is {f.run} in {passed}, more than can have run"
    else:
        step, why = "fell", "it neither rolled over nor started again from 0"
    return (
        f"{f.counter} {step} from {f.value('from')} to {f.value('to')} {f.unit} at {f.at}: {why}. Nothing is counted "
        "from there on. Read the counter; then mark the reading bad, decide what the step counts, or record the "
        f"replacement.{_hint(f)}"
    )


def _hint(f: _Facts) -> str:
    if "as_per" in f.flag.facts:
        up, down = f.figure("as_per"), f.figure("per")
        sum_of = f"x {up // down}" if up % down == 0 else f"/ {down // up}" if down % up == 0 else f"x {up / down:g}"
        return (
            f" {f.value('to')} {sum_of} = {f.value('as_value')} would fit, as if it counted {unit_name(up)} now: if "
            "so, record the change of scale."
        )
    if "swapped" in f.flag.facts:
        return f" With its two 16-bit words swapped it would be {f.value('swapped')}, which fits: check the word order."
    return ""


def _erratic(f: _Facts) -> str:
    look = "Read it again" if f.figure("by_hand") else "Check register, word order and wiring"
    return (
        f"{f.counter} has shown {f.figure('values')} values that do not follow from each other, the latest at {f.at}. "
        f"Everything is held until a person decides. {look}, then decide the step."
    )


def _off(f: _Facts) -> str:
    return f"{abs(f.figure('skew_s')) // 60} min {'behind' if f.figure('skew_s') > 0 else 'ahead'}"


def _replaced(f: _Facts) -> str:
    changed = "changed its scale" if f.figure("rescaled") else "was exchanged"
    counted = f"{f.value('from')} {f.unit} at {f.moment('from_s')}"
    if "to" not in f.flag.facts:
        return (
            f"{f.counter} {changed} at {f.at} and its final value is not known: counted up to {counted}, up to "
            f"{f.run} may be missing. If you know the hours, add an adjustment."
        )
    return (
        f"{f.counter} {changed} at {f.at} with a final value of {f.value('to')}, which does not follow from "
        f"{counted}: counted up to the latter only. Undo it and record it anew with the right value, or add an "
        "adjustment."
    )


def _conflict(f: _Facts) -> str:
    times = "once" if f.figure("times") == 1 else f"{f.figure('times')} times"
    return (
        f"{f.counter} was sent {times} another value for an instant that has one, last at {f.moment('newest_s')}. "
        "The first value stays; the others are in the intake log. See whether two senders post this counter, or one "
        "sends wrong stamps; if the first value is the wrong one, mark that reading bad."
    )


_WORDS: Mapping[Code, Callable[[_Facts], str]] = {
    Code.HELD: _held,
    Code.ERRATIC: _erratic,
    Code.FUTURE: lambda f: (
        f"{f.counter} posted a reading for {f.at}, {f.flag.seconds // 60} min after it was received. It is not "
        "counted. Set the clock of the sender by a time server."
    ),
    Code.CLOCK: lambda f: (
        f"{f.counter}: at {f.at} the clock of its gateway was {_off(f)}. While it is off, readings are counted at "
        "the instant put right by that and keep the stamp they came with. Set the clock of the gateway by a time "
        "server."
    ),
    Code.CLOCK_RIGHT: lambda f: (
        f"{f.counter}: from {f.at} on its readings come with a clock that is right again; it was last {_off(f)}. "
        "Nothing is to be done."
    ),
    Code.SPIKE: lambda f: (
        f"{f.counter} showed a false value at {f.at}; at {f.moment('ended_s')} it went on from where it was. Nothing "
        f"is lost.{'' if f.figure('by_hand') else ' If it comes again, check wiring and register.'}"
    ),
    Code.RESET: lambda f: (
        f"{f.counter} fell from {f.value('from')} to {f.value('to')} {f.unit} between {f.moment('from_s')} and "
        f"{f.at}: taken as started again from 0, up to {f.run} may be missing. If it was exchanged, record the "
        "replacement; if hours are missing, add an adjustment."
    ),
    Code.GLITCH: lambda f: (
        f"{f.counter} seemed to start again at {f.at}, but at {f.moment('ended_s')} it went on from where it was. "
        f"Nothing is lost.{'' if f.figure('by_hand') else _AGAIN}"
    ),
    Code.REPLACEMENT: _replaced,
    Code.DECISION: lambda f: (
        f"{f.counter} has a decision for a reading at {f.moment('decided_s')}, but there is no reading at that "
        "second. Give the instant of the reading itself."
    ),
    Code.SILENT: lambda f: (
        f"{f.counter} has not posted since {f.at}; expected within {f.figure('quiet_h')} h. Hours are carried on at "
        "the recent rate and marked estimated. Check the gateway, or enter the counter by hand."
    ),
    Code.STANDING: lambda f: (
        f"{f.counter} posts but has not risen since {f.at}, while other pumps ran: the pump is standing, or its "
        "counter is dead. See whether the pump runs in automatic; if it does, the counter needs attention."
    ),
    Code.SOURCES: lambda f: (
        f"{f.counter} that only checks ran {hours_text(f.figure('checked_s'))} and the one that counts "
        f"{hours_text(f.figure('ran_s'))} from {f.moment('from_s')} to {f.moment('until_s')}: {f.run} apart. Read "
        "both at the pump; if the one that checks is right, make it the one that counts from the day on at which "
        "the other went wrong."
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
    return f"{since}{NBSP}h" if not interval_seconds else f"{since} of {number(interval_seconds // 3600)}{NBSP}h"


def counter_line(figure: CounterFigure | None, job: DueJob) -> str:
    """The one figure of hours of a job: "counter shows 24 800; since knife inspection 1 539 of 1 500 h; due at 24 761".

    Empty for a job that no hours make due, or where no counter counts.
    """
    left, since = job.running_seconds_left, job.since_seconds
    if figure is None or left is None or since is None:
        return ""
    shows = f"counter shows {figure_words(figure)}"
    due = counter_due_words(figure, left)
    about = "about " if job.estimated else ""
    ran = f"since {inner(job.kind_name)} {about}{since_words(since, job.interval_seconds)}"
    return f"{shows}; {ran}; due at {about}{due}" if due else f"{shows}; {ran}"


def _counts_and_hours(figure: CounterFigure, value_milli: int) -> str:
    said = counts_words(value_milli)
    if figure.seconds_per_count == 3600:
        return said
    return f"{said} ({number(value_milli * figure.seconds_per_count // 3_600_000)}{NBSP}h)"


def preview_words(one: ReadingPreview, seconds_per_count: int) -> str:
    """How a value that is not stored yet fits, with what was likely meant where it does not."""
    said = _PREVIEWS[one.fit]
    if one.fit is ReadingFit.REFUSED:
        return one.why
    if one.fit is ReadingFit.CONFLICT:
        return said.format(stands=counts_words(one.stands or 0))
    if one.fit is ReadingFit.UNUSUAL:
        usual_s = one.elapsed_s * one.usual_s_per_day / 86_400
        said = said.format(more=hours_text(round((one.credit_s or 0) - usual_s)))
    slip = one.slip
    if slip is None:
        return said
    if slip.kind is SlipKind.MISSING:  # which one is not known: no figure is offered to be copied
        return f"{said} {_SLIPS[slip.kind]}"
    meant = f"{counts_words(slip.milli)} would be {hours_text(slip.credit_s)}."
    return f"{said} {_SLIPS[slip.kind].format(unit=unit_name(seconds_per_count))} {meant}"


def preview_pick(fit: ReadingFit) -> str:
    """What a person says to have a value stored that does not fit; empty where it is stored anyway, or cannot be."""
    return _PICKS.get(fit, "")


def previews_words(previews: Sequence[ReadingPreview], unread: int) -> str:
    """All of them in a sentence: how many do not fit, how many run far more than usual.

    Args:
        unread: figures that could not be read, not among the previews.
    """
    many = len(previews) + unread
    odd = sum(one.fit is ReadingFit.UNUSUAL for one in previews)
    bad = unread + sum(not one.taken for one in previews) - odd
    if not bad and not odd:
        return "The reading fits." if many == 1 else f"All {count_words(many, '', '').strip().lower()} fit."
    parts = []
    if bad:
        of = count_words(many, "", "").strip().lower()
        if many == 1:
            parts.append("the reading does not fit")
        elif bad == many:
            parts.append(f"none of {of} fits")
        else:
            parts.append(f"{count_words(bad, 'of', 'of').lower()} {of} {'does' if bad == 1 else 'do'} not fit")
    if odd:
        parts.append(f"{count_words(odd, 'is', 'are').lower()} far more than usual")
    said = ", ".join(parts)
    return f"{said[:1].upper()}{said[1:]}."


_SLIPS: Mapping[SlipKind, str] = {
    SlipKind.DIGIT: "One digit misread?",
    SlipKind.SWAPPED: "Two digits changed round?",
    SlipKind.MISSING: "A digit missing?",
    SlipKind.EXTRA: "A digit too many?",
    SlipKind.UNIT: "Typed in hours? It counts {unit}:",
}
_PREVIEWS: Mapping[ReadingFit, str] = {
    ReadingFit.FITS: "Fits.",
    ReadingFit.FIRST: "The first reading: counted from here.",
    ReadingFit.STEP_BACK: "One step back: stored, nothing counted.",
    ReadingFit.ROLLED_OVER: "Rolled over: counted on.",
    ReadingFit.KNOWN: "Known already, the same value.",
    ReadingFit.UNUSUAL: "{more} more than usual in that time.",
    ReadingFit.TOO_MUCH: "More than can have run since.",
    ReadingFit.LESS: "Less than before.",
    ReadingFit.STARTED_AGAIN: "Far less than before, as if it had started again from 0.",
    ReadingFit.FOLLOWS_HELD: "Follows from a reading that is held; Hours asks about that one first.",
    ReadingFit.ERRATIC: "Follows from nothing read before; much is held already.",
    ReadingFit.SPOILS_LATER: "What was read later does not follow from it.",
    ReadingFit.CONFLICT: "{stands} is stored for this minute and stays. Read it again now, and give the time.",
    ReadingFit.REFUSED: "",
}
_HOLD = "Store it all the same; it is held, and Hours asks what happened"
_PICKS: Mapping[ReadingFit, str] = {
    ReadingFit.UNUSUAL: "It did run so",
    ReadingFit.TOO_MUCH: _HOLD,
    ReadingFit.LESS: _HOLD,
    ReadingFit.ERRATIC: _HOLD,
    ReadingFit.FOLLOWS_HELD: _HOLD,
    ReadingFit.STARTED_AGAIN: "It did start again",
    ReadingFit.SPOILS_LATER: "Store it all the same; the later ones are held, and Hours asks",
}

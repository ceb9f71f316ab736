"""What the ledger's flags say to an engineer: what, which one, what was expected, what to do."""

from datetime import UTC, datetime

from scheduler.domain.hours.ledger_hints import hint
from scheduler.domain.hours.ledger_values import Code, Flag, Good, LedgerVerdict, Setup


def minute_text(at_s: int) -> str:
    """The instant as a person reads it, to the minute, in UTC.

    >>> instant_text(1_790_000_000)
    '2026-09-21 14:13 UTC'
    """
    return f"{datetime.fromtimestamp(at_s, UTC):%Y-%m-%d %H:%M} UTC"


def hours_text(seconds: int) -> str:
    """Hours to a tenth, without a needless nought.

    >>> hours_text(75600), hours_text(360)
    ('21 h', '0.1 h')
    """
    return f"{round(seconds / 3600, 1):g} h" if abs(seconds) < 3_600_000_000 else f"{seconds // 3600} h"


def counts_text(value_milli: int) -> str:
    """Counts as the counter shows them.

    >>> counts_text(12_000_000), counts_text(215_600)
    ('12000', '215.6')
    """
    whole, rest = divmod(value_milli, 1000)
    return f"{whole}.{rest:03d}".rstrip("0") if rest else str(whole)


def held_says(setup: Setup, good: Good, at_s: int, value_milli: int, rose: bool, *, by_hand: bool = False) -> Flag:
    """A reading that cannot follow from the last good one. by_hand: a person read it and typed it in."""
    change_s = setup.seconds(value_milli) - setup.seconds(good.value_milli)
    if rose:
        what = f"rose from {counts_text(good.value_milli)} to {counts_text(value_milli)}"
        how = f"that is {hours_text(change_s)} in {hours_text(at_s - good.at_s)}, more than can have run"
    else:
        what = f"fell from {counts_text(good.value_milli)} to {counts_text(value_milli)}"
        how = "it neither rolled over nor started again from 0"
    says = (
        f"{setup.name} {what} at {minute_text(at_s)}: {how}. Nothing is counted from there on. "
        "Read the counter; then mark the reading bad, decide what the step counts, or record the replacement."
        + hint(setup, good, at_s, value_milli, by_hand=by_hand)
    )
    return Flag(Code.HELD, at_s, says, abs(change_s))


def erratic(setup: Setup, at_s: int, runs: int, *, by_hand: bool = False) -> Flag:
    """Too many different held values: only a person can tell which is right."""
    look = "Read it again" if by_hand else "Check register, word order and wiring"
    says = (
        f"{setup.name} has shown {runs} values that do not follow from each other, the latest at {minute_text(at_s)}. "
        f"Everything is held until a person decides. {look}, then decide the step."
    )
    return Flag(Code.ERRATIC, at_s, says, 0)


def future(setup: Setup, at_s: int, received_s: int) -> Flag:
    """A reading from a time that had not come when it was received."""
    ahead_s = at_s - received_s
    says = (
        f"{setup.name} posted a reading for {minute_text(at_s)}, {ahead_s // 60} min after the instant it was received. "
        "It is not counted. Set the clock of the sender to UTC."
    )
    return Flag(Code.FUTURE, at_s, says, ahead_s)


def minute_clock(setup: Setup, at_s: int, skew_s: int) -> Flag:
    """The sender's clock is off; what it posts is counted at the instant put right."""
    off = f"{abs(skew_s) // 60} min {'behind' if skew_s > 0 else 'ahead'}"
    says = (
        f"{setup.name}: at {minute_text(at_s)} the clock of its gateway was {off}. While it is off, readings are counted at "
        "the instant put right by that and keep the stamp they came with. Set the clock of the gateway to UTC."
    )
    return Flag(Code.CLOCK, at_s, says, abs(skew_s))


def clock_right(setup: Setup, at_s: int, was_s: int) -> Flag:
    """The sender's clock is right again; nobody has to say so."""
    off = f"{abs(was_s) // 60} min {'behind' if was_s > 0 else 'ahead'}"
    says = (
        f"{setup.name}: from {minute_text(at_s)} on its readings come with a clock that is right again; it was last {off}. "
        "Nothing is to be done."
    )
    return Flag(Code.CLOCK_RIGHT, at_s, says, 0)


def spike(setup: Setup, flag: Flag, at_s: int, *, by_hand: bool = False) -> Flag:
    """What was held turned out to be false: the counter goes on from where it was."""
    says = (
        f"{setup.name} showed a false value at {minute_text(flag.at_s)}; at {minute_text(at_s)} it went on from where it "
        f"was. Nothing is lost.{'' if by_hand else ' If it comes again, check wiring and register.'}"
    )
    return Flag(Code.SPIKE, flag.at_s, says, flag.seconds)


def reset(setup: Setup, good: Good, at_s: int, value_milli: int, missing_s: int) -> Flag:
    """The counter started again from 0."""
    says = (
        f"{setup.name} fell from {counts_text(good.value_milli)} to {counts_text(value_milli)} between "
        f"{minute_text(good.at_s)} and {minute_text(at_s)}: taken as started again from 0, up to {hours_text(missing_s)} "
        "may be missing. If it was exchanged, record the replacement; if hours are missing, add an adjustment."
    )
    return Flag(Code.RESET, at_s, says, missing_s)


def glitch(setup: Setup, flag: Flag, at_s: int, *, by_hand: bool = False) -> Flag:
    """A drop that was not one: the counter goes on from where it was."""
    says = (
        f"{setup.name} seemed to start again at {minute_text(flag.at_s)}, but at {minute_text(at_s)} it went on from where "
        f"it was. Nothing is lost.{'' if by_hand else ' If it comes again, check its supply and wiring.'}"
    )
    return Flag(Code.GLITCH, flag.at_s, says, 0)


def _changed(verdict: LedgerVerdict) -> str:
    return "was exchanged" if verdict is LedgerVerdict.REPLACEMENT else "changed its scale"


def replaced_unknown(setup: Setup, good: Good, at_s: int, verdict: LedgerVerdict) -> Flag:
    """Exchanged or set to another scale, and nobody wrote down what the old one showed."""
    gap_s = at_s - good.at_s
    says = (
        f"{setup.name} {_changed(verdict)} at {minute_text(at_s)} and its final value is not known: counted up to "
        f"{counts_text(good.value_milli)} at {minute_text(good.at_s)}, up to {hours_text(gap_s)} may be missing. "
        "If you know the hours, add an adjustment."
    )
    return Flag(Code.REPLACEMENT, at_s, says, gap_s)


def replaced_misfit(setup: Setup, good: Good, at_s: int, final_milli: int, verdict: LedgerVerdict) -> Flag:
    """Exchanged or set to another scale, and the final value cannot follow from the last good reading."""
    says = (
        f"{setup.name} {_changed(verdict)} at {minute_text(at_s)} with a final value of {counts_text(final_milli)}, which does not "
        f"follow from {counts_text(good.value_milli)} at {minute_text(good.at_s)}: counted up to the latter only. "
        "Undo it and record it anew with the right value, or add an adjustment."
    )
    return Flag(Code.REPLACEMENT, at_s, says, at_s - good.at_s)


def word_without_reading(setup: Setup, word_at_s: int, at_s: int) -> Flag:
    """A person decided about a reading that is not there."""
    says = (
        f"{setup.name} has a decision for a reading at {minute_text(word_at_s)}, but there is no reading at that second. "
        "Give the instant of the reading itself."
    )
    return Flag(Code.DECISION, at_s, says, 0)

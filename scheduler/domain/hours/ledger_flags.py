"""The ledger's flags as facts: values in thousandths of a count, `per` in seconds a count, instants in epoch seconds."""

from scheduler.domain.hours.ledger_hints import hint
from scheduler.domain.hours.ledger_values import Code, Flag, Good, LedgerVerdict, Setup


def held(setup: Setup, good: Good, at_s: int, value_milli: int, *, by_hand: bool = False) -> Flag:
    """A reading that cannot follow from the last good one. by_hand: a person read it and typed it in."""
    change_s = setup.seconds(value_milli) - setup.seconds(good.value_milli)
    facts = {**_step(setup, good, value_milli), "by_hand": by_hand}
    return Flag(Code.HELD, at_s, abs(change_s), facts | hint(setup, good, at_s, value_milli, by_hand=by_hand))


def erratic(at_s: int, values: int, *, by_hand: bool = False) -> Flag:
    """Too many different held values: only a person can tell which is right."""
    return Flag(Code.ERRATIC, at_s, 0, {"values": values, "by_hand": by_hand})


def future(at_s: int, received_s: int) -> Flag:
    """A reading from a time that had not come when it was received."""
    return Flag(Code.FUTURE, at_s, at_s - received_s, {})


def clock_off(at_s: int, skew_s: int) -> Flag:
    """The sender's clock is off; what it posts is counted at the instant put right. skew_s: seconds behind, negative ahead."""
    return Flag(Code.CLOCK, at_s, abs(skew_s), {"skew_s": skew_s})


def clock_right(at_s: int, was_s: int) -> Flag:
    """The sender's clock is right again; nobody has to say so."""
    return Flag(Code.CLOCK_RIGHT, at_s, 0, {"skew_s": was_s})


def spike(flag: Flag, ended_s: int, *, by_hand: bool = False) -> Flag:
    """What was held turned out to be false: the counter goes on from where it was."""
    return Flag(Code.SPIKE, flag.at_s, flag.seconds, {"ended_s": ended_s, "by_hand": by_hand})


def reset(setup: Setup, good: Good, at_s: int, value_milli: int, missing_s: int) -> Flag:
    """The counter started again from 0."""
    return Flag(Code.RESET, at_s, missing_s, _step(setup, good, value_milli))


def glitch(flag: Flag, ended_s: int, *, by_hand: bool = False) -> Flag:
    """A drop that was not one: the counter goes on from where it was."""
    return Flag(Code.GLITCH, flag.at_s, 0, {"ended_s": ended_s, "by_hand": by_hand})


def replaced(setup: Setup, good: Good, at_s: int, final_milli: int | None, verdict: LedgerVerdict) -> Flag:
    """Exchanged or set to another scale, and the final value is not known (none) or cannot follow from the last good reading."""
    rescaled = verdict is LedgerVerdict.RESCALE
    return Flag(Code.REPLACEMENT, at_s, at_s - good.at_s, {**_step(setup, good, final_milli), "rescaled": rescaled})


def no_reading(decided_s: int, at_s: int) -> Flag:
    """A person decided about a reading that is not there."""
    return Flag(Code.DECISION, at_s, 0, {"decided_s": decided_s})


def _step(setup: Setup, good: Good, to_milli: int | None) -> dict[str, int]:
    to = {} if to_milli is None else {"to": to_milli}
    return {"from": good.value_milli, "from_s": good.at_s, **to, "per": setup.seconds_per_count}

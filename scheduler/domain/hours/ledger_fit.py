"""How a counter's value follows from another: rise against time, tolerance, anchors (R5, R8, R9).

A value follows from another when the rise between them fits the time between them. Tolerance of a stretch: the counter's
resolution, 0.05 h, and 0.1 % of the stretch (common practice, no source).
"""

from scheduler.domain.hours.ledger_values import Good, LedgerVerdict, Setup

DAY_S = 86_400
SLACK_S = 180
"""0.05 h."""
AHEAD_S = 300
"""A sender's clock may be this much ahead of ours; further, and the reading is from the future."""

Fit = tuple[LedgerVerdict, int]


def tolerance_s(setup: Setup, stretch_s: int) -> int:
    """T of a stretch of time, seconds."""
    return setup.resolution_seconds + SLACK_S + stretch_s // 1000


def follows(setup: Setup, from_at_s: int, from_milli: int, at_s: int, value_milli: int) -> Fit | None:
    """How the second value follows from the first (verdict, seconds credited), or none. Rules R5, R8, R9."""
    rise = setup.seconds(value_milli) - setup.seconds(from_milli)
    elapsed = at_s - from_at_s
    most = elapsed + tolerance_s(setup, elapsed)
    if rise >= 0:
        return (LedgerVerdict.CREDITED, rise) if rise <= most else None
    if -rise <= min(setup.resolution_seconds, 3600):
        return LedgerVerdict.JITTER, 0
    modulus = setup.modulus_seconds
    if modulus is not None and 0 <= rise + modulus <= most:
        return LedgerVerdict.ROLLOVER, rise + modulus
    return None


def allowance_s(setup: Setup, good: Good, at_s: int) -> int:
    """Seconds that can still be credited at an instant since the anchor: elapsed and one tolerance. Rule R5."""
    elapsed = at_s - good.anchor_at_s
    return max(0, good.anchor_run_s + elapsed + tolerance_s(setup, elapsed) - good.run_s)


def rolled(good: Good, at_s: int) -> Good:
    """The same with its anchor moved up to the next one, if that is 24 h back."""
    if at_s - good.next_at_s < DAY_S:
        return good
    return good._replace(anchor_at_s=good.next_at_s, anchor_run_s=good.next_run_s)


def rise_fits(setup: Setup, good: Good, at_s: int, value_milli: int) -> Fit | None:
    """How a reading follows from the last good one, within what the anchor allows, or none."""
    fit = follows(setup, good.at_s, good.value_milli, at_s, value_milli)
    return fit if fit is not None and fit[1] <= allowance_s(setup, good, at_s) else None


def advanced(good: Good, at_s: int, value_milli: int, credit_s: int) -> Good:
    """The count after a reading was credited.

    Only the first reading of a UTC day becomes the next anchor, so that anchors fall on the same readings again soon after
    a day that was posted late.
    """
    run_s = good.run_s + credit_s
    due = at_s - good.next_at_s >= DAY_S and at_s // DAY_S != good.at_s // DAY_S
    next_at, next_run = (at_s, run_s) if due else (good.next_at_s, good.next_run_s)
    rose_s = at_s if credit_s > 0 else good.rose_s
    return Good(at_s, value_milli, run_s, good.anchor_at_s, good.anchor_run_s, next_at, next_run, rose_s)


def anchored(at_s: int, value_milli: int, run_s: int, rose_s: int) -> Good:
    """The count started from a value that stands by itself: baseline, new counter, a person's decision."""
    return Good(at_s, value_milli, run_s, at_s, run_s, at_s, run_s, rose_s)

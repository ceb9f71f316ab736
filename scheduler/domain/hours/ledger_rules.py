"""The rules of the ledger, item by item (R4 to R17). `ledger.py` is the door to them, `ledger_fit.py` has the sums."""

from collections.abc import Collection, Iterable, Iterator

from scheduler.domain.hours import ledger_flags
from scheduler.domain.hours.ledger_fit import (
    AHEAD_S,
    DAY_S,
    SLACK_S,
    Fit,
    advanced,
    allowance_s,
    anchored,
    follows,
    rise_fits,
    rolled,
    tolerance_s,
)
from scheduler.domain.hours.ledger_hints import follows_otherwise
from scheduler.domain.hours.ledger_values import (
    RANK,
    Adjustment,
    BadReading,
    Code,
    Entry,
    Flag,
    Good,
    Item,
    LedgerState,
    LedgerVerdict,
    OpeningBalance,
    Reading,
    Replacement,
    Rescale,
    Setup,
    StepDecision,
    VerdictReason,
)

MOST_LINES = 8
"""More runs of held values than this, none following from another, and only a person can end it."""
MOST_PENDING = 200
"""Entries that may still change. Past that the oldest held ones stay held, which changes no hours, and a reset that no
rise has confirmed is taken as confirmed."""


class Fold:
    """A fold under way; lives only inside one call of `ledger.fold`."""

    def __init__(self, setup: Setup, state: LedgerState, by_hand: Collection[int] = frozenset()) -> None:
        self.setup, self.scale = setup.scaled(state.scale), state.scale
        self.skew_s = state.skew_s
        self.last_s, self.last_rank, self.read_s = state.last_s, state.last_rank, state.read_s
        self.good, self.before = state.good, state.before
        self.lines = list(state.lines)
        self.word, self.ahead, self.given_s = state.word, state.ahead, state.given_s
        self.pending = list(state.pending)
        self.open = list(state.open)
        self.nought, self.by_hand = state.nought, by_hand
        self.entries: list[Entry] = []
        self.flags: list[Flag] = []

    def state(self) -> LedgerState:
        """What to remember."""
        open_now = tuple(self.pending), tuple(self.open)
        rests = self.good, self.before, tuple(self.lines), self.word, self.ahead, self.given_s
        return LedgerState(
            self.last_s, self.last_rank, self.read_s, *rests, *open_now, self.skew_s, self.scale, self.nought
        )

    def run(self, items: Iterable[Item]) -> None:
        """Take all items, in order."""
        rest = iter(items)
        while True:
            calm = not (self.lines or self.before or self.pending or self.open or self.word or self.skew_s)
            item = self._plain(self.good, rest) if calm and self.good is not None else next(rest, None)
            if item is None:
                return
            self.take(item)

    def _plain(self, good: Good, items: Iterator[Item]) -> Item | None:
        """Credit readings while nothing out of the ordinary comes; return the first item that is, none at the end.

        Rule R5 written out once more for speed; `take` would do the same.
        """
        per_count, slack = self.setup.seconds_per_count, self.setup.resolution_seconds + SLACK_S
        at_0, milli_0, run, anchor_at, anchor_run, next_at, next_run, rose = good
        seconds_0 = milli_0 * per_count // 1000
        last = -1 if self.last_s is None else self.last_s
        add, credited, plain = self.entries.append, LedgerVerdict.CREDITED, VerdictReason.PLAIN
        taken = False
        odd: Item | None = None
        for item in items:
            if item.__class__ is not Reading:
                odd = item
                break
            at, milli, received, skew = item
            seconds = milli * per_count // 1000
            elapsed, rise = at - at_0, seconds - seconds_0
            if skew or at <= last or at > received + AHEAD_S or not 0 <= rise <= elapsed + slack + elapsed // 1000:
                odd = item
                break
            far = at - next_at >= DAY_S
            since, counted = (next_at, next_run) if far else (anchor_at, anchor_run)
            elapsed = at - since
            if run + rise - counted > elapsed + slack + elapsed // 1000:
                odd = item
                break
            run += rise
            if far:
                anchor_at, anchor_run = next_at, next_run
                if at // DAY_S != at_0 // DAY_S:
                    next_at, next_run = at, run
            if rise:
                rose = at
            at_0, seconds_0, milli_0, last, taken = at, seconds, milli, at, True
            add(Entry(at, rise, run, credited, plain))
        if taken:
            self.good = Good(at_0, milli_0, run, anchor_at, anchor_run, next_at, next_run, rose)
            self.last_s = self.read_s = last
            self.last_rank, self.ahead = RANK[Reading], False
        return odd

    def take(self, item: Item) -> None:
        """Take one item.

        Raises:
            ValueError: it belongs before one already taken.
        """
        rank = RANK[type(item)]
        if self.last_s is not None and (item.at_s, rank) < (self.last_s, self.last_rank):
            raise ValueError(
                f"{self.setup.name}: an item for second {item.at_s} came after one for {self.last_s}; derive again from a "
                "checkpoint before it"
            )
        if item.at_s != self.last_s and not self._undecided():
            self._settle_all()
        self.last_s, self.last_rank = item.at_s, rank
        if self.word is not None and item.at_s > self.word[0]:
            self.open.append(ledger_flags.no_reading(self.word[0], item.at_s))
            self.word = None
        match item:
            case Reading():
                if item.at_s != self.read_s:  # the first value at an instant stays (R2)
                    self.read_s = item.at_s
                    self._look_at_clock(item.at_s, item.skew_s)
                    self._read(item.at_s, item.value_milli, item.received_s)
            case BadReading():
                self.word = (item.at_s, None)
            case StepDecision():
                self.word = (item.at_s, item.credit_s)
            case OpeningBalance():
                self._give(item.at_s, item.seconds, LedgerVerdict.OPENING)
            case Adjustment():
                self._give(item.at_s, item.seconds, LedgerVerdict.ADJUSTMENT)
            case Replacement():
                self._replace(item, LedgerVerdict.REPLACEMENT)
            case Rescale():
                self._replace(item, LedgerVerdict.RESCALE)

    def _look_at_clock(self, at_s: int, skew_s: int) -> None:
        """One flag for a run of readings whose sender's clock is off by about the same, one when it is right again (R12)."""
        if abs(skew_s - self.skew_s) > AHEAD_S:
            was = self.skew_s
            self.open.append(ledger_flags.clock_off(at_s, skew_s) if skew_s else ledger_flags.clock_right(at_s, was))
            self.skew_s = skew_s

    def _read(self, at_s: int, milli: int, received_s: int) -> None:
        if self.word is not None:
            (_, credit_s), self.word = self.word, None
            if credit_s is None:
                self._put(Entry(at_s, 0, None, LedgerVerdict.GLITCH, VerdictReason.MARKED_BAD))
            else:
                self._decided(at_s, milli, credit_s)
            return
        if at_s > received_s + AHEAD_S:
            if not self.ahead:  # one flag for a run of them
                self.open.append(ledger_flags.future(at_s, received_s))
            self.ahead = True
            self._put(Entry(at_s, 0, None, LedgerVerdict.HELD, VerdictReason.FUTURE))
            return
        self.ahead = False
        if self.good is None:
            self.good = anchored(at_s, milli, 0, at_s)
            self._put(Entry(at_s, 0, 0, LedgerVerdict.BASELINE, VerdictReason.PLAIN))
        elif self._follows_held(at_s, milli):
            self._put(Entry(at_s, 0, None, LedgerVerdict.HELD, VerdictReason.FOLLOWS_HELD))
        elif len(self.lines) >= MOST_LINES:
            self._put(Entry(at_s, 0, None, LedgerVerdict.HELD, VerdictReason.ERRATIC))
        else:
            self._weigh(rolled(self.good, at_s), at_s, milli)

    def _weigh(self, good: Good, at_s: int, milli: int) -> None:
        """A reading that follows from nothing held: credited, back to before a zero or a reset, a reset, or held."""
        if self.nought is not None:
            before = rolled(self.nought, at_s)
            fit = rise_fits(self.setup, before, at_s, milli)
            if fit is not None:  # R10: after a drop and a zero it goes on from the drop: the zero was false
                self._end_spikes(at_s)
                self._end_glitch(at_s, after_s=before.at_s)
                if fit[1] > 0:
                    self._settle()
                self._accept(before, at_s, milli, fit)
                return
        fit = rise_fits(self.setup, good, at_s, milli)
        if fit is not None:
            self._end_spikes(at_s)
            if fit[1] > 0:  # a rise confirms a reset (R10); the same value again may be the same fault again
                self._settle()
            self._accept(good, at_s, milli, fit)
            return
        if self.before is not None:
            before = rolled(self.before, at_s)
            fit = rise_fits(self.setup, before, at_s, milli)
            if fit is not None:
                self._end_spikes(at_s)
                self._end_glitch(at_s)
                self._accept(before, at_s, milli, fit)
                return
        elapsed, value_s = at_s - good.at_s, self.setup.seconds(milli)
        rose = milli >= good.value_milli
        if not rose and value_s <= elapsed + tolerance_s(self.setup, elapsed):
            credit_s = min(value_s, allowance_s(self.setup, good, at_s))
            self.open.append(ledger_flags.reset(self.setup, good, at_s, milli, max(0, elapsed - credit_s)))
            if self.before is not None and milli == 0 and good.value_milli > 0:
                self.nought = self.nought or good
            self.before = self.before or good
            self.good = advanced(good, at_s, milli, credit_s)
            self._put(Entry(at_s, credit_s, self.good.run_s, LedgerVerdict.RESET, VerdictReason.LOWER_BOUND))
            return
        self.lines.append((at_s, milli))
        by_hand = at_s in self.by_hand
        self.open.append(ledger_flags.held(self.setup, good, at_s, milli, by_hand=by_hand))
        if len(self.lines) == MOST_LINES:
            self.open.append(ledger_flags.erratic(at_s, MOST_LINES, by_hand=by_hand))
        self._put(
            Entry(at_s, 0, None, LedgerVerdict.HELD, VerdictReason.IMPOSSIBLE if rose else VerdictReason.DECREASE)
        )

    def _follows_held(self, at_s: int, milli: int) -> bool:
        """True when it follows from a held reading, even if it would now fit the last good one too (R7); also on the other
        scale on which the held one would follow from that: a counter that counts minutes from now on asks once."""
        for n, (line_at, line_milli) in enumerate(self.lines):
            fit = follows(self.setup, line_at, line_milli, at_s, milli)
            if fit is None and self.good is not None:
                fit = follows_otherwise(self.setup, self.good, (line_at, line_milli), at_s, milli)
            if fit is not None:
                self.lines[n] = (at_s, line_milli if fit[0] is LedgerVerdict.JITTER else milli)
                return True
        return False

    def _accept(self, good: Good, at_s: int, milli: int, fit: Fit) -> None:
        verdict, credit_s = fit
        if verdict is LedgerVerdict.JITTER:  # the value stays, and is seen to stand at this instant (R8)
            self.good = good._replace(at_s=at_s)
        else:
            self.good = advanced(good, at_s, milli, credit_s)
        self._put(Entry(at_s, credit_s, self.good.run_s, verdict, VerdictReason.PLAIN))

    def _decided(self, at_s: int, milli: int, credit_s: int) -> None:
        """A person said what the step counts: what is pending stands as it is, the count goes on from here (R17)."""
        self._settle()
        run_s = credit_s + (self.good.run_s if self.good else 0)
        self.good = anchored(at_s, milli, run_s, at_s)
        self._put(Entry(at_s, credit_s, run_s, LedgerVerdict.CREDITED, VerdictReason.DECIDED))

    def _give(self, at_s: int, seconds: int, verdict: LedgerVerdict) -> None:
        self.given_s += seconds
        self._put(Entry(at_s, seconds, None, verdict, VerdictReason.PLAIN))

    def _replace(self, item: Replacement | Rescale, verdict: LedgerVerdict) -> None:
        """Close the old counter or scale at its final value as if it were a reading, go on from the new one (R14, R15)."""
        at_s, final, good = item.at_s, item.old_final_milli, self.good
        if good is None:
            self._go_on(item, 0, at_s)
            self._put(Entry(at_s, 0, 0, verdict, VerdictReason.PLAIN))
            return
        credit_s, why = 0, VerdictReason.PLAIN
        if final is None:
            why = VerdictReason.FINAL_UNKNOWN
            self.open.append(ledger_flags.replaced(self.setup, good, at_s, None, verdict))
        else:
            fit = None
            if not self._follows_held(at_s, final) and len(self.lines) < MOST_LINES:
                fit = None if self.nought is None else rise_fits(self.setup, rolled(self.nought, at_s), at_s, final)
                if fit is not None and self.nought is not None:  # as for a reading (R10)
                    good = self.nought
                    self._end_glitch(at_s, after_s=good.at_s)
                if fit is None:
                    fit = rise_fits(self.setup, rolled(good, at_s), at_s, final)
                if fit is None and self.before is not None:
                    fit = rise_fits(self.setup, rolled(self.before, at_s), at_s, final)
                    if fit is not None:
                        good = self.before
                        self._end_glitch(at_s)
            if fit is None:
                why = VerdictReason.FINAL_DOES_NOT_FIT
                self.open.append(ledger_flags.replaced(self.setup, good, at_s, final, verdict))
            else:
                self._end_spikes(at_s)
                credit_s = fit[1]
        self._settle()
        run_s = good.run_s + credit_s
        self._go_on(item, run_s, at_s if credit_s > 0 else good.rose_s)
        self._put(Entry(at_s, credit_s, run_s, verdict, why))

    def _go_on(self, item: Replacement | Rescale, run_s: int, rose_s: int) -> None:
        if isinstance(item, Rescale):
            self.scale = item.scale
            self.setup = self.setup.scaled(item.scale)
        self.good = anchored(item.at_s, item.new_first_milli, run_s, rose_s)

    def _undecided(self) -> bool:
        return bool(self.lines) or self.before is not None

    def _put(self, entry: Entry) -> None:
        """Every item ends here. An instant is settled as a whole: what an event put down waits for a reading there."""
        self.pending.append(entry)
        if self.last_rank != RANK[Reading]:
            return
        if not self._undecided():
            self._settle_all()
        elif len(self.pending) > MOST_PENDING:
            self._let_go()

    def _let_go(self) -> None:
        """Too many entries may still change: a reset is confirmed, else the oldest held instant stays held."""
        if self.before is not None:
            lines = self.lines
            self._settle()
            self.lines = lines
            return
        oldest_s = self.pending[0].at_s
        while self.pending and self.pending[0].at_s == oldest_s:
            self.entries.append(self.pending.pop(0))
        while self.open and self.open[0].at_s <= oldest_s:
            self.flags.append(self.open.pop(0))

    def _settle(self) -> None:
        """What is pending stands as it is: a reset is confirmed, held readings stay held and are looked at no more."""
        self.lines, self.before, self.nought = [], None, None
        if self.last_rank == RANK[Reading]:
            self._settle_all()
            return
        now_s = self.last_s
        pending = [entry for entry in self.pending if entry.at_s == now_s]
        flags = [flag for flag in self.open if flag.at_s == now_s]
        self.entries += self.pending[: len(self.pending) - len(pending)]
        self.flags += self.open[: len(self.open) - len(flags)]
        self.pending, self.open = pending, flags

    def _settle_all(self) -> None:
        self.entries += self.pending
        self.flags += self.open
        self.pending, self.open = [], []

    def _end_spikes(self, at_s: int) -> None:
        """A reading follows from the good one and from nothing held: what was held was false (R7)."""
        if not self.lines:
            return
        self.lines = []
        if not any(flag.code is Code.HELD for flag in self.open):  # the first ones stand already
            first = Flag(Code.HELD, self.pending[0].at_s if self.pending else at_s, 0, {})
            self.open.append(first)
        self.pending = [
            e._replace(verdict=LedgerVerdict.SPIKE)
            if e.verdict is LedgerVerdict.HELD and e.reason != VerdictReason.FUTURE
            else e
            for e in self.pending
        ]
        self.open = [
            ledger_flags.spike(flag, at_s, by_hand=flag.at_s in self.by_hand) if flag.code is Code.HELD else flag
            for flag in self.open
            if flag.code is not Code.ERRATIC
        ]

    def _end_glitch(self, at_s: int, *, after_s: int | None = None) -> None:
        """A reading follows from before the reset and not from it: all counted since was false (R10). after_s: only what came
        after that, a zero, was false, and the reset itself stands."""

        def false(line: Entry | Flag) -> bool:
            return after_s is None or line.at_s > after_s

        self.pending = [
            Entry(e.at_s, 0, None, LedgerVerdict.GLITCH, VerdictReason.PLAIN)
            if e.total_s is not None and false(e)
            else e
            for e in self.pending
        ]
        self.open = [
            ledger_flags.glitch(flag, at_s, by_hand=flag.at_s in self.by_hand)
            if flag.code is Code.RESET and false(flag)
            else flag
            for flag in self.open
        ]
        self.nought = None
        if after_s is None:
            self.before = None

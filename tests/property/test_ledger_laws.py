"""Laws of the running-hours ledger, over invented pasts of a counter with every trouble in them."""

from bisect import bisect_left
from collections.abc import Iterable, Iterator, Sequence
from datetime import UTC, datetime
from itertools import groupby

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.domain.base.enums import Subject
from scheduler.domain.due.jobs import DueJob
from scheduler.domain.hours.ledger import (
    MOST_PENDING,
    START,
    Adjustment,
    BadReading,
    Derived,
    Entry,
    Flag,
    Item,
    LedgerState,
    LedgerVerdict,
    Reading,
    Setup,
    StepDecision,
    derive,
    fold,
    items_in_order,
    step,
)
from scheduler.domain.hours.ledger_fit import DAY_S, tolerance_s
from scheduler.domain.hours.ledger_rules import Fold
from scheduler.domain.hours.running import Curve, Curves, RunningHours, pump_daily_seconds, running_hours
from scheduler.domain.vessel.document import Stay
from scheduler.wording.hours import flag_words
from tests.property.counter_pasts import HOURS, T0, Past, honest, pasts, setups, troubled
from tests.unit.domain.plants import due_jobs, plant

AT_T0 = tuple(Stay(pump=f"u{n}", position=f"vp{n}", from_at=datetime.fromtimestamp(T0, UTC)) for n in (1, 2, 3))


class Book:
    """A store that does what the ledger's module says a store has to do, and no more."""

    def __init__(self, setup: Setup, piece: int) -> None:
        self.setup, self.piece = setup, piece
        self.items: list[Item] = []
        self.entries: list[Entry] = []
        self.flags: list[Flag] = []
        self.checkpoints: dict[int, str] = {}

    def take(self, arrived: Sequence[Item]) -> None:
        stored = {item.at_s: item for item in self.items if isinstance(item, Reading)}
        for item in arrived:
            if isinstance(item, Reading):
                if item.at_s in stored:
                    continue
                stored[item.at_s] = item
            self.items.append(item)
        self.derive_from(min(item.at_s for item in arrived))

    def derive_from(self, touched_s: int) -> None:
        self.checkpoints = {at_s: text for at_s, text in self.checkpoints.items() if at_s < touched_s}
        after_s = max(self.checkpoints, default=-1)
        state = LedgerState.from_text(self.checkpoints[after_s]) if self.checkpoints else START
        for piece in pieces([item for item in self.items if item.at_s > after_s], self.piece):
            derived = derive(self.setup, piece, state)
            first_s, state = derived.rewrite_from_s, derived.state
            assert first_s is not None
            self.entries = [e for e in self.entries if e.at_s < first_s] + derived.entries
            self.flags = [f for f in self.flags if f.at_s < first_s] + derived.flags
            if state.last_s is not None:
                self.checkpoints[state.last_s] = state.to_text()


def pieces(items: Iterable[Item], size: int) -> Iterator[list[Item]]:
    """The items in observation order, cut between instants into pieces of about `size`."""
    piece: list[Item] = []
    for _, together in groupby(items_in_order(items), key=lambda item: item.at_s):
        piece.extend(together)
        if len(piece) >= size:
            yield piece
            piece = []
    if piece:
        yield piece


def settled(setup: Setup, items: Iterable[Item]) -> Derived:
    """The ledger in one go."""
    return derive(setup, list(items))


def kept(state: LedgerState) -> LedgerState:
    """The state as it comes back from a checkpoint."""
    return LedgerState.from_text(state.to_text())


@given(pasts())
def test_a_fold_from_any_checkpoint_is_the_fold_from_the_start(past: Past) -> None:
    """Cut anywhere, also within one instant, and through the checkpoint's text: same entries, flags and state."""
    items = items_in_order(past.items)
    whole = fold(past.setup, items)
    for cut in range(len(items) + 1):
        head = fold(past.setup, items[:cut])
        tail = fold(past.setup, items[cut:], kept(head.state))
        assert (tail.state, head.entries + tail.entries, head.flags + tail.flags) == whole


@given(pasts())
def test_step_by_step_is_the_fold(past: Past) -> None:
    """One item at a time, each state through its text, gives what the fold gives in one go, quick path and all."""
    state, entries, flags = START, [], []
    items = items_in_order(past.items)
    for item in items:
        state, more, raised = step(past.setup, kept(state), item)
        entries += more
        flags += raised
    assert (state, entries, flags) == fold(past.setup, items)


@given(pasts() | st.builds(Past, st.just(HOURS), honest(HOURS)))
def test_the_quick_path_is_the_rules(past: Past) -> None:
    """Readings credited in a row give the same entries, flags and state as the rules applied to each by itself."""
    items = items_in_order(past.items)
    slow = Fold(past.setup, START)
    for item in items:
        slow.take(item)
    assert (slow.state(), slow.entries, slow.flags) == fold(past.setup, items)


@given(st.data(), st.integers(1, 60))
def test_cuts_in_a_hold_longer_than_what_may_still_change(data: st.DataObject, more: int) -> None:
    """A false jump held for longer than the ledger looks back, then ended: every checkpoint gives the same, nothing of
    the jump is credited, and the newest held readings are called spikes."""
    count = MOST_PENDING + more
    held = [Reading(T0 + 60 * n, 13_000_000, T0 + 60 * n) for n in range(1, count)]
    items = [Reading(T0, 12_000_000, T0), *held, Reading(T0 + 60 * count, 12_001_000, T0 + 60 * count)]
    whole = fold(HOURS, items)
    cut = data.draw(st.integers(0, len(items)))
    head = fold(HOURS, items[:cut])
    tail = fold(HOURS, items[cut:], kept(head.state))
    assert (tail.state, head.entries + tail.entries, head.flags + tail.flags) == whole
    assert whole.state.total_s == 3600
    assert len(head.state.pending) <= MOST_PENDING
    assert whole.entries[-2].verdict is LedgerVerdict.SPIKE


@given(st.data())
def test_arrival_changes_nothing(data: st.DataObject) -> None:
    """Posts and events shuffled, doubled and cut into batches: a store that follows the steps ends with the ledger that
    one replay gives, entry for entry and flag for flag."""
    past = data.draw(pasts(most=20))
    arrivals = data.draw(st.permutations(past.items))
    doubled = data.draw(st.lists(st.sampled_from([i for i in past.items if isinstance(i, Reading)]), max_size=5))
    book = Book(past.setup, data.draw(st.integers(1, 7)))
    waiting: list[Item] = [*arrivals, *doubled]
    while waiting:
        size = data.draw(st.integers(1, 5))
        book.take(waiting[:size])
        waiting = waiting[size:]
    whole = settled(past.setup, past.items)
    assert book.entries == whole.entries
    assert sorted(book.flags, key=str) == sorted(whole.flags, key=str)
    assert kept(whole.state) == LedgerState.from_text(book.checkpoints[max(book.checkpoints)])


@given(st.data())
@settings(max_examples=10)
def test_arrival_moves_no_due_date(data: st.DataObject) -> None:
    """R3: three counters of a plant, each past shuffled, doubled and cut into batches: the same hours of every position,
    pump and part, and the same due jobs with the same dates."""
    posts = [data.draw(pasts(most=12)) for _ in range(3)]
    answers = []
    for shuffled in (False, True):
        curves = {}
        for n, past in enumerate(posts):
            book = Book(past.setup, 4)
            doubled = [item for item in past.items if isinstance(item, Reading)] if shuffled else []
            arrivals = data.draw(st.permutations(past.items)) if shuffled else past.items
            for item in [*arrivals, *doubled]:
                book.take([item])
            curves[f"c{n + 1}"] = Curve.of(book.entries)
        answers.append(due_of(Curves(curves)))
    assert answers[0][1]
    assert answers[0] == answers[1]


def due_of(curves: Curves) -> tuple[dict[tuple[Subject, str], RunningHours], tuple[DueJob, ...]]:
    """Hours of everything, and the due jobs that follow, a day after the last entry."""
    context = plant(last_done=(), stays=AT_T0)
    at = datetime.fromtimestamp(max(c.instants[-1] if c.instants else T0 for c in curves.curves.values()) + DAY_S, UTC)
    subjects = [(Subject.POSITION, p.id) for p in context.positions] + [(Subject.PUMP, p.id) for p in context.pumps]
    hours = {
        key: running_hours(context, curves, *key, at)
        for key in (*subjects, *((Subject.PART, p.id) for p in context.parts))
    }
    points = {name: list(zip(c.instants, c.totals, strict=True)) for name, c in curves.curves.items()}
    first, today = T0 // DAY_S, int(at.timestamp()) // DAY_S
    daily = {p.id: pump_daily_seconds(context, points, p.id, first, today - first) for p in context.pumps}
    jobs = due_jobs(
        plant=context, done={}, hours=lambda kind, name: hours[kind, name], daily=daily, at=at, horizon_days=30
    )
    return hours, jobs


@given(pasts())
def test_entries_and_state_agree(past: Past) -> None:
    """Each counted entry's total is the sum of the counter's credits up to it; the state has the same sums; every
    reading, exchange, adjustment and opening balance has one entry; totals never fall."""
    derived = settled(past.setup, past.items)
    run_s = given_s = 0
    for entry in derived.entries:
        if entry.verdict in (LedgerVerdict.ADJUSTMENT, LedgerVerdict.OPENING):
            given_s += entry.credit_s
            assert entry.total_s is None
            continue
        assert entry.credit_s >= 0
        run_s += entry.credit_s
        assert entry.total_s in (None, run_s)
        assert entry.total_s is not None or entry.credit_s == 0
    assert (derived.state.run_s, derived.state.given_s) == (run_s, given_s)
    lines = [i.at_s for i in items_in_order(past.items) if not isinstance(i, BadReading | StepDecision)]
    assert [entry.at_s for entry in derived.entries] == lines


@given(st.data())
def test_credit_since_an_anchor_is_time_and_one_tolerance(data: st.DataObject) -> None:
    """R5: for each credited reading some anchor, the baseline or a credited reading at least 24 h before, from which no
    more than the time and one tolerance was credited; and over any stretch at most one tolerance a day or part of it."""
    setup = data.draw(setups)
    posts = data.draw(troubled(setup))
    points = [(e.at_s, e.total_s) for e in settled(setup, posts).entries if e.total_s is not None]
    for n, (at_s, total_s) in enumerate(points):
        anchors = [p for p in points[: n + 1] if p == points[0] or at_s - p[0] >= DAY_S]
        assert any(total_s - run_s <= at_s - since + tolerance_s(setup, at_s - since) for since, run_s in anchors)
        for since, run_s in points[:n]:
            elapsed = at_s - since
            allowed = elapsed + (elapsed // DAY_S + 2) * tolerance_s(setup, 0) + elapsed // 500
            assert total_s - run_s <= allowed


@given(st.data())
def test_an_honest_counter_is_never_doubted(data: st.DataObject) -> None:
    """Whole steps, roll-overs, gaps of a second or of weeks: all is credited, exactly what the counter shows."""
    setup = data.draw(setups)
    posts = data.draw(honest(setup))
    derived = settled(setup, posts)
    assert {e.verdict for e in derived.entries} <= {
        LedgerVerdict.BASELINE,
        LedgerVerdict.CREDITED,
        LedgerVerdict.ROLLOVER,
    }
    assert derived.flags == []
    whole_turn = setup.modulus_seconds or 0
    turns = sum(e.verdict is LedgerVerdict.ROLLOVER for e in derived.entries)
    rise = setup.seconds(posts[-1].value_milli) - setup.seconds(posts[0].value_milli)
    assert derived.state.total_s == rise + turns * whole_turn


@given(st.data())
def test_a_gap_needs_no_filling(data: st.DataObject) -> None:
    """An honest counter that does not roll over: with any of the posts between left out, the last total is the same."""
    posts = data.draw(honest(HOURS))
    some = [p for p in posts[1:-1] if data.draw(st.booleans())]
    ends = [*posts[:1], *some, *posts[-1:]]
    assert settled(HOURS, ends).state.total_s == settled(HOURS, posts).state.total_s


@given(st.data())
def test_a_spike_leaves_no_trace(data: st.DataObject) -> None:
    """A value no counter can reach, posted once among honest ones: the others are credited as if it had not been, and it
    is called a spike; as the last post it is held."""
    posts = data.draw(honest(HOURS))
    at_s = data.draw(st.integers(posts[0].at_s + 1, posts[-1].at_s + 100_000))
    others = [p for p in posts if p.at_s != at_s]
    spike = Reading(at_s, 10**9, at_s)
    derived = settled(HOURS, [*others, spike])
    said = next(e for e in derived.entries if e.at_s == at_s)
    assert said.verdict is (LedgerVerdict.SPIKE if at_s < others[-1].at_s else LedgerVerdict.HELD)
    assert [e for e in derived.entries if e.at_s != at_s] == settled(HOURS, others).entries
    assert derived.state.total_s == settled(HOURS, others).state.total_s


@given(st.data())
def test_a_false_jump_credits_nothing_until_decided(data: st.DataObject) -> None:
    """R6, R7, R17: a jump that cannot be, followed by any consistent posts for however long, credits nothing; once a
    person says what the step counts, that and all after it is credited."""
    posts = data.draw(honest(HOURS))
    first = data.draw(st.integers(0, len(posts) - 1))
    jump = data.draw(st.integers(30 * 24, 10**6)) * 1000
    gap_s = posts[first].at_s - posts[first - 1].at_s if first else 3600
    jump += gap_s // 3600 * 1000
    start = Reading(posts[0].at_s - 3600, posts[0].value_milli, posts[0].at_s)
    after = [p._replace(value_milli=p.value_milli + jump) for p in posts[first:]]
    items: list[Item] = [start, *posts[:first], *after]
    held = settled(HOURS, items)
    before_s = settled(HOURS, [start, *posts[:first]]).state.total_s
    assert held.state.total_s == before_s
    assert {e.verdict for e in held.entries[first + 1 :]} == {LedgerVerdict.HELD}
    assert held.state.undecided
    credit_s = data.draw(st.integers(0, 40_000))
    decided = settled(HOURS, [*items, StepDecision(after[0].at_s, credit_s)])
    rise_s = HOURS.seconds(after[-1].value_milli - after[0].value_milli)
    assert decided.state.total_s == before_s + credit_s + rise_s
    assert not decided.state.undecided


@given(pasts(), st.data())
def test_the_opposite_adjustment_restores_all(past: Past, data: st.DataObject) -> None:
    """R16: an adjustment and its opposite at the same instant leave every other entry, the flags and all hours at any
    instant as they were; later, they do from then on."""
    was = settled(past.setup, past.items)
    ats = sorted({item.at_s for item in past.items})
    at_s = data.draw(st.sampled_from(ats)) + data.draw(st.integers(0, 1))
    later_s = data.draw(st.integers(0, 100_000))
    seconds = data.draw(st.integers(1, 10**6))
    pair = [Adjustment(at_s, seconds), Adjustment(at_s + later_s, -seconds)]
    now = settled(past.setup, [*past.items, *pair])
    readings = [e for e in now.entries if e.verdict is not LedgerVerdict.ADJUSTMENT]
    assert readings == [e for e in was.entries if e.verdict is not LedgerVerdict.ADJUSTMENT]
    assert now.state.total_s == was.state.total_s
    curve, before = Curve.of(now.entries), Curve.of(was.entries)
    for then in (ats[0] - 1, at_s - 1, at_s + later_s, at_s + later_s + 1, ats[-1] + 10**6):
        assert curve.around(then) == before.around(then)
        assert curve.given(then) == before.given(then)


@given(pasts())
@settings(max_examples=25)
def test_an_item_before_the_checkpoint_is_refused(past: Past) -> None:
    """What belongs before a state is never folded into it: the store is told to derive from an older one."""
    state = settled(past.setup, past.items).state
    assert state.last_s is not None
    late = Reading(state.last_s - 1, 0, state.last_s)
    with pytest.raises(ValueError, match="derive again from a checkpoint before it"):
        derive(past.setup, [late], state)


@given(pasts())
def test_flags_stand_at_an_item_and_speak(past: Past) -> None:
    """Each flag is about an instant something was posted or said for, names the counter and says what to look at."""
    ats = sorted({item.at_s for item in past.items})
    for flag in settled(past.setup, past.items).flags:
        assert ats[bisect_left(ats, flag.at_s)] == flag.at_s
        said = flag_words(flag, "VP1", 60)
        assert said.startswith("The counter of VP1")
        assert said.endswith(".")
        assert flag.seconds >= 0

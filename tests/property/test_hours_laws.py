"""Laws of running hours over pump swaps, several counters of a position, and days."""

from bisect import bisect_right
from datetime import UTC, datetime
from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from scheduler.domain.base.enums import Subject
from scheduler.domain.hours.daily import GAP_S, daily_hours
from scheduler.domain.hours.ledger import derive
from scheduler.domain.hours.running import DAY_S, Curve, Curves, running_hours
from scheduler.domain.hours.sources import source_at
from scheduler.domain.vessel.document import Counter, Fitting, Plant, Stay
from tests.property.counter_pasts import HOURS, T0, honest
from tests.unit.domain.plants import plant

POSITIONS = ("vp1", "vp2", "vp3")
PUMPS = ("u1", "u2", "u3")
NAMES = ("panel", "drive", "spare")


def instant(at_s: int) -> datetime:
    return datetime.fromtimestamp(at_s, UTC)


def curve(draw: st.DrawFn, most: int = 12) -> Curve:
    return Curve.of(derive(HOURS, draw(honest(HOURS, most))).entries)


@st.composite
def swapped(draw: st.DrawFn) -> tuple[Plant, Curves, int]:
    """Three pumps that change places again and again, each position with a counter of its own."""
    curves = {f"c{n}": curve(draw) for n in (1, 2, 3)}
    end_s = max(c.instants[-1] for c in curves.values()) + 10
    swaps = sorted(draw(st.sets(st.integers(T0 + 1, end_s - 1), max_size=4)))
    stays, fittings, places = [], [], list(PUMPS)
    for begin_s, until_s in pairwise([T0 - 5, *swaps, None]):
        until = None if until_s is None else instant(until_s)
        stays += [
            Stay(pump=pump, position=position, from_at=instant(begin_s or 0), to_at=until)
            for pump, position in zip(places, POSITIONS, strict=True)
        ]
        sits = draw(st.sampled_from(PUMPS))
        fittings.append(Fitting(part="k1", pump=sits, from_at=instant(begin_s or 0), to_at=until))
        places = draw(st.permutations(places))
    return plant(stays=tuple(stays), fittings=tuple(fittings), last_done=()), Curves(curves), end_s


@given(swapped())
def test_pump_hours_over_their_stays_are_the_position_hours(case: tuple[Plant, Curves, int]) -> None:
    """R21: however pumps change places, at no instant is an hour of a position lost, doubled or given to no pump; and a
    part never has more than its pumps."""
    context, curves, end_s = case
    for at_s in (T0, T0 + (end_s - T0) // 3, end_s):
        positions, pumps = (
            sum(running_hours(context, curves, subject, name, instant(at_s)).seconds for name in names)
            for subject, names in ((Subject.POSITION, POSITIONS), (Subject.PUMP, PUMPS))
        )
        assert positions == pumps
        assert 0 <= running_hours(context, curves, Subject.PART, "k1", instant(at_s)).seconds <= pumps


@st.composite
def sourced(draw: st.DrawFn) -> tuple[Plant, Curves, int]:
    """A position with three counters, now this one counting, now that one."""
    curves = {name: curve(draw) for name in NAMES}
    end_s = max(c.instants[-1] for c in curves.values()) + 10
    ats = sorted(draw(st.sets(st.integers(T0, end_s), max_size=4)))
    changes = [(at_s, draw(st.sampled_from(NAMES))) for at_s in ats]
    counters = tuple(Counter(id=name, position="vp1", primary=name == "panel") for name in NAMES)
    return plant(counters=counters, last_done=()), Curves(curves, {"vp1": changes}), end_s


@given(sourced(), st.data())
def test_counters_of_one_position_are_never_added(case: tuple[Plant, Curves, int], data: st.DataObject) -> None:
    """R18: over any stretch without a change the position runs as the counter that counts does, and at a change its hours
    go on without a step."""
    context, curves, end_s = case

    def ran(at_s: int) -> int:
        return running_hours(context, curves, Subject.POSITION, "vp1", instant(at_s)).seconds

    def counted(name: str, at_s: int) -> int:
        pump = plant(counters=(Counter(id=name, position="vp1"),), last_done=())
        return running_hours(pump, curves, Subject.POSITION, "vp1", instant(at_s)).seconds

    changes = [at_s for at_s, _ in curves.changes("vp1")]
    for at_s in changes:
        assert 0 <= ran(at_s) - ran(at_s - 1) <= 2 * 3600
    early = data.draw(st.integers(T0 - 10, end_s))
    rest = changes[bisect_right(changes, early) :]
    late = data.draw(st.integers(early, rest[0] if rest else end_s))
    name = source_at(context, "vp1", early, curves.changes("vp1"))
    assert name is not None
    assert ran(late) - ran(early) == counted(name, late) - counted(name, early)


@given(swapped() | sourced())
def test_days_add_up_and_only_days_in_a_gap_are_interpolated(case: tuple[Plant, Curves, int]) -> None:
    """R19: the days of a position, where each is known, add up to its hours; a day is marked where a gap of more than 48 h in what
    counts touches it, and nowhere else."""
    context, curves, end_s = case
    first_day = T0 // DAY_S - 1
    days = daily_hours(context, curves, Subject.POSITION, "vp1", first_day, min(60, (end_s - T0) // DAY_S + 3))
    known = [day for day in days if day.seconds is not None]
    ends_s = [int(datetime(d.on.year, d.on.month, d.on.day, tzinfo=UTC).timestamp()) + DAY_S for d in known]
    if known and ends_s[-1] - ends_s[0] == (len(known) - 1) * DAY_S:
        whole = running_hours(context, curves, Subject.POSITION, "vp1", instant(ends_s[-1])).seconds
        before = sum(d.seconds or 0 for d in known)
        assert (
            before
            == whole - running_hours(context, curves, Subject.POSITION, "vp1", instant(ends_s[0] - DAY_S)).seconds
        )
    changes = curves.changes("vp1")
    gaps = [(n, *g) for n, c in curves.curves.items() for g in pairwise(c.instants) if g[1] - g[0] > GAP_S]
    for day in days:
        from_s = int(datetime(day.on.year, day.on.month, day.on.day, tzinfo=UTC).timestamp())
        starts = [from_s, *(at_s for at_s, _ in changes), *(early for _, early, _ in gaps)]
        assert day.interpolated == any(
            early <= at_s < late and source_at(context, "vp1", at_s, changes) == name
            for name, early, late in gaps
            for at_s in starts
            if from_s <= at_s < from_s + DAY_S
        )

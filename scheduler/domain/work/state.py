"""How far the work on a pump is: a replay of the acts in the order in which they happened, so that one entered late from
paper takes its place. `rules` says what stands against an act; this only says what it means.

A pump counts in full again only when no lock hangs on it, it was returned, and a test after that was passed. What was
struck is left out, and what it spoke of is not known from then on: it counts for nothing, and somebody goes and looks.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from enum import StrEnum

from scheduler.domain.base.enums import Test
from scheduler.domain.work import acts

UNENDED = timedelta(days=1)
"""How long a permit holds on which no end was told. Common practice, no source."""


class Counts(StrEnum):
    """What a pump under work counts for: all, its provisional derate, nothing."""

    FULL = "in full"
    PROVISIONAL = "provisionally"
    NOTHING = "for nothing"


@dataclass(frozen=True, slots=True)
class Tag:
    """A lock and tag at a point; removed_at none: it hangs. relief: hung beside another's by who relieved."""

    point: str
    lock_no: str
    tag_no: str
    placed_by: str
    placed_at: datetime
    removed_by: str = ""
    removed_at: datetime | None = None
    other_hand: acts.OtherHand | None = None
    box_no: str = ""
    relief: bool = False


@dataclass(frozen=True, slots=True)
class Permit:
    """A permit; closed_at none: open."""

    number: str
    permit_kind: str
    issued_by: str
    from_at: datetime
    valid_to: datetime | None
    closed_at: datetime | None = None
    company: str = ""
    passing: tuple[str, ...] = ()

    def holds(self, at: datetime) -> bool:
        """True while it is open and valid; its last minute counts. One without an end holds for a day, not for ever."""
        return self.closed_at is None and self.from_at <= at <= (self.valid_to or self.from_at + UNENDED)


@dataclass(frozen=True, slots=True)
class PersonalLock:
    """A personal lock on the box; off_at none: it hangs."""

    person: str
    lock_no: str
    company: str
    on_at: datetime
    off_at: datetime | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class _NotKnown(acts.Step):
    """What a struck entry leaves behind. point, person: whose lock may hang or not; is_open: the pump may be open or not; test:
    what it is worth is not known, and it is not proved."""

    point: str = ""
    person: str = ""
    is_open: bool = False
    test: bool = False


@dataclass(frozen=True, slots=True)
class WorkState:
    """How far the work on a job is. Acts before opening are of this round of isolation; a failed test begins another.

    fresh: the round was begun and no lock was hung in it yet. not_known, people_not_known: points, and people with
    personal locks, of which a struck entry leaves it open whether one hangs; open_not_known: whether the pump is open.
    """

    permits: tuple[Permit, ...] = ()
    tags: tuple[Tag, ...] = ()
    personal: tuple[PersonalLock, ...] = ()
    passing: tuple[acts.PointPasses, ...] = ()
    ready: acts.MadeReady | None = None
    rinsed: acts.Rinsed | None = None
    start_tried: acts.StartTried | None = None
    no_voltage: acts.NoVoltage | None = None
    vacuum_out: acts.VacuumLetOut | None = None
    gas_readings: tuple[acts.GasChecked, ...] = ()
    opened_at: datetime | None = None
    clear_at: datetime | None = None
    warned_at: datetime | None = None
    started_locally: acts.StartedLocally | None = None
    returned_at: datetime | None = None
    reported_at: datetime | None = None
    taken_over_at: datetime | None = None
    failed_at: datetime | None = None
    tests: tuple[acts.Tested, ...] = ()
    measures: tuple[acts.Noted, ...] = ()
    accepted: tuple[acts.MeasureAccepted, ...] = ()
    test: Test = Test.NONE
    counts: Counts = Counts.FULL
    out_at: datetime | None = None
    """Since when the pump counts for less; none: it was not touched, or is proved again."""
    fresh: bool = False
    not_known: frozenset[str] = frozenset()
    people_not_known: frozenset[str] = frozenset()
    open_not_known: bool = False

    @property
    def hanging(self) -> tuple[Tag, ...]:
        """Locks and tags that hang."""
        return tuple(tag for tag in self.tags if tag.removed_at is None)

    @property
    def personal_hanging(self) -> tuple[PersonalLock, ...]:
        """Personal locks that hang."""
        return tuple(lock for lock in self.personal if lock.off_at is None)

    @property
    def gas(self) -> acts.GasChecked | None:
        """The newest reading of the gas meter in this round, or none."""
        return self.gas_readings[-1] if self.gas_readings else None

    @property
    def is_open(self) -> bool:
        """True while the pump is open and people are not said to be clear."""
        return self.opened_at is not None and self.clear_at is None

    def locked(self, point: str) -> bool:
        """True when a lock is known to hang at that point."""
        return point not in self.not_known and any(tag.point == point for tag in self.hanging)

    def permit_at(self, at: datetime) -> Permit | None:
        """A permit that holds at an instant, or none."""
        return next((permit for permit in reversed(self.permits) if permit.holds(at)), None)


NOT_BEGUN = WorkState()


def replay(entries: Iterable[acts.AnyStep], until: datetime | None = None) -> WorkState:
    """The state after all acts (those up to `until`), in the order in which they happened (given order where instants are equal).

    Args:
        entries: in order of recording, all of them: a struck one is named by its number, counted from 1.
    """
    work = NOT_BEGUN
    for step in sorted(_standing(list(entries)), key=lambda one: one.at):
        if until is None or step.at <= until:
            work = after(work, step)
    return work


def struck_numbers(entries: Sequence[acts.AnyStep]) -> frozenset[int]:
    """Numbers of the entries that were struck."""
    return frozenset(one.number for one in entries if isinstance(one, acts.Struck))


def _standing(entries: Sequence[acts.AnyStep]) -> list[acts.AnyStep | _NotKnown]:
    """What stands of the entries; in place of a struck one what is not known because of it."""
    struck = struck_numbers(entries)
    found: list[acts.AnyStep | _NotKnown] = []
    for number, step in enumerate(entries, 1):
        if isinstance(step, acts.Struck):
            continue
        if number not in struck:
            found.append(step)
            continue
        match step:
            case acts.TagPlaced() | acts.TagRemoved() | acts.TagTakenOver():
                found.append(_NotKnown(at=step.at, by=step.by, point=step.point))
            case acts.PersonalLockOn() | acts.PersonalLockOff():
                found.append(_NotKnown(at=step.at, by=step.by, person=step.by))
            case acts.Opened():
                found.append(_NotKnown(at=step.at, by=step.by, is_open=True))
            case acts.Tested():
                found.append(_NotKnown(at=step.at, by=step.by, test=True))
            case _:
                pass
    return found


def after(work: WorkState, step: acts.AnyStep | _NotKnown) -> WorkState:
    """The state after one more act."""
    match step:
        case _NotKnown():
            return _not_known(work, step)
        case acts.PermitIssued():
            permit = Permit(
                step.number,
                step.permit_kind,
                step.issued_by,
                step.at,
                step.valid_to,
                company=step.company,
                passing=step.passing,
            )
            return replace(work, permits=(*work.permits, permit))
        case acts.PermitClosed():
            return replace(work, permits=tuple(_closed(one, step) for one in work.permits))
        case acts.MadeReady():
            return replace(begun_anew(work), ready=step)
        case acts.Rinsed():
            return replace(begun_anew(work), rinsed=step)
        case acts.TagPlaced():
            again = not work.fresh and not work.hanging and not work.not_known
            begun = replace(_anew(work) if again and work.tags else begun_anew(work), fresh=False)
            tag = Tag(step.point, step.lock_no, step.tag_no, step.by, step.at, box_no=step.box_no)
            begun = replace(
                begun, warned_at=None, started_locally=None
            )  # said and seen before a lock: not of what is after it
            return _out(replace(begun, tags=(*work.tags, tag), not_known=begun.not_known - {step.point}), step.at)
        case acts.TagTakenOver():
            tag = Tag(step.point, step.lock_no, step.tag_no, step.by, step.at, relief=True)
            known = work.not_known - {step.point}
            return replace(work, tags=(*work.tags, tag), taken_over_at=step.at, not_known=known)
        case acts.PointPasses():
            return replace(work, passing=(*work.passing, step))
        case acts.TestedDead():
            return work
        case acts.StartTried():
            return replace(work, start_tried=step)
        case acts.NoVoltage():
            return replace(work, no_voltage=step)
        case acts.VacuumLetOut():
            return replace(work, vacuum_out=step)
        case acts.GasChecked():
            begun = begun_anew(work) if step.place is acts.GasPlace.ROOM else work
            return replace(begun, gas_readings=(*begun.gas_readings, step))
        case acts.PersonalLockOn():
            lock = PersonalLock(step.by, step.lock_no, step.company, step.at)
            return replace(
                work, personal=(*work.personal, lock), people_not_known=work.people_not_known - {same(step.by)}
            )
        case acts.PersonalLockOff():
            return replace(
                work, personal=_personal_off(work, step), people_not_known=work.people_not_known - {same(step.by)}
            )
        case acts.Opened():
            opened = replace(work, opened_at=step.at, clear_at=None, open_not_known=False)
            return _out(opened, step.at)
        case acts.PeopleClear():
            return replace(work, clear_at=step.at, open_not_known=False)
        case acts.TagRemoved():
            return replace(work, tags=_without(work.tags, step), not_known=work.not_known - {step.point})
        case acts.PeopleWarned():
            return replace(work, warned_at=step.at)
        case acts.StartedLocally():
            return replace(work, started_locally=step)
        case acts.Returned():
            if work.hanging or work.not_known:
                return work  # it cannot be in use with a lock on it, whatever was said
            counts = Counts.PROVISIONAL if work.counts is Counts.NOTHING else work.counts
            return replace(work, returned_at=step.at, counts=counts)
        case acts.Tested():
            return _tested(replace(work, tests=(*work.tests, step)), step)
        case acts.Reported():
            return replace(work, reported_at=step.at)
        case acts.Noted():
            return replace(work, measures=(*work.measures, step)) if step.about is acts.Note.MEASURE else work
        case acts.MeasureAccepted():
            return replace(work, accepted=(*work.accepted, step))
        case acts.Struck():
            return work


def same(name: str) -> str:
    """A name as it is compared with another: small letters, single spaces."""
    return " ".join(name.split()).casefold()


def _closed(permit: Permit, step: acts.PermitClosed) -> Permit:
    closes = permit.number == step.number and permit.closed_at is None
    return replace(permit, closed_at=step.at) if closes else permit


def _not_known(work: WorkState, step: _NotKnown) -> WorkState:
    if step.is_open:
        return replace(work, open_not_known=True)
    if step.test:
        counts = Counts.PROVISIONAL if work.counts is Counts.FULL else work.counts
        returned_at = work.returned_at or (step.at if work.counts is Counts.FULL else None)
        return replace(work, counts=counts, test=Test.NONE, out_at=work.out_at or step.at, returned_at=returned_at)
    if step.person:
        return replace(work, people_not_known=work.people_not_known | {same(step.person)})
    return _out(replace(work, not_known=work.not_known | {step.point}), step.at)


def begun_anew(work: WorkState) -> WorkState:
    """The work with a new round begun where the one before is over: the pump was returned, or a test ended it."""
    ended = work.returned_at is not None or work.test is not Test.NONE
    return _anew(work) if ended and not work.fresh and not work.hanging and not work.not_known else work


def _anew(work: WorkState) -> WorkState:
    """The work with nothing of the round before: every proof is made again."""
    return replace(
        work,
        ready=None,
        rinsed=None,
        start_tried=None,
        no_voltage=None,
        vacuum_out=None,
        gas_readings=(),
        passing=(),
        opened_at=None,
        clear_at=None,
        warned_at=None,
        started_locally=None,
        fresh=True,
    )


def _out(work: WorkState, at: datetime) -> WorkState:
    return replace(work, counts=Counts.NOTHING, out_at=work.out_at or at, test=Test.NONE, returned_at=None)


def _without(tags: tuple[Tag, ...], step: acts.TagRemoved) -> tuple[Tag, ...]:
    """The tags with the one that comes off: that of the hand that takes it, else the oldest that hangs at the point."""
    here = [place for place, tag in enumerate(tags) if tag.point == step.point and tag.removed_at is None]
    own = [place for place in here if same(tags[place].placed_by) == same(step.by)]
    if not here:
        return tags
    place = (own or here)[0]
    off = replace(tags[place], removed_by=step.by, removed_at=step.at, other_hand=step.other_hand)
    return (*tags[:place], off, *tags[place + 1 :])


def _personal_off(work: WorkState, step: acts.PersonalLockOff) -> tuple[PersonalLock, ...]:
    return tuple(
        replace(lock, off_at=step.at) if lock.off_at is None and same(lock.person) == same(step.by) else lock
        for lock in work.personal
    )


def _tested(work: WorkState, step: acts.Tested) -> WorkState:
    if step.result is Test.FAILED:
        out = replace(work, test=Test.FAILED, counts=Counts.NOTHING, returned_at=None, failed_at=step.at)
        out = replace(out, warned_at=None, started_locally=None)
        return replace(out, out_at=work.out_at or step.at)
    if work.hanging or work.not_known or (work.counts is Counts.NOTHING and work.returned_at is None):
        return work  # a test of a pump that is not in use proves nothing
    if not step.passes:
        return work  # slower than its limit: it stays returned, not proved
    return replace(work, test=Test.PASSED, counts=Counts.FULL, out_at=None)

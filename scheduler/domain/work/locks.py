"""Rules of locks and tags: each point its own, off by the hand that placed it, one by one in the sheet's order, people first.

Source: common practice; by the model of 29 CFR 1910.147(e) and (f), whose scope leaves maritime employment out.
"""

from collections.abc import Iterator

from scheduler.domain.people.persons import same_name, surely_same_name
from scheduler.domain.vessel.isolation import off_order
from scheduler.domain.work.acts import OtherHand, PersonalLockOn, TagRemoved, TagTakenOver
from scheduler.domain.work.against import Against, Objection, Procedure
from scheduler.domain.work.state import Tag, WorkState, same


def hanging(work: WorkState, what: str) -> Iterator[Objection]:
    """A lock that hangs, or may hang, forbids it."""
    if work.hanging:
        where = tuple(tag.point for tag in work.hanging)
        yield Objection(
            Against.TAG_HANGS, {"points": where, "by": tuple(tag.placed_by for tag in work.hanging), "what": what}
        )
    if work.not_known:
        yield Objection(Against.POINT_NOT_KNOWN, {"points": tuple(sorted(work.not_known))})


def personal_locks(work: WorkState) -> Iterator[Objection]:
    """A personal lock that hangs, or may hang: its person is at the pump."""
    people = (*(lock.person for lock in work.personal_hanging), *sorted(work.people_not_known))
    if people:
        yield Objection(Against.PERSONAL_LOCKS_HANG, {"people": tuple(dict.fromkeys(people))})


def own_numbers(work: WorkState, point: str, lock_no: str, tag_no: str) -> Iterator[Objection]:
    """Each point has its own lock and its own tag, both with their numbers."""
    if not lock_no.strip() or not tag_no.strip():
        yield Objection(Against.NO_NUMBERS, {"points": (point,)})
    for tag in work.hanging:
        if tag.point != point and ((lock_no and tag.lock_no == lock_no) or (tag_no and tag.tag_no == tag_no)):
            yield Objection(Against.LOCK_TWICE, {"points": tuple(sorted((tag.point, point)))})


def unlocked(work: WorkState, procedure: Procedure) -> tuple[str, ...]:
    """The points of the sheet at which no lock is known to hang, and what stands instead of one that passes."""
    asked = [point.name for point in procedure.points]
    asked += [passing.instead for passing in work.passing if passing.instead]
    return tuple(dict.fromkeys(point for point in asked if not work.locked(point)))


def taken_over(work: WorkState, step: TagTakenOver) -> Iterator[Objection]:
    here = [tag for tag in work.hanging if tag.point == step.point]
    if not here:
        yield Objection(Against.NO_TAG, {"point": step.point, "hanging": _points(work)}, impossible=True)
        return
    if all(same_name(tag.placed_by, step.by) for tag in here):
        yield Objection(Against.RELIEVES_NOBODY, {"point": step.point})
    yield from own_numbers(work, step.point, step.lock_no, step.tag_no)
    if any(step.lock_no and tag.lock_no == step.lock_no for tag in here):
        yield Objection(Against.LOCK_TWICE, {"points": (step.point,)})


def personal_on(work: WorkState, step: PersonalLockOn) -> Iterator[Objection]:
    if hangs(work, step.by):
        yield Objection(Against.HAS_PERSONAL_LOCK, {"person": step.by}, impossible=True)
    if not work.hanging:
        yield Objection(Against.NO_TAG, {"hanging": ()})
    if step.company.strip() and not on_permit(work, step.company):
        yield Objection(Against.COMPANY_NOT_ON_PERMIT, {"company": step.company})


def on_permit(work: WorkState, company: str) -> bool:
    """Whether a permit was issued to that company."""
    return any(same(permit.company) == same(company) for permit in work.permits)


def hangs(work: WorkState, person: str) -> bool:
    return any(same(lock.person) == same(person) for lock in work.personal_hanging)


def off_objections(work: WorkState, step: TagRemoved, procedure: Procedure) -> Iterator[Objection]:
    here = [one for one in work.hanging if one.point == step.point]
    if not here:
        if step.point not in work.not_known:
            yield Objection(Against.NO_TAG, {"point": step.point, "hanging": _points(work)}, impossible=True)
        return
    own = [one for one in here if surely_same_name(one.placed_by, step.by)]
    if procedure.own_tag_only and not own:
        yield from _other_hand(here[0], step.other_hand)
    if len(here) > 1:
        return  # who relieved has an own lock there: the point stays locked
    if (work.is_open and work.opened_at is not None) or work.open_not_known:
        yield Objection(Against.NOT_CLEAR)
    yield from personal_locks(work)
    hang = {tag.point for tag in work.hanging}
    before = [point for point in off_order(procedure.points) if point in hang]
    first = before[: before.index(step.point)] if step.point in before else ()
    if first:
        yield Objection(Against.NOT_ITS_TURN, {"point": step.point, "first": tuple(first)})


def _other_hand(tag: Tag, told: OtherHand | None) -> Iterator[Objection]:
    if told is None:
        yield Objection(Against.OTHER_HAND, {"point": tag.point, "placed_by": tag.placed_by})
        return
    lacking = tuple(
        name
        for name, there in (
            ("reason", bool(told.reason.strip())),
            ("approver", bool(told.approved_by.strip())),
            ("absence", told.absence_checked),
            ("contact", told.contact_tried),
        )
        if not there
    )
    if lacking:
        yield Objection(Against.EXCEPTION_LACKS, {"point": tag.point, "placed_by": tag.placed_by, "lacking": lacking})


def _points(work: WorkState) -> tuple[str, ...]:
    return tuple(one.point for one in work.hanging)

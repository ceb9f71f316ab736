"""What waits for a person on a vessel: only what that person may decide, sign or take; never what the person asked for."""

from collections.abc import Collection, Iterator, Mapping

from scheduler.actions.base.actor import Actor, person_of
from scheduler.actions.base.context import Context
from scheduler.actions.capacity.opening import counter_doubts
from scheduler.actions.people.sides import ASKS, AUTHORITY
from scheduler.actions.plan import planning
from scheduler.actions.plant_state.load import PlantState
from scheduler.actions.work.handover import ABOARD, month_to_sign
from scheduler.domain.base.enums import Role
from scheduler.domain.base.matters import Matter, MatterCode
from scheduler.domain.due.deciding import DECIDES, Decider, decision_objections, signing_objections
from scheduler.domain.feed.summary import OpenTo, Waiting, waits_for
from scheduler.domain.people.persons import Person
from scheduler.domain.shore.asking import RequestState
from scheduler.shiptime import ship_time
from scheduler.storage.capacity import ConcessionRow, concessions_waiting
from scheduler.storage.database import Session
from scheduler.storage.due import PostponementRow, first_date_rows, postponements_waiting
from scheduler.storage.shore.requests import office_requests_open
from scheduler.storage.vessel import versions_waiting
from scheduler.storage.work import handovers_waiting, nonconformities_waiting
from scheduler.wording.names import job_words

_HOUR = 3600


def matters_of(
    context: Context, now: PlantState, actor: Actor, margins: Mapping[str, float], *, of_vessel: bool = True
) -> tuple[Waiting, ...]:
    """What waits for this person, in the order of the codes. Arguments as of `all_waiting`."""
    if actor.person_id is None:
        return ()
    with context.db.read() as session:
        found = all_waiting(session, now, margins, of_vessel=of_vessel)
    return waits_for(found, actor.role, person_of(actor))


def all_waiting(
    session: Session, now: PlantState, margins: Mapping[str, float], *, of_vessel: bool = True
) -> tuple[Waiting, ...]:
    """What waits, each with whom it waits for.

    Args:
        margins: least margin in each slot, swept m3/h, by key. of_vessel: with what belongs to the vessel as a whole; without it what
            is the plant's alone.
    """
    asks = _Asks(session, now, margins)
    return (*asks.of_plant(), *(asks.of_vessel() if of_vessel else ()))


_NOBODY = Person("\0", "")
"""Who asked for nothing: what stands against this person stands against the role."""


def _each(roles: Collection[Role], *but_not: Person) -> tuple[OpenTo, ...]:
    return tuple(OpenTo(role, but_not) for role in Role if role in roles)


class _Asks:
    def __init__(self, session: Session, now: PlantState, margins: Mapping[str, float]) -> None:
        self.session, self.now, self.margins = session, now, margins

    def one(self, code: MatterCode, open_to: tuple[OpenTo, ...], **more: object) -> Waiting:
        now = self.now
        matter = Matter(code=code, vessel_id=now.vessel.id, plant_id=now.plant.id, **more)  # type: ignore[arg-type]
        job = job_words(now.plant, matter.at, matter.job_key) if matter.at is not None and matter.job_key else ""
        return Waiting(matter=matter, open_to=open_to, job=job)

    def of_plant(self) -> Iterator[Waiting]:
        now, vessel = self.now, self.now.vessel.id
        for row in postponements_waiting(self.session, vessel):
            if row.plant_id == now.plant.id:
                yield self._postponement(row)
        for lower in concessions_waiting(self.session, vessel, now.at):
            if lower.plant_id == now.plant.id:
                yield self.one(
                    MatterCode.LOWER_MINIMUM,
                    tuple(self._may_sign(lower)),
                    number=lower.number,
                    at=lower.from_at,
                    to_at=lower.to_at,
                    by=lower.asked_by,
                    figures={"minimum_m3_per_h": lower.minimum_litres_per_h / 1000},
                )
        for first in first_date_rows(self.session, vessel):
            if first.waits and first.plant_id == now.plant.id:
                same = (first.kind, first.subject_id)
                job = next((j for j in now.jobs if (j.job_id.kind, j.job_id.subject) == same and j.first), None)
                own = {Role.CHIEF} if first.set_as == Role.CHIEF.value else set()
                if job is not None:
                    yield self.one(
                        MatterCode.FIRST_DATE,
                        _each(DECIDES - own, Person(first.actor_id, first.actor)),
                        job_key=job.job_id.key,
                        at=first.due_at,
                        by=first.actor,
                        text=first.reason,
                    )
        for doubt in counter_doubts(self.session, now):
            if not doubt.silent:
                position = now.position_name(now.plant.position_of(doubt.pump, now.at))
                yield self.one(MatterCode.HELD_READING, _each(ASKS), position=position, at=doubt.since_at)
        if now.proposed is not None:
            moved = len(planning.slot_differences(now))
            if moved or now.taken is None:
                yield self.one(MatterCode.NEWER_PLAN, _each(ABOARD), at=now.proposed.made_at, count=moved)

    def of_vessel(self) -> Iterator[Waiting]:
        now, vessel = self.now, self.now.vessel.id
        for asked in office_requests_open(self.session, vessel):
            if asked.state is RequestState.WAITING:
                yield self.one(
                    MatterCode.OFFICE_REQUEST,
                    _each({Role.CHIEF}, Person(asked.by_id, asked.by)),
                    number=asked.number,
                    at=asked.asked_at,
                    by=asked.by,
                    text=str(asked.arguments.get("reason", "")),
                )
        for note in handovers_waiting(self.session, vessel):
            yield self.one(
                MatterCode.HANDOVER,
                _each(ABOARD, Person(note.written_by_id, note.written_by)),
                number=note.number,
                at=note.written_at,
                by=note.written_by,
                text=note.text,
            )
        for one in nonconformities_waiting(self.session, vessel):
            answered = one.answered_at is not None
            yield self.one(
                MatterCode.NON_CONFORMITY_ANSWERED if answered else MatterCode.NON_CONFORMITY,
                _each(AUTHORITY, Person(one.answered_by_id or "", one.answered_by or "")) if answered else _each(ASKS),
                number=one.number,
                job_key=one.job_key,
                at=one.opened_at,
                text=one.about,
            )
        for version in versions_waiting(self.session, vessel):
            yield self.one(
                MatterCode.VERSION,
                _each({Role.OFFICE}, Person(version.by_id or "", version.by)),
                number=version.version,
                at=version.stored_at,
                by=version.by,
                text=version.reason,
            )
        month = month_to_sign(self.session, vessel, ship_time(now.at, now.offset_minutes).date())
        if month is not None:
            yield self.one(MatterCode.MONTH, _each({Role.CHIEF}), text=f"{month:%Y-%m}")

    def _may_decide(self, row: PostponementRow) -> tuple[OpenTo, ...]:
        code = row.job_key.partition(":")[0]
        kind = next((one for one in self.now.plant.job_kinds if one.code == code), None)
        if kind is None:  # of a kind that is no more: nobody can decide it
            return ()
        asked_by = Person(row.asked_by_id, row.asked_by)

        def able(role: Role) -> bool:
            decider = Decider(_NOBODY, role)
            given = "asked with the decision"
            return not decision_objections(kind, asked_by=asked_by, decider=decider, granted=True, class_agreed=given)

        return _each([role for role in Role if able(role)], asked_by)

    def _may_sign(self, row: ConcessionRow) -> Iterator[OpenTo]:
        sides = (
            (None, row.chief_at, row.hotel_by_id, row.hotel_by),
            (row.second_as, row.hotel_at, row.chief_by_id, row.chief_by),
        )
        asked_by = Person(row.asked_by_id, row.asked_by)
        for second_as, signed_at, other_id, other in sides:
            if signed_at is None:
                but_not = (asked_by, *(() if other_id is None else (Person(other_id, other or ""),)))
                for role in Role:
                    decider = Decider(_NOBODY, role)
                    if not signing_objections(second_as=second_as, by=decider, asked_by=asked_by, other=None):
                        yield OpenTo(role, but_not)

    def _postponement(self, row: PostponementRow) -> Waiting:
        job = self.now.job(row.job_key)
        figures = {}
        likely = None if job is None else job.likely_seconds_by(row.to_at, self.now.at)
        if job is not None and likely is not None and job.since_seconds is not None and job.interval_seconds:
            figures["hours_then"] = (job.since_seconds + likely) / _HOUR
            figures["interval_hours"] = job.interval_seconds / _HOUR
        if row.job_key in self.margins:
            figures["margin_m3_per_h"] = self.margins[row.job_key]
        return self.one(
            MatterCode.POSTPONEMENT,
            self._may_decide(row),
            number=row.number,
            job_key=row.job_key,
            at=row.limit_at,
            to_at=row.to_at,
            by=row.asked_by,
            text=row.reason,
            figures=figures,
        )

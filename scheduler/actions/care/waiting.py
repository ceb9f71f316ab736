"""What waits for a person on a vessel: only what that person may decide, sign or take; never what the person asked for."""

from collections.abc import Iterator, Mapping

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
from scheduler.domain.people.persons import Person, one_person
from scheduler.shiptime import ship_time
from scheduler.storage.capacity import ConcessionRow, concessions_waiting
from scheduler.storage.database import Session
from scheduler.storage.due import PostponementRow, first_date_rows, postponements_waiting
from scheduler.storage.vessel import versions_waiting
from scheduler.storage.work import handovers_waiting, nonconformities_waiting

_HOUR = 3600


def matters_of(
    context: Context, now: PlantState, actor: Actor, margins: Mapping[str, float], *, of_vessel: bool = True
) -> tuple[Matter, ...]:
    """What waits for this person, in the order of the codes.

    Args:
        margins: least margin in each slot, swept m3/h, by key. of_vessel: with what belongs to the vessel as a whole; without it what
            is the plant's alone.
    """
    if actor.person_id is None:
        return ()
    with context.db.read() as session:
        asks = _Asks(session, now, actor, margins)
        found = [*asks.of_plant(), *(asks.of_vessel() if of_vessel else ())]
    order = list(MatterCode)
    return tuple(sorted(found, key=lambda one: (order.index(one.code), one.number)))


class _Asks:
    def __init__(self, session: Session, now: PlantState, actor: Actor, margins: Mapping[str, float]) -> None:
        self.session, self.now, self.actor, self.margins = session, now, actor, margins
        self.decider = Decider(person_of(actor), actor.role)

    def matter(self, code: MatterCode, **more: object) -> Matter:
        return Matter(code=code, vessel_id=self.now.vessel.id, plant_id=self.now.plant.id, **more)  # type: ignore[arg-type]

    def of_plant(self) -> Iterator[Matter]:
        now, role, vessel = self.now, self.actor.role, self.now.vessel.id
        for row in postponements_waiting(self.session, vessel) if role in DECIDES else ():
            if row.plant_id == now.plant.id and self._may_decide(row):
                yield self._postponement(row)
        for lower in concessions_waiting(self.session, vessel, now.at):
            if lower.plant_id == now.plant.id and self._may_sign(lower):
                yield self.matter(
                    MatterCode.LOWER_MINIMUM,
                    number=lower.number,
                    at=lower.from_at,
                    to_at=lower.to_at,
                    by=lower.asked_by,
                    figures={"minimum_m3_per_h": lower.minimum_litres_per_h / 1000},
                )
        for first in first_date_rows(self.session, vessel) if role in DECIDES else ():
            same = one_person(Person(first.actor_id, first.actor), self.decider.person)
            if (
                first.waits
                and first.plant_id == now.plant.id
                and not same
                and not role.value == first.set_as == "chief"
            ):
                job = next(
                    (
                        j
                        for j in now.jobs
                        if (j.job_id.kind, j.job_id.subject) == (first.kind, first.subject_id) and j.first
                    ),
                    None,
                )
                if job is not None:
                    yield self.matter(
                        MatterCode.FIRST_DATE,
                        job_key=job.job_id.key,
                        at=first.due_at,
                        by=first.actor,
                        text=first.reason,
                    )
        if role in ASKS:
            for doubt in counter_doubts(self.session, now):
                if not doubt.silent:
                    position = now.position_name(now.plant.position_of(doubt.pump, now.at))
                    yield self.matter(MatterCode.HELD_READING, position=position, at=doubt.since_at)
        if role in ABOARD and now.proposed is not None:
            moved = len(planning.slot_differences(now))
            if moved or now.taken is None:
                yield self.matter(MatterCode.NEWER_PLAN, at=now.proposed.made_at, count=moved)

    def of_vessel(self) -> Iterator[Matter]:
        now, role, vessel = self.now, self.actor.role, self.now.vessel.id
        for note in handovers_waiting(self.session, vessel) if role in ABOARD else ():
            if not one_person(Person(note.written_by_id, note.written_by), self.decider.person):
                yield self.matter(
                    MatterCode.HANDOVER, number=note.number, at=note.written_at, by=note.written_by, text=note.text
                )
        opened, answered = [], []
        for one in nonconformities_waiting(self.session, vessel) if role in ASKS else ():
            if one.answered_at is None:
                opened.append(one)
            elif role in AUTHORITY and not one_person(
                Person(one.answered_by_id or "", one.answered_by or ""), self.decider.person
            ):
                answered.append(one)
        for code, rows in ((MatterCode.NON_CONFORMITY, opened), (MatterCode.NON_CONFORMITY_ANSWERED, answered)):
            if rows:
                yield self.matter(
                    code,
                    number=rows[0].number,
                    job_key=rows[0].job_key,
                    at=rows[0].opened_at,
                    count=len(rows),
                    text=rows[0].about,
                )
        for version in versions_waiting(self.session, vessel) if role is Role.OFFICE else ():
            if not one_person(Person(version.by_id or "", version.by), self.decider.person):
                yield self.matter(
                    MatterCode.VERSION, number=version.version, at=version.stored_at, by=version.by, text=version.reason
                )
        if role is Role.CHIEF:
            month = month_to_sign(self.session, vessel, ship_time(now.at, now.offset_minutes).date())
            if month is not None:
                yield self.matter(MatterCode.MONTH, text=f"{month:%Y-%m}", at=now.at)

    def _may_decide(self, row: PostponementRow) -> bool:
        code = row.job_key.partition(":")[0]
        kind = next((one for one in self.now.plant.job_kinds if one.code == code), None)
        if kind is None:  # of a kind that is no more: nobody can decide it
            return False
        asked_by = Person(row.asked_by_id, row.asked_by)
        return not decision_objections(
            kind, asked_by=asked_by, decider=self.decider, granted=True, class_agreed="asked with the decision"
        )

    def _may_sign(self, row: ConcessionRow) -> bool:
        sides = (
            (None, row.chief_at, row.hotel_by_id, row.hotel_by),
            (row.second_as, row.hotel_at, row.chief_by_id, row.chief_by),
        )
        return any(
            signed_at is None
            and not signing_objections(
                second_as=second_as,
                by=self.decider,
                asked_by=Person(row.asked_by_id, row.asked_by),
                other=None if other_id is None else Person(other_id, other or ""),
            )
            for second_as, signed_at, other_id, other in sides
        )

    def _postponement(self, row: PostponementRow) -> Matter:
        job = self.now.job(row.job_key)
        figures = {}
        likely = None if job is None else job.likely_seconds_by(row.to_at, self.now.at)
        if job is not None and likely is not None and job.since_seconds is not None and job.interval_seconds:
            figures["hours_then"] = (job.since_seconds + likely) / _HOUR
            figures["interval_hours"] = job.interval_seconds / _HOUR
        if row.job_key in self.margins:
            figures["margin_m3_per_h"] = self.margins[row.job_key]
        return self.matter(
            MatterCode.POSTPONEMENT,
            number=row.number,
            job_key=row.job_key,
            at=row.limit_at,
            to_at=row.to_at,
            by=row.asked_by,
            text=row.reason,
            figures=figures,
        )

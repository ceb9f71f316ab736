"""Withdraws somebody who leaves: not while their locks hang, and what still waits in their name is told."""

from scheduler.actions.base.context import Answer, Context, Hand
from scheduler.actions.people import managing
from scheduler.actions.work.carried import hung_by
from scheduler.domain.people.persons import Person
from scheduler.errors import Clash
from scheduler.language import gettext as _
from scheduler.storage.capacity import concession_rows_of
from scheduler.storage.database import Session
from scheduler.storage.due import postponement_rows, waiting_first_dates
from scheduler.storage.vessel import vessel_rows
from scheduler.storage.work import not_fitted_rows
from scheduler.wording.figures import listed


def withdraw_leaver(context: Context, hand: Hand, vessel_id: str, person_id: str) -> Answer:
    """As `managing.withdraw_person`, with `waits` and `says` in the answer where something still waits in that person's name.

    Raises:
        Clash: a lock or tag of theirs hangs too.
    """

    def look(session: Session, leaver: Person) -> dict[str, object]:
        vessels = [row.id for row in vessel_rows(session, vessel_id or None)]
        hang = [point for one in vessels for point in hung_by(session, one, leaver)]
        if hang:
            raise Clash(
                _(
                    "Locks of {name} hang at {listed}. Whoever relieves takes each over with an own "
                    "lock, or it comes off as the work's page says; then withdraw. To let nobody in "
                    "meanwhile, end the sessions and withdraw the keys.",
                    name=leaver.name,
                    listed=listed(sorted(set(hang))),
                ),
                more={"hang_at": sorted(set(hang))},
            )
        waits = [what for one in vessels for what in _waits(session, one, leaver.id)]
        says = _("Still waits in the name of {name}: {listed}.", name=leaver.name, listed=listed(waits))
        return {"waits": waits, "says": says} if waits else {}

    return managing.withdraw_person(context, hand, vessel_id, person_id, look)


def _waits(session: Session, vessel_id: str, person_id: str) -> list[str]:
    """What that person asked for on a vessel and nobody has decided or signed."""
    return [
        *(
            _("postponement {number}, asked", number=one.number)
            for one in postponement_rows(session, vessel_id)
            if one.granted is None and one.asked_by_id == person_id
        ),
        *(
            _("lower minimum {number}, not signed by both", number=one.number)
            for one in concession_rows_of(session, vessel_id)
            if one.asked_by_id == person_id and one.withdrawn_at is None and None in (one.chief_by, one.hotel_by)
        ),
        *(
            _("point {point} said not to be fitted, not signed", point=one.point)
            for one in not_fitted_rows(session, vessel_id)
            if one.asked_by_id == person_id and one.withdrawn_at is None and one.signed_at is None
        ),
        *(
            _("a first date, not agreed")
            for one in waiting_first_dates(session, vessel_id)
            if one.actor_id == person_id
        ),
    ]

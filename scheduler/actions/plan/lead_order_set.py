"""The lead order as set at the panel: told by a person with its instant, kept on record, carried by the handover."""

from collections.abc import Sequence
from datetime import datetime, timedelta

from scheduler.actions.base.context import Answer, Context, Hand, hand_action, utc_text
from scheduler.actions.vessel.document import document_of, plant_of
from scheduler.actions.vessel.fleet import Place
from scheduler.errors import Refused
from scheduler.language import gettext
from scheduler.storage.database import Session
from scheduler.storage.record import append_record

LEAD_CHANGED = "lead order changed"
AHEAD = timedelta(minutes=5)


def tell(context: Context, hand: Hand, place: Place, order: Sequence[str], at: datetime) -> Answer:
    """Keep that pumps start in this order since `at`: names of all positions, the one that leads first.

    Raises:
        Refused: a position missing, named twice or unknown, or an instant to come.
    """

    def act(session: Session) -> Answer:
        plant = plant_of(document_of(session, place.vessel_id)[0], place.plant_id)
        there = sorted(position.name for position in plant.positions)
        if sorted(order) != there:
            says = gettext("each position once was expected: {there}", there=", ".join(there))
            raise Refused(f"order: {says}.", faults=[("/order", says)])
        if at > context.now() + AHEAD:
            says = gettext("an instant that has come was expected")
            raise Refused(f"at: {says}.", faults=[("/at", says)])
        payload = {
            "plant": plant.id,
            "order": list(order),
            "at": utc_text(at),
            "by": hand.actor.name,
        }
        number, _ = append_record(session, place.vessel_id, LEAD_CHANGED, context.now(), payload)
        return Answer(201, {**payload, "record": number})

    return hand_action(context, hand, place.vessel_id, act)

"""What is posted about the operating calendar."""

from typing import Annotated

from pydantic import Field, FiniteFloat

from api.routes.shared.bodies import Body, Reason, ShipDate, Words, said
from scheduler.domain.voyage.days import LEAST_WEIGHT, MOST_WEIGHT
from scheduler.domain.voyage.stretches import MOST_SPELLS, Source


class StretchBody(Body):
    """A stretch of ship's days of one kind, both ends included. source: the log of days gone by, or the plan."""

    from_on: ShipDate
    to_on: ShipDate
    kind: Annotated[str, Field(max_length=100)]
    source: Source = Source.PLAN
    note: Words = ""


class KindOfDayBody(Body):
    """A kind of day. weight: running hours on such a day as a share of a day at sea."""

    code: Annotated[str, Field(max_length=100)]
    weight: Annotated[FiniteFloat, said(minimum=LEAST_WEIGHT, maximum=MOST_WEIGHT)]


class DaysBody(Body):
    """Ship's days, both ends included."""

    from_on: ShipDate
    to_on: ShipDate


Stretches = Annotated[list[StretchBody], Field(max_length=MOST_SPELLS)]


class CalendarBody(Body):
    """A whole operating calendar. kinds left out: they stay."""

    stretches: Stretches
    kinds: list[KindOfDayBody] | None = None
    reason: Reason = ""


class CalendarChangeBody(Body):
    """What is to be changed: days to clear first, then stretches to lay over what is there."""

    stretches: Stretches = Field(default=[])
    clear: Annotated[list[DaysBody], Field(max_length=MOST_SPELLS)] = Field(default=[])
    kinds: list[KindOfDayBody] | None = None
    reason: Reason = ""


class CalendarFileBody(Body):
    """A CSV file's text."""

    csv: Annotated[str, Field(max_length=1_000_000)]
    reason: Reason = ""


class ReasonBody(Body):
    """Why, in a few words; may be empty."""

    reason: Reason = ""

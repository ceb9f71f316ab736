"""How good forecasts were on a ship's own past, from its ledger."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from scheduler.actions.base.context import Context, instant
from scheduler.actions.hours.ledger import daily_of, derive_vessel
from scheduler.actions.vessel.document import document_of, plant_of
from scheduler.actions.voyage.days import voyage_days_of
from scheduler.domain.due.scoring import OwnPast, from_own_past
from scheduler.storage.hours.counters import counter_rows


@dataclass(frozen=True, slots=True, kw_only=True)
class Past:
    """A plant's history in days, and its forecasts by horizon."""

    days: int
    horizons: tuple[OwnPast, ...]


def own_past(context: Context, vessel_id: str, plant_id: str) -> Past:
    """Forecasts made at past days of the plant against when the hours really had run.

    Raises:
        NotFound: no such vessel or plant.
    """
    derive_vessel(context, vessel_id)
    at = context.now()
    with context.db.read() as session:
        vessel, _ = document_of(session, vessel_id)
        plant = plant_of(vessel, plant_id)
        rows = [row for row in counter_rows(session, vessel_id) if row.plant_id == plant_id]
        daily = daily_of(session, plant, rows, at)
        calendar = voyage_days_of(session, vessel_id)[0].calendar()
    unread = _unread_days([instant(row.newest_s) for row in rows if row.newest_s is not None], at)
    pumps = [days[: len(days) - unread] for pump, days in sorted(daily.items()) if plant.position_of(pump, at)]
    last_on = at.date() - timedelta(days=1 + unread)
    return Past(days=max(map(len, pumps), default=0), horizons=from_own_past(pumps, last_on, calendar))


def _unread_days(newest: Sequence[datetime], at: datetime) -> int:
    """Days up to yesterday that some counter has not reported yet; one silent for over a month holds nothing up."""
    read = [n for n in newest if max(newest) - n <= timedelta(days=30)]
    return max(0, (at.date() - min(read, default=at).date()).days)

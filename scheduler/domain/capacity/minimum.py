"""Vacuum capacity: measured or rated per pump, the minimum over time. Swept and free volumes never mix."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from math import ceil, floor

from scheduler.domain.vessel.crew import Crew, CrewBlock, MinimumBlock, QuietHours
from scheduler.domain.vessel.document import Plant, Pump
from scheduler.errors import Refused
from scheduler.shiptime import ship_time

ATMOSPHERE_KPA = 101.325
"""Standard atmosphere, kPa. Source: definition of the standard atmosphere (from memory)."""


@dataclass(frozen=True, slots=True, order=True)
class Swept:
    """Volume swept at suction pressure, m3/h. What a pull-down test gives; capacities and minimum are stored so."""

    m3_per_h: float


@dataclass(frozen=True, slots=True, order=True)
class Free:
    """Free air at atmospheric pressure, m3/h. What fixtures admit."""

    m3_per_h: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Outage:
    """A stretch in which a pump counts for less than its capacity: a fact, not a plan.

    to_at none: until further notice. counts_for is what it still gives: nothing while down, the provisional derate
    while returned and not proved. expected_at: when it is expected back, as somebody said; none: not known. Only plans use it.
    """

    pump: str
    from_at: datetime
    to_at: datetime | None
    counts_for: Swept
    reason: str
    expected_at: datetime | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Concession:
    """A lower minimum agreed for a stretch. It counts only when both chief engineer and hotel have signed."""

    from_at: datetime
    to_at: datetime
    minimum: Swept
    chief: str
    hotel: str

    @property
    def signed(self) -> bool:
        """Whether both names are there."""
        return bool(self.chief.strip() and self.hotel.strip())


def absolute_kpa(vacuum_kpa: float) -> float:
    """Absolute pressure, kPa, at `vacuum_kpa` below standard atmosphere.

    Raises:
        Refused: the vacuum is below 0 or not less than a whole atmosphere.
    """
    if not 0 <= vacuum_kpa < ATMOSPHERE_KPA:
        raise Refused(
            f"A vacuum of {vacuum_kpa:g} kPa below atmosphere cannot be: from 0 to under {ATMOSPHERE_KPA:g} kPa was "
            "expected. Give the figure as kPa below atmosphere, without a minus sign."
        )
    return ATMOSPHERE_KPA - vacuum_kpa


def swept_of(free: Free, vacuum_kpa: float) -> Swept:
    """The volume that must be swept at `vacuum_kpa` below atmosphere to carry this free air: free x p_atm / p_abs.

    Source: the gas law at constant temperature (derived).
    """
    return Swept(free.m3_per_h * ATMOSPHERE_KPA / absolute_kpa(vacuum_kpa))


def free_from_fixtures(
    water_closets: int, flushes_per_h: float, litres_per_flush: float, leak: Free = Free(0.0)
) -> Free:
    """Free air that the fixtures admit, with the plant's leak, m3/h.

    Args:
        water_closets: how many are connected, 0 or more.
        flushes_per_h: of each one in the hour in question.
        litres_per_flush: free air a flush admits, litres.
        leak: free air that leaks in all the time.

    Raises:
        Refused: a figure is negative.

    Source: a maker's public sizing example, 100 closets x 5 flushes an hour x 60 litres = 30 m3/h.
    """
    for what, figure in (
        ("water closets", water_closets),
        ("flushes an hour", flushes_per_h),
        ("litres a flush", litres_per_flush),
        ("leak", leak.m3_per_h),
    ):
        if not figure >= 0:
            raise Refused(f"The number of {what} is {figure:g}: 0 or more was expected. Give the figure again.")
    return Free(water_closets * flushes_per_h * litres_per_flush / 1000 + leak.m3_per_h)


def pump_capacity(pump: Pump) -> Swept:
    """What a pump counts for: its latest passed pull-down test, else rated x derate."""
    if pump.measured_swept_m3_per_h is not None:
        return Swept(pump.measured_swept_m3_per_h)
    return Swept(pump.rated_swept_m3_per_h * pump.derate)


def provisional_capacity(plant: Plant, whole: Swept) -> Swept:
    """What a pump of that capacity counts for once returned, restart and current good, and not yet proved by a test."""
    return Swept(whole.m3_per_h * plant.provisional_derate)


def minimum_at(plant: Plant, ship_wall_time: datetime) -> tuple[Swept, str]:
    """The minimum capacity at a ship's wall-clock time and the label it goes by.

    The last block that matches both the date and the hour counts, else the plant's own minimum. A block over midnight
    (22 to 6) holds in the first and the last hours of each of its dates.
    """
    for block in reversed(plant.minimum_blocks):
        if matches(block, ship_wall_time):
            return Swept(block.minimum_swept_m3_per_h), block.label
    return Swept(plant.minimum_swept_m3_per_h), plant.minimum_label


def pumps_needed(plant: Plant, ship_wall_time: datetime) -> int:
    """How many pumps must be there at a ship's wall-clock time, whatever they give: of the block that matches last, else of the
    plant; 0 for no such rule."""
    for block in reversed(plant.minimum_blocks):
        if matches(block, ship_wall_time):
            return block.minimum_pumps
    return plant.minimum_pumps


def minimum_agreed(
    plant: Plant,
    at: datetime,
    offset_minutes: int,
    concessions: Iterable[Concession] = (),
    lasting: timedelta = timedelta(0),
) -> tuple[Swept, str]:
    """The minimum at an instant and its label, lower where a signed concession covers it and what follows.

    Args:
        offset_minutes: ship time. lasting: how long from `at` on a concession must still hold.
    """
    need, label = minimum_at(plant, ship_time(at, offset_minutes).replace(tzinfo=None))
    agreed = [c.minimum for c in concessions if c.signed and c.from_at <= at < c.to_at and at + lasting <= c.to_at]
    lower = min(agreed, default=need)
    return (lower, f"{label}, lower as agreed") if lower < need else (need, label)


def hands_at(crew: Crew, ship_wall_time: datetime) -> int:
    """The hands at work at a ship's wall-clock time: by the last block that matches, else by the working hours."""
    for block in reversed(crew.blocks):
        if matches(block, ship_wall_time):
            return block.hands
    first, last, hour = crew.work_from_hour, crew.work_to_hour, ship_wall_time.hour
    return crew.hands if (first <= hour < last if first <= last else hour >= first or hour < last) else 0


def matches(block: MinimumBlock | CrewBlock | QuietHours, wall: datetime) -> bool:
    """Whether a block holds at a ship's wall-clock time; over midnight in the first and last hours of each date."""
    if not holds_on(block, wall.date()):
        return False
    if block.from_hour <= block.to_hour:
        return block.from_hour <= wall.hour < block.to_hour
    return wall.hour >= block.from_hour or wall.hour < block.to_hour


def holds_on(block: MinimumBlock | CrewBlock | QuietHours, on: date) -> bool:
    """Whether a ship's date is one of the block's."""
    return (block.from_on is None or block.from_on <= on) and (block.to_on is None or on <= block.to_on)


def litres_down(swept: Swept) -> int:
    """Whole litres an hour, rounded down: how a pump's capacity is counted. A ten-thousandth of a litre is forgiven."""
    return floor(swept.m3_per_h * 1000 + 1e-4)


def litres_up(swept: Swept) -> int:
    """Whole litres an hour, rounded up: how a minimum is counted. A ten-thousandth of a litre is forgiven."""
    return ceil(swept.m3_per_h * 1000 - 1e-4)


def capacities_at(
    plant: Plant, outages: Iterable[Outage], at: datetime, whole: Mapping[str, Swept] | None = None
) -> dict[str, Swept]:
    """Pump id to what it counts for at `at`, for the pumps that stand in a position then, in the plant's order.

    Of several outages at once the lowest figure counts; an outage never makes a pump count for more than its capacity.

    Args:
        whole: capacity of each pump when it is well, where newer tests than the document's are known.
    """
    lowered: dict[str, Swept] = {}
    for outage in outages:
        if outage.from_at <= at and (outage.to_at is None or at < outage.to_at):
            lowered[outage.pump] = min(outage.counts_for, lowered.get(outage.pump, outage.counts_for))
    known = whole or {}
    standing = (pump for pump in plant.pumps if plant.position_of(pump.id, at))
    capacities = ((pump.id, known.get(pump.id) or pump_capacity(pump)) for pump in standing)
    return {pump: min(capacity, lowered.get(pump, capacity)) for pump, capacity in capacities}


def available(plant: Plant, outages: Iterable[Outage], at: datetime) -> Swept:
    """What the pumps in positions count for together at `at`; 0 when there are none."""
    return Swept(sum(capacity.m3_per_h for capacity in capacities_at(plant, outages, at).values()))


@dataclass(frozen=True, slots=True, kw_only=True)
class OutageCheck:
    """What taking a pump out from an instant for some hours does.

    least_margin_litres_per_h: the smallest available minus minimum in that time, below 0 where the minimum breaks.
    holds: stretches of start times, hour by hour, in which it does not break; empty when it holds as asked, or never.
    """

    least_margin_litres_per_h: int
    least_at: datetime
    label: str
    holds: tuple[tuple[datetime, datetime], ...]


def margins_hourly(
    plant: Plant,
    outages: Iterable[Outage],
    at: datetime,
    hours: int,
    offset_minutes: int,
    whole: Mapping[str, Swept] | None = None,
    concessions: Sequence[Concession] = (),
) -> list[tuple[int, str]]:
    """Available minus minimum, whole litres an hour, with the minimum's label: at `at` and each hour after it, `hours` of them.

    Args:
        concessions: lower minima agreed; one counts for the hours it covers whole.
    """
    known, found = tuple(outages), []
    for step in range(hours):
        then = at + timedelta(hours=step)
        minimum, label = minimum_agreed(plant, then, offset_minutes, concessions, timedelta(hours=1))
        there = sum(map(litres_down, capacities_at(plant, known, then, whole).values()))
        found.append((there - litres_up(minimum), label))
    return found


def check_outage(
    plant: Plant,
    outages: Iterable[Outage],
    pump: str,
    *,
    at: datetime,
    hours: int,
    offset_minutes: int,
    whole: Mapping[str, Swept] | None = None,
    look_ahead_days: int = 14,
    concessions: Sequence[Concession] = (),
) -> OutageCheck:
    """The margin while `pump` is out from `at` for so many hours; where it breaks, the start times that hold.

    Args:
        outages: facts and the planned outages of other pumps. hours: 1 or more. offset_minutes: ship time.
        concessions: lower minima agreed; one counts for the hours it covers whole.
    """
    known = (
        *outages,
        Outage(pump=pump, from_at=at - timedelta(days=1), to_at=None, counts_for=Swept(0.0), reason="asked"),
    )
    steps = look_ahead_days * 24 + hours
    hourly = margins_hourly(plant, known, at, steps, offset_minutes, whole, concessions)
    margins, labels = [margin for margin, _ in hourly], [label for _, label in hourly]
    least = min(range(hours), key=lambda step: margins[step])
    runs: list[tuple[datetime, datetime]] = []
    if margins[least] < 0:
        good = [all(m >= 0 for m in margins[step : step + hours]) for step in range(steps - hours + 1)]
        first = None
        for step, ok in enumerate([*good, False]):
            if ok and first is None:
                first = step
            if not ok and first is not None:
                runs.append((at + timedelta(hours=first), at + timedelta(hours=step - 1)))
                first = None
    return OutageCheck(
        least_margin_litres_per_h=margins[least],
        least_at=at + timedelta(hours=least),
        label=labels[least],
        holds=tuple(runs),
    )

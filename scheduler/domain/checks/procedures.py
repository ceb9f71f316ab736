"""Whether what a plant's document says of isolating, gas and second signatures makes sense."""

from collections.abc import Iterator

from scheduler.domain.capacity.concessions import SECOND_SIGNERS
from scheduler.domain.checks.faults import Fault, text_faults, twice_faults
from scheduler.domain.vessel.document import CONTROL_TURNS, Plant
from scheduler.domain.vessel.isolation import PointRole
from scheduler.language import gettext as _

_NEEDED = (PointRole.SUPPLY, PointRole.SUCTION, PointRole.DISCHARGE)
MOST_POINTS, LONGEST_POINT = 12, 40
MOST_GAS_MINUTES = 240


def procedure_faults(at: str, plant: Plant) -> Iterator[Fault]:
    """Of the isolation points, the gas limit and the second signer of a plant."""
    points = plant.points
    if not 1 <= len(points) <= MOST_POINTS:
        yield (
            f"{at}/isolation_points",
            _(
                "The plant has {count} isolation points: 1 to {most_points} were expected. Name "
                "where a pump is isolated.",
                count=len(points),
                most_points=MOST_POINTS,
            ),
        )
    lacking = [one.value for one in _NEEDED if not any(point.role is one for point in points)]
    if points and lacking:
        yield (
            f"{at}/isolation_points",
            _(
                "No isolation point is said to be the {lacking}: one of each was expected, since a "
                "start is tried at the supply and stored vacuum let out behind the valves. Give each "
                "point its role.",
                lacking=", the ".join(lacking),
            ),
        )
    for i, point in enumerate(points):
        here = f"{at}/isolation_points/{i}"
        yield from text_faults(here, f"Isolation point {i + 1}", point.name, LONGEST_POINT)
    named = [(f"{at}/isolation_points/{i}", point.name.casefold()) for i, point in enumerate(points)]
    yield from twice_faults(named, "Isolation point")
    if not 1 <= plant.gas_minutes <= MOST_GAS_MINUTES:
        yield (
            f"{at}/gas_minutes",
            _(
                "A gas reading is good for {gas_minutes} min: 1 to {most_gas_minutes} was expected. "
                "Give the ship's own limit.",
                gas_minutes=plant.gas_minutes,
                most_gas_minutes=MOST_GAS_MINUTES,
            ),
        )
    if plant.second_signer not in SECOND_SIGNERS:
        yield (
            f"{at}/second_signer",
            _(
                '"{second_signer}" signs second: one of {second_signers} was expected. Name whom the ship names.',
                second_signer=plant.second_signer[:40],
                second_signers=", ".join(SECOND_SIGNERS),
            ),
        )
    if plant.control_turns not in CONTROL_TURNS:
        yield (
            f"{at}/control_turns",
            _(
                'Control takes turns by "{control_turns}": one of {control_turns_2} was expected.',
                control_turns=plant.control_turns[:40],
                control_turns_2=", ".join(CONTROL_TURNS),
            ),
        )
    crew = plant.crew
    if not 2 <= crew.rest_periods <= 3:
        yield (
            f"{at}/crew/rest_periods",
            _(
                "Rest lies in {rest_periods} periods: 2 was expected, 3 by the flag's exception.",
                rest_periods=crew.rest_periods,
            ),
        )
    if not 70 <= crew.rest_week_hours <= 168:
        yield (
            f"{at}/crew/rest_week_hours",
            _(
                "{rest_week_hours} h of rest in 7 days: 77 was expected, down to 70 by the flag's exception.",
                rest_week_hours=crew.rest_week_hours,
            ),
        )

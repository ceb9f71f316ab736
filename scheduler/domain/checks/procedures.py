"""Whether what a plant's document says of isolating, gas and second signatures makes sense."""

from collections.abc import Iterator

from scheduler.domain.capacity.concessions import SECOND_SIGNERS
from scheduler.domain.checks.faults import Fault, text_faults, twice_faults
from scheduler.domain.vessel.document import CONTROL_TURNS, Plant
from scheduler.domain.vessel.isolation import PointRole

_NEEDED = (PointRole.SUPPLY, PointRole.SUCTION, PointRole.DISCHARGE)
MOST_POINTS, LONGEST_POINT = 12, 40
MOST_GAS_MINUTES = 240


def procedure_faults(at: str, plant: Plant) -> Iterator[Fault]:
    """Of the isolation points, the gas limit and the second signer of a plant."""
    points = plant.points
    if not 1 <= len(points) <= MOST_POINTS:
        yield (
            f"{at}/isolation_points",
            f"The plant has {len(points)} isolation points: 1 to {MOST_POINTS} were expected. Name where a pump is isolated.",
        )
    lacking = [one.value for one in _NEEDED if not any(point.role is one for point in points)]
    if points and lacking:
        yield (
            f"{at}/isolation_points",
            f"No isolation point is said to be the {', the '.join(lacking)}: one of each was expected, since a start is tried at the "
            "supply and stored vacuum let out behind the valves. Give each point its role.",
        )
    for i, point in enumerate(points):
        here = f"{at}/isolation_points/{i}"
        yield from text_faults(here, f"Isolation point {i + 1}", point.name, LONGEST_POINT)
    named = [(f"{at}/isolation_points/{i}", point.name.casefold()) for i, point in enumerate(points)]
    yield from twice_faults(named, "Isolation point")
    if not 1 <= plant.gas_minutes <= MOST_GAS_MINUTES:
        yield (
            f"{at}/gas_minutes",
            f"A gas reading is good for {plant.gas_minutes} min: 1 to {MOST_GAS_MINUTES} was expected. Give the ship's own limit.",
        )
    if plant.second_signer not in SECOND_SIGNERS:
        yield (
            f"{at}/second_signer",
            f'"{plant.second_signer[:40]}" signs second: one of {", ".join(SECOND_SIGNERS)} was expected. Name whom the ship names.',
        )
    if plant.control_turns not in CONTROL_TURNS:
        yield (
            f"{at}/control_turns",
            f'Control takes turns by "{plant.control_turns[:40]}": one of {", ".join(CONTROL_TURNS)} was expected.',
        )
    crew = plant.crew
    if not 2 <= crew.rest_periods <= 3:
        yield (
            f"{at}/crew/rest_periods",
            f"Rest lies in {crew.rest_periods} periods: 2 was expected, 3 by the flag's exception.",
        )
    if not 70 <= crew.rest_week_hours <= 168:
        yield (
            f"{at}/crew/rest_week_hours",
            f"{crew.rest_week_hours} h of rest in 7 days: 77 was expected, down to 70 by the flag's exception.",
        )

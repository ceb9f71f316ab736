"""Whether the crew of a plant, its quiet hours, visits and branches make sense."""

from collections.abc import Iterator, Sequence
from datetime import date

from scheduler.domain.checks.faults import Fault, name_faults, stretch_faults, text_faults
from scheduler.domain.vessel.crew import Crew, CrewBlock, MinimumBlock, QuietHours
from scheduler.domain.vessel.document import Plant
from scheduler.language import gettext as _

Block = MinimumBlock | CrewBlock | QuietHours
"""What holds on some dates and in some hours of the ship."""

MOST_HANDS = 50
MOST_STOP_MINUTES = 60
"""A stop that fills an hour is an outage and no short test. Judgement, no source."""


def crew_faults(at: str, crew: Crew) -> Iterator[Fault]:
    """Of the crew: its hands, hours and starts."""
    if not 1 <= crew.hands <= MOST_HANDS:
        yield (
            f"{at}/hands",
            _(
                "The crew has {hands} hands: 1 to {most_hands} was expected. Give the hands at work.",
                hands=crew.hands,
                most_hands=MOST_HANDS,
            ),
        )
    if not 1 <= crew.hours_a_person <= 24:
        yield (
            f"{at}/hours_a_person",
            _(
                "A person works {hours_a_person} h a day: 1 to 24 was expected. Give the most that one person works.",
                hours_a_person=crew.hours_a_person,
            ),
        )
    for i, block in enumerate(crew.blocks):
        here, named = f"{at}/blocks/{i}", _('The crew block "{label}"', label=block.label)
        yield from text_faults(f"{here}/label", _("The label of a crew block"), block.label)
        if not 0 <= block.hands <= MOST_HANDS:
            yield (
                f"{here}/hands",
                _(
                    "{named} has {hands} hands: 0 to {most_hands} was expected. Give 0 for nobody.",
                    named=named,
                    hands=block.hands,
                    most_hands=MOST_HANDS,
                ),
            )
        yield from block_faults(here, named, block)
    yield from _starts(at, crew)
    for i, stretch in enumerate(crew.no_work):
        here, named = f"{at}/no_work/{i}", _('The no-work stretch "{label}"', label=stretch.label)
        yield from text_faults(f"{here}/label", _("The label of a no-work stretch"), stretch.label)
        yield from stretch_faults(here, named, stretch.from_at, stretch.to_at)


def _starts(at: str, crew: Crew) -> Iterator[Fault]:
    from_hour, to_hour = crew.work_from_hour, crew.work_to_hour
    if not 0 <= from_hour < to_hour <= 24:
        yield (
            f"{at}/work_from_hour",
            _(
                "The crew works from {from_hour} to {to_hour} o'clock: hours from 0 to 24, the first "
                "before the second, were expected. Give the ship's working hours.",
                from_hour=from_hour,
                to_hour=to_hour,
            ),
        )
    elif not crew.start_hours:
        yield (
            f"{at}/start_hours",
            _("No hour is given at which a job may start: at least one was expected. Give 8 or so."),
        )
    else:
        for i, hour in enumerate(crew.start_hours):
            at_work = from_hour <= hour < to_hour or any(b.hands > 0 and _holds(b, hour) for b in crew.blocks)
            if not at_work or not 0 <= hour < 24:
                yield (
                    f"{at}/start_hours/{i}",
                    _(
                        "A job may start at {hour} o'clock, outside the working hours: {from_hour} to "
                        "{to_hour} was expected. Move the start, widen the working hours or add a crew block "
                        "with hands then.",
                        hour=hour,
                        from_hour=from_hour,
                        to_hour=to_hour - 1,
                    ),
                )


def _holds(block: Block, hour: int) -> bool:
    if block.from_hour <= block.to_hour:
        return block.from_hour <= hour < block.to_hour
    return hour >= block.from_hour or hour < block.to_hour


def occasion_faults(at: str, plant: Plant) -> Iterator[Fault]:
    """Of quiet hours, visits of service engineers, stays in port and pumps that may not be open together."""
    for i, quiet in enumerate(plant.quiet_hours):
        here, named = (
            f"{at}/quiet_hours/{i}",
            _(
                "The quiet hours from {from_hour} to {to_hour} o'clock",
                from_hour=quiet.from_hour,
                to_hour=quiet.to_hour,
            ),
        )
        yield from block_faults(here, named, quiet)
        yield from text_faults(f"{here}/consent", _("{named}: who agreed to them", named=named), quiet.consent)
        if not 1 <= quiet.most_stop_minutes < MOST_STOP_MINUTES:
            yield (
                f"{here}/most_stop_minutes",
                _(
                    "{named} allow a stop of {most_stop_minutes} min: 1 to {most_stop_minutes_2} was "
                    "expected. Give the minutes for which the receiver surely holds.",
                    named=named,
                    most_stop_minutes=quiet.most_stop_minutes,
                    most_stop_minutes_2=MOST_STOP_MINUTES - 1,
                ),
            )
    for i, visit in enumerate(plant.engineer_visits):
        here = f"{at}/engineer_visits/{i}"
        yield from text_faults(f"{here}/label", _("The label of a service engineer's visit"), visit.label)
        yield from stretch_faults(here, _('The visit "{label}"', label=visit.label), visit.from_at, visit.to_at)
    for i, stay in enumerate(plant.port_stays):
        here = f"{at}/port_stays/{i}"
        yield from stretch_faults(here, _("Stay in port {i}", i=i + 1), stay.from_at, stay.to_at)
    positions = {position.id for position in plant.positions}
    for i, branch in enumerate(plant.branches):
        here = f"{at}/branches/{i}"
        yield from text_faults(f"{here}/label", _("The label of a branch"), branch.label)
        for j, position in enumerate(branch.positions):
            yield from name_faults(f"{here}/positions/{j}", f'Branch "{branch.label}"', position, positions, "position")
        if not 1 <= branch.most_open < len(set(branch.positions)):
            yield (
                f"{here}/most_open",
                _(
                    'Of branch "{label}" {most_open} pumps may be open and {count} positions are on it: '
                    "at least 1 and fewer than its positions was expected. Correct it or take it out.",
                    label=branch.label,
                    most_open=branch.most_open,
                    count=len(set(branch.positions)),
                ),
            )


def hidden(blocks: Sequence[Block], on: date) -> list[tuple[Block, Block]]:
    """The blocks that never count from `on` on, each with the later one that covers all its hours and dates.

    Of blocks that match the last counts, so an earlier one inside a later one says nothing. Blocks that are equal but for
    their label contradict nobody and are left out.
    """
    found = []
    for i, block in enumerate(blocks):
        if block.to_on is not None and block.to_on < on:
            continue
        over = next((later for later in blocks[i + 1 :] if _covers(later, block)), None)
        if over is not None and _says(over) != _says(block):
            found.append((block, over))
    return found


def _covers(outer: Block, inner: Block) -> bool:
    first, last = inner.from_on or date.min, inner.to_on or date.max
    hours = all(_holds(outer, hour) for hour in range(24) if _holds(inner, hour))
    return hours and (outer.from_on or date.min) <= first and last <= (outer.to_on or date.max)


def _says(block: Block) -> float:
    match block:
        case MinimumBlock():
            return block.minimum_swept_m3_per_h
        case CrewBlock():
            return block.hands
    return block.most_stop_minutes


def block_faults(at: str, named: str, block: Block) -> Iterator[Fault]:
    """Of the hours and dates of a block."""
    if not (0 <= block.from_hour <= 23 and 0 <= block.to_hour <= 24) or block.from_hour == block.to_hour:
        yield (
            f"{at}/from_hour",
            _(
                "{named} holds from {from_hour} to {to_hour} o'clock: two different hours, 0 to 23 "
                "and 0 to 24, were expected. Give 0 and 24 for the whole day.",
                named=named,
                from_hour=block.from_hour,
                to_hour=block.to_hour,
            ),
        )
    if block.from_on is not None and block.to_on is not None and block.from_on > block.to_on:
        yield (
            f"{at}/from_on",
            _(
                "{named} holds from {from_on} to {to_on}: the first date was expected before the "
                "second. Exchange or correct them.",
                named=named,
                from_on=block.from_on,
                to_on=block.to_on,
            ),
        )

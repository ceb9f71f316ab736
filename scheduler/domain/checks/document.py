"""Whether a vessel document makes sense: every fault at once, each with where it stands and what to do about it.

The shape (names, types, unknown members) is checked at the door; here stands what a shape cannot say. Limits without a
source are judgement: wide enough for any plant of this kind, narrow enough to catch a slip of the pen.
"""

from collections.abc import Callable, Iterator, Sequence
from itertools import combinations
from math import isfinite
from typing import TypeVar

from scheduler.domain.capacity.minimum import ATMOSPHERE_KPA, pump_capacity
from scheduler.domain.checks.crew import block_faults, crew_faults, occasion_faults
from scheduler.domain.checks.faults import (
    Fault,
    before_end,
    figure_faults,
    id_faults,
    is_aware,
    name_faults,
    span_faults,
    text_faults,
    twice_faults,
)
from scheduler.domain.checks.job_kinds import kind_faults, last_done_faults, renewal_faults
from scheduler.domain.checks.job_sheets import finding_faults
from scheduler.domain.checks.procedures import procedure_faults
from scheduler.domain.vessel.document import Fitting, Plant, Pump, Stay, Vessel, imo_number_holds
from scheduler.domain.vessel.renaming import things
from scheduler.language import gettext

MOST_PUMPS = 8
MOST_M3_PER_H, MOST_RECEIVER_M3 = 5000.0, 500.0
MOST_COUNTS = 2**64

Span = TypeVar("Span", Stay, Fitting)


def faults_of(vessel: Vessel) -> tuple[Fault, ...]:
    """Everything in the document that makes no sense, in the document's order; empty when it can be taken.

    A plant with a single pump is taken: nothing can be staggered there, and the plan will say so.
    """
    return tuple((at, _plain(says)) for at, says in _vessel(vessel))


def _plain(says: str) -> str:
    """A sentence that can be shown and sent, whatever a name in it holds."""
    return "".join(c if c.isprintable() else ascii(c)[1:-1] for c in says)


def _vessel(vessel: Vessel) -> Iterator[Fault]:
    yield from id_faults("/id", "Vessel id", vessel.id)
    yield from text_faults("/name", gettext("The vessel's name"), vessel.name)
    if not imo_number_holds(vessel.imo):
        yield (
            "/imo",
            gettext(
                "IMO number {imo} does not hold: seven digits whose last one agrees with the others "
                "were expected. Read it again from the ship's papers; two digits may be swapped.",
                imo=f"{vessel.imo!r}",
            ),
        )
    for sort, at, one in things(vessel):
        if one.was:
            yield from id_faults(f"{at}/was", gettext("What {sort} {id} was", sort=sort, id=one.id), one.was)
    if not -720 <= vessel.utc_offset_minutes <= 840:
        yield (
            "/utc_offset_minutes",
            gettext(
                "The ship's time is {utc_offset_minutes} minutes from UTC: -720 to 840 was expected. "
                "Give the offset in minutes, east positive.",
                utc_offset_minutes=vessel.utc_offset_minutes,
            ),
        )
    if not vessel.plants:
        yield (
            "/plants",
            gettext('Vessel "{id}" has no plant: at least one was expected. Add the vacuum plant.', id=vessel.id),
        )
    yield from _twice_in_vessel(vessel)
    for i, plant in enumerate(vessel.plants):
        yield from _plant(f"/plants/{i}", plant)


def _twice_in_vessel(vessel: Vessel) -> Iterator[Fault]:
    """Ids and serial numbers must be the vessel's only ones, since counters and occurrences go by them."""
    numbered = [(f"/plants/{i}", plant) for i, plant in enumerate(vessel.plants)]
    yield from twice_faults([(f"{p}/id", plant.id) for p, plant in numbered], "Plant id")
    for member, what in (("positions", "Position id"), ("pumps", "Pump id"), ("parts", "Part id")):
        ids = [(f"{p}/{member}/{j}/id", x.id) for p, plant in numbered for j, x in enumerate(getattr(plant, member))]
        yield from twice_faults(ids, what)
    counters = [(f"{p}/counters/{j}/id", c.id) for p, plant in numbered for j, c in enumerate(plant.counters)]
    yield from twice_faults(counters, "Counter id")
    serials = [(f"{p}/pumps/{j}/serial", pump.serial) for p, plant in numbered for j, pump in enumerate(plant.pumps)]
    yield from twice_faults(serials, gettext("Pump serial number"))


def _plant(at: str, plant: Plant) -> Iterator[Fault]:
    yield from id_faults(f"{at}/id", "Plant id", plant.id)
    yield from text_faults(f"{at}/name", gettext("The plant's name"), plant.name)
    yield from text_faults(f"{at}/minimum_label", gettext("The label of the minimum"), plant.minimum_label)
    yield from figure_faults(
        f"{at}/receiver_m3", gettext("The receiver's volume"), plant.receiver_m3, MOST_RECEIVER_M3, "m3"
    )
    yield from _vacuum(at, plant)
    yield from figure_faults(
        f"{at}/provisional_derate",
        gettext("The provisional derate"),
        plant.provisional_derate,
        1,
        gettext("of its capacity"),
        least=0,
    )
    for i, position in enumerate(plant.positions):
        yield from id_faults(f"{at}/positions/{i}/id", "Position id", position.id)
        yield from text_faults(
            f"{at}/positions/{i}/name", gettext('The name of position "{id}"', id=position.id), position.name
        )
    for i, pump in enumerate(plant.pumps):
        yield from _pump(f"{at}/pumps/{i}", pump)
    for i, part in enumerate(plant.parts):
        yield from id_faults(f"{at}/parts/{i}/id", "Part id", part.id)
        yield from text_faults(f"{at}/parts/{i}/name", gettext('The name of part "{id}"', id=part.id), part.name)
        yield from text_faults(f"{at}/parts/{i}/kind", gettext('The kind of part "{id}"', id=part.id), part.kind)
    yield from _stays(at, plant)
    yield from _counters(at, plant)
    for i, kind in enumerate(plant.job_kinds):
        yield from kind_faults(f"{at}/job_kinds/{i}", kind, plant)
    yield from twice_faults(
        [(f"{at}/job_kinds/{i}/code", k.code) for i, k in enumerate(plant.job_kinds)], gettext("Job kind code")
    )
    yield from renewal_faults(at, plant)
    yield from last_done_faults(at, plant)
    yield from finding_faults(at, plant)
    yield from crew_faults(f"{at}/crew", plant.crew)
    yield from procedure_faults(at, plant)
    yield from occasion_faults(at, plant)
    yield from _minimum(at, plant)


def _vacuum(at: str, plant: Plant) -> Iterator[Fault]:
    for member, figure in (("start_vacuum_kpa", plant.start_vacuum_kpa), ("stop_vacuum_kpa", plant.stop_vacuum_kpa)):
        if not 0 < figure < ATMOSPHERE_KPA:
            yield (
                f"{at}/{member}",
                gettext(
                    "{member} is {figure}: above 0 and under {atmosphere_kpa} kPa below atmosphere was "
                    "expected. Give it as a positive figure; 0.5 bar is 50 kPa.",
                    member=member,
                    figure=f"{figure:g}",
                    atmosphere_kpa=f"{ATMOSPHERE_KPA:g}",
                ),
            )
    if plant.start_vacuum_kpa >= plant.stop_vacuum_kpa:
        yield (
            f"{at}/start_vacuum_kpa",
            gettext(
                "Pumps start at {start_vacuum_kpa} and stop at {stop_vacuum_kpa} kPa below "
                "atmosphere: the start was expected to be the weaker vacuum. Exchange or correct the "
                "two figures.",
                start_vacuum_kpa=f"{plant.start_vacuum_kpa:g}",
                stop_vacuum_kpa=f"{plant.stop_vacuum_kpa:g}",
            ),
        )


def _pump(at: str, pump: Pump) -> Iterator[Fault]:
    yield from id_faults(f"{at}/id", "Pump id", pump.id)
    yield from text_faults(f"{at}/serial", gettext('The serial number of pump "{id}"', id=pump.id), pump.serial)
    named = gettext('of pump "{id}"', id=pump.id)
    rated, measured = pump.rated_swept_m3_per_h, pump.measured_swept_m3_per_h
    yield from figure_faults(
        f"{at}/rated_swept_m3_per_h",
        gettext("The rated capacity {named}", named=named),
        rated,
        MOST_M3_PER_H,
        "swept m3/h",
    )
    yield from figure_faults(
        f"{at}/derate",
        gettext("The derate {named}", named=named),
        pump.derate,
        1,
        gettext("of its rated capacity"),
        least=0,
    )
    if measured is None:
        if pump.measured_on is not None:
            yield (
                f"{at}/measured_on",
                gettext(
                    'Pump "{id}" was measured on {measured_on} without a figure: both were expected. '
                    "Give measured_swept_m3_per_h or take the date out.",
                    id=pump.id,
                    measured_on=pump.measured_on,
                ),
            )
    elif not 0 < measured <= 2 * rated:
        yield (
            f"{at}/measured_swept_m3_per_h",
            gettext(
                'Pump "{id}" measured {measured} beside {rated} swept m3/h rated: above 0 and at '
                "most twice the rated figure was expected. Check that both are swept volume at the "
                "stop setpoint, not free air.",
                id=pump.id,
                measured=f"{measured:g}",
                rated=f"{rated:g}",
            ),
        )


def _stays(at: str, plant: Plant) -> Iterator[Fault]:
    pumps, positions = {p.id for p in plant.pumps}, {p.id for p in plant.positions}
    parts = {p.id for p in plant.parts}
    for i, stay in enumerate(plant.stays):
        here = f"{at}/stays/{i}"
        yield from name_faults(f"{here}/pump", "A stay", stay.pump, pumps, "pump")
        yield from name_faults(f"{here}/position", "A stay", stay.position, positions, "position")
        yield from span_faults(here, gettext('The stay of pump "{pump}"', pump=stay.pump), stay)
    for i, fitting in enumerate(plant.fittings):
        here = f"{at}/fittings/{i}"
        yield from name_faults(f"{here}/part", "A fitting", fitting.part, parts, "part")
        yield from name_faults(f"{here}/pump", "A fitting", fitting.pump, pumps, "pump")
        yield from span_faults(here, gettext('The fitting of part "{part}"', part=fitting.part), fitting)
    yield from _overlaps(f"{at}/stays", plant.stays, lambda s: s.pump, "Pump", gettext("stands in two positions"))
    yield from _overlaps(f"{at}/stays", plant.stays, lambda s: s.position, "Position", gettext("holds two pumps"))
    yield from _overlaps(f"{at}/fittings", plant.fittings, lambda f: f.part, "Part", gettext("sits in two pumps"))
    standing = {stay.pump for stay in plant.stays if stay.to_at is None}
    if not standing or len(standing) > MOST_PUMPS:
        yield (
            f"{at}/stays",
            gettext(
                'Plant "{id}" has {count} pumps in positions: 1 to {most_pumps} was expected. Give '
                "each pump that stands in a position one stay without to_at.",
                id=plant.id,
                count=len(standing),
                most_pumps=MOST_PUMPS,
            ),
        )


def _overlaps(at: str, spans: Sequence[Span], owner: Callable[[Span], str], what: str, does: str) -> Iterator[Fault]:
    sound = [(i, s) for i, s in enumerate(spans) if is_aware(s.from_at) and (s.to_at is None or is_aware(s.to_at))]
    for (_, a), (j, b) in combinations(sound, 2):
        if owner(a) == owner(b) and before_end(a.from_at, b.to_at) and before_end(b.from_at, a.to_at):
            yield (
                f"{at}/{j}",
                gettext(
                    '{what} "{owner}" {does} at once from {max}: one at a time was expected. End the '
                    "earlier one (to_at) when the later begins.",
                    what=what,
                    owner=owner(a),
                    does=does,
                    max=max(a.from_at, b.from_at).isoformat(),
                ),
            )


def _counters(at: str, plant: Plant) -> Iterator[Fault]:
    positions = {p.id for p in plant.positions}
    for i, counter in enumerate(plant.counters):
        here, named = f"{at}/counters/{i}", gettext('of counter "{id}"', id=counter.id)
        yield from id_faults(f"{here}/id", "Counter id", counter.id)
        yield from name_faults(f"{here}/position", f'Counter "{counter.id}"', counter.position, positions, "position")
        for member, figure, what in (
            ("seconds_per_count", counter.seconds_per_count, gettext("3600 for an hour register, 60 for minutes")),
            ("modulus", counter.modulus, gettext("the count at which it rolls over, or nothing if it does not")),
            ("resolution", counter.resolution, gettext("the smallest step in counts")),
            ("quiet_after_hours", counter.quiet_after_hours, gettext("the hours after which it is called silent")),
        ):
            if figure is not None and not 0 < figure <= MOST_COUNTS:
                yield (
                    f"{here}/{member}",
                    gettext(
                        "{member} {named} is {figure}: above 0 and not beyond 2^64 was expected. Give {what}.",
                        member=member,
                        named=named,
                        figure=figure,
                        what=what,
                    ),
                )

    for position in plant.positions:
        own = [(i, c) for i, c in enumerate(plant.counters) if c.position == position.id]
        counting = [c.id for _, c in own if c.primary]
        if own and len(counting) != 1:
            yield (
                f"{at}/counters/{own[-1][0]}/primary",
                gettext(
                    'Position "{id}" has {count} counters, of which {count_2} count for it: one was '
                    "expected, the others only check it. Leave primary true for the one that counts "
                    "first and set it false for the others; that another one counts later is an event.",
                    id=position.id,
                    count=len(own),
                    count_2=len(counting),
                ),
            )


def _minimum(at: str, plant: Plant) -> Iterator[Fault]:
    standing = {stay.pump for stay in plant.stays if stay.to_at is None}
    together = sum(pump_capacity(pump).m3_per_h for pump in plant.pumps if pump.id in standing)
    named = gettext('of plant "{id}"', id=plant.id)
    figure = plant.minimum_swept_m3_per_h
    yield from _demand(
        f"{at}/minimum_swept_m3_per_h", gettext("The minimum {named}", named=named), figure, together, bool(standing)
    )
    for i, block in enumerate(plant.minimum_blocks):
        here = f"{at}/minimum_blocks/{i}"
        yield from text_faults(f"{here}/label", gettext("The label of a minimum block"), block.label)
        yield from _demand(
            f"{here}/minimum_swept_m3_per_h",
            gettext('The minimum "{label}" {named}', label=block.label, named=named),
            block.minimum_swept_m3_per_h,
            together,
            bool(standing),
        )
        yield from block_faults(here, gettext('The minimum "{label}"', label=block.label), block)


def _demand(at: str, what: str, figure: float, together: float, any_pumps: bool) -> Iterator[Fault]:
    if not (isfinite(figure) and figure >= 0):
        yield (
            at,
            gettext(
                "{what} is {figure} swept m3/h: 0 or more was expected. Give 0 for lay-up.",
                what=what,
                figure=f"{figure:g}",
            ),
        )
    elif any_pumps and figure > together:
        yield (
            at,
            gettext(
                "{what} is {figure} swept m3/h and all its pumps in positions make {together} "
                "together: no more than that was expected. Correct the minimum or the capacities; "
                "both are swept volume at the stop setpoint.",
                what=what,
                figure=f"{figure:g}",
                together=f"{together:g}",
            ),
        )

"""Whether a vessel document makes sense: every fault at once, each with where it stands and what to do about it.

The shape (names, types, unknown members) is checked at the door; here stands what a shape cannot say. Limits without a
source are judgement: wide enough for any plant of this kind, narrow enough to catch a slip of the pen.
"""

import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import datetime
from itertools import combinations
from math import isfinite
from typing import TypeVar

from scheduler.domain.capacity import ATMOSPHERE_KPA, pump_capacity
from scheduler.domain.fleet import (
    Crew,
    Fitting,
    JobKind,
    LastDone,
    MinimumBlock,
    Plant,
    Pump,
    Stay,
    Vessel,
    imo_number_holds,
)
from scheduler.domain.words import Subject

_Span = TypeVar("_Span", Stay, Fitting)

Fault = tuple[str, str]
"""(JSON Pointer, sentence)."""

ID = re.compile(r"[a-z0-9][a-z0-9-]{0,62}")
CODE = re.compile(r"[a-z0-9][a-z0-9_-]{0,62}")
MOST_PUMPS = 8
LONGEST_NAME, LONGEST_NOTE = 200, 2000
MOST_M3_PER_H, MOST_RECEIVER_M3 = 5000.0, 500.0
MOST_RUNNING_HOURS, MOST_MONTHS, MOST_DAYS = 200_000, 240, 7300
LONGEST_JOB_HOURS, MOST_HANDS = 72, 50
SHORTEST_MONTH_DAYS = 28


def faults_of(vessel: Vessel) -> tuple[Fault, ...]:
    """Everything in the document that makes no sense, in the document's order; empty when it can be taken.

    A plant with a single pump is taken: nothing can be staggered there, and the plan will say so.
    """
    return tuple(_vessel(vessel))


def _vessel(vessel: Vessel) -> Iterator[Fault]:
    yield from _id("/id", "Vessel id", vessel.id)
    yield from _text("/name", "The vessel's name", vessel.name)
    if not imo_number_holds(vessel.imo):
        yield (
            "/imo",
            f"IMO number {vessel.imo!r} does not hold: seven digits whose last one agrees with the others were "
            "expected. Read it again from the ship's papers; two digits may be swapped.",
        )
    if not -720 <= vessel.utc_offset_minutes <= 840:
        yield (
            "/utc_offset_minutes",
            f"The ship's time is {vessel.utc_offset_minutes} minutes from UTC: -720 to 840 was expected. "
            "Give the offset in minutes, east positive.",
        )
    if not vessel.plants:
        yield "/plants", f'Vessel "{vessel.id}" has no plant: at least one was expected. Add the vacuum plant.'
    yield from _twice_in_vessel(vessel)
    for i, plant in enumerate(vessel.plants):
        yield from _plant(f"/plants/{i}", plant)


def _twice_in_vessel(vessel: Vessel) -> Iterator[Fault]:
    """Ids and serial numbers must be the vessel's only ones, since counters and occurrences go by them."""
    numbered = [(f"/plants/{i}", plant) for i, plant in enumerate(vessel.plants)]
    yield from _twice([(f"{p}/id", plant.id) for p, plant in numbered], "Plant id")
    for member, what in (("positions", "Position id"), ("pumps", "Pump id"), ("parts", "Part id")):
        ids = [(f"{p}/{member}/{j}/id", x.id) for p, plant in numbered for j, x in enumerate(getattr(plant, member))]
        yield from _twice(ids, what)
    counters = [(f"{p}/counters/{j}/id", c.id) for p, plant in numbered for j, c in enumerate(plant.counters)]
    yield from _twice(counters, "Counter id")
    serials = [(f"{p}/pumps/{j}/serial", pump.serial) for p, plant in numbered for j, pump in enumerate(plant.pumps)]
    yield from _twice(serials, "Pump serial number")


def _plant(at: str, plant: Plant) -> Iterator[Fault]:
    yield from _id(f"{at}/id", "Plant id", plant.id)
    yield from _text(f"{at}/name", "The plant's name", plant.name)
    yield from _text(f"{at}/minimum_label", "The label of the minimum", plant.minimum_label)
    yield from _within(f"{at}/receiver_m3", "The receiver's volume", plant.receiver_m3, MOST_RECEIVER_M3, "m3")
    yield from _vacuum(at, plant)
    yield from _within(
        f"{at}/provisional_derate", "The provisional derate", plant.provisional_derate, 1, "of its capacity", least=0
    )
    for i, position in enumerate(plant.positions):
        yield from _id(f"{at}/positions/{i}/id", "Position id", position.id)
        yield from _text(f"{at}/positions/{i}/name", f'The name of position "{position.id}"', position.name)
    for i, pump in enumerate(plant.pumps):
        yield from _pump(f"{at}/pumps/{i}", pump)
    for i, part in enumerate(plant.parts):
        yield from _id(f"{at}/parts/{i}/id", "Part id", part.id)
        yield from _text(f"{at}/parts/{i}/name", f'The name of part "{part.id}"', part.name)
        yield from _text(f"{at}/parts/{i}/kind", f'The kind of part "{part.id}"', part.kind)
    yield from _stays(at, plant)
    yield from _counters(at, plant)
    for i, kind in enumerate(plant.job_kinds):
        yield from _kind(f"{at}/job_kinds/{i}", kind, plant)
    yield from _twice([(f"{at}/job_kinds/{i}/code", k.code) for i, k in enumerate(plant.job_kinds)], "Job kind code")
    yield from _renewal_ring(at, plant)
    yield from _last_done(at, plant)
    yield from _crew(f"{at}/crew", plant.crew)
    yield from _minimum(at, plant)


def _vacuum(at: str, plant: Plant) -> Iterator[Fault]:
    for member, figure in (("start_vacuum_kpa", plant.start_vacuum_kpa), ("stop_vacuum_kpa", plant.stop_vacuum_kpa)):
        if not 0 < figure < ATMOSPHERE_KPA:
            yield (
                f"{at}/{member}",
                f"{member} is {figure:g}: above 0 and under {ATMOSPHERE_KPA:g} kPa below atmosphere was expected. "
                "Give it as a positive figure; 0.5 bar is 50 kPa.",
            )
    if plant.start_vacuum_kpa >= plant.stop_vacuum_kpa:
        yield (
            f"{at}/start_vacuum_kpa",
            f"Pumps start at {plant.start_vacuum_kpa:g} and stop at {plant.stop_vacuum_kpa:g} kPa below atmosphere: "
            "the start was expected to be the weaker vacuum. Exchange or correct the two figures.",
        )


def _pump(at: str, pump: Pump) -> Iterator[Fault]:
    yield from _id(f"{at}/id", "Pump id", pump.id)
    yield from _text(f"{at}/serial", f'The serial number of pump "{pump.id}"', pump.serial)
    named = f'of pump "{pump.id}"'
    rated, measured = pump.rated_swept_m3_per_h, pump.measured_swept_m3_per_h
    yield from _within(f"{at}/rated_swept_m3_per_h", f"The rated capacity {named}", rated, MOST_M3_PER_H, "swept m3/h")
    yield from _within(f"{at}/derate", f"The derate {named}", pump.derate, 1, "of its rated capacity", least=0)
    if measured is None:
        if pump.measured_on is not None:
            yield (
                f"{at}/measured_on",
                f'Pump "{pump.id}" was measured on {pump.measured_on} without a figure: both were expected. '
                "Give measured_swept_m3_per_h or take the date out.",
            )
    elif not 0 < measured <= 2 * rated:
        yield (
            f"{at}/measured_swept_m3_per_h",
            f'Pump "{pump.id}" measured {measured:g} beside {rated:g} swept m3/h rated: above 0 and at most twice the '
            "rated figure was expected. Check that both are swept volume at the stop setpoint, not free air.",
        )


def _stays(at: str, plant: Plant) -> Iterator[Fault]:
    pumps, positions = {p.id for p in plant.pumps}, {p.id for p in plant.positions}
    parts = {p.id for p in plant.parts}
    for i, stay in enumerate(plant.stays):
        here = f"{at}/stays/{i}"
        yield from _known(f"{here}/pump", "A stay", stay.pump, pumps, "pump")
        yield from _known(f"{here}/position", "A stay", stay.position, positions, "position")
        yield from _span(here, f'The stay of pump "{stay.pump}"', stay)
    for i, fitting in enumerate(plant.fittings):
        here = f"{at}/fittings/{i}"
        yield from _known(f"{here}/part", "A fitting", fitting.part, parts, "part")
        yield from _known(f"{here}/pump", "A fitting", fitting.pump, pumps, "pump")
        yield from _span(here, f'The fitting of part "{fitting.part}"', fitting)
    yield from _overlaps(f"{at}/stays", plant.stays, lambda s: s.pump, "Pump", "stands in two positions")
    yield from _overlaps(f"{at}/stays", plant.stays, lambda s: s.position, "Position", "holds two pumps")
    yield from _overlaps(f"{at}/fittings", plant.fittings, lambda f: f.part, "Part", "sits in two pumps")
    standing = {stay.pump for stay in plant.stays if stay.to_at is None}
    if not standing or len(standing) > MOST_PUMPS:
        yield (
            f"{at}/stays",
            f'Plant "{plant.id}" has {len(standing)} pumps in positions: 1 to {MOST_PUMPS} was expected. '
            "Give each pump that stands in a position one stay without to_at.",
        )


def _overlaps(at: str, spans: Sequence[_Span], owner: Callable[[_Span], str], what: str, does: str) -> Iterator[Fault]:
    sound = [(i, s) for i, s in enumerate(spans) if _aware(s.from_at) and (s.to_at is None or _aware(s.to_at))]
    for (_, a), (j, b) in combinations(sound, 2):
        if owner(a) == owner(b) and _before_end(a.from_at, b.to_at) and _before_end(b.from_at, a.to_at):
            yield (
                f"{at}/{j}",
                f'{what} "{owner(a)}" {does} at once from {max(a.from_at, b.from_at).isoformat()}: one at a time was '
                "expected. End the earlier one (to_at) when the later begins.",
            )


def _counters(at: str, plant: Plant) -> Iterator[Fault]:
    positions = {p.id for p in plant.positions}
    for i, counter in enumerate(plant.counters):
        here, named = f"{at}/counters/{i}", f'of counter "{counter.id}"'
        yield from _id(f"{here}/id", "Counter id", counter.id)
        yield from _known(f"{here}/position", f'Counter "{counter.id}"', counter.position, positions, "position")
        for member, figure, what in (
            ("seconds_per_count", counter.seconds_per_count, "3600 for an hour register, 60 for minutes"),
            ("modulus", counter.modulus, "the count at which it rolls over, or nothing if it does not"),
            ("resolution", counter.resolution, "the smallest step in counts"),
            ("quiet_after_hours", counter.quiet_after_hours, "the hours after which it is called silent"),
        ):
            if figure is not None and not (isfinite(figure) and figure > 0):
                yield f"{here}/{member}", f"{member} {named} is {figure:g}: above 0 was expected. Give {what}."


def _kind(at: str, kind: JobKind, plant: Plant) -> Iterator[Fault]:
    named = f'Job kind "{kind.code}"'
    yield from _id(f"{at}/code", "Job kind code", kind.code, CODE)
    yield from _text(f"{at}/name", f"The name of job kind {kind.code!r}", kind.name)
    yield from _text(f"{at}/note", f"The note of job kind {kind.code!r}", kind.note, LONGEST_NOTE, may_be_empty=True)
    if not 1 <= kind.takes_hours <= LONGEST_JOB_HOURS:
        yield (
            f"{at}/takes_hours",
            f"{named} takes {kind.takes_hours} h: 1 to {LONGEST_JOB_HOURS} whole hours was expected. "
            "Give the working time with isolation and test; split a longer job.",
        )
    if not 1 <= kind.hands <= plant.crew.hands:
        yield (
            f"{at}/hands",
            f"{named} needs {kind.hands} hands and the crew has {plant.crew.hands}: 1 to {plant.crew.hands} was "
            "expected. Lower the hands of the job or raise those of the crew.",
        )
    yield from _intervals(at, kind, named)
    yield from _part_kind(at, kind, plant, named)
    codes = {k.code: k for k in plant.job_kinds}
    for j, code in enumerate(kind.renews):
        here = f"{at}/renews/{j}"
        if code == kind.code:
            yield here, f"{named} renews itself: only others were expected. Take it out; a done job renews its own."
        elif code not in codes:
            yield from _known(here, named, code, set(codes), "job kind")
        elif codes[code].subject is Subject.PLANT and kind.subject is not Subject.PLANT:
            yield (
                here,
                f'{named} renews "{code}", a job of the whole plant: a job of a {kind.subject} cannot do that. '
                "Take it out, or give the two one subject.",
            )


def _intervals(at: str, kind: JobKind, named: str) -> Iterator[Fault]:
    hours, months, days = kind.interval_running_hours, kind.interval_months, kind.interval_days
    for member, figure, most in (
        ("interval_running_hours", hours, MOST_RUNNING_HOURS),
        ("interval_months", months, MOST_MONTHS),
        ("interval_days", days, MOST_DAYS),
    ):
        if figure is not None and not 1 <= figure <= most:
            yield (
                f"{at}/{member}",
                f"{named} has {member} {figure}: 1 to {most} was expected. Give the interval, or leave it out.",
            )
    if hours is None and months is None and days is None:
        yield (
            at,
            f"{named} has no interval: running hours, months or days was expected. Give at least one of "
            "interval_running_hours, interval_months, interval_days.",
        )
    if hours is not None and kind.subject is Subject.PLANT:
        yield (
            f"{at}/interval_running_hours",
            f"{named} counts running hours of the plant, which has none: a calendar interval was expected. "
            "Give months or days, or another subject.",
        )
    calendar_days = min(
        (n for n in (days, None if months is None else months * SHORTEST_MONTH_DAYS) if n is not None), default=None
    )
    for member, figure, interval, needs in (
        ("window_running_hours", kind.window_running_hours, hours, True),
        ("window_days", kind.window_days, calendar_days, False),
        ("tolerance_running_hours", kind.tolerance_running_hours, hours, True),
        ("tolerance_days", kind.tolerance_days, calendar_days, True),
    ):
        if figure < 0:
            yield f"{at}/{member}", f"{named} has {member} {figure}: 0 or more was expected. Give 0 for none."
        elif figure and interval is None and needs:
            yield (
                f"{at}/{member}",
                f"{named} has {member} {figure} without such an interval, so it would never count. "
                "Take it out or give the interval.",
            )
        elif interval is not None and interval > 0 and figure > interval:
            yield (
                f"{at}/{member}",
                f"{named} has {member} {figure}, longer than its interval of {interval}: at most that was expected. "
                "Shorten it or lengthen the interval.",
            )
        elif figure > MOST_RUNNING_HOURS or (member.endswith("_days") and figure > MOST_DAYS):
            yield f"{at}/{member}", f"{named} has {member} {figure}, beyond any interval. Give a shorter one."


def _part_kind(at: str, kind: JobKind, plant: Plant, named: str) -> Iterator[Fault]:
    if kind.subject is not Subject.PART:
        return
    if kind.part_kind is None:
        yield (
            f"{at}/part_kind",
            f"{named} is due on parts and does not say on which: a part kind was expected. Give part_kind.",
        )
    elif kind.part_kind not in {part.kind for part in plant.parts}:
        yield (
            f"{at}/part_kind",
            f'{named} is due on parts of kind "{kind.part_kind}" and plant "{plant.id}" has none, so it would never '
            "fall due. Add such parts or correct part_kind.",
        )


def _renewal_ring(at: str, plant: Plant) -> Iterator[Fault]:
    renews = {kind.code: set(kind.renews) - {kind.code} for kind in plant.job_kinds}
    for i, kind in enumerate(plant.job_kinds):
        seen: set[str] = set()
        ahead = set(renews[kind.code])
        while ahead - seen:
            seen |= ahead
            ahead = {code for reached in ahead for code in renews.get(reached, ())}
        if kind.code in seen:
            yield (
                f"{at}/job_kinds/{i}/renews",
                f'Job kind "{kind.code}" is renewed by a job that it renews itself: one direction was expected. '
                "Let only the larger job renew the smaller.",
            )


def _last_done(at: str, plant: Plant) -> Iterator[Fault]:
    kinds = {kind.code: kind for kind in plant.job_kinds}
    of = {
        Subject.PLANT: {plant.id},
        Subject.POSITION: {p.id for p in plant.positions},
        Subject.PUMP: {p.id for p in plant.pumps},
        Subject.PART: {p.id for p in plant.parts},
    }
    for i, last in enumerate(plant.last_done):
        here = f"{at}/last_done/{i}"
        kind = kinds.get(last.kind)
        if kind is None:
            yield from _known(f"{here}/kind", "last_done", last.kind, set(kinds), "job kind")
        else:
            known = of[kind.subject]
            if kind.subject is Subject.PART:
                known = {p.id for p in plant.parts if p.kind == kind.part_kind}
            yield from _known(f"{here}/subject", f'last_done of "{last.kind}"', last.subject, known, kind.subject)
        yield from _instant(f"{here}/done_at", f'done_at of "{last.kind}" on "{last.subject}"', last.done_at)
        yield from _last_hours(here, last)
    pairs = [(f"{at}/last_done/{i}", f"{last.kind} of {last.subject}") for i, last in enumerate(plant.last_done)]
    yield from _twice(pairs, "last_done for")


def _last_hours(at: str, last: LastDone) -> Iterator[Fault]:
    if last.running_hours is not None:
        yield from _within(
            f"{at}/running_hours",
            f'running_hours of "{last.kind}" on "{last.subject}"',
            last.running_hours,
            MOST_RUNNING_HOURS,
            "running hours",
            least=0,
        )


def _crew(at: str, crew: Crew) -> Iterator[Fault]:
    if not 1 <= crew.hands <= MOST_HANDS:
        yield f"{at}/hands", f"The crew has {crew.hands} hands: 1 to {MOST_HANDS} was expected. Give the hands at work."
    from_hour, to_hour = crew.work_from_hour, crew.work_to_hour
    if not 0 <= from_hour < to_hour <= 24:
        yield (
            f"{at}/work_from_hour",
            f"The crew works from {from_hour} to {to_hour} o'clock: hours from 0 to 24, the first before the second, "
            "were expected. Give the ship's working hours.",
        )
    elif not crew.start_hours:
        yield f"{at}/start_hours", "No hour is given at which a job may start: at least one was expected. Give 8 or so."
    else:
        for i, hour in enumerate(crew.start_hours):
            if not from_hour <= hour < to_hour:
                yield (
                    f"{at}/start_hours/{i}",
                    f"A job may start at {hour} o'clock, outside the working hours: {from_hour} to {to_hour - 1} was "
                    "expected. Move the start or widen the working hours.",
                )
    for i, stretch in enumerate(crew.no_work):
        here, named = f"{at}/no_work/{i}", f'The no-work stretch "{stretch.label}"'
        yield from _text(f"{here}/label", "The label of a no-work stretch", stretch.label)
        yield from _from_to(here, named, stretch.from_at, stretch.to_at)


def _minimum(at: str, plant: Plant) -> Iterator[Fault]:
    standing = {stay.pump for stay in plant.stays if stay.to_at is None}
    together = sum(pump_capacity(pump).m3_per_h for pump in plant.pumps if pump.id in standing)
    named = f'of plant "{plant.id}"'
    figure = plant.minimum_swept_m3_per_h
    yield from _demand(f"{at}/minimum_swept_m3_per_h", f"The minimum {named}", figure, together, bool(standing))
    for i, block in enumerate(plant.minimum_blocks):
        here = f"{at}/minimum_blocks/{i}"
        yield from _text(f"{here}/label", "The label of a minimum block", block.label)
        yield from _demand(
            f"{here}/minimum_swept_m3_per_h",
            f'The minimum "{block.label}" {named}',
            block.minimum_swept_m3_per_h,
            together,
            bool(standing),
        )
        yield from _block_times(here, block)


def _demand(at: str, what: str, figure: float, together: float, any_pumps: bool) -> Iterator[Fault]:
    if not (isfinite(figure) and figure >= 0):
        yield at, f"{what} is {figure:g} swept m3/h: 0 or more was expected. Give 0 for lay-up."
    elif any_pumps and figure > together:
        yield (
            at,
            f"{what} is {figure:g} swept m3/h and all its pumps in positions make {together:g} together: no more than "
            "that was expected. Correct the minimum or the capacities; both are swept volume at the stop setpoint.",
        )


def _block_times(at: str, block: MinimumBlock) -> Iterator[Fault]:
    if not (0 <= block.from_hour <= 23 and 0 <= block.to_hour <= 24) or block.from_hour == block.to_hour:
        yield (
            f"{at}/from_hour",
            f'The minimum "{block.label}" holds from {block.from_hour} to {block.to_hour} o\'clock: two different '
            "hours, 0 to 23 and 0 to 24, were expected. Give 0 and 24 for the whole day.",
        )
    if block.from_on is not None and block.to_on is not None and block.from_on > block.to_on:
        yield (
            f"{at}/from_on",
            f'The minimum "{block.label}" holds from {block.from_on} to {block.to_on}: the first date was expected '
            "before the second. Exchange or correct them.",
        )


def _id(at: str, what: str, text: str, pattern: re.Pattern[str] = ID) -> Iterator[Fault]:
    if not pattern.fullmatch(text):
        also = ", hyphens and underscores" if pattern is CODE else " and hyphens"
        yield (
            at,
            f"{what} {_short(text)} cannot be used: 1 to 63 small letters a-z, digits{also}, a letter or digit first, "
            "was expected. Write it so.",
        )


def _text(at: str, what: str, text: str, longest: int = LONGEST_NAME, *, may_be_empty: bool = False) -> Iterator[Fault]:
    if not text.strip() and not may_be_empty:
        yield at, f"{what} is empty: a few words were expected. Write them."
    if len(text) > longest:
        yield at, f"{what} has {len(text)} characters: at most {longest} was expected. Shorten it."
    if any(ord(c) < 32 or 127 <= ord(c) < 160 or 0xD800 <= ord(c) < 0xE000 or c in "\u2028\u2029" for c in text):
        yield at, f"{what} {_short(text)} contains control characters: plain text was expected. Type it again."


def _within(
    at: str, what: str, figure: float, most: float, unit: str, *, least: float | None = None
) -> Iterator[Fault]:
    """A figure from `least` to `most`; without `least`, above 0."""
    if not isfinite(figure) or figure > most or (figure <= 0 if least is None else figure < least):
        low = "above 0" if least is None else f"{least:g}"
        yield at, f"{what} is {figure:g}: {low} to {most:g} {unit} was expected. Correct the figure."


def _known(at: str, what: str, name: str, known: set[str], sort: str) -> Iterator[Fault]:
    if name not in known:
        there = ", ".join(sorted(known)[:12]) or "none"
        yield (
            at,
            f"{what} names {sort} {_short(name)}, which is not in the plant ({there}). Correct the name or add it.",
        )


def _twice(pairs: Iterable[tuple[str, str]], what: str) -> Iterator[Fault]:
    seen: set[str] = set()
    for at, name in pairs:
        if name in seen:
            yield at, f"{what} {_short(name)} is used twice: once was expected. Give this one another, or take it out."
        seen.add(name)


def _span(at: str, what: str, span: Stay | Fitting) -> Iterator[Fault]:
    yield from _from_to(at, what, span.from_at, span.to_at)
    opening = span.opening_running_hours
    yield from _within(
        f"{at}/opening_running_hours", f"{what}: opening hours", opening, MOST_RUNNING_HOURS, "running hours", least=0
    )


def _from_to(at: str, what: str, from_at: datetime, to_at: datetime | None) -> Iterator[Fault]:
    yield from _instant(f"{at}/from_at", f"{what}: from_at", from_at)
    if to_at is None:
        return
    yield from _instant(f"{at}/to_at", f"{what}: to_at", to_at)
    if _aware(from_at) and _aware(to_at) and from_at >= to_at:
        yield (
            f"{at}/to_at",
            f"{what} runs from {from_at.isoformat()} to {to_at.isoformat()}: an end after the beginning was expected. "
            "Exchange or correct the two.",
        )


def _instant(at: str, what: str, instant: datetime) -> Iterator[Fault]:
    if not _aware(instant):
        yield (
            at,
            f"{what} {instant.isoformat()} has no offset from UTC: an instant like 2027-03-01T08:00:00Z was expected. "
            "Add Z or the offset.",
        )


def _aware(instant: datetime) -> bool:
    return instant.utcoffset() is not None


def _before_end(at: datetime, end: datetime | None) -> bool:
    return end is None or at < end


def _short(text: str) -> str:
    return ascii(text if len(text) <= 40 else text[:37] + "...")

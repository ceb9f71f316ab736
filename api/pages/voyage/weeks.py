"""The coming twelve weeks of a plant: where the ship is, what must be there, and what is planned or what there is room for."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from markupsafe import Markup

from api.pages import drawing
from api.pages.drawing.season import DayMinimum
from api.pages.shared.margin import MarginStretch
from scheduler.actions.plant_state.load import PlantState
from scheduler.domain.capacity.room import Need, RoomStretch, closed_spans, longest_room, room_stretches
from scheduler.domain.vessel.naming import short_kind
from scheduler.domain.voyage.days import SEA
from scheduler.domain.voyage.legs import DayAhead, Leg, legs_of
from scheduler.domain.voyage.stretches import VoyageDays
from scheduler.language import gettext as _
from scheduler.language import ngettext
from scheduler.planning.problem.shiphours import HOUR, minimum_stretches
from scheduler.shiptime import instant_of, ship_time
from scheduler.wording.figures import M3H, NBSP, clock, inner, listed, moment, number, offset_words, short_date

DAYS = 84
STRIPS = {"wide": (DAYS, 1232), "narrow": (28, 358)}
"""Days and px of the strip, at a desk and on a phone."""
MOST_LEGS, MOST_NAMED = 24, 5


@dataclass(frozen=True, slots=True, kw_only=True)
class LegLine:
    """A leg. planned: jobs with their addresses; room: what capacity allows, empty where an opening is planned; closed: when none may
    be open; clock: a change in it; fix_href: the form for its first days."""

    when: str
    where: str
    minimum: str
    planned: tuple[tuple[str, str], ...]
    more: int
    room: str
    closed: str
    clock: str
    fix_href: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ClockLine:
    """A coming change of the ship's clock, and what lies in the hour that comes twice or is left out."""

    words: str
    jobs: str


@dataclass(frozen=True, slots=True, kw_only=True)
class WeeksView:
    """A plant's weeks. plant: its name where the ship has several; left_out: legs for which there was no room."""

    plant: str
    legs: tuple[LegLine, ...]
    left_out: int
    strips: Mapping[str, Markup]
    clocks: tuple[ClockLine, ...]
    dock_href: str


@dataclass(frozen=True, slots=True)
class _Planned:
    from_at: datetime
    to_at: datetime
    name: str
    href: str
    opens: bool


def weeks_view(now: PlantState, book: VoyageDays, calendar_href: str) -> WeeksView:
    """The weeks of one plant from the ship's today on. calendar_href: of the page with the days."""
    offset = now.offset_minutes
    today = ship_time(now.at, offset).date()
    from_at = instant_of(datetime.combine(today, time()), offset)
    to_at = instant_of(datetime.combine(today + timedelta(days=DAYS), time()), offset)
    stretches = minimum_stretches(now.plant, from_at, int((to_at - from_at) / HOUR), offset, now.concessions)
    needs = [
        Need(
            from_at=from_at + one.from_step * HOUR,
            to_at=from_at + one.to_step * HOUR,
            litres_per_h=one.litres_per_h,
            pumps=one.pumps,
        )
        for one in stretches
    ]
    margins = [
        MarginStretch(
            from_at=need.from_at,
            to_at=need.to_at,
            available_m3_per_h=one.litres_per_h / 1000,
            minimum_m3_per_h=one.litres_per_h / 1000,
            minimum_label=one.label,
        )
        for need, one in zip(needs, stretches, strict=True)
    ]
    minima = drawing.day_minima(margins, offset)
    legs = legs_of(_days(book, minima, today, now))
    rooms = room_stretches(now.plant, needs, now.outages, now.capacities)
    planned = sorted(_planned(now), key=lambda one: one.from_at)
    lines = tuple(_leg_line(now, leg, rooms, planned, calendar_href) for leg in legs)
    changes = [(at, after) for at, after in now.clock_changes if at < to_at]
    stays = _stays(now, book)
    many = len(now.vessel.plants) > 1
    return WeeksView(
        plant=now.plant.name if many else "",
        legs=lines[:MOST_LEGS],
        left_out=max(0, len(lines) - MOST_LEGS),
        strips={
            name: drawing.weeks_strip(
                minima,
                stays,
                [(at, _turn_words(now, at, after)) for at, after in changes],
                from_at=from_at,
                to_at=from_at + timedelta(days=days),
                utc_offset_minutes=offset,
                width=width,
                name=_strip_words(lines, days),
            )
            for name, (days, width) in STRIPS.items()
        },
        clocks=tuple(_clock_line(now, at, after, planned) for at, after in changes),
        dock_href=f"/plants/{now.plant.id}/dock",
    )


def _days(book: VoyageDays, minima: Sequence[DayMinimum], today: date, now: PlantState) -> Iterator[DayAhead]:
    for n in range(DAYS):
        on = today + timedelta(days=n)
        noon = instant_of(datetime.combine(on, time(12)), now.offset_minutes)
        one = next(day for day in minima if day.from_at <= noon < day.to_at)
        spell = book.on(on)
        yield DayAhead(
            on=on,
            kind=None if spell is None else spell.kind,
            usual=one.usual,
            crest=one.crest,
            usual_label=one.usual_label,
            crest_label=one.crest_label,
        )


def _planned(now: PlantState) -> Iterator[_Planned]:
    stored = now.taken or now.proposed
    times = stored.times() if stored else {}
    for job in now.jobs:
        slot = times.get(job.job_id.key)
        if slot is not None and slot[1] > now.at:
            place = now.position_name(job.position) if job.position else ""
            name = f"{place} {inner(short_kind(job.kind_name))}" if place else job.kind_name
            yield _Planned(*slot, name, f"/vessels/{now.vessel.id}/jobs/{job.job_id.key}", job.takes_pump_out)


def _stays(now: PlantState, book: VoyageDays) -> list[tuple[datetime, datetime, str]]:
    """Stays by the hour where the plant has them, else the days of other kinds than at sea."""
    if now.plant.port_stays:
        return [(one.from_at, one.to_at, one.port or "port") for one in now.plant.port_stays if one.to_at > now.at]
    clock = now.offset_minutes
    return [
        (
            instant_of(datetime.combine(spell.from_on, time()), clock),
            instant_of(datetime.combine(spell.to_on + timedelta(days=1), time()), clock),
            spell.kind,
        )
        for spell in book.spells
        if spell.kind != SEA and spell.to_on >= ship_time(now.at, clock).date()
    ]


def _leg_line(
    now: PlantState, leg: Leg, rooms: Sequence[RoomStretch], planned: Sequence[_Planned], calendar_href: str
) -> LegLine:
    offset = now.offset_minutes
    from_at = max(now.at, instant_of(datetime.combine(leg.from_on, time()), offset))
    to_at = instant_of(datetime.combine(leg.to_on + timedelta(days=1), time()), offset)
    mine = [one for one in planned if from_at <= max(one.from_at, now.at) < to_at]
    length = longest_room(rooms, from_at, to_at)
    room = ""
    if not any(one.opens for one in mine):
        hours = int(length / HOUR)
        room = (
            _("room for one opening of up to {hours}{nbsp}h", hours=hours, nbsp=NBSP)
            if hours
            else _("no room for an opening of every pump")
        )
        if length >= to_at - from_at:
            room = _("room for an opening at any hour")
    return LegLine(
        when=_leg_days(leg, now),
        where=_where(leg),
        minimum=_minimum(leg),
        planned=tuple((f"{one.name} {short_date(one.from_at, offset)}", one.href) for one in mine[:MOST_NAMED]),
        more=max(0, len(mine) - MOST_NAMED),
        room=room,
        closed=_closed(closed_spans(rooms, from_at, to_at), from_at, to_at, now),
        clock="; ".join(
            f"{_turn_words(now, at, after)} {moment(at - timedelta(seconds=1), offset)}"
            for at, after in now.clock_changes
            if from_at <= at < to_at
        ),
        fix_href=f"{calendar_href}?edit={leg.from_on}#entry",
    )


def _leg_days(leg: Leg, now: PlantState) -> str:
    first, last = (
        short_date(instant_of(datetime.combine(on, time(12)), now.offset_minutes), now.offset_minutes, now.at)
        for on in (leg.from_on, leg.to_on)
    )
    return first if leg.from_on == leg.to_on else _("{first} to {last}", first=first, last=last)


def _where(leg: Leg) -> str:
    """ "at sea, 3 days in port"; a leg of one kind by that alone."""
    said = {
        "sea": _("at sea"),
        "port": _("in port"),
        "anchor": _("at anchor"),
        "yard": _("in the yard"),
        "lay-up": _("laid up"),
    }

    def words(kind: str | None) -> str:
        return _("no day entered") if kind is None else said.get(kind, kind)

    if len(leg.kinds) == 1:
        return words(leg.kinds[0][0])
    most = max(leg.kinds, key=lambda one: one[1])
    rest = [
        ngettext("{count} day {where}", "{count} days {where}", days, count=days, where=words(kind))
        for kind, days in leg.kinds
        if kind != most[0]
    ]
    return f"{words(most[0])}, {listed(rest)}"


def _minimum(leg: Leg) -> str:
    day = leg.day
    label = "" if day.usual_label == "minimum" else f"{day.usual_label} "
    said = f"{label}{number(day.usual)}"
    return f"{said}, {day.crest_label} {number(day.crest)}" if day.crest > day.usual else said


def _closed(spans: Sequence[tuple[datetime, datetime]], from_at: datetime, to_at: datetime, now: PlantState) -> str:
    """When no pump may be open: the hours of the day where they are the same few, else how many hours."""
    if not spans:
        return ""
    if spans[0][0] <= from_at and spans[0][1] >= to_at:
        return _("no pump may be open")
    daily = dict.fromkeys((clock(start, now.offset_minutes), clock(end, now.offset_minutes)) for start, end in spans)
    whole = list(dict.fromkeys((a, b) for a, b in daily if a != b))
    if len(whole) <= 3 and all(end - start < timedelta(days=1) for start, end in spans):
        return _("no pump may be open {hours}").format(
            hours=listed([_("{first} to {last}", first=a, last=b) for a, b in whole])
        )
    hours = int(sum(((end - start) for start, end in spans), timedelta()) / HOUR)
    return _("no pump may be open in {hours} of its hours", hours=hours)


def _turn_words(now: PlantState, at: datetime, after: int) -> str:
    minutes = after - now.offset_minutes.at(at - timedelta(seconds=1))
    hours, rest = divmod(abs(minutes), 60)
    length = (
        f"{hours}{NBSP}h"
        if not rest
        else _("{hours}{nbsp}h {rest}{nbsp}min", hours=hours, nbsp=NBSP, rest=rest)
        if hours
        else f"{rest}{NBSP}min"
    )
    return _("clock on {length}", length=length) if minutes > 0 else _("clock back {length}", length=length)


def _clock_line(now: PlantState, at: datetime, after: int, planned: Sequence[_Planned]) -> ClockLine:
    before = now.offset_minutes.at(at - timedelta(seconds=1))
    was, then = ship_time(at, before), ship_time(at, after)
    near = timedelta(minutes=abs(after - before))
    hit = [one.name for one in planned if one.from_at < at + near and one.to_at > at - near]
    which = _("comes twice") if after < before else _("is left out")
    jobs = (
        _("{jobs} lies in the hour that {which}.", jobs=listed(hit[:3]), which=which)
        if hit
        else _("No planned job lies in the hour that {which}.", which=which)
    )
    return ClockLine(
        words=_("{day} {was} {before} becomes {then} {after}.").format(
            day=short_date(at, before),
            was=f"{was:%H:%M}",
            before=offset_words(before),
            then=f"{then:%H:%M}",
            after=offset_words(after),
        ),
        jobs=_("{jobs} Counters are not touched; planned work keeps its ship time.", jobs=jobs),
    )


def _strip_words(lines: Sequence[LegLine], days: int) -> str:
    said = "; ".join(
        _("{when}: {where}, minimum {minimum} {m3h}", when=one.when, where=one.where, minimum=one.minimum, m3h=M3H)
        for one in lines[:8]
    )
    return _("The minimum of the coming {days} days. {said}.", days=days, said=said)

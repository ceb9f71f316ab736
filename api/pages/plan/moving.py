"""From a trial of a slot's start to the views of the move form and of the moves made, and a typed form back to an instant."""

import secrets
from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from typing import Any
from urllib.parse import quote

from api.pages.drawing.field import Plumb
from api.pages.plan.view import MoveForm, MoveLine, MoveView, StartChoice, Tried
from api.pages.shared import margin
from api.pages.shared.margin import margin_stretches
from api.routes.shared.fields import Fields
from scheduler.actions.base.context import Context
from scheduler.actions.plan import moving
from scheduler.actions.plan.trial import planned_start
from scheduler.actions.plant_state.load import PlantState
from scheduler.domain.vessel.naming import short_kind
from scheduler.errors import Refused
from scheduler.language import gettext as _
from scheduler.planning.move.trial import Trial
from scheduler.shiptime import instant_of
from scheduler.wording.figures import moment, ship
from scheduler.wording.names import job_words

_HOUR = timedelta(hours=1)
_DAY = timedelta(days=1)


def move_view(now: PlantState, context: Context, here: str, key: str, form: MoveForm | None = None) -> MoveView:
    """The form for moving a slot, with the start that was typed tried out; without one, the start as planned.

    Raises:
        Clash: no plan is taken. NotFound: no such open job, or the plan has none.
    """
    times = now.taken.times() if now.taken else {}
    fallback = planned_start(now, key) or _next_morning(now)
    asked_at, form = _asked(now, fallback, form or MoveForm())
    try:
        trial = moving.trial(context, now, key, asked_at or fallback)
    except Refused as refused:
        form = _with_faults(form, {"at": _at_field(refused)})
        asked_at, trial = None, moving.trial(context, now, key, _whole(now, fallback))
    assert now.taken is not None
    pin = now.pins.get(key)
    first = min((times[one][0] for one in (key, *trial.with_keys) if one in times), default=None)
    last = max((times[one][1] for one in (key, *trial.with_keys) if one in times), default=None)
    return MoveView(
        key=key,
        name=job_words(now.plant, now.at, key),
        along=tuple(job_words(now.plant, now.at, one) for one in trial.with_keys),
        planned=(first, last) if first and last else None,
        by=pin.by if pin else "",
        form=form,
        hours=_hours(now.offset_minutes, form.values.get("at", "")),
        tried=None if asked_at is None and form.faults else _tried(now, trial, typed=asked_at is not None),
        action=f"{here}/moves",
        version=now.taken.version,
        idempotency_key=secrets.token_hex(16),
    )


def start_of(values: Mapping[str, str], offset_minutes: int) -> datetime:
    """The instant of the day and time typed, in ship time.

    Raises:
        Refused: with a fault for each field that cannot be read.
    """
    fields = Fields(values)
    day = fields.day("day", empty=_("a day is expected, as 2026-11-25"))
    at = fields.time("at", empty=_("a time is expected, as 14:00"))
    fields.check(_("The day or the time cannot be read."))
    assert day is not None
    assert at is not None
    return instant_of(datetime.combine(day, at), offset_minutes)


def move_lines(
    now: PlantState, given: Sequence[Mapping[str, Any]], here: str, *, may_undo: bool
) -> tuple[MoveLine, ...]:
    """The moves made by hand as the page lists them, in the order given."""
    return tuple(
        MoveLine(
            number=one["move"],
            name=job_words(now.plant, now.at, one["job"]),
            href=f"/vessels/{quote(now.vessel.id)}/jobs/{quote(one['job'], safe=':')}",
            from_at=read_instant(one["from_at"]),
            to_at=datetime.fromisoformat(one["to_at"]),
            by=one["by"],
            at=datetime.fromisoformat(one["at"]),
            reason=one["reason"] or "",
            record=one["record"],
            undone_by=one["undone_by"] or "",
            undone_at=read_instant(one["undone_at"]),
            undo_action=f"{here}/moves/{one['move']}/undo" if may_undo and one["can_undo"] else "",
        )
        for one in given
    )


def changed_since(
    now: PlantState, moves: Sequence[MoveLine], looked_at: datetime | None, key: str, seen_at: datetime | None
) -> tuple[str, ...]:
    """What has changed since a page was looked at, in sentences. seen_at: where the slot stood then."""
    offset = now.offset_minutes
    since = looked_at or now.at
    said = []
    for one in moves:
        if one.undone_at is not None and one.undone_at >= since:
            said.append(
                _(
                    "Move {number} of {name} was undone by {undone_by}.",
                    number=one.number,
                    name=one.name,
                    undone_by=one.undone_by,
                )
            )
        elif one.at >= since:
            said.append(
                _("{name} was set to {moment} by {by}.", name=one.name, moment=moment(one.to_at, offset), by=one.by)
            )
    taken_at = now.taken.taken_at if now.taken else None
    if not said and taken_at is not None:
        said.append(_("The plan aboard was taken {moment}.", moment=moment(taken_at, offset)))
    stands = planned_start(now, key)
    if stands is not None and seen_at is not None and stands != seen_at:
        said.append(
            _(
                "{job_words} now stands on {moment}.",
                job_words=job_words(now.plant, now.at, key),
                moment=moment(stands, offset),
            )
        )
    return tuple(said)


def read_instant(text: Any) -> datetime | None:
    """The instant of an RFC 3339 text with its offset, or none.

    >>> read_instant("2026-11-26T12:00:00+00:00"), read_instant("2026-11-26T12:00"), read_instant(None)
    (datetime.datetime(2026, 11, 26, 12, 0, tzinfo=datetime.timezone.utc), None, None)
    """
    try:
        at = datetime.fromisoformat(str(text))
    except ValueError:
        return None
    return at if at.tzinfo is not None else None


def _asked(now: PlantState, planned_at: datetime, form: MoveForm) -> tuple[datetime | None, MoveForm]:
    """The start asked for, none when nothing was typed or it cannot be read; and the form with its fields filled."""
    values = dict(form.values)
    if values.get("start"):
        at = read_instant(values["start"])
        if at is not None:
            return at, _filled(form, at, now.offset_minutes)
    if not values.get("day") and not values.get("at"):
        return None, _filled(form, planned_at, now.offset_minutes)
    try:
        return start_of(values, now.offset_minutes), form
    except Refused as refused:
        return None, _with_faults(form, {pointer.lstrip("/"): says for pointer, says in refused.faults})


def _hours(offset_minutes: int, typed: str) -> tuple[str, ...]:
    """Every whole hour of the plan in ship time, and what was typed if it is another."""
    hours = [f"{hour:02}:{offset_minutes % 60:02}" for hour in range(24)]
    return tuple(hours if typed in hours or not typed else sorted([*hours, typed[:5]]))


def _filled(form: MoveForm, at: datetime, offset: int) -> MoveForm:
    local = ship(at, offset)
    values = {**form.values, "day": f"{local:%Y-%m-%d}", "at": f"{local:%H:%M}"}
    return MoveForm(values=values, faults=form.faults, says=form.says, changed=form.changed)


def _with_faults(form: MoveForm, faults: Mapping[str, str]) -> MoveForm:
    return MoveForm(values=form.values, faults={**form.faults, **faults}, says=form.says, changed=form.changed)


def _at_field(refused: Refused) -> str:
    return next((says for _, says in refused.faults), refused.says)


def _whole(now: PlantState, at: datetime) -> datetime:
    """The last whole hour of the plan at or before an instant."""
    assert now.taken is not None
    return at - (at - now.taken.problem.starts_at) % _HOUR


def _next_morning(now: PlantState) -> datetime:
    """Eight o'clock tomorrow in ship time, or the plan's next whole hour after it."""
    local = ship(now.at, now.offset_minutes).replace(hour=8, minute=0, second=0, microsecond=0) + _DAY
    at = instant_of(local, now.offset_minutes)
    return _whole(now, at) if now.taken else at


def _tried(now: PlantState, trial: Trial, *, typed: bool) -> Tried:
    first = trial.problem.starts_at

    def at(step: int) -> datetime:
        return first + step * _HOUR

    start_at, end_at = at(trial.start), at(trial.end)
    asked = [] if not trial.holds or any(one.start == trial.start for one in trial.nearest) else [trial]
    choices = [
        StartChoice(
            start_at=at(one.start),
            end_at=at(one.end),
            margin_m3_per_h=_m3(one.least_margin_litres_per_h),
            planned=one.as_planned,
            asked=typed and one.start == trial.start,
        )
        for one in trial.nearest
    ]
    choices += [
        StartChoice(start_at=start_at, end_at=end_at, margin_m3_per_h=_m3(one.least_margin_litres_per_h), asked=True)
        for one in asked
    ]
    midnight = instant_of(ship(start_at, now.offset_minutes).replace(hour=0, minute=0), now.offset_minutes)
    from_at = max(midnight - _DAY, first)
    to_at = max(midnight + 3 * _DAY, end_at + _DAY)
    margins = margin_stretches(trial.problem, trial.plan.slots, margin.positions_of(now))
    return Tried(
        start_at=start_at,
        end_at=end_at,
        holds=trial.holds,
        margin_m3_per_h=_m3(trial.least_margin_litres_per_h),
        against=tuple(moving.said_of(now, trial, trial.against)),
        cautions=tuple(moving.said_of(now, trial, trial.cautions)),
        margins=tuple(run for run in margins if run.from_at < to_at and run.to_at > from_at),
        plumbs=_plumbs(now, trial),
        from_at=from_at,
        to_at=to_at,
        choices=tuple(sorted(choices, key=lambda one: one.start_at)),
    )


def _plumbs(now: PlantState, trial: Trial) -> tuple[Plumb, ...]:
    """A lead line for each slot that takes a pump out; what goes on with an isolation hangs on the first one's line."""
    kinds = {job.job_id.key: job for job in now.jobs}
    lines: dict[str, tuple[int, int, list[str]]] = {}
    for slot in sorted(trial.plan.slots, key=lambda slot: slot.start):
        job = kinds.get(slot.key)
        if slot.pump is None or job is None:
            continue
        short = short_kind(job.kind_name).lower()
        if slot.isolation_of in lines:
            start, _, names = lines[slot.isolation_of]
            lines[slot.isolation_of] = (start, slot.end, [*names, short])
        else:
            place = now.position_name(job.position) if job.position else ""
            lines[slot.key] = (slot.start, slot.end, [f"{place} {short}".strip()])
    first = trial.problem.starts_at
    return tuple(
        Plumb(from_at=first + start * _HOUR, to_at=first + end * _HOUR, label=" + ".join(names))
        for start, end, names in lines.values()
    )


def _m3(litres_per_h: int | None) -> float | None:
    return None if litres_per_h is None else litres_per_h / 1000

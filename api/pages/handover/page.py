"""The page of a handover: filled by itself from what is open, signed by two."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from api.pages.shared import layout
from api.pages.shared.forms import FormState
from api.pages.shared.frame import Frame
from scheduler.actions.plant_state.load import PlantState
from scheduler.actions.work.handover_facts import HandoverFacts, tag_mark
from scheduler.domain.hours.ledger import Code
from scheduler.domain.work.handing_over import HandoverReason
from scheduler.language import gettext as _
from scheduler.shiptime import ShipOffset
from scheduler.wording.figures import M3H, count_words, inner, listed, moment, number
from scheduler.wording.handover import handover_reasons_words
from scheduler.wording.hours import flag_words
from scheduler.wording.names import job_words


@dataclass(frozen=True, slots=True, kw_only=True)
class HandoverPart:
    """A part of it. rows: (what stands out, the words beside it); empty: nothing is open there."""

    title: str
    rows: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PointShown:
    """A point that is locked and tagged. mark: what its tick sends."""

    mark: str
    words: str
    lock: str
    ticked: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class HandoverView(FormState):
    """The page. note: the newest one that waits for who takes over (none: nothing is signed); number: its own; mine: I signed it.

    against: why it cannot be signed, in words; open: how many signatures the form still asks of this person.
    """

    frame: Frame
    action: str
    heading: str
    points: tuple[PointShown, ...]
    parts: tuple[HandoverPart, ...]
    idempotency_key: str
    against: str = ""
    note: Mapping[str, Any] | None = None
    mine: bool = False
    changed: bool = False
    may_sign: bool = False
    shared: bool = False
    done: str = ""

    @property
    def signs(self) -> str:
        """What this person's signature would be: hands over, takes over, or nothing."""
        if not self.may_sign:
            return ""
        return "write" if self.note is None or self.mine or self.changed else "sign"


def handover_page(view: HandoverView, *, light: str, csrf: str) -> str:
    """The page."""
    return layout.render("handover.html", view.frame, light, csrf, view=view)


def heading_words(facts: HandoverFacts, reasons: Sequence[HandoverReason], note: Mapping[str, Any] | None) -> str:
    """What is open, as the answer of the page."""
    tags, jobs = facts.carries["tags_hanging"], facts.jobs_open
    opened = sum(bool(job["is_open"]) for job in jobs)
    parts = [inner(count_words(len(jobs), "job open", "jobs open"))]
    if opened:
        parts.append(inner(count_words(opened, "pump opened up", "pumps opened up")))
    if tags:
        parts.append(inner(count_words(len(tags), "point locked and tagged", "points locked and tagged")))
    who = _("Hand over") if note is None else _("{name} hands over", name=note["written_by"])
    said = _("{who}: {parts}.", who=who, parts=listed(parts))
    return said + (_(" Signed by one, and it waits for who takes over.") if note is not None and not reasons else "")


def points_shown(facts: HandoverFacts, ticked: Sequence[str]) -> tuple[PointShown, ...]:
    """Every point that is locked and tagged."""
    unnumbered = _("no tag number")
    return tuple(
        PointShown(
            mark=tag_mark(tag),
            words=f"{tag['position']}: {tag['tag_no'] or unnumbered}, {tag['point']}",
            lock=_("locked by {name}", name=tag["placed_by"]),
            ticked=tag_mark(tag) in ticked,
        )
        for tag in facts.carries["tags_hanging"]
    )


def against_words(reasons: Sequence[HandoverReason]) -> str:
    """Why it cannot be signed; empty when it can."""
    return handover_reasons_words(reasons)


def handover_parts(facts: HandoverFacts, offset: ShipOffset) -> tuple[HandoverPart, ...]:
    """What is open, part by part, in the order in which it is gone through."""
    carries, first = facts.carries, facts.plants[0]

    def when(text: object) -> str:
        return moment(datetime.fromisoformat(str(text)), offset, first.at) if text else _("not known")

    def job(key: object) -> str:
        state = next((now for now in facts.plants if now.job(str(key)) is not None), first)
        return job_words(state.plant, state.at, str(key))

    parts: list[tuple[str, list[tuple[str, str]]]] = [
        (
            _("Jobs open"),
            [
                (
                    job(one["job"]),
                    _(
                        "begun {when}, {what}",
                        when=when(one["since"]),
                        what=_("pump opened up") if one["is_open"] else _("pump closed"),
                    ),
                )
                for one in facts.jobs_open
            ]
            + [
                (
                    job_words(now.plant, now.at, one.job_id.key),
                    _("open since {moment}", moment=moment(one.due_at, offset, now.at)),
                )
                for now in facts.plants
                for one in now.breakdowns
                if one.job_id.key not in {str(begun["job"]) for begun in facts.jobs_open}
            ],
        ),
        (
            _("Permits, to be issued anew to who takes over"),
            [(one["permit"], job(one["job"])) for one in carries["permits_open"]],
        ),
        (_("Personal locks on the box"), [(one["person"], one["position"]) for one in carries["personal_locks"]]),
        (
            _("Pumps out"),
            [
                (
                    one["position"],
                    _("since {when}, back {back}", when=when(one["since"]), back=when(one["expected"])),
                )
                for one in carries["pumps_out"]
            ],
        ),
        (
            _("Pumps not proved"),
            [
                (one["position"], _("since {when}; never lead", when=when(one["since"])))
                for one in carries["pumps_not_proved"]
            ],
        ),
        (
            _("Lead order"),
            [
                (", ".join(one["order"]), _("changed {when} by {name}", when=when(one["at"]), name=one["by"]))
                for one in carries["lead_order"]
            ],
        ),
        (_("Readings held"), [row for now in facts.plants for row in _held(now, offset)]),
        (
            _("Postponements and lower minima"),
            [
                (
                    job(one["job"]),
                    _("to {when} asked by {name}, not decided", when=when(one["to_at"]), name=one["asked_by"]),
                )
                for one in carries["postponements_asked"]
            ]
            + [
                (
                    f"{number(one['minimum_swept_m3_per_h'], 1)} {M3H}",
                    _("lower minimum until {when}", when=when(one["to_at"])),
                )
                for one in carries["lower_minima"]
            ],
        ),
        (
            _("Parts short"),
            [
                (one["part"], _("{aboard} aboard, {need} needed", aboard=one["aboard"], need=one["need"]))
                for one in carries["parts_short"]
            ],
        ),
        (
            _("Not fitted, or passing"),
            [
                (f"{one['position']} {one['point']}", _("not fitted: {reason}", reason=one["reason"]))
                for one in facts.points_not_fitted
            ]
            + [
                (
                    f"{one['position']} {one['point']}",
                    _("passes; {other} isolates instead", other=one["instead"] or _("nothing")),
                )
                for one in facts.points_passing
            ],
        ),
    ]
    return tuple(HandoverPart(title=title, rows=tuple(rows)) for title, rows in parts)


def _held(now: PlantState, offset: ShipOffset) -> list[tuple[str, str]]:
    places = {counter.id: now.position_name(counter.position) for counter in now.counters}
    return [
        (places[counter], flag_words(flag, places[counter], offset))
        for counter, flag in now.flags
        if flag.code is Code.HELD and counter in places
    ]

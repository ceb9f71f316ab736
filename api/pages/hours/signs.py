"""The page of what the hours say: the sentences, the line of days, the answers. From the facts to the view."""

import secrets
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from markupsafe import Markup

from api.pages.drawing import air_chart
from api.pages.hours.view import AirBlock
from api.pages.shared.forms import FormRefusal, FormState
from api.pages.shared.frame import Frame, frame_of, may
from api.pages.shared.layout import render
from api.server.deps import Asking
from scheduler.actions.due.sooner import Sooner
from scheduler.actions.hours.signs import FoldedPlant, OneSign
from scheduler.actions.plant_state.load import PlantState
from scheduler.domain.hours.sign_facts import PlantSigns, SignFacts
from scheduler.language import gettext as _
from scheduler.wording.figures import inner, moment
from scheduler.wording.signs import (
    CAUSES,
    NO_PROOF,
    back_words,
    day_month,
    end_words,
    least_words,
    quiet_heading,
    quiet_words,
    sign_heading,
    sign_words,
    signs_lines,
    sooner_words,
)

NARROW_DAYS = 45
MOST_CLOSED = 20
PROPOSED = ("hold_test", "pull_down_test", "knife_inspection")
"""Codes of job kinds that tell more, or mend, in the order in which they are proposed for the plant."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposed:
    """A job that may be brought forward on trial: what it is, and where its slot is moved by hand."""

    name: str
    href: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SignLine:
    """A sign on the page. answered: what was answered and by whom; may_undo: it may be taken back."""

    number: int | None
    says: str
    sooner: str = ""
    answered: str = ""
    may_answer: bool = False
    may_undo: bool = False
    proposed: tuple[Proposed, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class SignsView(FormState):
    """The page. open, closed: newest first. notes: why nothing can be said, or what would show."""

    frame: Frame
    plant_name: str
    plant_href: str
    action: str
    heading: str
    open: tuple[SignLine, ...]
    closed: tuple[SignLine, ...]
    notes: tuple[str, ...]
    wide: Markup
    narrow: Markup
    done: str = ""
    refused: str = ""
    idempotency_key: str = ""


def signs_page(view: SignsView, *, light: str, csrf: str) -> str:
    """The sentences, the line of 120 days, the answers, and what was said before."""
    return render("signs.html", view.frame, light, csrf, view=view, causes=CAUSES)


def signs_view(
    now: PlantState,
    folded: FoldedPlant,
    found: PlantSigns,
    sooner: Sooner | None,
    who: Asking,
    *,
    done: str = "",
    refused: FormRefusal | None = None,
) -> SignsView:
    """The page's view. sooner: of the plant's open sign."""
    here = f"/plants/{now.plant.id}/signs"
    names = {position.id: position.name for position in now.plant.positions}
    answers = {(one.number, one.position): one for one in folded.signs}
    may_answer = may(who, "POST", "/plants/{plant_id}/signs")
    may_move = may(who, "POST", "/plants/{plant_id}/plan/moves")

    def line(one: SignFacts) -> SignLine:
        stored = answers[one.number, one.position]
        mine = sooner if one is found.plant_sign else None
        if one.end is None:
            return SignLine(
                number=one.number,
                says=sign_words(one, names, pumps_speak=found.pumps_quiet is None),
                sooner="" if mine is None else _sooner(now, mine),
                may_answer=may_answer and one.number is not None,
                proposed=_proposed(now, one) if may_move and one.up else (),
            )
        name = _("The plant") if one.position is None else names.get(one.position, "A pump")
        what = _(
            "{name}, {what}{rise_percent} % since about {day_month}. {end_words}",
            name=name,
            what="+" if one.up else "−",
            rise_percent=one.rise_percent,
            day_month=day_month(one.began_on),
            end_words=end_words(one),
        )
        return SignLine(
            number=one.number,
            says=what,
            answered=_answered(stored, now),
            may_undo=may_answer and stored.answer is not None,
        )

    heading = _("Nothing to look at in the hours.")
    if found.open:
        heading = sign_heading(found.open[0], names)
    elif found.back_again is not None:
        heading = back_words(found.back_again)
    elif found.quiet is not None:
        heading = quiet_heading(found.quiet)
    notes = [quiet_words(one) for one in (found.quiet, found.pumps_quiet) if one is not None]
    if found.least_percent is not None:
        notes.insert(0, f"{least_words(found.least_percent)} {NO_PROOF}")
    return SignsView(
        frame=frame_of(now, who, here, _("What the hours say"), "counters"),
        plant_name=now.plant.name,
        plant_href=f"/plants/{now.plant.id}",
        action=here,
        heading=heading,
        open=tuple(line(one) for one in found.signs if one.end is None),
        closed=tuple(line(one) for one in found.signs if one.end is not None)[:MOST_CLOSED],
        notes=tuple(notes),
        wide=sign_chart(found, names, 860),
        narrow=sign_chart(found, names, 358, NARROW_DAYS),
        done=done,
        refused=refused.form_name if refused else "",
        **(refused.state if refused else FormState()).members,
        idempotency_key=secrets.token_hex(12),
    )


def air_block(folded: FoldedPlant, *, several: bool) -> AirBlock:
    """The picture and the sentences for the counters page. several: the ship has other plants, so that this one is named."""
    found, plant = folded.facts(), folded.plant
    names = {position.id: position.name for position in plant.positions}
    return AirBlock(
        name=plant.name if several else "",
        lines=tuple(signs_lines(found, names)),
        wide=sign_chart(found, names, 1180),
        narrow=sign_chart(found, names, 358, NARROW_DAYS),
        href=f"/plants/{plant.id}/signs",
    )


def sign_chart(found: PlantSigns, names: Mapping[str, str], width: int, days: int | None = None) -> Markup:
    """The line of days against usual. days: the newest so many, none for all."""
    off: Sequence[float] = found.off.tolist()
    shown = off if days is None else off[-days:]
    sign = found.plant_sign
    says = _("Air handled a day against usual. ") + (
        _("No sign stands.") if sign is None else sign_words(sign, names, pumps_speak=found.pumps_quiet is None)
    )
    return air_chart(
        shown,
        found.last_on,
        least_percent=found.least_percent,
        began_on=None if sign is None else sign.began_on,
        width=width,
        depth=170,
        name=says,
    )


def _sooner(now: PlantState, one: Sooner) -> str:
    return sooner_words(inner(one.job.kind_name), now.position_name(one.job.position), one.days)


def _answered(one: OneSign, now: PlantState) -> str:
    newest = one.answers[-1] if one.answers else None
    if newest is None:
        return ""
    said = f"{CAUSES[newest.cause][1]}: {newest.text}" if newest.text else CAUSES[newest.cause][1]
    found = _(
        "Answered {moment} by {by}: {answer}, {said}.",
        moment=moment(newest.at, now.offset_minutes),
        by=newest.by,
        answer=newest.answer,
        said=said,
    )
    if newest.undone_at is None or newest.undone_by is None:
        return found
    return _(
        "{found} Taken back {moment} by {undone_by}.",
        found=found,
        moment=moment(newest.undone_at, now.offset_minutes),
        undone_by=newest.undone_by,
    )


def _proposed(now: PlantState, one: SignFacts) -> tuple[Proposed, ...]:
    """The first planned job of each kind that would tell more; moving its slot is looked at on trial, and taken by a person."""
    planned = now.taken.times() if now.taken is not None else {}
    found = []
    for code in PROPOSED:
        jobs = [
            job
            for job in now.shown
            if job.job_id.kind == code
            and job.first
            and job.job_id.key in planned
            and one.position in (None, job.position)
        ]
        if jobs:
            job = min(jobs, key=lambda each: planned[each.job_id.key][0])
            name = f"{now.position_name(job.position)} {inner(job.kind_name)}" if job.position else job.kind_name
            found.append(Proposed(name=name, href=f"/plants/{now.plant.id}/plan?job={job.job_id.key}#move"))
    return tuple(found)

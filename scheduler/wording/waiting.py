"""What waits for a person: each matter as a name, a few words and one verb."""

from collections.abc import Callable, Mapping
from datetime import datetime
from typing import NamedTuple

from scheduler.domain.base.matters import MatterCode
from scheduler.domain.feed.summary import Waiting
from scheduler.language import gettext as _
from scheduler.wording.figures import MONTHS, count_words, inner, margin_number, moment, number, short_date

_LONGEST = 70


class MatterWords(NamedTuple):
    """What it is, a few words on it, and the verb of what is to be done."""

    what: str
    words: str
    verb: str


def matter_words(waiting: Waiting, now_at: datetime, offset_minutes: int) -> MatterWords:
    """The matter said, in ship time; with the year where it is not this one."""
    return _WORDS[waiting.matter.code](_Said(waiting, now_at, offset_minutes))


class _Said:
    def __init__(self, waiting: Waiting, now_at: datetime, offset: int) -> None:
        self.matter, self.job, self.now_at, self.offset = waiting.matter, waiting.job, now_at, offset

    @property
    def since(self) -> str:
        at = self.matter.at
        return "" if at is None else moment(at, self.offset, self.now_at)

    def day(self, to: bool = False) -> str:
        at = self.matter.to_at if to else self.matter.at
        return "" if at is None else short_date(at, self.offset, self.now_at)

    @property
    def text(self) -> str:
        words = " ".join(self.matter.text.split())
        return words if len(words) <= _LONGEST else f"{words[: _LONGEST - 1]}…"


def _postponement(said: _Said) -> MatterWords:
    figures = said.matter.figures
    words = [_("limit {day}", day=said.day())]
    if "hours_then" in figures:
        words.append(
            _(
                "about {hours} of {interval} h by then",
                hours=number(figures["hours_then"]),
                interval=number(figures["interval_hours"]),
            )
        )
    if "margin_m3_per_h" in figures:
        words.append(_("margin {margin} as planned now", margin=margin_number(figures["margin_m3_per_h"])))
    return MatterWords(
        _("{job} to {day}", job=said.job, day=said.day(to=True)),
        _("{words}; asked by {by}", words=", ".join(words), by=said.matter.by),
        _("Decide"),
    )


def _lower(said: _Said) -> MatterWords:
    minimum = number(said.matter.figures["minimum_m3_per_h"])
    until = "" if said.matter.to_at is None else moment(said.matter.to_at, said.offset, said.now_at)
    return MatterWords(
        _("Lower minimum, {minimum} m³/h", minimum=minimum),
        _("{since} to {until}; asked by {by}", since=said.since, until=until, by=said.matter.by),
        _("Sign"),
    )


def _nonconformity(said: _Said) -> MatterWords:
    many = count_words(said.matter.count, "non-conformity", "non-conformities")
    what = _("Non-conformity, {job}", job=inner(said.job)) if said.matter.count == 1 else many
    return MatterWords(what, _("{text}, since {day}", text=_(said.text), day=said.day()), _("Answer"))


def _answered(said: _Said) -> MatterWords:
    many = count_words(said.matter.count, "answered non-conformity", "answered non-conformities")
    return MatterWords(many, _("the oldest of {day}", day=said.day()), _("Close"))


def _month(said: _Said) -> MatterWords:
    year, month = said.matter.text.split("-")
    return MatterWords(f"{_(MONTHS[int(month) - 1])} {year}", _("the month is over; not signed"), _("Sign"))


def _plan(said: _Said) -> MatterWords:
    moved = count_words(said.matter.count, "slot differs", "slots differ")
    return MatterWords(
        _("Newer plan"), _("made {since}; {moved} from the plan aboard", since=said.since, moved=inner(moved)), _("See")
    )


_WORDS: Mapping[MatterCode, Callable[[_Said], MatterWords]] = {
    MatterCode.POSTPONEMENT: _postponement,
    MatterCode.LOWER_MINIMUM: _lower,
    MatterCode.FIRST_DATE: lambda said: MatterWords(
        _("{job}, first date {day}", job=said.job, day=said.day()),
        _("set by {by}: {text}", by=said.matter.by, text=said.text),
        _("Agree"),
    ),
    MatterCode.OFFICE_REQUEST: lambda said: MatterWords(
        _("The office asks"),
        _("{by}, {since}: {text}", by=said.matter.by, since=said.since, text=said.text),
        _("Answer"),
    ),
    MatterCode.HANDOVER: lambda said: MatterWords(
        _("Handover"), f"{said.matter.by}, {said.since}: {said.text}", _("Sign")
    ),
    MatterCode.HELD_READING: lambda said: MatterWords(
        _("{position} reading held", position=said.matter.position),
        _("since {since}: nothing counts until somebody decides", since=said.since),
        _("Decide"),
    ),
    MatterCode.NEWER_PLAN: _plan,
    MatterCode.NON_CONFORMITY: _nonconformity,
    MatterCode.NON_CONFORMITY_ANSWERED: _answered,
    MatterCode.VERSION: lambda said: MatterWords(
        _("Document version {number}", number=said.matter.number),
        f"{said.matter.by}, {said.since}: {said.text or 'no reason given'}",
        _("Approve"),
    ),
    MatterCode.MONTH: _month,
}

"""What the hours say, in sentences: what, about when, about how much, and where to look. Never an alarm."""

from collections.abc import Iterator, Mapping, Sequence
from datetime import date, timedelta

from scheduler.domain.hours.sign_facts import PlantSigns, SignFacts
from scheduler.domain.hours.sign_values import Quiet, QuietReason, SignEnd
from scheduler.language import gettext as _
from scheduler.language import marked
from scheduler.wording.figures import MONTHS, day_count, number

_AT: Mapping[str, str] = {
    "sea": marked(" at sea"),
    "port": marked(" in port"),
    "anchor": marked(" at anchor"),
    "yard": marked(" in the yard"),
    "lay-up": marked(" laid up"),
}
NO_PROOF = marked("That nothing stands here is no proof: a leak as large as the ship's own ups and downs is not seen.")
CAUSES: Mapping[str, tuple[str, str]] = {
    "leak": ("mended", marked("a leak")),
    "valve": ("mended", marked("a flush or discharge valve")),
    "pump": ("mended", marked("a pump")),
    "control": ("mended", marked("the control")),
    "guests": ("known", marked("more guests")),
    "route": ("known", marked("another route")),
    "other": ("known", marked("something else")),
    "nothing": ("nothing found", marked("nothing")),
}
"""What a person may answer: what it means for what is usual, and how it is called."""


def day_month(on: date) -> str:
    """A date in a sentence: "12 November"."""
    return _("{day} {month}", day=on.day, month=_(MONTHS[on.month - 1]))


def sign_words(one: SignFacts, names: Mapping[str, str], *, pumps_speak: bool) -> str:
    """A sign in sentences.

    Args:
        names: of positions, by id. pumps_speak: the hours can tell here whether it is the ship or one pump.
    """
    return " ".join((sign_heading(one, names), *_sign_more(one, names, pumps_speak)))


def sign_heading(one: SignFacts, names: Mapping[str, str]) -> str:
    """The first sentence of a sign: what shows. names: of positions, by id."""
    began = day_month(one.began_on)
    since = _("since the week of {began}", began=began) if one.to_the_week else _("since about {began}", began=began)
    if one.position is not None:
        longer, less = (
            marked("{name} has needed about {percent} % longer than its sisters {since}."),
            marked("{name} has needed about {percent} % less than its sisters {since}."),
        )
        name = names.get(one.position) or _("A pump")
        return _(longer if one.up else less, name=name, percent=one.rise_percent, since=since)
    more = (
        ""
        if not one.hours_a_day
        else _(
            " (+{hours_a_day} pump-hours a day)", hours_a_day=number(one.hours_a_day, 0 if one.hours_a_day >= 1 else 1)
        )
    )
    return _(
        "The plant has run about {rise_percent} % more than usual{kind} {since}{more}.",
        rise_percent=one.rise_percent,
        kind=_(_AT.get(one.kind or "", "")),
        since=since,
        more=more,
    )


def _sign_more(one: SignFacts, names: Mapping[str, str], pumps_speak: bool) -> Iterator[str]:
    """What else there is to say of a sign: where to look, and what would tell more."""
    if one.position is not None:
        if one.up:
            yield _("Its pull-down test, brought forward, tells more.")
        return
    if one.asked_again:
        yield _("It has not come back since it was mended.")
    if one.names is not None:
        yield _("{names} runs longer than its sisters: look there first.", names=names.get(one.names, _("One pump")))
    elif pumps_speak:
        yield _("Every pump alike.")
    else:
        yield _("The hours cannot tell here whether it is the ship or one pump.")
    yield _(
        "Look for a leak or a flush valve that hangs before you open a pump; a hold test tells. More guests do the same."
    )


def back_words(one: SignFacts) -> str:
    """That a sign is over, empty where nobody can say since when."""
    return "" if one.back_on is None else _("Back to usual since {back_on}.", back_on=day_month(one.back_on))


def end_words(one: SignFacts) -> str:
    """How a sign ended, empty while it is open."""
    if one.end is None or one.ended_on is None:
        return ""
    on = day_month(one.ended_on)
    return {
        SignEnd.OVER: back_words(one),
        SignEnd.MENDED: _("Mended, {on}. {back}", on=on, back=back_words(one)).strip(),
        SignEnd.KNOWN: _("Known, {on}: usual starts anew there.", on=on),
        SignEnd.NOTHING_FOUND: _("Nothing found, {on}: usual starts anew there.", on=on),
        SignEnd.NOT_ANSWERED: _("Not answered by {on}: usual starts anew there.", on=on),
        SignEnd.RENEWED: _("The pump was overhauled or exchanged, {on}.", on=on),
    }[one.end]


def sooner_words(kind_name: str, position: str, days: int) -> str:
    """How much sooner a job comes at this rate."""
    return _(
        "At this rate the {kind} of {position} comes about {days} sooner.",
        kind=kind_name,
        position=position,
        days=day_count(days),
    )


def least_words(least_percent: int) -> str:
    """What would be seen and what would not."""
    return _("Here a lasting rise of about {least_percent} % or more would show.", least_percent=least_percent)


_QUIET: Mapping[QuietReason, tuple[str, str]] = {
    QuietReason.NO_HISTORY: (
        marked("Learning what is usual{until}; a hold test tells now."),
        marked("Hours read in from old logs count."),
    ),
    QuietReason.AFTER_SIGN: (
        marked("Learning anew what is usual{until}, since the last sign or answer; a hold test tells now."),
        "",
    ),
    QuietReason.RESTLESS: (
        marked("The days differ too much for a rise under a half to show."),
        marked("The operating calendar helps, where nobody keeps it: enter it."),
    ),
    QuietReason.DAYS_MISSING: (
        marked("Too few of the last ten days can be used."),
        marked("Post or read the counters that are silent."),
    ),
    QuietReason.HALF_OUT: (marked("More than half the pumps are out, so their hours say nothing of leaks."), ""),
    QuietReason.NEW_KIND: (
        marked("Days of this kind were seen fewer than six times in a year, so nothing is usual for them yet."),
        "",
    ),
    QuietReason.TURNS_NOT_KNOWN: (
        marked(
            "Of single pumps the hours say nothing: that control takes turns by starts is not in the vessel's document."
        ),
        "",
    ),
    QuietReason.WHOLE_HOURS: (
        marked("Of single pumps the hours say nothing: a counter here is read to the whole hour."),
        "",
    ),
}
"""Why the hours say nothing, and what would help."""


def quiet_heading(one: Quiet) -> str:
    """Why the hours say nothing, and from when on they may."""
    until = (
        ""
        if one.speaks_day is None
        else _(" until about {date}", date=day_month(date(1970, 1, 1) + timedelta(days=one.speaks_day)))
    )
    return _(_QUIET[one.reason][0], until=until)


def quiet_words(one: Quiet) -> str:
    """Why the hours say nothing, from when on they may, and what would help."""
    helps = _QUIET[one.reason][1]
    return quiet_heading(one) + (f" {_(helps)}" if helps else "")


def plant_line(signs: PlantSigns, names: Mapping[str, str]) -> str:
    """The plant's one line: its open sign, else that it is back to usual; empty where there is nothing."""
    if signs.plant_sign is not None:
        return sign_words(signs.plant_sign, names, pumps_speak=signs.pumps_quiet is None)
    return "" if signs.back_again is None else back_words(signs.back_again)


def pump_line(signs: PlantSigns, position: str | None, names: Mapping[str, str]) -> str:
    """A pump's one line, up or down; empty where there is nothing. position: where it stands."""
    mine = (one for one in signs.signs if one.end is None and position is not None and one.position == position)
    return next((sign_words(one, names, pumps_speak=True) for one in mine), "")


def signs_lines(signs: PlantSigns, names: Mapping[str, str]) -> Sequence[str]:
    """All that is said of a plant: open signs, that it is back to usual, why nothing can be said, and the least that shows."""
    lines = [sign_words(one, names, pumps_speak=signs.pumps_quiet is None) for one in signs.open]
    if signs.plant_sign is None and signs.back_again is not None:
        lines.append(back_words(signs.back_again))
    if signs.quiet is not None:
        lines.append(quiet_words(signs.quiet))
    elif signs.least_percent is not None:
        lines.append(f"{least_words(signs.least_percent)} {_(NO_PROOF)}")
    if signs.pumps_quiet is not None:
        lines.append(quiet_words(signs.pumps_quiet))
    return lines

"""What of the rest rule does not hold by the entries on record, in words; a warning, never a certificate."""

from collections.abc import Callable, Mapping

from scheduler.domain.work.rest import Rest, RestFault
from scheduler.language import gettext as _

_WORDS: Mapping[Rest, Callable[[RestFault], str]] = {
    Rest.DAY: lambda f: _(
        "{hours} h of rest in the {periods} longest periods of some 24 hours: {limit} h are the least",
        hours=f"{f.hours:.3g}",
        periods=f.periods,
        limit=f"{f.limit:g}",
    ),
    Rest.WEEK: lambda f: _(
        "{hours} h of rest in some 7 days: {limit} h are the least", hours=f"{f.hours:.3g}", limit=f"{f.limit:g}"
    ),
    Rest.BETWEEN: lambda f: _(
        "{hours} h from one rest to the next: {limit} h are the most", hours=f"{f.hours:.3g}", limit=f"{f.limit:g}"
    ),
    Rest.NO_LONG: lambda f: _("no rest of {limit} h or more in some 24 hours", limit=f"{f.limit:g}"),
}


def rest_words(person: str, fault: RestFault) -> str:
    """A warning about a person's rest; the ship's rest record rules."""
    return _(
        "{person}: by the work on record, {fault} (STCW A-VIII/1). The ship's rest record rules.",
        person=person,
        fault=_WORDS[fault.code](fault),
    )

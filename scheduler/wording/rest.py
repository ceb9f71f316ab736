"""What of the rest rule does not hold by the entries on record, in words; a warning, never a certificate."""

from collections.abc import Callable, Mapping

from scheduler.domain.work.rest import Rest, RestFault

_WORDS: Mapping[Rest, Callable[[RestFault], str]] = {
    Rest.DAY: lambda f: (
        f"{f.hours:.3g} h of rest in the {f.periods} longest periods of some 24 hours: {f.limit:g} h are the least"
    ),
    Rest.WEEK: lambda f: f"{f.hours:.3g} h of rest in some 7 days: {f.limit:g} h are the least",
    Rest.BETWEEN: lambda f: f"{f.hours:.3g} h from one rest to the next: {f.limit:g} h are the most",
    Rest.NO_LONG: lambda f: f"no rest of {f.limit:g} h or more in some 24 hours",
}


def rest_words(person: str, fault: RestFault) -> str:
    """A warning about a person's rest; the ship's rest record rules."""
    return (
        f"{person}: by the work on record, {_WORDS[fault.code](fault)} (STCW A-VIII/1). The ship's rest record rules."
    )

"""Sentences of the planner in the words of people: the main ones, no year that goes without saying, alike ones merged. Pure."""

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from api.pages.plan.view import ReasonsLine
from scheduler.planning.explain.reasons import Explained
from scheduler.wording.figures import inner

_MONTHS = "Jan|Feb|Mar|Apr|May|Jun|Jul|Aug|Sep|Oct|Nov|Dec"
_IDEAL = re.compile(r"^It stands on its ideal date, [^.]*\.$")
_IN_TIME = re.compile(r"^It ends on .*, before its limit on .*\.$")
MOST = 3
"""Sentences said of a job."""


@dataclass(frozen=True, slots=True)
class Wording:
    """named: puts names for job keys and pump ids. positions: the names of positions. year: now."""

    named: Callable[[str], str]
    positions: Sequence[str]
    year: int

    def say(self, sentence: str) -> str:
        """The sentence with names for keys and without this year's number.

        >>> wording = Wording(lambda said: said, ["VP2"], 2026)
        >>> wording.say("Nearer starts, Thu 26 Nov 2026: VP2 is open for VP2 knife inspection.")
        'Nearer starts, Thu 26 Nov: VP2 is open for its knife inspection.'
        """
        said = self.named(sentence)
        for position in self.positions:
            said = said.replace(f"{position} is open for {position} ", f"{position} is open for its ")
        said = re.sub(rf"(\b\d{{1,2}} (?:{_MONTHS})) {self.year}\b", r"\1", said)
        return said.replace(" (normal)", "").replace(" m3/h", " m³/h")


def whys(explained: Sequence[Explained], names: Mapping[str, str], wording: Wording) -> tuple[ReasonsLine, ...]:
    """The main reasons of jobs, merged where they are alike, in the order of `explained`; times of one kind are counted.

    Args:
        names: job key to the name that heads the reasons.
    """
    groups: dict[tuple[str, ...], list[str]] = {}
    for one in explained:
        reasons = tuple(_main(one.reasons, wording))
        if reasons:
            groups.setdefault(reasons, []).append(names[one.key])
    return tuple(ReasonsLine(names=_counted(group), reasons=_of_many(said, group)) for said, group in groups.items())


def _main(reasons: Sequence[str], wording: Wording) -> list[str]:
    said = [
        "It stands on its best day." if _IDEAL.match(one) else wording.say(one)
        for one in reasons
        if not _IN_TIME.match(one)
    ]
    return [one.replace("ideal date", "best day") for one in dict.fromkeys(said)][:MOST]


def _counted(names: Sequence[str]) -> str:
    each = [name if (n := names.count(name)) == 1 else f"{name} ({n} times)" for name in dict.fromkeys(names)]
    each[1:] = [inner(name) for name in each[1:]]
    return each[0] if len(each) == 1 else f"{', '.join(each[:-1])} and {each[-1]}"


def _of_many(reasons: tuple[str, ...], group: Sequence[str]) -> tuple[str, ...]:
    if len(group) == 1:
        return reasons
    return tuple(re.sub(r"^It ", "Each ", re.sub(r"^Its best day", "The best day of each", one)) for one in reasons)

"""Why jobs stand where they stand, for the page: the main reasons, those of jobs that are alike merged. Pure."""

from collections.abc import Sequence
from dataclasses import replace

from api.pages.plan.view import ReasonsLine
from scheduler.language import gettext as _
from scheduler.planning.explain.reasons import Explained, PlaceReason, ReasonCode
from scheduler.wording.figures import inner, listed
from scheduler.wording.plan import PlanWords
from scheduler.wording.reasons import reason_words

MOST = 3
"""Sentences said of a job."""


def whys(found: Sequence[Explained], words: PlanWords) -> tuple[ReasonsLine, ...]:
    """The main reasons of jobs, merged where they are alike, in the order of `found`; times of one kind are counted."""
    groups: dict[tuple[PlaceReason, ...], list[str]] = {}
    for one in found:
        reasons = tuple(_bare(reason) for reason in one.reasons if reason.code is not ReasonCode.IN_TIME)
        if reasons:
            groups.setdefault(reasons[:MOST], []).append(words.job(one.key))
    return tuple(
        ReasonsLine(
            names=_counted(group), reasons=tuple(reason_words(one, words, many=len(group) > 1) for one in reasons)
        )
        for reasons, group in groups.items()
    )


def _bare(reason: PlaceReason) -> PlaceReason:
    """Without what the list of slots shows beside it."""
    return replace(reason, limit=None, chained=False, move=0) if reason.code is not ReasonCode.BEST_DAY else _BEST_DAY


_BEST_DAY = PlaceReason(code=ReasonCode.BEST_DAY)


def _counted(names: Sequence[str]) -> str:
    each = [
        name if (n := names.count(name)) == 1 else _("{name} ({n} times)", name=name, n=n)
        for name in dict.fromkeys(names)
    ]
    each[1:] = [inner(name) for name in each[1:]]
    return listed(each)

"""What stands against a slot moved by hand, and what to mind, as sentences."""

from scheduler.planning.move.objections import MoveCode, MoveFact
from scheduler.wording.figures import M3H, listed
from scheduler.wording.plan import PlanWords, minimum_named


def move_fact_words(fact: MoveFact, words: PlanWords) -> str:
    """One thing that stands against a move, or is to be minded."""
    who = "It" if fact.key is None else words.job(fact.key)
    at = words.when(fact.step or 0)
    others = listed([words.job(key) for key in fact.others])
    match fact.code:
        case MoveCode.BEGUN:
            return "Work on it has begun: what is begun is not moved. Close the job when it is done."
        case MoveCode.SLOT_BEGAN:
            return (
                f"Its slot began on {at}: what is begun is not moved. Close the job when it is done, or have it planned anew once "
                "the slot is over."
            )
        case MoveCode.PAST:
            return f"That time is past: {at}."
        case MoveCode.UNFINISHED:
            return f"It would not be finished by {words.day(fact.step or 0)}, the last day that is planned."
        case MoveCode.LATER:
            return f"{who} would end {_time(fact.hours)} past its limit, {at}, and later than planned. Ask for a postponement first."
        case MoveCode.MINIMUM:
            return _minimum_words(fact, words)
        case MoveCode.BRANCH:
            return f"Of {words.pumps(fact.other_pumps)} no more than {fact.there} may be open at once; on {at} more would be."
        case MoveCode.PUMP_OPEN:
            return f"{words.open_for(fact.pumps[0], fact.others[0])} then, until {at}."
        case MoveCode.TEST_ON:
            return f"{others} is on at that time, and no pump is tested during it."
        case MoveCode.PARTS:
            whose = "Its" if fact.key is None else f"For {who} the"
            return f"{whose} parts come on {at} only."
        case MoveCode.NEED:
            return f"{who} needs {fact.label}, which is not there for the whole of that time."
        case MoveCode.NO_QUIET:
            return f"No quiet hour is agreed then for stopping pumps for {fact.needed} min."
        case MoveCode.BEFORE:
            return f"The turn before it, {others}, ends on {at} only."
        case MoveCode.AFTER:
            return f"The turn after it, {others}, begins on {at} already."
        case MoveCode.OUT_OF_ORDER:
            return "Two turns of one job would be out of order."
        case MoveCode.NOBODY:
            return f"Nobody is at work on {at}."
        case MoveCode.FEW_HANDS:
            return f"It needs {fact.needed} hands; on {at} there {_are(fact.there)} at work."
        case MoveCode.HANDS:
            with_ = f" with {others}" if others else ""
            return f"It takes {fact.needed} hands{with_} on {at}; {fact.there} {_is(fact.there)} at work."
        case MoveCode.DAY_WORKED:
            day = words.day(fact.step or 0)
            return f"With the other work of {day} the hands would work longer than {fact.needed} h each."
        case MoveCode.RULE:
            return f"The rule is broken that {fact.rule.value if fact.rule else ''}."
        case MoveCode.EARLY:
            return f"{who} would start {_time(fact.hours)} before its window opens, {at}."
        case MoveCode.PAST_LIMIT:
            return f"{who} ends {_time(fact.hours)} past its limit, {at}."
        case MoveCode.NEXT_TURN:
            way = "later" if fact.hours > 0 else "earlier"
            return f"The next turn, {others}, counts from its end: it falls due about {_time(abs(fact.hours))} {way}."
        case MoveCode.NO_COVER:
            return (
                f"For {fact.hours} h of it there is no cover for one more failure: if one more pump trips, the plant is short, first "
                f"on {at}."
            )


def _minimum_words(fact: MoveFact, words: PlanWords) -> str:
    count, others = len(fact.pumps) + len(fact.other_pumps), len(fact.other_pumps)
    lead = f"{words.pumps(fact.other_pumps)} {_is(others)} open at that time. " if others else ""
    which = words.pumps(fact.pumps) if not others else "both" if count == 2 else f"all {count}"
    why = f" {words.pumps(fact.down)} {_is(len(fact.down))} down or not proved." if fact.down else ""
    left, below = (litres / 1000 for litres in (fact.left_litres_per_h, fact.lacking_litres_per_h))
    return (
        f"{lead}With {which} open {left:g} {M3H} remains on {words.when(fact.step or 0)}, {below:g} below "
        f"{minimum_named(fact.label)}.{why}"
    )


def _is(many: int) -> str:
    return "is" if many == 1 else "are"


def _are(many: int) -> str:
    return f"{_is(many)} {many}"


def _time(hours: int) -> str:
    return f"{hours} h" if hours < 48 else f"{round(hours / 24)} days"

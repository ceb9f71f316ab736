"""What stands against a slot moved by hand, and what to mind, as sentences."""

from scheduler.language import gettext as _
from scheduler.language import marked, ngettext
from scheduler.planning.move.objections import MoveCode, MoveFact
from scheduler.wording.figures import listed
from scheduler.wording.plan import PlanWords, minimum_named


def move_fact_words(fact: MoveFact, words: PlanWords) -> str:
    """One thing that stands against a move, or is to be minded."""
    who = _("It") if fact.key is None else words.job(fact.key)
    at = words.when(fact.step or 0)
    others = listed([words.job(key) for key in fact.others])
    match fact.code:
        case MoveCode.BEGUN:
            return _("Work on it has begun: what is begun is not moved. Close the job when it is done.")
        case MoveCode.SLOT_BEGAN:
            return _(
                "Its slot began on {at}: what is begun is not moved. Close the job when it is done, or have "
                "it planned anew once the slot is over.",
                at=at,
            )
        case MoveCode.PAST:
            return _("That time is past: {at}.", at=at)
        case MoveCode.UNFINISHED:
            return _("It would not be finished by {day}, the last day that is planned.", day=words.day(fact.step or 0))
        case MoveCode.LATER:
            return _(
                "{who} would end {hours} past its limit, {at}, and later than planned. Ask for a postponement first.",
                who=who,
                hours=_time(fact.hours),
                at=at,
            )
        case MoveCode.MINIMUM:
            return _minimum_words(fact, words)
        case MoveCode.BRANCH:
            return _(
                "Of {pumps} no more than {there} may be open at once; on {at} more would be.",
                pumps=words.pumps(fact.other_pumps),
                there=fact.there,
                at=at,
            )
        case MoveCode.PUMP_OPEN:
            return _("{open} then, until {at}.", open=words.open_for(fact.pumps[0], fact.others[0]), at=at)
        case MoveCode.TEST_ON:
            return _("{others} is on at that time, and no pump is tested during it.", others=others)
        case MoveCode.PARTS:
            if fact.key is None:
                return _("Its parts come on {at} only.", at=at)
            return _("For {who} the parts come on {at} only.", who=who, at=at)
        case MoveCode.NEED:
            return _("{who} needs {label}, which is not there for the whole of that time.", who=who, label=fact.label)
        case MoveCode.NO_QUIET:
            return _("No quiet hour is agreed then for stopping pumps for {needed} min.", needed=fact.needed)
        case MoveCode.BEFORE:
            return _("The turn before it, {others}, ends on {at} only.", others=others, at=at)
        case MoveCode.AFTER:
            return _("The turn after it, {others}, begins on {at} already.", others=others, at=at)
        case MoveCode.OUT_OF_ORDER:
            return _("Two turns of one job would be out of order.")
        case MoveCode.NOBODY:
            return _("Nobody is at work on {at}.", at=at)
        case MoveCode.FEW_HANDS:
            one = marked("It needs {needed} hands; on {at} there is {there} at work.")
            many = marked("It needs {needed} hands; on {at} there are {there} at work.")
            return _(one if fact.there == 1 else many, needed=fact.needed, at=at, there=fact.there)
        case MoveCode.HANDS:
            with_ = _(" with {others}", others=others) if others else ""
            one = marked("It takes {needed} hands{others} on {at}; {there} is at work.")
            many = marked("It takes {needed} hands{others} on {at}; {there} are at work.")
            return _(one if fact.there == 1 else many, needed=fact.needed, others=with_, at=at, there=fact.there)
        case MoveCode.DAY_WORKED:
            day = words.day(fact.step or 0)
            return _(
                "With the other work of {day} the hands would work longer than {needed} h each.",
                day=day,
                needed=fact.needed,
            )
        case MoveCode.RULE:
            return _("The rule is broken that {rule}.", rule=_(fact.rule.value) if fact.rule else "")
        case MoveCode.EARLY:
            return _(
                "{who} would start {hours} before its window opens, {at}.", who=who, hours=_time(fact.hours), at=at
            )
        case MoveCode.PAST_LIMIT:
            return _("{who} ends {hours} past its limit, {at}.", who=who, hours=_time(fact.hours), at=at)
        case MoveCode.NEXT_TURN:
            way = (
                marked("The next turn, {others}, counts from its end: it falls due about {time} later.")
                if fact.hours > 0
                else marked("The next turn, {others}, counts from its end: it falls due about {time} earlier.")
            )
            return _(way, others=others, time=_time(abs(fact.hours)))
        case MoveCode.NO_COVER:
            return _(
                "For {hours} h of it there is no cover for one more failure: if one more pump trips, the "
                "plant is short, first on {at}.",
                hours=fact.hours,
                at=at,
            )


def _minimum_words(fact: MoveFact, words: PlanWords) -> str:
    count, others = len(fact.pumps) + len(fact.other_pumps), len(fact.other_pumps)
    lead = why = ""
    if others:
        pumps = words.pumps(fact.other_pumps)
        lead = ngettext("{pumps} is open at that time. ", "{pumps} are open at that time. ", others, pumps=pumps)
    which = words.pumps(fact.pumps) if not others else _("both") if count == 2 else _("all {count}", count=count)
    if fact.down:
        pumps = words.pumps(fact.down)
        why = ngettext(
            " {pumps} is down or not proved.", " {pumps} are down or not proved.", len(fact.down), pumps=pumps
        )
    left, below = (litres / 1000 for litres in (fact.left_litres_per_h, fact.lacking_litres_per_h))
    return _(
        "{lead}With {which} open {left} m³/h remains on {when}, {below} below {label}.{why}",
        lead=lead,
        which=which,
        left=f"{left:g}",
        when=words.when(fact.step or 0),
        below=f"{below:g}",
        label=minimum_named(fact.label),
        why=why,
    )


def _time(hours: int) -> str:
    return f"{hours} h" if hours < 48 else _("{hours} days", hours=round(hours / 24))

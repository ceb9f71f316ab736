"""A lock that comes off by another hand: who approves it is the person who records it, and another than takes it off."""

from dataclasses import replace

from scheduler.actions.base.context import Context, Hand
from scheduler.actions.people.sides import AUTHORITY, person_acting
from scheduler.domain.people.persons import Person, same_name
from scheduler.domain.work.acts import AnyStep, TagRemoved
from scheduler.errors import NotAllowed, Refused
from scheduler.language import gettext, marked

_TYPED = marked(
    "nobody signs for another: leave it empty. The chief engineer or the office records this step, in the own "
    "sign-in or with the own "
    "key, and so approves it."
)


def with_approver(context: Context, hand: Hand, step: AnyStep, *, fact: bool) -> AnyStep:
    """The step as it came; a lock off by another hand with the name of who approves that.

    Args:
        fact: it has happened. Then it is kept without an approver where who records it may not approve.

    Raises:
        Refused: an approver was typed. NotAllowed: by nobody known, by a role that approves nothing, or by who takes it off.
    """
    if not isinstance(step, TagRemoved) or step.other_hand is None:
        return step
    if step.other_hand.approved_by.strip():
        says = gettext(_TYPED)
        raise Refused(f"approved_by: {says}", faults=[("/step/other_hand/approved_by", says)])
    try:
        by = person_acting(context, hand.actor, AUTHORITY, gettext("approve that a lock comes off by another hand"))
        if same_name(by.name, step.by):
            raise NotAllowed(
                gettext("{name} takes the lock off: another person approves that, and records it.", name=by.name)
            )
        hand.actor.must_sign_as_self(context.now(), Person("", step.by))
    except NotAllowed:
        if fact:
            return step
        raise
    return replace(step, other_hand=replace(step.other_hand, approved_by=by.name))

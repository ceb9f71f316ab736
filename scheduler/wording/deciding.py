"""Why somebody does not decide something, in words."""

from collections.abc import Callable, Iterable, Mapping

from scheduler.domain.due.deciding import Objected, Unfit
from scheduler.language import gettext as _

_WORDS: Mapping[Unfit, Callable[[str], str]] = {
    Unfit.ASKED_IT: lambda name: _(
        "{name} asked for it and does not decide it: another person does, the office where the chief "
        "engineer asked, or the master while the link is down.",
        name=name,
    ),
    Unfit.OTHER_SIDE: lambda name: _(
        "{name} signed already for the other side: it takes two people, each with their own sign-in.", name=name
    ),
    Unfit.NOT_CHIEF: lambda role: _(
        "The role {role} does not sign as chief: the chief engineer does, or the office, or the "
        "master while the link is down.",
        role=role,
    ),
    Unfit.NOT_SECOND: lambda second: _(
        "As {second} signs a person whose role is {second}, in their own sign-in or with their own key.", second=second
    ),
    Unfit.NOT_DECIDER: lambda _f: _(
        "A postponement is decided by the chief engineer aboard or by the office, or by the master "
        "while the link is down."
    ),
    Unfit.OFFICE_ALONE: lambda kind: _("{kind} is critical: the office decides its postponement.", kind=kind),
    Unfit.CLASS_ITEM: lambda kind: _(
        "{kind} is a class item: give the class's agreement (who, when, reference) with the decision.", kind=kind
    ),
}


def unfit_words(objected: Iterable[Objected]) -> str:
    """The reasons, a sentence each."""
    return " ".join(_WORDS[one.code](one.name) for one in objected)

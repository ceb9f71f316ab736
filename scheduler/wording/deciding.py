"""Why somebody does not decide something, in words."""

from collections.abc import Callable, Iterable, Mapping

from scheduler.domain.due.deciding import Objected, Unfit

_WORDS: Mapping[Unfit, Callable[[str], str]] = {
    Unfit.ASKED_IT: lambda name: (
        f"{name} asked for it and does not decide it: another person does, the office where the chief "
        "engineer asked, or the master while the link is down."
    ),
    Unfit.OTHER_SIDE: lambda name: (
        f"{name} signed already for the other side: it takes two people, each with their own sign-in."
    ),
    Unfit.NOT_CHIEF: lambda role: (
        f"The role {role} does not sign as chief: the chief engineer does, or the office, or the master while the link is down."
    ),
    Unfit.NOT_SECOND: lambda second: (
        f"As {second} signs a person whose role is {second}, in their own sign-in or with their own key."
    ),
    Unfit.NOT_DECIDER: lambda _: (
        "A postponement is decided by the chief engineer aboard or by the office, or by the master while the link is down."
    ),
    Unfit.OFFICE_ALONE: lambda kind: f"{kind} is critical: the office decides its postponement.",
    Unfit.CLASS_ITEM: lambda kind: (
        f"{kind} is a class item: give the class's agreement (who, when, reference) with the decision."
    ),
}


def unfit_words(objected: Iterable[Objected]) -> str:
    """The reasons, a sentence each."""
    return " ".join(_WORDS[one.code](one.name) for one in objected)

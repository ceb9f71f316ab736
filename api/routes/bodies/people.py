"""Request bodies about people and keys."""

from typing import Annotated, Literal

from pydantic import Field

from api.routes.shared.bodies import MORE_THAN_BLANKS, Body, Name, NeededName, said
from scheduler.actions.people.people import PERSON_ID

Rank = Annotated[str, Field(min_length=1, max_length=100, examples=["second engineer"]), said(pattern=MORE_THAN_BLANKS)]
PersonRole = Literal["engineer", "chief", "office", "admin"]


class PersonBody(Body):
    """A person to make known. vessel none: of the whole installation, so office or admin."""

    id: Annotated[
        str, Field(min_length=1, max_length=63, examples=["second-plover"]), said(pattern=f"^{PERSON_ID.pattern}$")
    ]
    name: NeededName
    rank: Rank
    role: PersonRole
    vessel: Name | None = None


class PersonChangeBody(Body):
    """What a person is from now on. vessel: whose person it is, where several vessels have one of that id."""

    name: NeededName
    rank: Rank
    role: PersonRole
    vessel: Name | None = None
    language: Annotated[Name | None, Field(description="in which pages are shown to the person; none: as it is")] = None


class OfVesselBody(Body):
    """Whose person it is, where several vessels have one of that id; none: the only one within reach."""

    vessel: Name | None = None


class KeyBody(Body):
    """A key to make. person: whose it is; none for counter and ship alone. days: how long it is good; none: until withdrawn."""

    role: Literal["counter", "ship", "engineer", "chief", "office", "admin"]
    label: Annotated[
        str, Field(min_length=1, max_length=100, examples=["engine room gateway"]), said(pattern=MORE_THAN_BLANKS)
    ]
    vessel: Name | None = None
    person: Name | None = None
    days: Annotated[int, Field(ge=1, le=3650)] | None = None


class RotateBody(Body):
    """both_days: how long the key so far is good beside the new one; 0: it ends now."""

    both_days: Annotated[int, Field(ge=0, le=365)] = 7

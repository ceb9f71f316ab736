"""Request bodies of ships' own servers and about them."""

from typing import Annotated, Literal

from pydantic import Field

from api.routes.shared.bodies import Body, Name


class RejoinBody(Body):
    """From where a ship's new life goes on: the last change that it has in common with the one before, and its hash."""

    life: Name
    number: Annotated[int, Field(ge=0, le=2**62)]
    hash: Annotated[str, Field(pattern="^[0-9a-f]{64}$", examples=["0" * 64])]


class LifeBody(Body):
    """Which life of a ship goes on. goes on: the new one; stray copy: what was sent is no ship's, and its key ends."""

    answer: Literal["goes on", "stray copy"]
    reason: Annotated[str, Field(min_length=1, max_length=1000, examples=["her disk was put back from the backup"])]

"""Request bodies of ships' own servers and about them."""

from typing import Annotated

from pydantic import Field

from api.routes.shared.bodies import Body, Name


class RejoinBody(Body):
    """From where a ship's new life goes on: the last change that it has in common with the one before, and its hash."""

    life: Name
    number: Annotated[int, Field(ge=0, le=2**62)]
    hash: Annotated[str, Field(pattern="^[0-9a-f]{64}$", examples=["0" * 64])]

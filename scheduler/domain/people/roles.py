"""Which role reaches how far: who may manage whom, and that a key does no more than its person."""

from scheduler.domain.base.enums import Role

PERSON_ROLES = (Role.ENGINEER, Role.CHIEF, Role.OFFICE, Role.ADMIN)
"""What people are, each able to do what those before it can; counters are no people."""
FLEETWIDE = frozenset({Role.OFFICE, Role.ADMIN})
"""Roles of the installation: they reach every vessel."""
MANAGERS = frozenset({Role.CHIEF, Role.OFFICE, Role.ADMIN})
"""Roles that make people known, sign them in and withdraw them."""


def lower_role(one: Role, other: Role) -> Role:
    """The one of two roles of people that may do less.

    >>> lower_role(Role.OFFICE, Role.CHIEF)
    <Role.CHIEF: 'chief'>
    """
    return min(one, other, key=PERSON_ROLES.index)


def may_manage(role: Role, other: Role) -> bool:
    """Whether somebody of the first role may manage people of the other: those who can do no more than they."""
    return role in MANAGERS and other in PERSON_ROLES and PERSON_ROLES.index(other) <= PERSON_ROLES.index(role)

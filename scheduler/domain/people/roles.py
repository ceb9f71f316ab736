"""Which role reaches how far: who may manage whom, and that a key does no more than its person."""

from scheduler.domain.base.enums import Role

PERSON_ROLES = (
    Role.HOTEL,
    Role.CHIEF_OFFICER,
    Role.ENGINEER,
    Role.CHIEF,
    Role.MASTER,
    Role.OFFICE,
    Role.ADMIN,
)
"""What people are, by whom each may manage: those before it. Counters and ships are no people."""
MACHINES = frozenset({Role.COUNTER, Role.SHIP})
"""Roles of programs: their keys are nobody's."""
FLEETWIDE = frozenset({Role.OFFICE, Role.ADMIN})
"""Roles of the installation: they reach every vessel."""
MANAGERS = frozenset({Role.CHIEF, Role.MASTER, Role.OFFICE, Role.ADMIN})
"""Roles that make people known, sign them in and withdraw them."""
RECORDS_WORK = (Role.ENGINEER, Role.CHIEF, Role.OFFICE, Role.ADMIN)
"""Roles that record work, each able to do what those before it can, but for deciding and signing: that each does as what it is."""


def working_role(role: Role) -> Role:
    """As what somebody of that role does no more than record work: an engineer, or, where the role records none, the role itself."""
    return Role.ENGINEER if role in RECORDS_WORK else role


def role_by_key(key: Role, person: Role) -> Role | None:
    """As what a person acts with a key of that role: as the person is, or as one who records work; none: the two do not go together,
    as where a chief engineer became master since. Nobody signs by a key as what they are not.

    >>> role_by_key(Role.OFFICE, Role.CHIEF), role_by_key(Role.CHIEF, Role.OFFICE), role_by_key(Role.CHIEF, Role.MASTER)
    (<Role.CHIEF: 'chief'>, <Role.ENGINEER: 'engineer'>, None)
    """
    if key is person:
        return key
    if key not in RECORDS_WORK or person not in RECORDS_WORK:
        return None
    return person if RECORDS_WORK.index(key) > RECORDS_WORK.index(person) else Role.ENGINEER


def may_manage(role: Role, other: Role) -> bool:
    """Whether somebody of the first role may manage people of the other: those who can do no more than they."""
    return role in MANAGERS and other in PERSON_ROLES and PERSON_ROLES.index(other) <= PERSON_ROLES.index(role)

"""What a sign-in is good for: recording, deciding, signing the other side."""

from datetime import UTC, datetime, timedelta

import pytest

from scheduler.actions.base.actor import Actor, maker_of
from scheduler.domain.base.enums import Role
from scheduler.domain.people.authentication import (
    ANEW,
    AgainstSigning,
    Authentication,
    Proof,
    against_second_side,
    against_signing,
)
from scheduler.domain.people.persons import Person
from scheduler.domain.people.roles import PERSON_ROLES, may_manage, role_by_key, working_role
from scheduler.errors import NotAllowed

NOW = datetime(2026, 11, 30, 12, tzinfo=UTC)
FIRST, THIRD = Person("chief", "A. Chief, chief engineer"), Person("third", "C. Third, third engineer")
SECOND = timedelta(seconds=1)


def test_a_pin_is_never_good_for_signing() -> None:
    """Everything else is; who acts at the server itself has no sign-in that could speak against it."""
    found = {proof: against_signing(Authentication(proof)) for proof in Proof}
    assert found == {proof: AgainstSigning.BY_PIN if proof is Proof.PIN else None for proof in Proof}
    assert against_signing(None) is against_second_side(FIRST, None, NOW) is None
    assert against_second_side(FIRST, Authentication(Proof.PIN, NOW), NOW) is AgainstSigning.BY_PIN


@pytest.mark.parametrize("proof", [Proof.LINK, Proof.KEY])
@pytest.mark.parametrize(
    ("maker", "against"),
    [
        (FIRST, True),
        (Person("other", "A. Chief"), True),
        (Person("chief", "Another name"), True),
        (THIRD, False),
        (None, False),
    ],
)
def test_who_made_the_link_or_key_is_not_its_persons_other_side(proof: Proof, maker: Person, against: bool) -> None:
    """By id or by name; until the own passphrase was given in that session. Having one somewhere is not enough."""
    expected = AgainstSigning.MADE_BY_OTHER_SIDE if against else None
    assert against_second_side(FIRST, Authentication(proof, None, maker), NOW) is expected
    assert against_second_side(FIRST, Authentication(proof, NOW - timedelta(hours=5), maker), NOW) is None


@pytest.mark.parametrize(
    ("proved_at", "against"), [(None, True), (NOW - ANEW - SECOND, True), (NOW - ANEW, False), (NOW, False)]
)
def test_on_a_shared_device_the_second_signer_gives_the_passphrase_anew(proved_at: datetime, against: bool) -> None:
    """Within 5 minutes, and only where the first side used that device."""
    by = Authentication(Proof.PASSPHRASE, proved_at, None, (THIRD, FIRST))
    assert against_second_side(FIRST, by, NOW) is (AgainstSigning.SHARED_DEVICE if against else None)
    assert against_second_side(Person("x", "Somebody else"), by, NOW) is None


@pytest.mark.parametrize("found", list(AgainstSigning))
def test_a_refusal_says_what_to_do(found: AgainstSigning) -> None:
    """Each in words of its own, without a code."""
    by = {
        AgainstSigning.BY_PIN: Authentication(Proof.PIN),
        AgainstSigning.MADE_BY_OTHER_SIDE: Authentication(Proof.LINK, None, FIRST),
        AgainstSigning.SHARED_DEVICE: Authentication(Proof.LINK, None, None, (FIRST,)),
    }[found]
    actor = Actor("person second", "B. Second", Role.ENGINEER, "plover", "second", authentication=by)
    with pytest.raises(NotAllowed, match="passphrase"):
        actor.must_sign_as_self(NOW, FIRST)
    if found is not AgainstSigning.BY_PIN:
        actor.must_sign_as_self(NOW)


def test_who_came_by_anothers_link_makes_links_and_keys_in_that_others_name() -> None:
    """So that no chain of links hides who began it; the own passphrase ends it."""
    for proved_at, maker in ((None, FIRST), (NOW, Person("third", "C. Third"))):
        by = Authentication(Proof.LINK, proved_at, FIRST)
        assert maker_of(Actor("person third", "C. Third", Role.CHIEF, "plover", "third", authentication=by)) == maker
    assert maker_of(Actor("command line", "root, command line", Role.ADMIN)).id == "command line"


def test_nobody_manages_people_who_may_do_more() -> None:
    """Engineers, hotel and chief officer manage nobody; counters are no people."""
    managed = {(one, other) for one in Role for other in Role if may_manage(one, other)}
    order = list(PERSON_ROLES)
    assert managed == {(a, b) for a in order[3:] for b in order[: order.index(a) + 1]}


def test_by_a_key_everybody_is_what_they_are_or_records_work_alone() -> None:
    """No key makes a person chief, office, hotel or master who is not; no two roles meet in one that is neither's."""
    for key in PERSON_ROLES:
        for person in PERSON_ROLES:
            found = role_by_key(key, person)
            assert found in (person, Role.ENGINEER, None)
            assert found is person if key is person else found is not Role.ADMIN or person is Role.ADMIN
            if Role.ENGINEER not in (key, person) and {key, person} & {Role.HOTEL, Role.CHIEF_OFFICER, Role.MASTER}:
                assert found is (person if key is person else None)
    assert role_by_key(Role.CHIEF, Role.ENGINEER) is Role.ENGINEER
    assert role_by_key(Role.CHIEF, Role.OFFICE) is Role.ENGINEER
    assert role_by_key(Role.ENGINEER, Role.HOTEL) is None
    assert [working_role(one) for one in (Role.OFFICE, Role.MASTER)] == [Role.ENGINEER, Role.MASTER]

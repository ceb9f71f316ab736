"""Who may decide: never who asked, by id or by name; each as what that person is."""

from dataclasses import replace

import pytest

from scheduler.domain.base.enums import Role
from scheduler.domain.due.deciding import Decider, Objected, Unfit, decision_objections, signing_objections
from scheduler.domain.people.persons import Person, one_person, own_person, same_name, surely_same_name
from tests.unit.domain.plants import OVERHAUL

ASKED = Person(id="u1", name="B. Second")
CHIEF = Person(id="u2", name="A. Chief")
SAME_ID = Person(id="u1", name="A. Chief")
SAME_NAME = Person(id="u2", name=" b.  second, second engineer")


@pytest.mark.parametrize(("other", "one"), [(CHIEF, False), (SAME_ID, True), (SAME_NAME, True), (ASKED, True)])
def test_one_person_is_the_same_id_or_the_same_name(other: Person, one: bool) -> None:
    """Either alone is enough, both ways round."""
    assert one_person(ASKED, other) is one_person(other, ASKED) is one


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [
        ("Demo chief, chief", "Demo chief, master", True),
        ("Demo chief, chief", "demo  CHIEF (told by A. Second)", True),
        ("Demo chief", "Demo cook", False),
        ("A. Chief, chief", "B. Chief, chief", False),
        ("Sample, A., chief", "Sample, B., chief", False),
        ("Sample, A., chief", "Sample, A., master", True),
        ("", "", False),
        (", chief", ", chief", True),
        (", chief", ", master", False),
    ],
)
def test_a_name_is_the_same_under_another_rank(one: str, other: str, same: bool) -> None:
    """Both ways round; empty is nobody's."""
    assert same_name(one, other) is same_name(other, one) is same


@pytest.mark.parametrize("decider", [SAME_ID, SAME_NAME])
@pytest.mark.parametrize("role", [Role.CHIEF, Role.OFFICE, Role.MASTER])
def test_a_person_never_decides_what_that_person_asked_for(decider: Person, role: Role) -> None:
    """Neither by another account nor under another name, nor as the master."""
    found = decision_objections(OVERHAUL, asked_by=ASKED, decider=Decider(decider, role), granted=True, class_agreed="")
    assert found == [Objected(Unfit.ASKED_IT, ASKED.name)]


@pytest.mark.parametrize(
    ("role", "critical", "against"),
    [
        (Role.CHIEF, False, []),
        (Role.OFFICE, True, []),
        (Role.MASTER, True, []),
        (Role.CHIEF, True, [Unfit.OFFICE_ALONE]),
        (Role.ENGINEER, False, [Unfit.NOT_DECIDER]),
        (Role.ADMIN, False, [Unfit.NOT_DECIDER]),
        (Role.HOTEL, True, [Unfit.NOT_DECIDER]),
    ],
)
def test_who_decides_as_what(role: Role, critical: bool, against: list[Unfit]) -> None:
    """Chief and office; a critical job the office alone, or the master while the link is down; who keeps the installation, nothing."""
    kind = replace(OVERHAUL, critical=critical)
    found = decision_objections(kind, asked_by=ASKED, decider=Decider(CHIEF, role), granted=True, class_agreed="")
    assert [one.code for one in found] == against


@pytest.mark.parametrize(
    ("granted", "agreed", "against"), [(True, " ", [Unfit.CLASS_ITEM]), (True, "letter 12", []), (False, "", [])]
)
def test_a_class_item_is_granted_with_the_class_alone(granted: bool, agreed: str, against: list[Unfit]) -> None:
    """To refuse it nobody need be asked."""
    kind = replace(OVERHAUL, class_item=True)
    found = decision_objections(
        kind, asked_by=ASKED, decider=Decider(CHIEF, Role.OFFICE), granted=granted, class_agreed=agreed
    )
    assert [one.code for one in found] == against


THIRD = Person(id="u3", name="C. Third")


@pytest.mark.parametrize(
    ("other", "against"),
    [(None, []), (THIRD, []), (CHIEF, [Unfit.OTHER_SIDE]), (Person("u9", "a. chief, x"), [Unfit.OTHER_SIDE])],
)
@pytest.mark.parametrize("second_as", [None, "master"])
def test_nobody_signs_for_both_sides(second_as: str | None, other: Person | None, against: list[Unfit]) -> None:
    """The second signer is another person than the first, by id and by name, whichever side comes first."""
    found = signing_objections(second_as=second_as, by=Decider(CHIEF, Role.MASTER), asked_by=ASKED, other=other)
    assert [one.code for one in found] == against


@pytest.mark.parametrize(
    ("person", "role", "against"),
    [
        (CHIEF, Role.CHIEF, []),
        (CHIEF, Role.OFFICE, []),
        (CHIEF, Role.MASTER, []),
        (CHIEF, Role.ENGINEER, [Unfit.NOT_CHIEF]),
        (CHIEF, Role.HOTEL, [Unfit.NOT_CHIEF]),
        (CHIEF, Role.ADMIN, [Unfit.NOT_CHIEF]),
        (SAME_ID, Role.CHIEF, [Unfit.ASKED_IT]),
        (SAME_NAME, Role.MASTER, [Unfit.ASKED_IT]),
    ],
)
def test_the_chiefs_side_is_signed_by_a_chief_who_did_not_ask(person: Person, role: Role, against: list[Unfit]) -> None:
    """Or by the office, or by the master while the link is down."""
    found = signing_objections(second_as=None, by=Decider(person, role), asked_by=ASKED, other=None)
    assert [one.code for one in found] == against


@pytest.mark.parametrize("second_as", ["hotel", "chief officer", "master"])
@pytest.mark.parametrize("role", list(Role))
def test_as_second_signer_signs_who_is_what_the_ship_names(second_as: str, role: Role) -> None:
    """No other role, however much it may do."""
    found = signing_objections(second_as=second_as, by=Decider(CHIEF, role), asked_by=ASKED, other=None)
    assert found == ([] if role.value == second_as else [Objected(Unfit.NOT_SECOND, second_as)])


@pytest.mark.parametrize("person", [SAME_ID, SAME_NAME, ASKED])
def test_who_asked_signs_the_second_side_under_no_account(person: Person) -> None:
    """By the id and by the name."""
    found = signing_objections(second_as="hotel", by=Decider(person, Role.HOTEL), asked_by=ASKED, other=None)
    assert found == [Objected(Unfit.ASKED_IT, ASKED.name)]


@pytest.mark.parametrize(
    "own",
    [Person(id="u1", name="A. Chief"), Person(id="u7", name="B. Second"), Person(id="u7", name="b. second, chief")],
)
def test_nobody_decides_the_own_postponement_by_id_or_by_name(own: Person) -> None:
    """Either alone is enough; two that share neither are two."""
    for role in (Role.CHIEF, Role.MASTER):
        found = decision_objections(
            OVERHAUL, asked_by=ASKED, decider=Decider(own, role), granted=False, class_agreed=""
        )
        assert [one.code for one in found] == [Unfit.ASKED_IT]
    assert not one_person(ASKED, Person(id="u7", name="C. Third"))


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [
        ("Sample, A.", "Sample, A.", True),
        ("Sample, A.", "Sample, B.", False),
        ("A. Chief, chief", "A. Chief", True),
        ("A. Chief, chief", "a. chief, CHIEF", True),
        ("A. Chief, chief", "A. Chief, master", False),
        ("", "", False),
    ],
)
def test_where_being_the_same_person_permits_a_surname_alone_is_not_enough(one: str, other: str, same: bool) -> None:
    """Nobody takes off another's lock because both stand in the list under one surname."""
    assert surely_same_name(one, other) is surely_same_name(other, one) is same
    assert own_person(Person("a", one), Person("b", other)) is same
    assert own_person(Person("a", one), Person("a", other))

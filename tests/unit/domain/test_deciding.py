"""Who may decide: never who asked, by id or by name; by office; by the master told by somebody else."""

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
@pytest.mark.parametrize("master", [False, True])
def test_a_person_never_decides_what_that_person_asked_for(decider: Person, master: bool) -> None:
    """Neither by another account nor under another name, nor as the master."""
    found = decision_objections(
        OVERHAUL, asked_by=ASKED, decider=Decider(decider, Role.OFFICE, master), granted=True, class_agreed=""
    )
    assert found == [Objected(Unfit.ASKED_IT, ASKED.name)]


@pytest.mark.parametrize(
    ("role", "critical", "master", "against"),
    [
        (Role.CHIEF, False, False, []),
        (Role.OFFICE, True, False, []),
        (Role.ADMIN, True, False, []),
        (Role.CHIEF, True, False, [Unfit.OFFICE_ALONE]),
        (Role.ENGINEER, False, False, [Unfit.NOT_DECIDER]),
        (Role.ENGINEER, True, True, []),
    ],
)
def test_who_decides_as_what(role: Role, critical: bool, master: bool, against: list[Unfit]) -> None:
    """Chief and office; a critical job the office alone; the master while the link is down."""
    kind = replace(OVERHAUL, critical=critical)
    found = decision_objections(
        kind, asked_by=ASKED, decider=Decider(CHIEF, role, master), granted=True, class_agreed=""
    )
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


@pytest.mark.parametrize(
    ("other", "against"), [(None, []), (ASKED, []), (CHIEF, [Unfit.OTHER_SIDE]), (SAME_NAME, [Unfit.OTHER_SIDE])]
)
def test_nobody_signs_for_both_sides(other: Person | None, against: list[Unfit]) -> None:
    """The second signer is another person than the first."""
    found = signing_objections(chief_side=False, by=Decider(CHIEF, Role.ENGINEER), asked_by=ASKED, other=other)
    assert [one.code for one in found] == against


@pytest.mark.parametrize(
    ("person", "role", "master", "against"),
    [
        (CHIEF, Role.CHIEF, False, []),
        (CHIEF, Role.ENGINEER, False, [Unfit.NOT_CHIEF]),
        (CHIEF, Role.ENGINEER, True, []),
        (SAME_ID, Role.CHIEF, False, [Unfit.ASKED_IT]),
        (SAME_NAME, Role.CHIEF, True, [Unfit.ASKED_IT]),
    ],
)
def test_the_chiefs_side_is_signed_by_a_chief_who_did_not_ask(
    person: Person, role: Role, master: bool, against: list[Unfit]
) -> None:
    """Or by the master, told by somebody."""
    found = signing_objections(chief_side=True, by=Decider(person, role, master), asked_by=ASKED, other=None)
    assert [one.code for one in found] == against


@pytest.mark.parametrize(
    ("person", "against"), [(SAME_ID, []), (SAME_NAME, [Unfit.ASKED_IT]), (CHIEF, []), (ASKED, [Unfit.ASKED_IT])]
)
def test_who_asked_signs_the_second_side_under_no_account(person: Person, against: list[Unfit]) -> None:
    """By the name: who asked may write another's signature down, not the own one."""
    found = signing_objections(chief_side=False, by=Decider(person, Role.ENGINEER), asked_by=ASKED, other=None)
    assert [one.code for one in found] == against


def test_the_second_signer_is_another_person_by_id_and_by_name() -> None:
    """The same name under another account is the same person; so is the same account under another name."""
    for other in (Person(id="u9", name="a. chief, chief engineer"), Person(id="u2", name="C. Third"), CHIEF):
        found = signing_objections(chief_side=False, by=Decider(CHIEF, Role.ENGINEER), asked_by=ASKED, other=other)
        assert found == [Objected(Unfit.OTHER_SIDE, other.name)]


@pytest.mark.parametrize(
    "own",
    [Person(id="u1", name="A. Chief"), Person(id="u7", name="B. Second"), Person(id="u7", name="b. second, chief")],
)
def test_nobody_decides_the_own_postponement_by_id_or_by_name(own: Person) -> None:
    """Either alone is enough; two that share neither are two."""
    for master in (False, True):
        found = decision_objections(
            OVERHAUL, asked_by=ASKED, decider=Decider(own, Role.CHIEF, master), granted=False, class_agreed=""
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

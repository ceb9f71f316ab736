"""Signing in by link, passphrase and PIN; people changed and withdrawn; keys that take over: on both databases, on record."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta

import pytest
from argon2 import PasswordHasher

from scheduler.actions.base.actor import Actor
from scheduler.actions.base.context import Context, Hand
from scheduler.actions.people import computers, keys, managing, passphrases, people, sessions, signing_in
from scheduler.actions.people.sessions import Browser
from scheduler.domain.base.enums import Role
from scheduler.domain.people.authentication import AgainstSigning, against_second_side
from scheduler.domain.people.persons import Person
from scheduler.errors import Busy, Clash, NotAllowed, NotFound, NotSignedIn, Refused
from scheduler.settings import Settings
from scheduler.storage.database import Database
from scheduler.storage.record import record_rows
from tests.storage.stores import add_vessel

ME = Actor("command line", "set up", Role.ADMIN)
AT = datetime(2026, 11, 30, 1, tzinfo=UTC)
WORDS, OTHER_WORDS = "anchor tide brass nine", "lantern rope gull seven"
NOBODYS = passphrases.NOBODYS


class _Clock:
    def __init__(self) -> None:
        self.at = AT

    def __call__(self) -> datetime:
        return self.at

    def later(self, **by: int) -> None:
        self.at += timedelta(**by)


@pytest.fixture(autouse=True)
def _quick_hashes(monkeypatch: pytest.MonkeyPatch) -> None:
    quick = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
    monkeypatch.setattr(passphrases, "_hasher", quick)
    monkeypatch.setattr(passphrases, "NOBODYS", quick.hash("what nobody knows"))


@pytest.fixture
def clock() -> _Clock:
    return _Clock()


@pytest.fixture
def ship(db: Database, clock: _Clock) -> Context:
    """A vessel with a chief and a second engineer, another vessel with an engineer, and somebody in the office."""
    for vessel in ("plover", "avocet"):
        add_vessel(db, vessel, counters=1)
    context = Context(db, clock, Settings())
    for person, role, vessel in (
        ("chief", Role.CHIEF, "plover"),
        ("second", Role.ENGINEER, "plover"),
        ("far", Role.ENGINEER, "avocet"),
        ("desk", Role.OFFICE, None),
    ):
        name = f"Demo {person}"
        people.add_person(context, ME, person_id=person, name=name, rank="x", role=role, vessel_id=vessel)
    return context


def _enter(ship: Context, person: str, by: Actor | None = None, browser: Browser = sessions.NO_BROWSER) -> str:
    return people.enter(ship, people.make_link(ship, person, by=by), browser)


def _actor(ship: Context, secret: str) -> Actor:
    found = sessions.at_browser(ship, secret)
    assert found is not None
    return found.actor


def _records(ship: Context, vessel: str = "plover") -> list[str]:
    with ship.db.read() as session:
        return [one.kind for one in record_rows(session, vessel)]


def _hand(actor: Actor, key: str = "k") -> Hand:
    return Hand(actor, key, {"key": key})


def _with_passphrase(ship: Context, person: str, words: str = WORDS) -> Actor:
    secret = _enter(ship, person)
    signing_in.set_passphrase(ship, secret, _actor(ship, secret), words)
    return _actor(ship, secret)


def test_a_chief_signs_a_colleague_in_and_is_not_that_persons_other_side(ship: Context) -> None:
    """Link and session name the maker on record; with a passphrase of their own the colleague signs for themself."""
    chief = _actor(ship, _enter(ship, "chief"))
    secret = _enter(ship, "second", by=chief)
    second, first = _actor(ship, secret), Person("chief", "Demo chief, x")
    assert second.authentication is not None
    assert second.authentication.maker == first
    assert against_second_side(first, second.authentication, AT) is AgainstSigning.MADE_BY_OTHER_SIDE
    signing_in.set_passphrase(ship, secret, second, WORDS)
    assert against_second_side(first, _actor(ship, secret).authentication, AT) is None
    assert _records(ship)[-5:] == [
        "sign-in link made",
        "signed in",
        "sign-in link made",
        "signed in",
        "passphrase set",
    ]


def test_a_link_of_ones_own_or_of_the_server_has_no_other_maker(ship: Context) -> None:
    """A second device is signed in by oneself; who came by another's link stays that other's guest."""
    chief = _actor(ship, _enter(ship, "chief"))
    by_chief = _actor(ship, _enter(ship, "second", by=chief))
    again = _actor(ship, _enter(ship, "second", by=by_chief))
    for actor, maker in ((chief, None), (_actor(ship, _enter(ship, "chief", by=chief)), None), (again, "chief")):
        assert actor.authentication is not None
        assert (actor.authentication.maker and actor.authentication.maker.id) == maker


@pytest.mark.parametrize("who", ["second", "far"])
def test_engineers_sign_in_nobody_else_and_a_chief_nobody_of_another_ship(ship: Context, who: str) -> None:
    """Nor somebody who may do more than they."""
    actor = _actor(ship, _enter(ship, who))
    with pytest.raises((NotAllowed, NotFound)):
        people.make_link(ship, "chief", by=actor)
    chief = _actor(ship, _enter(ship, "chief"))
    for other in ("far", "desk"):
        with pytest.raises((NotAllowed, NotFound)):
            people.make_link(ship, other, by=chief)


@pytest.mark.long
def test_name_and_passphrase_sign_in_and_nothing_else_does(ship: Context) -> None:
    """By name or id, in any case and spacing; a wrong one, a name nobody has and one without a passphrase get one answer."""
    _with_passphrase(ship, "second")
    for name in ("second", "Demo second", "  demo  SECOND ", "second@plover"):
        actor = _actor(ship, signing_in.sign_in(ship, name, f" {WORDS.replace(' ', '  ')}", Browser()))
        assert (actor.person_id, actor.role) == ("second", Role.ENGINEER)
        assert actor.authentication is not None
        assert actor.authentication.proved_at == AT
    said = set()
    for name, words in (
        ("second", OTHER_WORDS),
        ("nobody", WORDS),
        ("chief", WORDS),
        ("second@avocet", WORDS),
        ("", ""),
    ):
        with pytest.raises(NotSignedIn) as refused:
            signing_in.sign_in(ship, name, words, Browser())
        said.add(str(refused.value))
    assert len(said) == 1


@pytest.mark.long
def test_an_unknown_name_costs_the_same_check(ship: Context, monkeypatch: pytest.MonkeyPatch) -> None:
    """One verification each, of a hash with the cost of a real one."""
    _with_passphrase(ship, "second")
    checked: list[str] = []

    class Counting(PasswordHasher):
        def verify(self, hash: str, password: str) -> bool:
            checked.append(hash)
            return super().verify(hash, password)

    monkeypatch.setattr(passphrases, "_hasher", Counting(time_cost=1, memory_cost=8, parallelism=1))
    for name in ("second", "nobody", "chief"):
        with pytest.raises(NotSignedIn):
            signing_in.sign_in(ship, name, OTHER_WORDS, Browser())
    assert len(checked) == 3
    assert checked[1:] == [passphrases.NOBODYS] * 2
    assert not PasswordHasher().check_needs_rehash(NOBODYS)


def test_two_checks_at_once_and_few_waiting(ship: Context, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each takes 64 MiB: the eleventh is told to come again, and nothing stays taken afterwards."""
    queue = passphrases._queue
    for _ in range(10):
        assert queue.acquire(blocking=False)
    with pytest.raises(Busy):
        passphrases.fits(None, WORDS)
    queue.release()
    assert not passphrases.fits(None, WORDS)
    for _ in range(9):
        queue.release()
    monkeypatch.setattr(passphrases, "_WAIT_S", 0.0)
    taken = [passphrases._checking.acquire(blocking=False) for _ in range(3)]
    assert taken == [True, True, False]
    with pytest.raises(Busy):
        passphrases.fits(None, WORDS)
    passphrases._checking.release(2)


@pytest.mark.parametrize(
    ("words", "good"),
    [
        ("x" * 15, False),
        ("abcdefghijklmn", False),
        ("abcdefghijklmno", True),
        ("abcdefgh" * 25, True),
        ("abcdefgh" * 25 + "i", False),
        ("demo second 1234567890", False),
    ],
)
def test_a_passphrase_has_15_to_200_characters_and_some_variety(ship: Context, words: str, good: bool) -> None:
    """As typed, spaces between words counted once."""
    secret = _enter(ship, "second")
    if good:
        signing_in.set_passphrase(ship, secret, _actor(ship, secret), words)
        assert signing_in.sign_in(ship, "second", words, Browser())
    else:
        with pytest.raises(Refused, match="passphrase"):
            signing_in.set_passphrase(ship, secret, _actor(ship, secret), words)


def test_an_old_passphrase_is_given_or_a_link_taken(ship: Context) -> None:
    """By passphrase the old one is asked for; a link sets a forgotten one anew, and that session proves nothing by it."""
    _with_passphrase(ship, "second")
    secret = signing_in.sign_in(ship, "second", WORDS, Browser())
    with pytest.raises(NotSignedIn):
        signing_in.set_passphrase(ship, secret, _actor(ship, secret), OTHER_WORDS)
    signing_in.set_passphrase(ship, secret, _actor(ship, secret), OTHER_WORDS, WORDS)
    assert signing_in.sign_in(ship, "second", OTHER_WORDS, Browser())
    chief = _actor(ship, _enter(ship, "chief"))
    secret = _enter(ship, "second", by=chief)
    signing_in.set_passphrase(ship, secret, _actor(ship, secret), WORDS)
    found = _actor(ship, secret).authentication
    assert found is not None
    assert found.proved_at is None
    assert against_second_side(Person("chief", ""), found, AT) is AgainstSigning.MADE_BY_OTHER_SIDE
    with pytest.raises(NotSignedIn):
        signing_in.prove_anew(ship, secret, _actor(ship, secret), OTHER_WORDS)
    signing_in.prove_anew(ship, secret, _actor(ship, secret), WORDS)
    assert against_second_side(Person("chief", ""), _actor(ship, secret).authentication, AT) is None


def test_on_a_device_that_both_used_the_passphrase_is_given_anew(ship: Context, clock: _Clock) -> None:
    """The browser's own cookie tells; after 5 minutes it is asked again; 30 days later nobody remembers."""
    phone = Browser("cookie", "Mozilla (Mobi)")
    _with_passphrase(ship, "second")
    _enter(ship, "chief", browser=phone)
    secret = signing_in.sign_in(ship, "second", WORDS, phone)
    first = Person("chief", "Demo chief, x")
    assert against_second_side(first, _actor(ship, secret).authentication, clock.at) is None
    clock.later(minutes=5, seconds=1)
    assert against_second_side(first, _actor(ship, secret).authentication, clock.at) is AgainstSigning.SHARED_DEVICE
    signing_in.prove_anew(ship, secret, _actor(ship, secret), WORDS)
    assert against_second_side(first, _actor(ship, secret).authentication, clock.at) is None
    clock.later(days=31)
    later = _actor(ship, _enter(ship, "second", browser=phone)).authentication
    assert later is not None
    assert later.device_users == ()


def _computer(ship: Context) -> str:
    chief = _actor(ship, _enter(ship, "chief"))
    return computers.share_computer(ship, chief, "plover", "control room")


@pytest.mark.long
def test_a_pin_is_good_on_a_shared_computer_for_recording_only(ship: Context, clock: _Clock) -> None:
    """The chief acts as an engineer there; untouched for 10 minutes it ends; elsewhere the PIN opens nothing."""
    computer = _computer(ship)
    chief = _with_passphrase(ship, "chief")
    signing_in.set_pin(ship, chief, "2468")
    secret = signing_in.sign_in_by_pin(ship, computer, "chief", "2468", Browser())
    actor = _actor(ship, secret)
    assert (actor.role, actor.vessel_id) == (Role.ENGINEER, "plover")
    with pytest.raises(NotAllowed, match="PIN"):
        actor.must_sign_as_self(clock.at)
    with pytest.raises(NotAllowed, match="By the PIN"):
        actor.must_be(frozenset({Role.CHIEF}), "decide")
    for _ in range(3):
        clock.later(minutes=9)
        assert sessions.at_browser(ship, secret) is not None
    clock.later(minutes=10)
    assert sessions.at_browser(ship, secret) is None
    for at, person, pin in (
        ("", "chief", "2468"),
        ("x", "chief", "2468"),
        (computer, "second", "2468"),
        (computer, "chief", "2469"),
    ):
        with pytest.raises(NotSignedIn):
            signing_in.sign_in_by_pin(ship, at, person, pin, Browser())
    shown = computers.this_computer(ship, computer)
    assert shown is not None
    assert shown.people == (("chief", "Demo chief, x"),)
    signing_in.drop_pin(ship, computer, "chief")
    with pytest.raises(NotSignedIn):
        signing_in.sign_in_by_pin(ship, computer, "chief", "2468", Browser())
    assert _records(ship)[-1] == "PIN withdrawn after wrong tries"
    computers.withdraw_computer(ship, chief, shown.id)
    assert computers.this_computer(ship, computer) is None


@pytest.mark.parametrize("pin", ["", "123", "12 4", "1234", "4321", "0000", "123456789", "²²²²", "12a4"])
def test_a_pin_everybody_tries_first_or_no_pin_is_refused(ship: Context, pin: str) -> None:
    """4 to 8 figures, not all the same, no row of them."""
    with pytest.raises(Refused, match="PIN"):
        signing_in.set_pin(ship, _with_passphrase(ship, "second"), pin)


def test_no_pin_without_the_own_passphrase(ship: Context) -> None:
    """Else who made the link could choose it and work in that name ever after; the office has none aboard."""
    for actor in (_actor(ship, _enter(ship, "second")), _with_passphrase(ship, "desk")):
        with pytest.raises(NotAllowed):
            signing_in.set_pin(ship, actor, "2468")


@pytest.mark.long
def test_whoever_is_withdrawn_comes_in_nowhere(ship: Context) -> None:
    """Sessions, links, keys, passphrase: none is good; the id stays taken; taken back, nothing of old is good again."""
    chief = _with_passphrase(ship, "chief")
    second = _with_passphrase(ship, "second")
    secret, link = _enter(ship, "second"), people.make_link(ship, "second")
    key = people.add_key(ship, second, role=Role.ENGINEER, label="mine", vessel_id="plover", person_id="second")
    managing.withdraw_person(ship, _hand(chief), "plover", "second")
    before = len(_records(ship))
    managing.withdraw_person(ship, _hand(chief, "again"), "plover", "second")
    assert len(_records(ship)) == before

    def nothing_opens() -> None:
        assert sessions.at_browser(ship, secret) is None
        for refused in (
            lambda: people.enter(ship, link),
            lambda: people.who_holds(ship, key),
            lambda: signing_in.sign_in(ship, "second", WORDS, Browser()),
        ):
            with pytest.raises(NotSignedIn):
                refused()

    nothing_opens()
    with pytest.raises(NotFound):
        people.make_link(ship, "second")
    with pytest.raises(Clash):
        people.add_person(ship, ME, person_id="second", name="B", rank="x", role=Role.ENGINEER, vessel_id="plover")
    managing.take_back(ship, _hand(chief, "back"), "plover", "second")
    nothing_opens()
    assert _actor(ship, _enter(ship, "second")).person_id == "second"


def test_a_change_is_on_record_and_holds_at_once(ship: Context) -> None:
    """The session of somebody made chief decides from then on; an unchanged person makes no record."""
    chief, secret = _actor(ship, _enter(ship, "chief")), _enter(ship, "second")
    change = {"name": "B. Second", "rank": "chief engineer", "role": Role.CHIEF}
    managing.change_person(ship, _hand(chief, "1"), "plover", "second", **change)
    managing.change_person(ship, _hand(chief, "2"), "plover", "second", **change)
    assert _actor(ship, secret).role is Role.CHIEF
    assert _records(ship).count("person changed") == 1
    with pytest.raises(Refused, match="one ship"):
        managing.change_person(ship, _hand(chief, "3"), "plover", "second", **change | {"role": Role.OFFICE})
    with pytest.raises(NotFound):
        managing.change_person(ship, _hand(chief, "4"), "avocet", "far", **change)


def test_the_last_who_can_sign_anybody_in_stays(ship: Context) -> None:
    """With the office there, the chief may go; then the office may not."""
    desk = _actor(ship, _enter(ship, "desk"))
    managing.withdraw_person(ship, _hand(desk, "1"), "plover", "chief")
    with pytest.raises(Clash, match="last"):
        managing.withdraw_person(ship, _hand(desk, "2"), "", "desk")


def test_a_key_does_no_more_than_its_person(ship: Context) -> None:
    """Not when it is made, and not when the person may do less later; a counter's key is nobody's."""
    for role, person in ((Role.CHIEF, "second"), (Role.COUNTER, "second")):
        with pytest.raises(Refused, match="no key"):
            people.add_key(ship, ME, role=role, label="k", vessel_id="plover", person_id=person)
    key = people.add_key(ship, ME, role=Role.CHIEF, label="k", vessel_id="plover", person_id="chief")
    desk = _actor(ship, _enter(ship, "desk"))
    lower = {"name": "Demo chief", "rank": "x", "role": Role.ENGINEER}
    managing.change_person(ship, _hand(desk, "1"), "plover", "chief", **lower)
    assert people.who_holds(ship, key).role is Role.ENGINEER


def test_two_keys_are_good_while_one_takes_over(ship: Context, clock: _Clock) -> None:
    """For the days chosen; a third is refused while two are good; afterwards the older one opens nothing."""
    old = people.add_key(ship, ME, role=Role.COUNTER, label="gateway", vessel_id="plover", days=30)
    prefix = old.split("_")[1]
    new = keys.rotate_key(ship, ME, prefix, 7)
    for key in (old, new):
        assert people.who_holds(ship, key).role is Role.COUNTER
    for other in (prefix, new.split("_")[1]):
        with pytest.raises(Clash, match="good already"):
            keys.rotate_key(ship, ME, other)
    clock.later(days=7, seconds=-1)
    assert people.who_holds(ship, old)
    clock.later(seconds=1)
    with pytest.raises(NotSignedIn):
        people.who_holds(ship, old)
    third = keys.rotate_key(ship, ME, new.split("_")[1], 0)
    with pytest.raises(NotSignedIn):
        people.who_holds(ship, new)
    clock.later(days=30, seconds=-1)
    assert people.who_holds(ship, third)
    clock.later(seconds=1)
    with pytest.raises(NotSignedIn):
        people.who_holds(ship, third)
    shown = keys.keys_shown(ship, ME)
    assert {(one.state, one.follows) for one in shown} == {
        ("run out", None),
        ("run out", prefix),
        ("run out", new.split("_")[1]),
    }


def test_keys_of_others_are_out_of_reach(ship: Context) -> None:
    """An engineer sees and ends the own; a chief those of the ship's people and counters; nobody those of another ship."""
    made = {
        person: people.add_key(ship, ME, role=role, label=f"of {person}", vessel_id=vessel, person_id=person).split(
            "_"
        )[1]
        for person, role, vessel in (
            ("second", Role.ENGINEER, "plover"),
            ("chief", Role.CHIEF, "plover"),
            ("far", Role.ENGINEER, "avocet"),
        )
    }
    second, chief = _actor(ship, _enter(ship, "second")), _actor(ship, _enter(ship, "chief"))
    assert {one.prefix for one in keys.keys_shown(ship, second)} == {made["second"]}
    assert {one.prefix for one in keys.keys_shown(ship, chief)} == {made["second"], made["chief"]}
    for actor, person in ((second, "chief"), (second, "far"), (chief, "far")):
        with pytest.raises(NotFound):
            people.revoke_key(ship, actor, made[person])
        with pytest.raises(NotFound):
            keys.rotate_key(ship, actor, made[person])
    people.revoke_key(ship, chief, made["second"])


def test_a_key_made_by_another_is_no_other_side_of_that_other(ship: Context) -> None:
    """The maker saw it; one made by its person has no other maker."""
    chief = _actor(ship, _enter(ship, "chief"))
    for by, expected in ((chief, AgainstSigning.MADE_BY_OTHER_SIDE), (_actor(ship, _enter(ship, "second")), None)):
        key = people.add_key(ship, by, role=Role.ENGINEER, label="k", vessel_id="plover", person_id="second")
        found = people.who_holds(ship, key).authentication
        assert against_second_side(Person("chief", "Demo chief, x"), found, AT) is expected


def test_sessions_are_seen_and_ended(ship: Context) -> None:
    """By their person and by who manages the person; nobody else sees where somebody is signed in."""
    secret = _enter(ship, "second", browser=Browser("", "Mozilla Mobi"))
    chief, second = _actor(ship, _enter(ship, "chief")), _actor(ship, secret)
    seen = {one.id: one for one in managing.people_shown(ship, chief)}
    assert [one.mobile for one in seen["second"].sessions] == [True]
    assert "far" not in seen
    assert seen["desk"].sessions == ()
    assert [one.sessions for one in managing.people_shown(ship, second) if one.id == "chief"] == [()]
    chiefs = seen["chief"].sessions[0].id
    with pytest.raises(NotFound):
        managing.end_session(ship, second, chiefs)
    managing.end_session(ship, chief, seen["second"].sessions[0].id)
    assert sessions.at_browser(ship, secret) is None
    assert _records(ship)[-1] == "session ended"


def test_signing_out_is_on_record(ship: Context) -> None:
    """Once: a second sign-out of the same browser makes no record."""
    secret = _enter(ship, "second")
    for _ in range(2):
        sessions.leave(ship, secret)
    assert _records(ship).count("signed out") == 1


@pytest.fixture(autouse=True)
def _no_check_left_taken() -> Iterator[None]:
    yield
    assert passphrases._checking._value == 2  # type: ignore[attr-defined]
    assert passphrases._queue._value == 10  # type: ignore[attr-defined]

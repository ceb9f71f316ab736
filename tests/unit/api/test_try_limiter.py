"""Guessing is limited by address and by name, with the clock handed in."""

from collections.abc import Callable

import pytest

from api.server.try_limiter import BY_ADDRESS, BY_NAME, SECRETS, TryLimiter
from scheduler.errors import NotFound, NotSignedIn, Refused, TooMany


class Seconds:
    """A clock that goes forward when told to."""

    def __init__(self) -> None:
        self.now = 1_000.0

    def __call__(self) -> float:
        return self.now


@pytest.fixture
def seconds() -> Seconds:
    return Seconds()


@pytest.fixture
def limiter(seconds: Seconds) -> TryLimiter:
    return TryLimiter(seconds)


def _wrong_passphrase(limiter: TryLimiter, address: str, name: str) -> None:
    with pytest.raises(NotSignedIn), limiter.passphrase_try(address, name):
        raise NotSignedIn("wrong")


def _wrong_secret(limiter: TryLimiter, address: str, kind: type[Exception] = NotSignedIn) -> None:
    with pytest.raises(kind), limiter.secret_try(address):
        raise kind("wrong")


def _wait_of(ask: Callable[[], None]) -> int:
    with pytest.raises(TooMany) as found:
        ask()
    return int(found.value.more["retry_after"])


def test_a_name_has_five_wrong_passphrases_a_minute_from_anywhere(limiter: TryLimiter, seconds: Seconds) -> None:
    """The sixth is refused unseen, also from another address and in other letters; after 12 s one more is looked at."""

    def try_unseen() -> None:
        with limiter.passphrase_try("10.0.0.9", " Chief ENGINEER "):
            pytest.fail("it was looked at")

    for number in range(BY_NAME.tries):
        _wrong_passphrase(limiter, f"10.0.0.{number}", "chief engineer")
    assert _wait_of(try_unseen) == 12
    seconds.now += 11.9
    assert _wait_of(try_unseen) == 1
    seconds.now += 0.1
    _wrong_passphrase(limiter, "10.0.0.9", "chief engineer")
    assert _wait_of(try_unseen) == 12
    with limiter.passphrase_try("10.0.0.9", "second engineer"):
        pass


def test_an_address_has_its_own_limit_over_all_names(limiter: TryLimiter) -> None:
    """Who tries one passphrase on every name is stopped too."""
    for number in range(BY_ADDRESS.tries):
        _wrong_passphrase(limiter, "10.0.0.1", f"name {number}")
    with pytest.raises(TooMany), limiter.passphrase_try("10.0.0.1", "another"):
        pytest.fail("it was looked at")
    _wrong_passphrase(limiter, "10.0.0.2", "another")


def test_what_was_right_and_what_was_no_try_cost_nothing(limiter: TryLimiter) -> None:
    """Signing in all day, or sending a form that lacks a field, uses no try up."""
    for _ in range(50):
        with limiter.passphrase_try("10.0.0.1", "chief"):
            pass
        with pytest.raises(Refused), limiter.passphrase_try("10.0.0.1", "chief"):
            raise Refused("no passphrase was sent")


def test_tries_under_way_count_until_they_end(limiter: TryLimiter) -> None:
    """Six at once are five and a refusal, so that a slow check is no way around the limit."""
    under_way = [limiter.passphrase_try("10.0.0.1", "chief") for _ in range(BY_NAME.tries)]
    for one in under_way:
        one.__enter__()
    with pytest.raises(TooMany), limiter.passphrase_try("10.0.0.1", "chief"):
        pytest.fail("it was looked at")
    for one in under_way:
        one.__exit__(None, None, None)
    with limiter.passphrase_try("10.0.0.1", "chief"):
        pass


@pytest.mark.parametrize("kind", [NotSignedIn, NotFound])
def test_past_the_limit_a_wrong_secret_hears_to_wait_and_a_right_one_passes(
    limiter: TryLimiter, seconds: Seconds, kind: type[Exception]
) -> None:
    """Thirty are answered as wrong, the next with the seconds to wait; the ship's counters are never shut out by it."""
    for _ in range(SECRETS.tries):
        _wrong_secret(limiter, "10.0.0.1", kind)
    assert _wait_of(lambda: _wrong_secret(limiter, "10.0.0.1", kind)) == 2
    with limiter.secret_try("10.0.0.1"):
        pass
    _wrong_secret(limiter, "10.0.0.2", kind)
    seconds.now += 2
    _wrong_secret(limiter, "10.0.0.1", kind)
    assert _wait_of(lambda: _wrong_secret(limiter, "10.0.0.1", kind)) == 2


@pytest.mark.parametrize(
    ("first", "second", "one"),
    [
        ("fd00:1:2:3::1", "fd00:1:2:3:ffff::2", True),
        ("fd00:1:2:3::1", "fd00:1:2:4::1", False),
        ("::ffff:10.0.0.1", "10.0.0.1", True),
        ("::ffff:10.0.0.1", "::ffff:10.0.0.2", False),
        ("fe80::1%eth0", "fe80::1", True),
        ("unix:", "", False),
    ],
)
def test_a_device_is_one_address_however_many_it_has(limiter: TryLimiter, first: str, second: str, one: bool) -> None:
    """The first 64 bits of IPv6 tell devices apart (RFC 4291 section 2.5.4); a mapped IPv4 address is that address."""
    for _ in range(SECRETS.tries):
        _wrong_secret(limiter, first)
    if one:
        assert _wait_of(lambda: _wrong_secret(limiter, second)) == 2
    else:
        _wrong_secret(limiter, second)


@pytest.mark.long
def test_made_up_names_and_addresses_use_bounded_memory(limiter: TryLimiter) -> None:
    """After thirty thousand subjects at most ten thousand are remembered, and who tried most is still among them."""
    for _ in range(SECRETS.tries):
        _wrong_secret(limiter, "10.0.0.1")
    for number in range(30_000):
        _wrong_secret(limiter, f"fd00:{number:x}::1")
    assert len(limiter._whole_at) <= 10_000
    assert _wait_of(lambda: _wrong_secret(limiter, "10.0.0.1")) == 2

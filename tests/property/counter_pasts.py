"""Strategies for what counters post: honest ones, troubled ones, and what people say about them."""

from collections.abc import Sequence
from dataclasses import dataclass

from hypothesis import strategies as st

from scheduler.domain.hours.ledger import (
    Adjustment,
    BadReading,
    Item,
    OpeningBalance,
    Reading,
    Replacement,
    Rescale,
    Setup,
    StepDecision,
)

T0 = 1_790_000_000
HOURS = Setup(3600, None, 1000)
SETUPS = (
    HOURS,
    Setup(3600, 20_000, 1000),
    Setup(3600, None, 100),
    Setup(360, 65_536, 1000),
    Setup(60, None, 1000),
    Setup(1, 2**32, 1000),
)
GAPS_S = (1, 60, 600, 3600, 6 * 3600, 86_400, 7 * 86_400, 40 * 86_400)

setups = st.sampled_from(SETUPS)
gaps_s = st.sampled_from(GAPS_S) | st.integers(1, 200_000)
shares = st.sampled_from((0.0, 0.25, 0.5, 1.0)) | st.floats(0, 1)


def shown(setup: Setup, seconds: float) -> int:
    """What a counter shows (thousandths) after so many seconds: whole steps only, and over its modulus again from 0."""
    step = setup.resolution_milli
    milli = int(seconds * 1000 // (setup.seconds_per_count * step)) * step
    return milli if setup.modulus is None else milli % (setup.modulus * 1000)


@st.composite
def honest(draw: st.DrawFn, setup: Setup, most: int = 40) -> list[Reading]:
    """Posts of a counter that counts as it should, over hours or years."""
    seconds = draw(st.integers(0, 60_000_000))
    at_s, posts = T0, []
    for _ in range(draw(st.integers(1, most))):
        posts.append(Reading(at_s, shown(setup, seconds), at_s))
        gap_s = draw(gaps_s)
        at_s += gap_s
        seconds += int(gap_s * draw(shares))
    return posts


@st.composite
def troubled(draw: st.DrawFn, setup: Setup, most: int = 40) -> list[Reading]:
    """Posts with spikes, resets, noughts, false jumps, drops, jitter, stamps from the future and clocks put right."""
    seconds: float = draw(st.integers(0, 60_000_000))
    at_s, posts = T0, []
    for _ in range(draw(st.integers(1, most))):
        received_s, skew_s = at_s, 0
        match draw(st.sampled_from("....jzrsfudc")):
            case "j":  # one step back
                milli = max(0, shown(setup, seconds) - setup.resolution_milli)
            case "z":
                milli = 0
            case "r":  # starts again from 0 for good
                seconds = draw(st.integers(0, 20_000))
                milli = shown(setup, seconds)
            case "s":  # a value of one post
                milli = shown(setup, draw(st.integers(0, 100_000_000)))
            case "f":
                milli, received_s = shown(setup, seconds), at_s - draw(st.sampled_from((200, 300, 301, 90_000)))
            case "c":
                milli, skew_s = shown(setup, seconds), draw(st.sampled_from((301, 600, 601, -3600, 86_400)))
            case "u":  # jumps for good
                seconds += draw(st.integers(0, 5_000_000))
                milli = shown(setup, seconds)
            case "d":
                seconds = max(0, seconds - draw(st.integers(0, 500_000)))
                milli = shown(setup, seconds)
            case _:
                milli = shown(setup, seconds)
        posts.append(Reading(at_s, milli, received_s, skew_s))
        gap_s = draw(gaps_s)
        at_s += gap_s
        seconds += gap_s * draw(shares)
    return posts


@st.composite
def words_of_people(draw: st.DrawFn, posts: Sequence[Reading]) -> list[Item]:
    """A few events, most of them at the instant of a reading: where order matters."""
    events: list[Item] = []
    for _ in range(draw(st.integers(0, 4))):
        at_s = draw(st.sampled_from([post.at_s for post in posts])) + draw(st.sampled_from((0, 0, 0, 1, -1)))
        seconds = draw(st.integers(0, 400_000))
        milli = draw(st.integers(0, 20_000)) * 1000
        final = draw(st.none() | st.sampled_from([post.value_milli for post in posts]))
        kinds: tuple[Item, ...] = (
            Adjustment(at_s, seconds - 200_000),
            OpeningBalance(at_s, seconds),
            BadReading(at_s),
            StepDecision(at_s, seconds),
            Replacement(at_s, final, milli),
            Rescale(at_s, final, milli, *draw(st.sampled_from(SETUPS)).scale),
        )
        events.append(draw(st.sampled_from(kinds)))
    return events


@dataclass(frozen=True)
class Past:
    """A counter and all that was posted and said about it."""

    setup: Setup
    items: list[Item]


@st.composite
def pasts(draw: st.DrawFn, most: int = 40) -> Past:
    """Troubled posts with a few events."""
    setup = draw(setups)
    posts = draw(troubled(setup, most))
    return Past(setup, [*posts, *draw(words_of_people(posts))])

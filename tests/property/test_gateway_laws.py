"""Laws of the gateway: registers, lines and waits; and that whatever fails, buffer plus server have everything read."""

import json
import random
from collections import Counter as Tally
from collections.abc import Iterator
from datetime import UTC, datetime
from itertools import count
from pathlib import Path
from tempfile import TemporaryDirectory

import httpx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from api.gateway import pacing
from api.gateway.buffer import Buffer, open_buffer
from api.gateway.check import SCALES, check_counter, read_panel
from api.gateway.folder import is_complete, look_again, read_file
from api.gateway.lines import Lines
from api.gateway.reading import BadLine, CounterReading, read_line, read_number, utc_text_of
from api.gateway.registers import Layout, RegisterKind, WordOrder, decode, layouts
from api.gateway.sender import Sender
from api.gateway.settings import RegisterCounter
from tests.end_to_end.automation import Leadline, encode, leadline_server

EVERY = [*layouts(1), *layouts(2)]
words = st.integers(0, 65_535)
MOST = {
    RegisterKind.U16: 65_535,
    RegisterKind.U32: 2**32 - 1,
    RegisterKind.BCD16: 9_999,
    RegisterKind.BCD32: 99_999_999,
}


@st.composite
def counted(draw: st.DrawFn) -> tuple[Layout, int | float]:
    layout = draw(st.sampled_from(EVERY))
    if layout.kind is RegisterKind.FLOAT32:
        return layout, draw(st.floats(0, 1e9, width=32))
    return layout, draw(st.integers(0, MOST[layout.kind]))


@given(counted())
def test_registers_show_what_was_put_in(shown: tuple[Layout, int | float]) -> None:
    """Encoding and decoding give the count back, in every kind, word order and byte order."""
    layout, counts = shown
    assert decode(layout, encode(layout, counts)) == counts


@given(st.lists(words, min_size=2, max_size=2))
def test_any_words_are_a_count_or_none(pair: list[int]) -> None:
    """No words make decoding fail; what they show is 0 or more and encodes back to the same words."""
    for layout in EVERY:
        given_words = pair[: layout.kind.words]
        counts = decode(layout, given_words)
        if counts is not None:
            assert counts >= 0
            minus_zero = counts == 0 and layout.kind is RegisterKind.FLOAT32
            assert minus_zero or encode(layout, counts) == given_words


@given(st.integers(0, 2**32 - 1))
def test_swapped_twice_is_straight(counts: int) -> None:
    """The two word orders are each other's mirror."""
    high, low = encode(Layout(RegisterKind.U32), counts), encode(Layout(RegisterKind.U32, WordOrder.LOW_FIRST), counts)
    assert high == low[::-1]


@given(counted(), st.sampled_from(EVERY), st.sampled_from(list(SCALES)), st.sampled_from(list(SCALES)))
def test_only_the_true_settings_are_ever_proven(
    shown: tuple[Layout, int | float], tried: Layout, scale: int, tried_scale: int
) -> None:
    """Against the true panel figure the true settings always fit, and other settings are never called proven."""
    (layout, counts) = shown
    panel = read_panel(f"{min(counts * scale / 3600, 10**8):.2f}")
    if counts * scale / 3600 > 10**8 or tried.kind.words != layout.kind.words:
        return
    counter = RegisterCounter(
        name="c", device="d", table="holding", register=5, layout=tried, seconds_per_count=tried_scale, modulus=None
    )
    read = encode(layout, counts)
    verdict = check_counter(counter, read, dict(enumerate(read, 5)), panel)
    assert (5, layout, scale) in verdict.fits
    if verdict.proven:
        assert (tried, tried_scale) == (layout, scale)


readings = st.builds(
    CounterReading,
    st.text("abcdefghijklmnopqrstuvwxyz0123456789-", min_size=1, max_size=20),
    st.integers(946_684_800, 4_102_444_800),
    st.one_of(st.integers(0, 10**12), st.floats(0, 1e9)).map(read_number),
)


@given(readings, st.integers(1, 10**6))
def test_a_line_gives_back_the_reading(one: CounterReading, at: int) -> None:
    """Counter, instant and figure come through as written."""
    assert read_line(f"{one.counter},{utc_text_of(one.at_s)},{one.value}".encode(), at) == one._replace(line=at)


@given(st.binary(max_size=80), st.integers(1, 9))
def test_any_line_is_a_reading_or_kept_whole(raw: bytes, at: int) -> None:
    """No bytes make it fail, and a bad line keeps its text."""
    found = read_line(raw, at)
    if isinstance(found, BadLine):
        shown = raw.removeprefix(b"\xef\xbb\xbf") if at == 1 else raw
        try:
            assert found.text == shown.decode().strip()
        except UnicodeDecodeError:
            assert found.text == raw.decode(errors="backslashreplace")


edges = st.tuples(
    st.text(min_size=1, max_size=6).filter(lambda text: not set(text) & set(",\n\r")),
    st.builds(
        "{:04}-{:02}-{:02}{}{:02}:{:02}:{:02}{}".format,
        st.sampled_from([0, 1, 1969, 1999, 2000, 2026, 2999, 3000, 9999]),
        *(st.sampled_from(of) for of in ([1, 12, 13], [1, 31], ["T", " ", "t"], [0, 23, 24], [0, 59], [0, 59, 60])),
        st.sampled_from(["Z", "z", "+23:59", "-23:59", "+00:60", ".999999999Z", ""]),
    ),
    st.from_regex(r"[0-9]{1,17}(\.[0-9]{1,10})?", fullmatch=True),
).map(",".join)


@given(edges)
def test_what_is_taken_can_be_sent(line: str) -> None:
    """A line at the ends of the calendar or of the figures is either bad, or its reading goes into a post that is JSON."""
    found = read_line(line.encode(), 2)
    if isinstance(found, CounterReading):
        queued = pacing.Queued(1, found.counter, utc_text_of(found.at_s), found.value)
        (item,) = json.loads(pacing.post_body([queued], utc_text_of(0)))["readings"]
        assert item["counter"] == found.counter
        assert item["value"] == float(line.split(",")[2])


lines_of_bytes = st.lists(
    st.one_of(
        readings.map(lambda one: f"{one.counter},{utc_text_of(one.at_s)},{one.value}".encode()), st.binary(max_size=20)
    ),
    max_size=8,
).map(b"\n".join)


@given(lines_of_bytes, st.randoms(use_true_random=False))
def test_how_a_stream_is_cut_into_pieces_changes_nothing(stream: bytes, dice: random.Random) -> None:
    """Standard input in any pieces gives the readings and bad lines of the same bytes as a file."""
    lines = Lines()
    rest = stream
    while rest:
        size = dice.randint(1, len(rest))
        lines.feed(rest[:size])
        rest = rest[size:]
    lines.feed(b"")
    whole, bad = read_file(stream)
    assert lines.readings == [one._replace(line=None) for one in whole]
    assert [one.number for one in lines.bad] == [one.number for one in bad]


@given(st.integers(1, 10**6), st.one_of(st.none(), st.floats(0, 1e12)), st.floats(0, 1))
def test_waits_are_long_enough_and_not_for_ever(failures: int, asked: float | None, chance: float) -> None:
    """Never less than the server asked for (up to an hour), never over five minutes unasked, never nothing."""
    wait = pacing.wait_seconds(failures, asked, chance)
    assert wait >= pacing.FIRST_WAIT_SECONDS / 2
    if asked is None:
        assert wait <= pacing.LONGEST_WAIT_SECONDS
    else:
        assert min(asked, pacing.LONGEST_ASKED_SECONDS) <= wait <= pacing.LONGEST_ASKED_SECONDS * 1.1


@given(st.text(max_size=40))
def test_any_retry_after_is_seconds_or_nothing(header: str) -> None:
    """Whatever a proxy writes there."""
    asked = pacing.asked_seconds(header, datetime(2026, 11, 25, tzinfo=UTC))
    assert asked is None or asked >= 0


json_like = st.recursive(
    st.one_of(st.none(), st.booleans(), st.integers(-3, 9), st.text(max_size=4)),
    lambda inner: st.one_of(
        st.lists(inner, max_size=4),
        st.dictionaries(st.sampled_from(["items", "index", "status", "why"]), inner, max_size=4),
    ),
    max_leaves=12,
)
listed = st.fixed_dictionaries(
    {
        "items": st.lists(
            st.fixed_dictionaries(
                {
                    "index": st.integers(-2, 7),
                    "status": st.sampled_from(["stored", "duplicate", "refused", "conflict", "", 1]),
                }
            )
        )
    }
)


@given(st.one_of(json_like, listed), st.integers(0, 5))
def test_an_answer_settles_at_most_what_was_sent_and_each_once(answer: object, size: int) -> None:
    """Whatever comes back, no reading is both taken and put aside, none twice, none that was not in the batch."""
    batch = [pacing.Queued(100 + n, "c", "2026-11-25T07:00:00Z", "1") for n in range(size)]
    found = pacing.sort_answer(batch, answer)
    ids = [*found.taken, *(one.id for one in found.aside)]
    assert len(ids) == len(set(ids))
    assert set(ids) <= {one.id for one in batch}


@given(st.lists(st.integers(0, 200_000), max_size=30), st.integers(1, 1000))
def test_a_batch_is_the_front_and_within_the_servers_limits(sizes: list[int], most: int) -> None:
    """In order, at least one, at most so many, and within the body limit unless one alone is over it."""
    queued = [pacing.Queued(n, "c" * size, "2026-11-25T07:00:00Z", "1") for n, size in enumerate(sizes)]
    batch = pacing.cut(queued, most)
    assert batch == queued[: len(batch)]
    assert bool(batch) == bool(queued)
    assert len(batch) <= most
    assert len(batch) == 1 or len(pacing.post_body(batch, "2026-11-25T07:00:00Z")) < 1_048_576


@given(st.lists(st.tuples(st.integers(0, 2), st.floats(0, 9)), min_size=1, max_size=12), st.floats(0, 20))
def test_a_file_is_complete_only_after_it_has_rested(diagnoses: list[tuple[int, float]], settle: float) -> None:
    """It has had the same size at every look for the time it must rest."""
    look, now, same_since, before = None, 0.0, 0.0, None
    for size, pause in diagnoses:
        now += pause
        if size != before:
            before, same_since = size, now
        look = look_again(look, size, 1, now)
        assert is_complete(look, settle, now) == (now - same_since >= settle)


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Leadline]:
    with leadline_server(tmp_path_factory.mktemp("server")) as one:
        yield one


class Crash(Exception):
    """The gateway's process is gone."""


class BadLink(httpx.BaseTransport):
    """The link to the real server, which fails as told: once."""

    def __init__(self) -> None:
        self._inner = httpx.HTTPTransport()
        self.fault = "none"

    def handle_request(self, request: httpx.Request) -> httpx.Response:
        fault, self.fault = self.fault, "none"
        if fault == "request lost":
            raise httpx.ConnectError("cut", request=request)
        answer = self._inner.handle_request(request)
        body = answer.read()
        answer.close()
        if fault == "answer lost":
            raise httpx.ReadTimeout("cut", request=request)
        if fault == "killed before the answer":
            raise Crash
        if fault == "half an answer":
            body = body[: len(body) // 2]
        if fault == "another answer":
            return httpx.Response(200, content=b"<html>hello</html>")
        return httpx.Response(answer.status_code, content=body)

    def close(self) -> None:
        self._inner.close()


FAULTS = [
    "none", "request lost", "answer lost", "half an answer", "another answer", "killed before the answer", "killed in settling",
]  # fmt: skip
steps = st.lists(
    st.one_of(
        st.tuples(
            st.just("read"),
            st.lists(st.tuples(st.integers(1, 4), st.integers(0, 3), st.integers(0, 2)), min_size=1, max_size=6),
        ),
        st.tuples(st.just("send"), st.sampled_from(FAULTS)),
        st.tuples(st.just("crash"), st.none()),
    ),
    min_size=3,
    max_size=12,
)
_base = count(1_000_000_000, 1000)


def _settle_half(buffer: Buffer) -> None:
    """Has it die between the two changes of settling."""
    whole = buffer.settle

    def settle(taken: list[int], aside: list[pacing.Aside], now_s: int) -> None:
        whole(taken, [], now_s)
        raise Crash

    buffer.settle = settle  # type: ignore[method-assign, assignment]


@settings(max_examples=max(8, settings.default.max_examples // 4))
@given(plan=steps)
def test_buffer_and_server_have_everything_read(server: Leadline, plan: list[tuple[str, object]]) -> None:
    """Any order of readings, posts, lost and garbled answers and crashes: each reading is in the buffer, put aside, or in
    the server's database, and nowhere twice. At the end, over a good link, the buffer is empty.
    """
    base = next(_base)
    link = BadLink()
    read: Tally[tuple[str, str, str]] = Tally()
    with (
        TemporaryDirectory() as folder,
        httpx.Client(base_url=server.url, headers={"Authorization": f"Bearer {server.key}"}, transport=link) as client,
    ):
        path = Path(folder) / "buffer.db"
        buffer = open_buffer(path)
        for what, detail in [*plan, *[("send", "none")] * 20]:
            sender = Sender(client, buffer, server.clock, most_items=4)
            if what == "read":
                taken = [CounterReading(f"plover-vp{vp}-hours", base + at, str(value)) for vp, at, value in detail]  # type: ignore[attr-defined]
                buffer.add(taken)
                read.update((one.counter, utc_text_of(one.at_s), one.value) for one in taken)
            elif what == "send":
                link.fault = str(detail)
                if detail == "killed in settling":
                    _settle_half(buffer)
                try:
                    sender.send_one()
                except Crash:
                    what = "crash"
                buffer.__dict__.pop("settle", None)
            if what == "crash":
                buffer.close()
                buffer = open_buffer(path)
            waiting = Tally((one.counter, one.observed_at, one.value) for one in buffer.front(1000))
            aside = Tally((one.counter, one.observed_at, one.value) for one in buffer.put_aside())
            gone = read - waiting - aside
            assert waiting + aside + gone == read
            stored = {
                (counter, utc_text_of(at_s), str(value)) for counter, at_s, value in server.stored() if at_s >= base
            }
            assert set(gone) <= stored
        assert buffer.waiting() == 0
        assert all(one.status in ("refused", "conflict") for one in buffer.put_aside())
        buffer.close()

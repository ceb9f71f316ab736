"""RFC 4180 (Common Format and MIME Type for CSV Files), section 2, read by a parser made from its grammar alone."""

from datetime import UTC, datetime

from hypothesis import given
from hypothesis import strategies as st

from api.exports import BOM, COLUMNS, csv_rows
from scheduler.domain.record.chain import GENESIS, Record, record_of
from scheduler.wording.invisible import visible_text

AT = datetime(2026, 11, 25, 7, tzinfo=UTC)


def parse(text: str) -> list[list[str]]:
    """The ABNF of RFC 4180 section 2: `file = record *(CRLF record) [CRLF]`; anything else raises AssertionError.

    TEXTDATA is widened to letters outside ASCII, as the charset parameter of section 3 allows.
    """
    rows: list[list[str]] = [[]]
    place = 0
    while True:
        if text.startswith('"', place):
            field, place = "", place + 1
            while True:
                assert place < len(text), "an escaped field has no closing quote"
                if text.startswith('""', place):
                    field, place = field + '"', place + 2
                elif text[place] == '"':
                    place += 1
                    break
                else:
                    field, place = field + text[place], place + 1
        else:
            end = place
            while end < len(text) and text[end] not in ',"\r\n':
                end += 1
            field, place = text[place:end], end
        rows[-1].append(field)
        if place == len(text):
            return rows
        if text.startswith("\r\n", place):
            place += 2
            if place == len(text):
                return rows
            rows.append([])
        else:
            assert text[place] == ",", f"{text[place]!r} stands outside quotes"
            place += 1


def note(words: str) -> Record:
    return record_of(
        number=1,
        kind="closed job",
        payload={"findings": words, "vessel": words, "done_by": "A. Example"},
        recorded_at=AT,
        previous_hash=GENESIS,
    )


words = st.text(st.characters(exclude_categories=["Cs"]), max_size=30)
nasty = st.text(st.sampled_from(list('",\r\n\t=+-@;é🚢a ')), max_size=12)


@given(words | nasty)
def test_2_5_to_2_7_quotes_commas_and_line_ends_come_back_as_they_were(text: str) -> None:
    """RFC 4180 2.5-2.7: quoted where needed, a quote doubled; the apostrophe before a formula is ours."""
    header, row = parse("".join(csv_rows([note(text)])))
    cells = dict(zip(header, row, strict=True))
    assert cells["findings"].removeprefix("'") == visible_text(text).removeprefix("'")
    assert cells["vessel"] == cells["findings"]
    assert not cells["findings"].startswith(("=", "+", "@", "\t", "\r"))


def test_2_1_each_record_ends_in_cr_lf() -> None:
    """RFC 4180 2.1: each record is located on a separate line, delimited by CRLF; each yielded row is one record."""
    for row in csv_rows([note("a"), note("b")]):
        assert row.endswith("\r\n")
        assert len(parse(row)) == 1


@given(st.lists(nasty, max_size=4))
def test_2_3_and_2_4_a_heading_line_and_the_same_number_of_fields_throughout(texts: list[str]) -> None:
    """RFC 4180 2.3, 2.4."""
    rows = parse("".join(csv_rows([note(text) for text in texts])))
    assert len(rows) == len(texts) + 1
    assert {len(row) for row in rows} == {len(COLUMNS)}


def test_the_byte_order_mark_is_outside_the_grammar_and_off_by_default() -> None:
    """RFC 4180 has no byte order mark: without the argument there is none, with it it is the first letter only."""
    assert BOM not in "".join(csv_rows([note("a")]))
    assert "".join(csv_rows([note("a")], bom=True)).count(BOM) == 1

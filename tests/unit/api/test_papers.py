"""The history on paper and as a workbook, looked at as a surveyor, a copier and another program see them."""

import io
import json
import re
import shutil
import subprocess
from collections import Counter
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import openpyxl
import pytest
from PIL import Image

from api.exports import jsonl, pdf, xlsx
from api.exports.first_page import first_page
from api.exports.job_paper import job_pdf
from api.exports.paper import history_data
from api.exports.pump_pages import TimeAxis
from api.typesetting import typeset
from scheduler.actions.plant_state.work import StoredStep
from scheduler.actions.record.job_file import JobFile
from scheduler.domain.record.period import NOT_CHECKED
from scheduler.domain.work.acts import Note, Noted, TagPlaced, TagRemoved
from scheduler.errors import Refused
from scheduler.shiptime import ShipOffset
from scheduler.wording.papers import PARTS
from tests.papers_story import header_counts, story

POPPLER = pytest.mark.skipif(shutil.which("pdftotext") is None, reason="poppler is not installed")
Box = tuple[float, float, float, float, str]


@pytest.fixture(scope="module")
def two_years(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The paper of two years of the invented ship."""
    return _written(b"".join(pdf(story()[0])), tmp_path_factory.mktemp("papers"))


def _written(made: bytes, folder: Path) -> Path:
    path = folder / "paper.pdf"
    path.write_bytes(made)
    return path


def _said(command: str, *arguments: str) -> str:
    return subprocess.run([command, *arguments], capture_output=True, text=True, check=True, timeout=120).stdout


def _boxes(path: Path) -> list[list[Box]]:
    """The words of each page with their boxes, in points."""
    pages = _said("pdftotext", "-bbox", str(path), "-").split("<page ")[1:]
    word = re.compile(r'<word xMin="([\d.]+)" yMin="([\d.]+)" xMax="([\d.]+)" yMax="([\d.]+)">(.*?)</word>')
    return [
        [(float(a), float(b), float(c), float(d), text) for a, b, c, d, text in word.findall(page)] for page in pages
    ]


def _overlaps(page: list[Box]) -> list[tuple[str, str]]:
    """Words that lie on each other by more than a hair."""
    return [
        (one[4], other[4])
        for place, one in enumerate(page)
        for other in page[place + 1 :]
        if min(one[2], other[2]) - max(one[0], other[0]) > 1.0 and min(one[3], other[3]) - max(one[1], other[1]) > 2.6
    ]


def test_page_1_adds_up_and_is_what_the_json_lines_count() -> None:
    """Each part, all parts together, and the kinds: due = in window + early + past due + postponed + late + not done."""
    papers, records = story()
    page, counts = first_page(papers), header_counts(list(jsonl(records, papers.frame)))
    for part in PARTS[:-1]:
        assert page.total.counts[part] == counts[part.replace(" ", "_")], part
        assert sum(one.counts[part] for one in page.kinds) == page.total.counts[part]
    assert page.total.due == counts["closed"] + len(papers.missed) == sum(one.due for one in page.kinds)
    opening = sum(one.due for one in page.kinds if one.opens)
    assert page.answer.startswith(f"{opening}\xa0jobs fell due: ")
    figures = [int(one) for one in re.findall(r"(\d+)\xa0", page.answer)]
    assert figures[0] == sum(figures[1:])
    assert page.total.counts["not done"] == 1


@pytest.mark.long
def test_what_is_missing_is_said_in_sentences() -> None:
    """Estimated hours, closes nobody checked, days not known, hours laid over a gap; of nothing done, nothing."""
    papers, _ = story()
    said = " ".join(first_page(papers).missing)
    assert "not checked by a second person" in said
    assert "VP5: on 11\xa0days no running hours are known" in said
    assert "laid over a gap" in said
    quiet = first_page(story(quiet=True)[0])
    assert quiet.answer == "No job fell due."
    assert "No pump broke down." in quiet.more
    assert quiet.complete == "No record was made in the period."


def test_a_job_from_paper_is_counted_by_what_its_sheet_says_of_the_check() -> None:
    """One that the sheet shows as checked is counted by itself; one that it does not is not checked, as any other."""
    papers, _ = story()
    opened = [one for one in papers.facts.closed if one.text("pump_serial") and not papers.facts.checked_by(one)]
    said = {opened[0].number: "as on sheet: Demo chief", opened[1].number: NOT_CHECKED}
    closed = tuple(
        replace(one, members={**one.members, "from_paper": True, "check": said[one.number]})
        if one.number in said
        else one
        for one in papers.facts.closed
    )
    was = next(line for line in first_page(papers).missing if "not checked by" in line)
    lines = first_page(replace(papers, facts=replace(papers.facts, closed=closed))).missing
    now = next(line for line in lines if "not checked by" in line)
    assert int(now.partition("\xa0")[0].split()[0]) == int(was.partition("\xa0")[0].split()[0]) - 1
    (alone,) = [line for line in lines if "sheet" in line]
    assert alone.startswith("1 of ")
    assert "not by own sign-in" in alone
    assert any(line.startswith("2 of ") and "taken from paper" in line for line in lines)


@pytest.mark.long
@POPPLER
def test_the_paper_is_tagged_titled_and_its_pages_are_counted(two_years: Path) -> None:
    """Page 1, a page a pump, the plant's own jobs, what went otherwise; said on each page; figures on page 1 as reckoned."""
    papers, _ = story()
    path = two_years
    told = dict(line.split(":", 1) for line in _said("pdfinfo", str(path)).splitlines() if ":" in line)
    assert told["Title"].strip().startswith("Demo Avocet: compliance history")
    assert told["Tagged"].strip() == "yes"
    assert "A4" in told["Page size"]
    pages = int(told["Pages"])
    assert pages == len(papers.period.plants[0].pumps) + 3
    texts = _said("pdftotext", "-layout", str(path), "-").split("\f")[:pages]
    assert all(f"page {number} of {pages}" in text for number, text in enumerate(texts, 1))
    flat = re.sub(r"\s+", " ", texts[0])
    page = first_page(papers)
    assert page.answer.replace("\xa0", " ") in flat
    assert page.stamp[:8] in flat
    for one in (*page.kinds, page.total):
        name = "All together" if one is page.total else one.name
        cells = [str(count) if count else "–" for count in (one.due, *(one.counts[part] for part in PARTS))]
        assert " ".join([name, *cells]) in flat


@pytest.mark.long
@POPPLER
def test_no_word_lies_on_another(two_years: Path) -> None:
    """Nor outside of the page, on any page of two years."""
    pages = _boxes(two_years)
    assert not [over for page in pages for over in _overlaps(page)]
    assert not [box for page in pages for box in page if box[0] < 0 or box[2] > 595.4 or box[1] < 0 or box[3] > 842]


@POPPLER
@pytest.mark.parametrize(("lock", "tag"), [("L1", "T-599-1"), ("LOCK-0012", "WWWWWWWWWWWWWWWW"), ("", "")])
def test_on_a_jobs_paper_numbers_of_locks_and_tags_keep_off_the_times(lock: str, tag: str, tmp_path: Path) -> None:
    """Nor does a long name of who hung them lie on the next column."""
    one = next(one for one in story(years=0.3)[0].facts.closed if one.text("pump_serial"))
    by, at = "Wilhelmina Demo-Featherstone-Okonkwoberg", one.at - timedelta(hours=2)
    told = (
        TagPlaced(at=at, by=by, point="control and heater supply", lock_no=lock, tag_no=tag),
        TagRemoved(at=at + timedelta(hours=1), by=by, point="control and heater supply"),
        Noted(at=at, by=by, about=Note.MEASURE, name="knife gap, widest", value=0.28, unit="mm", low=0.1, high=0.5),
    )
    steps = tuple(StoredStep(n, step, (), by, step.at, n) for n, step in enumerate(told, 1))
    found = JobFile(
        vessel_name="Demo Avocet",
        offset=ShipOffset(-180),
        key=one.text("job_no"),
        closed=one,
        checked_by="",
        steps=steps,
        photos=(),
        pictures={},
    )
    path = _written(job_pdf(found, "Made by a test"), tmp_path)
    pages = _boxes(path)
    assert not [over for page in pages for over in _overlaps(page)]
    assert not [box for page in pages for box in page if box[0] < 0 or box[2] > 595.4 or box[1] < 0 or box[3] > 842]
    assert tag in "".join(_said("pdftotext", "-layout", str(path), "-").split()) or len(tag) > 8


@POPPLER
@pytest.mark.long
def test_on_letter_paper_too(tmp_path: Path) -> None:
    """As many pages, as wide as said, and no word on another."""
    path = _written(b"".join(pdf(story()[0], size="us-letter")), tmp_path)
    told = _said("pdfinfo", str(path))
    assert "letter" in told
    assert not [over for page in _boxes(path) for over in _overlaps(page)]


@POPPLER
@pytest.mark.long
@pytest.mark.parametrize(
    ("name", "pump_name", "years"),
    [
        ("Demo " + "Ж" * 40, "Vakuumpumpe Steuerbord Maschinenraum hinten", 2.0),
        ("דמו אבוצט والسفينة Demo Ωμέγα", "أمامي", 0.4),
    ],
)
def test_long_and_foreign_names_keep_to_their_places(name: str, pump_name: str, years: float, tmp_path: Path) -> None:
    """Long names, letters outside Latin-1, names from right to left: all letters of them are there."""
    papers, _ = story(name=name, pump_name=pump_name, years=years)
    path = _written(b"".join(pdf(papers)), tmp_path)
    pages = _boxes(path)
    assert not [over for page in pages for over in _overlaps(page)]
    assert not [box for page in pages for box in page if box[0] < 0 or box[2] > 595.4 or box[1] < 0 or box[3] > 842]
    letters = Counter("".join(_said("pdftotext", "-f", "1", "-l", "1", str(path), "-").split()))
    assert not Counter(name.replace(" ", "")) - letters


@POPPLER
@pytest.mark.long
def test_letters_are_set_from_the_fonts_that_come_with_us(tmp_path: Path) -> None:
    """Latin, Greek, Cyrillic, Hebrew and Arabic, plain and bold: no font of the typesetter's own, and no box for a letter."""
    made = pdf(story(name="דמו والسفينة Demo Ωμέγα Жук", pump_name="أمامي אחורי", years=0.2)[0])
    fonts = _said("pdffonts", str(_written(b"".join(made), tmp_path))).splitlines()[2:]
    names = {line.split()[0].partition("+")[2] for line in fonts}
    assert {name.partition("-")[0] for name in names} <= {"B612", *(f"Fallback{script}" for script in _SCRIPTS)}, names
    assert {"FallbackHebrew-Regular", "FallbackHebrew-Bold", "FallbackArabic-Regular", "FallbackArabic-Bold"} <= names


_SCRIPTS = ("Latin", "Greek", "Cyrillic", "Hebrew", "Arabic")


@pytest.mark.long
@POPPLER
def test_nothing_typed_is_read_as_markup(tmp_path: Path) -> None:
    """Names and findings that would be code to the typesetter stand there as typed."""
    evil = '#panic("x") $x$ *b* _i_ @ref <l> \\ // "'
    papers, _ = story(years=0.3, name=evil)
    shown = _said("pdftotext", "-f", "1", "-l", "1", str(_written(b"".join(pdf(papers)), tmp_path)), "-")
    assert "".join(evil.split()) in "".join(shown.split())


@pytest.mark.long
def test_same_data_same_bytes_and_another_maker_others() -> None:
    """To the byte, of the PDF and of the workbook."""
    papers, records = story(years=0.3)
    assert b"".join(pdf(papers)) == b"".join(pdf(papers))
    assert b"".join(xlsx(records, papers)) == b"".join(xlsx(records, papers))


def test_what_cannot_be_set_is_refused_in_words() -> None:
    """The typesetter's own words go to the log."""
    with pytest.raises(Refused, match="could not be set"), typeset("history", {"title": 1}):
        pass


@pytest.mark.long
@POPPLER
def test_on_a_bad_copy_the_signs_are_told_apart(two_years: Path, tmp_path: Path) -> None:
    """Legend of page 1 at 100 dots an inch in black and white: no two of the seven signs give the same dots."""
    path = two_years
    _said("pdftoppm", "-r", "100", "-mono", "-f", "1", "-l", "1", str(path), str(tmp_path / "copy"))
    (file,) = tmp_path.glob("copy*.pbm")
    words = _boxes(path)[0]
    heads = next(place for place, box in enumerate(words) if box[4] == "K" and words[place + 1][4] == "knife")
    legend = [box for box in words[:heads] if abs(box[1] - words[heads][1]) < 3]
    starts = [box for box in legend if box[4] in ("in", "early", "past", "postponed", "late", "not", "breakdown")]
    assert len(starts) == 7
    with Image.open(file) as page:
        scale = 100 / 72
        cut = [
            page.crop(tuple(round(scale * one) for one in (box[0] - 8.6, box[1] - 0.5, box[0] - 1.2, box[3])))
            for box in starts
        ]
        dots = [one.convert("1").resize((10, 11)).tobytes() for one in cut]
    assert len(set(dots)) == 7
    assert all(any(byte != 0xFF for byte in one) for one in dots)


@pytest.mark.long
def test_cells_are_dates_and_numbers_and_each_sheet_prints_on_a4() -> None:
    """Read by another library: ship time without a zone, its offset beside it, numbers, filter, frozen head, print set-up, and what is
    folded away is outside of what prints."""
    papers, records = story()
    book = openpyxl.load_workbook(io.BytesIO(b"".join(xlsx(records, papers))))
    jobs = book["Jobs"]
    heads = [cell.value for cell in jobs[1]]
    row = dict(zip(heads, jobs[2], strict=True))
    first = papers.facts.closed[0]
    assert row["Done, ship time"].value == datetime.fromisoformat(first.text("done_at")).replace(tzinfo=None).replace(
        hour=(first.at.hour - 3) % 24
    )
    assert row["Done, ship time"].is_date
    assert row["Offset"].value == "UTC−3"
    assert row["From due, h"].value == int(first.hours_from_due or 0)
    assert row["From due, h"].number_format.startswith("+")
    assert jobs.max_row == 1 + len(papers.facts.closed)
    assert book["All records"].max_row == 1 + len(records)
    for sheet in book.worksheets[1:]:
        assert sheet.auto_filter.ref
        assert sheet.freeze_panes == "B2"
        assert sheet.page_setup.orientation == "landscape"
        assert str(sheet.page_setup.paperSize) == "9"
        assert (sheet.page_setup.fitToWidth or 1, sheet.page_setup.fitToHeight) == (1, 0)
        assert sheet.print_title_rows == "$1:$1"
        assert sheet.print_area
    assert (book["Answer"].page_setup.fitToHeight or 1, book["Answer"].sheet_properties.pageSetUpPr.fitToPage) == (
        1,
        True,
    )
    folded = [jobs.column_dimensions[letter] for letter in "WXY"]
    assert any(one.hidden and one.outlineLevel == 1 for one in folded)
    months = [cell.value for cell in book["Hours"]["A"][1:]]
    assert all(isinstance(one, datetime) and one.day == 1 for one in months)
    hours = [row[-3].value for row in book["Hours"].iter_rows(min_row=2)]
    ran = sum((day.seconds or 0) / 3600 for pump in papers.period.plants[0].pumps for day in pump.days)
    assert sum(hours) == pytest.approx(ran, abs=2)


def test_the_first_sheet_says_what_page_1_says() -> None:
    """Sentence by sentence."""
    papers, records = story()
    page = first_page(papers)
    book = openpyxl.load_workbook(io.BytesIO(b"".join(xlsx(records, papers))))
    texts = {str(cell.value) for row in book["Answer"].iter_rows() for cell in row if cell.value is not None}
    for sentence in (page.answer, page.more, page.complete, *page.missing):
        assert sentence.replace("\xa0", " ").replace("\u202f", " ") in texts


def test_all_that_the_layout_gets_is_json() -> None:
    """And each drawing has words for a reader aloud."""
    papers, _ = story(years=0.5)
    data = history_data(papers, TimeAxis(papers.period.first_on, papers.period.last_on), {})
    assert json.loads(json.dumps(data))["title"] == data["title"]
    assert all(curve["alt"] for pump in data["pumps"] for curve in pump.get("curves", ()))


@pytest.mark.long
@pytest.mark.skipif(shutil.which("soffice") is None, reason="LibreOffice is not installed")
def test_an_office_program_opens_the_workbook_and_prints_each_sheet_by_width(tmp_path: Path) -> None:
    """No complaint; every page A4; the first sheet on one page, and a head on each page after it."""
    papers, records = story()
    (tmp_path / "h.xlsx").write_bytes(b"".join(xlsx(records, papers)))
    profile = f"-env:UserInstallation=file://{tmp_path}/profile"
    command = [
        "soffice",
        profile,
        "--headless",
        "--convert-to",
        "pdf",
        "--outdir",
        str(tmp_path),
        str(tmp_path / "h.xlsx"),
    ]
    ended = subprocess.run(command, capture_output=True, text=True, timeout=180, check=True)
    assert not [line for line in ended.stderr.splitlines() if line and "javaldx" not in line]
    sizes = re.findall(r"Page +\d+ size: +([\d.]+) x ([\d.]+)", _said("pdfinfo", "-l", "99", str(tmp_path / "h.pdf")))
    assert {tuple(sorted(round(float(one)) for one in size)) for size in sizes} == {(595, 842)}
    texts = _said("pdftotext", "-layout", str(tmp_path / "h.pdf"), "-").split("\f")
    assert "jobs fell due" in texts[0]
    assert "Done, ship time" in texts[1]
    assert sum("Done, ship time" in re.sub(r"\s+", " ", text) for text in texts) >= 2

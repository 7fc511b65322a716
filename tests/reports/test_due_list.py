import csv
import hashlib
import io
import json
import os
import subprocess
import sys
import time
import unicodedata
from dataclasses import asdict, replace
from datetime import UTC, date, datetime
from decimal import Decimal
from pathlib import Path

import pytest

from reports.due_list import due_list_csv, due_list_json, due_list_pdf, order_list_csv, record_hash, rows_csv
from reports.due_list.paper import _due_columns
from tests.reports.makers import (
    TODAY,
    due_row,
    due_sheet,
    in_body,
    letters_of,
    opened,
    order_line,
    squeezed,
    text_fields,
    text_of,
    with_text,
)

ROOT = Path(__file__).parents[2]
LITERAL = {
    "markup": "<b>bold</b> <foo> & <img src='/etc/passwd'> <a href='javascript:x'>y</a>",
    "ampersands": "&& &amp; &#60;",
    "formula": '=HYPERLINK("x")',
    "formats": "%(x)s {0} %s ${y} \\n",
    "diacritics": "Żaba Łąka Ünï ₂ ≤ 5 µg",
    "chinese": "龟 水族馆",
    "brackets": ") Tj ET ( BT \\",
}
CHANGED = {
    "emoji": ("a 🐍 😀 b", "a [snake] [grinning face] b"),
    "surrogate": ("bad \ud800 sign", "bad \ufffd sign"),
    "marks": ("z" + "\u0301" * 40 + "!", "ź\u0301\u0301\u0301!"),
    "controls": ("a\x00\x1b[31m\u202eb\u2066\u200bc", "a[31mbc"),
    "separators": ("one\u2028two\u2029three", "one two three"),
    "hebrew": ("שלום", "םולש"),
}
# Only these stand on no paper: an id, a word for programs, and the supplier, which stands in the order list.
NOT_PRINTED = {"equipment_id", "binding", "supplier"}
PRINTED_ROW_TEXTS = {"tag", "place", "position", "model", "kind", "because", "reason", "conflict", "shelf"}


def table_of(csv_bytes):
    return list(csv.DictReader(io.StringIO(csv_bytes.decode("utf-8-sig"), newline="")))


@pytest.mark.parametrize("text", LITERAL.values(), ids=LITERAL)
def test_text_is_printed_literally_in_every_place_it_can_stand(text):
    printed = letters_of(due_list_pdf(with_text(text)))

    # Nine texts of the row, its caution twice, its missing fact, three of the order; title, address, zone, header.
    assert printed.count(squeezed(text)) >= 9 + 1 + 1 + 3 + 4


@pytest.mark.parametrize(("text", "expected"), CHANGED.values(), ids=CHANGED)
def test_text_that_cannot_be_printed_as_typed_keeps_its_meaning(text, expected):
    printed = letters_of(due_list_pdf(with_text(text)))

    assert printed.count(squeezed(expected)) >= 9 + 1 + 1 + 3 + 4


@pytest.mark.parametrize("field", sorted(PRINTED_ROW_TEXTS))
def test_each_text_of_a_row_is_printed(field):
    row = due_row(**{field: "zebra <i>"}, spares_on_hand=2, do_on=TODAY, due_on=date(2026, 11, 27))

    assert letters_of(due_list_pdf(due_sheet(row))).count("zebra<i>") == 1


def test_the_texts_of_a_row_that_are_not_printed_are_named():
    assert {"standing", "section", "needs"}.isdisjoint(text_fields(type(due_row())))
    assert set(text_fields(type(due_row()))) == PRINTED_ROW_TEXTS | NOT_PRINTED


def test_arabic_is_printed_joined_and_from_the_right():
    printed = letters_of(due_list_pdf(due_sheet(due_row(tag="مرحبا"))))

    assert "مرحبا" in unicodedata.normalize("NFKC", printed[::-1])


def test_a_word_of_five_thousand_letters_is_cut_and_says_so():
    printed = letters_of(due_list_pdf(due_sheet(due_row(reason="W" * 5_000))))

    assert "Replace:WWWW" in printed
    assert 100 < printed.count("W") < 400
    assert "W…" in printed


def test_nothing_stands_outside_its_column():
    texts = [*LITERAL.values(), *(typed for typed, _ in CHANGED.values()), "W" * 5_000]
    rows = [row for text in texts for row in with_text(text).rows]
    edges = [34.0]
    for column in _due_columns:
        edges.append(edges[-1] + column.width)

    with opened(due_list_pdf(due_sheet(*rows))) as paper:
        said = {page.page_number: page.extract_text() for page in paper.pages}
        pages = [
            page
            for page in paper.pages
            if "Within 14 days, continued" in said[page.page_number] and "Hand-over" not in said[page.page_number]
        ]
        letters = [
            letter
            for page in pages
            for letter in page.crop((0, 0, page.width, _table_end(page))).chars
            if in_body(letter, height=page.height)
        ]

    assert len(letters) > 2_000
    crossing = [letter["text"] for edge in edges for letter in letters if letter["x0"] < edge + 2.9 and letter["x1"] > edge - 2.9]
    assert crossing == []


def _table_end(page):
    return max(line["bottom"] for line in page.lines if line["width"] == 0)


def test_equal_sheets_give_equal_bytes():
    assert due_list_pdf(with_text("Łąka 水")) == due_list_pdf(with_text("Łąka 水"))


def test_the_bytes_do_not_depend_on_the_process():
    program = (
        "import hashlib; from tests.reports.makers import due_row, due_sheet, with_text;"
        "from reports.due_list import due_list_pdf;"
        "ids = ('zz', 'uv-eyes', 'aa', 'hot-surface');"
        "pdf = due_list_pdf(due_sheet(due_row(cautions=ids), *with_text('Łąka 水').rows));"
        "print(hashlib.sha256(pdf).hexdigest())"
    )

    digests = {_output(program, seed=seed) for seed in ("1", "2")}

    assert len(digests) == 1


def test_printing_opens_no_file_and_no_connection():
    program = (
        "import sys; from tests.reports.makers import with_text; from reports.due_list import due_list_pdf;"
        "due_list_pdf(with_text('水'));"
        "seen = [];"
        "sys.addaudithook(lambda event, details: seen.append((event, str(details[:1])))"
        " if event == 'open' or event.startswith('socket') else None);"
        'due_list_pdf(with_text(\'<img src="/etc/passwd"/> <img src="http://127.0.0.1/x"/> 水\'));'
        "print([each for each in seen if 'zoneinfo' not in each[1] and 'tzdata' not in each[1]])"
    )

    assert _output(program, seed="0") == "[]"


def _output(program, *, seed):
    run = subprocess.run(
        [sys.executable, "-c", program],
        check=True,
        capture_output=True,
        cwd=ROOT,
        env=os.environ | {"PYTHONHASHSEED": seed, "PYTHONPATH": str(ROOT), "PYTHONIOENCODING": "utf-8"},
    )
    return run.stdout.decode().strip()


def test_the_paper_begins_with_site_day_and_the_key_figures():
    rows = [
        due_row(tag="A", spares_on_hand=0),
        due_row(tag="B"),
        due_row(tag="C", section="within_48_h", standing="due", due_on=TODAY, needs="check", spares_on_hand=0),
        due_row(tag="D", section="unknown", standing="unknown", due_on=None),
    ]

    said = text_of(due_list_pdf(due_sheet(*rows))).splitlines()

    assert "Replacement due · North Campus" in said
    assert "Tuesday 24 November 2026 · Pacific/Auckland" in said
    figures = said.index("2 1 0 1 1")
    assert said[figures + 1] == "overdue due within 48 h due within 14 days no spare in stock cannot be dated"


def test_an_empty_sheet_says_so_plainly():
    said = text_of(due_list_pdf(due_sheet()))

    assert "Nothing is due at this site." in said
    assert "7 items are in good standing and not on this list." in said
    assert "page 1 of 1" in said
    assert "why it is due" not in said


def test_a_sheet_with_rows_does_not_say_that_nothing_is_due():
    row = due_row(section="unknown", standing="unknown", due_on=None, missing=("date of fitting",))

    assert "Nothing is due" not in text_of(due_list_pdf(due_sheet(row)))


def test_what_cannot_be_dated_says_what_is_missing_and_the_earliest_date_known():
    row = due_row(
        section="unknown",
        standing="unknown",
        due_on=None,
        no_later_than=date(2026, 12, 3),
        missing=("hour reading", "date of fitting"),
    )

    printed = letters_of(due_list_pdf(due_sheet(row)))

    assert "Cannotbedated(factsaremissing)·1" in printed
    assert "Findout:hourreading,dateoffitting" in printed
    assert "nolaterthan3Dec2026in9days" in printed


def test_sections_come_in_their_order():
    sections = ["unknown", "later", "within_14_days", "overdue", "within_48_h"]
    rows = [due_row(section=section, tag=f"T-{section}") for section in sections]

    said = text_of(due_list_pdf(due_sheet(*rows, later_days=60)))

    headings = [
        "Overdue ·",
        "Within 48 hours (today,",
        "Within 14 days ·",
        "Later, within 60 days ·",
        "Cannot be dated (f",
    ]
    places = [said.index(heading) for heading in headings]
    assert places == sorted(places)


def test_later_is_left_out_unless_asked_for():
    row = due_row(section="later", standing="good", tag="EQ-LATER", due_on=date(2027, 1, 9))

    assert "EQ-LATER" not in text_of(due_list_pdf(due_sheet(row)))
    assert table_of(due_list_csv(due_sheet(row))) == []
    assert "EQ-LATER" in text_of(due_list_pdf(due_sheet(row, later_days=60)))


def test_a_section_is_read_as_the_round_walks_then_by_place_then_by_tag():
    rows = [
        due_row(tag="E", walking_order=None, place="Attic"),
        due_row(tag="D", walking_order=10, place="Annex"),
        due_row(tag="C", walking_order=2, place="North House"),
        due_row(tag="B", walking_order=2, place="North House"),
        due_row(tag="A", walking_order=2, place="Zeta Hall"),
    ]

    assert [row["tag"] for row in table_of(due_list_csv(due_sheet(*rows)))] == ["B", "C", "A", "D", "E"]
    printed = letters_of(due_list_pdf(due_sheet(*rows)))
    places = [printed.index(squeezed(where)) for where in ("NorthHouse", "ZetaHall", "Annex", "Attic")]
    assert places == sorted(places)


def test_a_section_nobody_knows_is_refused_rather_than_left_out():
    with pytest.raises(ValueError, match="section is 'soon'"):
        due_row(section="soon")


@pytest.mark.parametrize("field", ["standing", "needs"])
def test_a_word_nobody_knows_is_refused(field):
    with pytest.raises(ValueError, match=field):
        due_row(**{field: "perhaps"})


@pytest.mark.parametrize("field", ["data_as_of", "generated_at"])
def test_an_instant_without_a_zone_is_refused(field):
    with pytest.raises(ValueError, match=field):
        due_sheet(**{field: datetime(2026, 1, 1)})  # noqa: DTZ001


@pytest.mark.parametrize(
    ("due_on", "said"),
    [
        (date(2026, 11, 23), "23Nov20261daylate"),
        (date(2026, 11, 24), "24Nov2026today"),
        (date(2026, 11, 25), "25Nov2026tomorrow"),
    ],
)
def test_lateness_is_said_in_words(due_on, said):
    assert said in letters_of(due_list_pdf(due_sheet(due_row(due_on=due_on))))


def test_work_planned_before_the_due_date_says_when_and_why():
    row = due_row(due_on=date(2026, 12, 2), do_on=date(2026, 11, 27), because="The workshop is shut in December.")

    assert "Doon27Nov2026TheworkshopisshutinDecember." in letters_of(due_list_pdf(due_sheet(row)))


def test_work_planned_for_the_due_date_is_not_said_twice():
    row = due_row(due_on=date(2026, 12, 2), do_on=date(2026, 12, 2), because="Because.")

    printed = letters_of(due_list_pdf(due_sheet(row)))
    assert "Doon" not in printed
    assert "Because." not in printed


def test_a_conflict_is_printed():
    row = due_row(conflict="Other media were changed on 18 Nov.")

    assert "Othermediawerechangedon18Nov." in letters_of(due_list_pdf(due_sheet(row)))


def test_a_check_is_not_called_a_replacement():
    row = due_row(needs="check", reason="residual-current test failed 21 Nov 2026")

    printed = letters_of(due_list_pdf(due_sheet(row)))
    assert "Check:residual-currenttestfailed21Nov2026" in printed
    assert "Replace:" not in printed


@pytest.mark.parametrize(
    ("stated", "said"),
    [
        ({"spares_on_hand": 7}, "7onhandshelfB4"),
        ({"spares_on_hand": 7, "shelf": ""}, "7onhand"),
        ({"spares_on_hand": 0, "spares_on_order": 2}, "noneonhand2onorder"),
        ({"spares_on_hand": 0, "order_by": date(2026, 11, 24)}, "noneonhandorderby24Nov2026"),
        ({"spares_on_hand": 0, "order_by": date(2026, 11, 23)}, "noneonhandordernow,latestwas23Nov2026"),
    ],
)
def test_spares_say_what_is_on_the_shelf_and_when_to_order(stated, said):
    assert said in letters_of(due_list_pdf(due_sheet(due_row(**stated))))


def test_cautions_stand_as_words_in_the_row():
    row = due_row(cautions=("measure-after-fitting", "uv-eyes", "isolate-supply", "hot-gravel"))

    assert "isolate,UV,measureafter,hot-gravel1onhand" in letters_of(due_list_pdf(due_sheet(row)))


def test_orders_are_listed_by_supplier_and_day_and_late_ones_say_so():
    orders = (
        order_line(supplier="Zoo Parts", model="M4"),
        order_line(supplier="Aqua Supply", model="M3", order_by=None),
        order_line(supplier="Aqua Supply", model="M2", order_by=date(2026, 12, 1)),
        order_line(supplier="Aqua Supply", model="M1", order_by=date(2026, 11, 20), late=True),
    )

    sheet = due_sheet(orders=orders)

    assert [line["model"] for line in table_of(order_list_csv(sheet))] == ["M1", "M2", "M3", "M4"]
    printed = letters_of(due_list_pdf(sheet))
    assert "M1220Nov2026late:ordernow" in printed
    assert printed.count("late:ordernow") == 1


def test_the_cost_together_says_of_how_many_lines_it_is():
    orders = (
        order_line(model="M1", quantity=2, unit_cost_minor=2395),
        order_line(model="M2", quantity=3, unit_cost_minor=100),
        order_line(model="M3", quantity=1, unit_cost_minor=900, currency="JPY"),
        order_line(model="M4", unit_cost_minor=None),
    )

    said = text_of(due_list_pdf(due_sheet(orders=orders)))

    assert "Together EUR 50.90 and JPY 900, for the 3 of 4 lines whose cost is known." in said


def test_the_hand_over_lines_stand_last():
    said = text_of(due_list_pdf(due_sheet(due_row())))

    places = [said.index(words) for words in ("why it is due", "Hand-over", "Handed out", "Carried out", "Returned")]
    assert places == sorted(places)


def test_no_heading_stands_without_rows_below_it():
    for count in range(1, 40):
        rows = [due_row(tag=f"A{number}") for number in range(count)]
        rows += [due_row(tag=f"B{number}", section="within_48_h") for number in range(3)]
        with opened(due_list_pdf(due_sheet(*rows))) as paper:
            page = next(page for page in paper.pages if "Within 48 hours (" in page.extract_text())
            assert "B1" in page.extract_text().split("Within 48 hours (")[1], count


def test_csv_has_a_byte_order_mark_crlf_and_iso_dates():
    written = due_list_csv(due_sheet(due_row(do_on=TODAY)))

    assert written.startswith(b"\xef\xbb\xbfpaper_id,site,today,number,")
    assert written.count(b"\r\n") == written.count(b"\n") == 2
    (row,) = table_of(written)
    assert (row["due_on"], row["do_on"], row["no_later_than"]) == ("2026-11-21", "2026-11-24", "")


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r"])
def test_csv_text_that_would_run_as_a_formula_is_disarmed(start):
    sheet = due_sheet(due_row(place=f"{start}1+1", missing=(f"{start}x",)), orders=(order_line(model=f"{start}1"),))

    (row,) = table_of(due_list_csv(sheet))
    (order,) = table_of(order_list_csv(sheet))
    assert row["place"] == f"'{start}1+1"
    assert row["missing"] == f"'{start}x"
    assert order["model"] == f"'{start}1"


def test_csv_numbers_and_other_text_are_left_alone():
    (row,) = table_of(due_list_csv(due_sheet(due_row(spares_on_hand=-1, place='a "b", =c\nd', walking_order=3))))

    assert row["spares_on_hand"] == "-1"
    assert row["place"] == 'a "b", =c\nd'
    assert row["walking_order"] == "3"


def test_csv_says_yes_and_no_and_keeps_several_words_apart():
    orders = (order_line(model="M1", late=True, tags=("EQ-1", "EQ-2")), order_line(model="M2", late=False))

    late, early = table_of(order_list_csv(due_sheet(orders=orders)))

    assert (late["late"], early["late"]) == ("yes", "no")
    assert (late["tags"], early["tags"]) == ("EQ-1; EQ-2", "EQ-1")


def test_csv_of_several_sites_says_at_which_each_row_is_and_what_day_it_is_there():
    rows = [("North Campus", TODAY, due_row(tag="A")), ("=South", date(2026, 11, 25), due_row(tag="B", place="@x"))]

    written = rows_csv(iter(rows))

    assert written.startswith(b"\xef\xbb\xbfsite,today,number,equipment_id,tag,")
    found = [(row["site"], row["today"], row["tag"], row["place"]) for row in table_of(written)]
    assert found == [("North Campus", "2026-11-24", "A", "North House"), ("'=South", "2026-11-25", "B", "'@x")]


def test_csv_survives_a_lone_surrogate():
    (row,) = table_of(due_list_csv(due_sheet(due_row(place="bad \ud800"))))

    assert row["place"] == "bad ?"


def test_json_gives_back_every_fact_of_the_sheet():
    sheet = due_sheet(due_row(do_on=TODAY, cautions=("uv-eyes",), place="Łąka \ud800"), orders=(order_line(),))

    given = json.loads(due_list_json(sheet))

    assert given == _plain(asdict(sheet))


def test_json_is_canonical():
    written = due_list_json(due_sheet(due_row(place="Łąka"), orders=(order_line(),)))

    assert written == json.dumps(json.loads(written), sort_keys=True, separators=(",", ":")).encode("ascii")


def test_json_refuses_what_a_sheet_does_not_hold():
    with pytest.raises(TypeError, match="a sheet holds no Decimal"):
        due_list_json(due_sheet(counts_good=Decimal(7)))


@pytest.fixture
def clock_of_auckland(monkeypatch):
    """The machine's clock is set to another zone than UTC."""
    with monkeypatch.context() as patch:
        patch.setenv("TZ", "Pacific/Auckland")
        time.tzset()
        yield
    time.tzset()


@pytest.mark.skipif(not hasattr(time, "tzset"), reason="the zone of a running process can be set on Unix only")
@pytest.mark.usefixtures("clock_of_auckland")
def test_json_says_instants_in_utc_whatever_the_zone_of_the_machine():
    assert json.loads(due_list_json(due_sheet()))["data_as_of"] == "2026-11-23T12:30:00Z"


def _plain(value):
    if isinstance(value, dict):
        return {key: _plain(each) for key, each in value.items()}
    if isinstance(value, tuple | list):
        return [_plain(each) for each in value]
    if isinstance(value, datetime):
        return value.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    return value.isoformat() if isinstance(value, date) else value


def test_the_record_hash_is_that_of_the_json_and_stands_on_the_paper():
    sheet = due_sheet(due_row())

    assert record_hash(sheet) == hashlib.sha256(due_list_json(sheet)).hexdigest()
    assert f"record {record_hash(sheet)[:16]}" in text_of(due_list_pdf(sheet))


def test_another_fact_is_another_record():
    assert record_hash(due_sheet(due_row())) != record_hash(due_sheet(replace(due_row(), binding="hours")))

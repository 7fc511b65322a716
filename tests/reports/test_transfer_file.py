"""The file that travels with animals: what is open first, marks to read back, papers by their fingerprint, care, lines to hand over on."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, date, datetime
from io import BytesIO

import pypdf
import pytest

from reports.canonical import record_hash
from reports.cautions import CATALOGUE, of_journey
from reports.fonts import Face
from reports.text import lines
from reports.transfer_file import transfer_file_json, transfer_file_pdf
from reports.transfer_file.compose import end_rows
from reports.transfer_file.sheet import (
    ATTACHMENT_NAME,
    Ancestor,
    Carriage,
    Earliest,
    End,
    GoingAnimal,
    GoingPaper,
    Happening,
    Licence,
    MarkToRead,
    OpenLine,
    Output,
    TransferFileSheet,
    Weight,
)
from reports.words import in_eights
from tests.reports.makers import end, going_animal, going_paper, letters_of, squeezed, text_fields, transfer_file
from tests.reports.test_hostile_text import hostile_texts, lost_of_marked, marked

TEXTS = hostile_texts()[::20]


def said(sheet: TransferFileSheet) -> str:
    return letters_of(transfer_file_pdf(sheet))


def holds(text: str, *words: str) -> list[str]:
    """Return which words a text lacks."""
    return [one for one in words if squeezed(one) not in text]


def test_what_is_open_stands_before_everything_that_is_done_with_the_animals():
    open_items = (OpenLine(code="paper_lapses", sentence="Health certificate HC-1 lapses too early."),)
    earliest = Earliest(dispatch_on=date(2026, 11, 25), arrive_on=date(2026, 11, 26))
    sheet = transfer_file(going_animal(), open_items=open_items, earliest=earliest, renewals=("Have it inspected anew.",))

    text = said(sheet)

    order = [
        "Open before the animals may leave · 1",
        "ACT NOW · Health certificate HC-1",
        "Before you start",
        "to be read back",
        "Hand-over",
    ]
    places = [text.index(squeezed(one)) for one in order]
    assert places == sorted(places)
    assert holds(text, "leave Wednesday 25 November 2026, arrive Thursday 26 November 2026", "Have it inspected anew.") == []


def test_where_no_day_is_lawful_that_is_said():
    open_items = (OpenLine(code="prohibited", sentence="V-3: this is prohibited."),)

    assert holds(said(transfer_file(going_animal(), open_items=open_items)), "Other days alone do not settle that") == []


def test_where_nothing_is_open_it_is_said_through_which_day_that_holds():
    assert (
        holds(said(transfer_file(going_animal())), "Nothing is open, as far as is on record; papers have to be good through 5 Dec 2026.")
        == []
    )


@pytest.mark.parametrize(
    ("stage", "told"),
    [("dispatched", "The animals left 2 Dec 2026 09:00"), ("called_off", "This transfer was called off. Nobody leaves with this file.")],
)
def test_a_file_of_what_has_left_or_was_called_off_says_so(stage, told):
    left = datetime(2026, 12, 2, 8, 0, tzinfo=UTC) if stage == "dispatched" else None

    text = said(transfer_file(going_animal(), open_items=None, stage=stage, dispatched_at=left))

    assert holds(text, told) == []
    assert squeezed("Nothing is open") not in text


def test_once_the_animals_have_left_it_says_when_and_when_they_are_expected():
    days = {"dispatch_on": date(2026, 12, 2), "arrive_on": date(2026, 12, 3), "through_on": date(2026, 12, 5)}

    text = said(
        transfer_file(going_animal(), open_items=None, stage="dispatched", dispatched_at=datetime(2026, 12, 2, 8, 0, tzinfo=UTC), **days)
    )

    assert (
        holds(
            text,
            "left Wednesday 2 December 2026, expected Thursday 3 December 2026",
            "expected on Thursday 3 December 2026; papers have to be good through Saturday 5 December 2026.",
        )
        == []
    )


@pytest.mark.parametrize("stage", ["dispatched", "called_off"])
def test_where_nothing_is_looked_at_any_more_the_heading_is_not_of_what_is_open(stage):
    text = said(transfer_file(going_animal(), open_items=None, stage=stage))

    assert holds(text, "How it stands") == []
    assert squeezed("Open before the animals may leave") not in text


def test_once_the_animals_have_arrived_the_title_says_on_which_day_they_did_at_the_site():
    instants = {"dispatched_at": datetime(2026, 12, 2, 8, 0, tzinfo=UTC), "arrived_at": datetime(2026, 12, 3, 23, 30, tzinfo=UTC)}

    text = said(transfer_file(going_animal(), open_items=None, stage="received", **instants))

    assert holds(text, "left Wednesday 2 December 2026, arrived Friday 4 December 2026 · gift · received") == []
    assert squeezed("expected") not in text


def test_each_animal_stands_with_its_mark_its_mass_and_the_day_of_that():
    text = said(transfer_file(going_animal(common_name="invented viper", name_as_printed="Bitis antiqua")))

    told = ("999000000000123", "left neck", "1 140 g", "20 Nov 2026", "invented viper", "on its papers: Bitis antiqua", "VENOMOUS")
    assert holds(text, *told) == []


def test_an_animal_without_a_mark_or_a_target_is_told_of_as_that():
    text = said(transfer_file(going_animal(marks=(), target=None, weights=(), sex="unknown", hatched_on=None)))

    assert holds(text, "NO MARK ON RECORD", "No targets on record: ask the sender", "sex not on record", "age not on record") == []


def test_a_group_says_how_many_it_is_and_whether_that_was_counted():
    assert holds(said(transfer_file(going_animal(grouping="group", count=12, estimated=True))), "about 12 animals") == []


def test_papers_stand_with_whom_they_are_for_until_when_and_the_whole_fingerprint_of_the_scan():
    animals = (going_animal(tag="V-3"), going_animal(number=2, tag="V-4"))
    text = said(transfer_file(*animals, papers=(going_paper(covers=(2,)), going_paper(number="HC-2", sha256=None))))

    assert holds(text, "V-4", "until 18 Dec 2026", "inspected 18 Nov 2026", "c4f1c4f1" * 8, "no scan attached") == []


def test_a_paper_that_lapses_comes_first_and_says_so_in_words():
    late = going_paper(number="HC-LATE", lapses=True, good_until=date(2026, 12, 1))
    unknown = going_paper(number="HC-NONE", lapses=True, good_until=None)

    text = said(transfer_file(going_animal(), papers=(going_paper(), late, unknown)))

    assert text.index("HC-LATE") < text.index("HC-88121")
    assert holds(text, "LAPSES TOO EARLY", "NO INSPECTION ON RECORD") == []


def test_a_licence_that_lapses_says_so_and_a_missing_one_is_not_left_blank():
    lapsing = end(licences=(Licence(number="LIC-1", title=None, sha256=None, until_on=date(2026, 12, 1), lapses=True),))

    assert holds(said(transfer_file(going_animal(), sender=lapsing, receiver=end(licences=()))), "LAPSES TOO EARLY", "not on record") == []


def test_a_licence_without_a_number_says_so_and_nothing_takes_its_place():
    unnumbered = Licence(number=None, title=None, sha256=None, until_on=date(2026, 12, 31), lapses=False)
    sheet = transfer_file(going_animal())

    text = said(replace(sheet, carriage=replace(sheet.carriage, authorisation=unnumbered)))

    assert holds(text, "number not on record until 31 Dec 2026") == []
    assert squeezed("authorised") not in text


def test_licences_stand_apart_each_with_its_scan_called_by_name():
    held = [
        Licence(number=number, title="Permit to keep", sha256=digit * 64, until_on=None, lapses=False)
        for number, digit in (("LIC-1", "7"), ("LIC-2", "8"))
    ]
    sheet = transfer_file(going_animal(), sender=end(licences=tuple(held)))

    texts = [one.text for one in end_rows(sheet)[0].cells["licence"]]

    first, blank, second = texts[:5], texts[5], texts[6:]
    assert first == ["Permit to keep", "LIC-1", "end not on record", "scan (SHA-256)", in_eights("7" * 64)]
    assert second == ["Permit to keep", "LIC-2", "end not on record", "scan (SHA-256)", in_eights("8" * 64)]
    assert (blank.strip(), len(lines(blank, face=Face.REGULAR, size=9, width=100))) == ("", 1)
    assert holds(said(sheet), f"scan (SHA-256) {'7' * 64}", f"scan (SHA-256) {'8' * 64}") == []


def test_care_says_what_is_needed_by_whom_and_for_how_long_they_are_kept_apart():
    sheet = transfer_file(going_animal(), going_animal(number=2, tag="V-4"), care="No food on the day before.")

    told = (
        *(
            "No food on the day before.",
            "22 to 28 °C",
            "air 24 to 30 °C",
            "3.1 UV index, 2 Nov 2026 (at the basking place)",
            "humidity 50 to 70 %",
            "House manual (invented)",
        ),
        *("for 30 days at the least", "a veterinarian releases", "first 14 days", "after 7 and 30 days", "V-3, V-4"),
    )
    assert holds(said(sheet), *told) == []


def test_of_several_readings_of_one_unit_the_lowest_and_the_highest_are_told():
    given = [Output(measured_on=date(2026, 11, day), value=value, unit="UVI", method="meter") for day, value in ((2, 3.1), (9, 1.5))]
    warm = Output(measured_on=date(2026, 11, 4), value=31, unit="°C", method="")

    text = said(transfer_file(going_animal(measured_there=(*given, warm))))

    assert holds(text, "1.5 to 3.1 UVI, 2 readings, the last 9 Nov 2026", "31 °C, 4 Nov 2026") == []


@pytest.mark.parametrize(
    ("low", "high", "told"), [(24.0, None, "air from 24 °C"), (None, 30.0, "air up to 30 °C"), (24.0, 30.0, "air 24 to 30 °C")]
)
def test_a_target_with_one_end_says_which(low, high, told):
    target = replace(going_animal().target, air_low_c=low, air_high_c=high)

    assert holds(said(transfer_file(going_animal(target=target))), told) == []


def test_a_loan_says_when_it_ends_and_whose_the_offspring_are():
    sheet = transfer_file(
        going_animal(), basis="loan", due_back_on=date(2027, 6, 1), offspring_split="every second one, the first to the owner"
    )

    assert holds(said(sheet), "due back Tuesday 1 June 2027", "every second one, the first to the owner") == []


def test_where_it_comes_from_says_parents_weights_and_what_happened_lately():
    one = going_animal(
        parents=(Ancestor(role="dam", who="V-1", scientific_name="Bitis ficta", certainty="probable"),),
        weights=(Weight(measured_on=date(2026, 9, 20), mass_g=1100.5), Weight(measured_on=date(2026, 11, 20), mass_g=1140.0)),
        history=(Happening(on=date(2026, 10, 2), what="put into Hot room 3"),),
    )

    told = ("dam: V-1 (Bitis ficta), probable", "20 Sep 2026: 1 100.5 g", "2 Oct 2026: put into Hot room 3", "captive bred")
    assert holds(said(transfer_file(one)), *told) == []


def test_masses_are_headed_as_those_of_some_days_or_the_last():
    old = going_animal(weights=(Weight(measured_on=date(2025, 3, 21), mass_g=1100.5),))

    assert holds(said(transfer_file(old)), "masses of 90 days, or the last", "21 Mar 2025: 1 100.5 g") == []


def test_what_was_read_and_found_on_arrival_is_printed_once_it_is_on_record():
    arrived = going_animal(
        mark_loaded="999000000000123", mark_arrived="999000000000999", arrived=True, condition="thin", discrepancy="mark"
    )
    lost = going_animal(number=2, tag="V-4", arrived=False)

    text = said(transfer_file(arrived, lost, open_items=None, stage="received"))

    assert holds(text, "read on arrival: 999000000000999", "thin", "did not arrive") == []


def test_the_living_and_the_dead_of_a_group_are_counted_on_arrival_and_an_animal_that_came_dead_is_called_so():
    group = going_animal(grouping="group", count=40)
    counted = replace(group, arrived=True, arrived_number=38, arrived_dead=3)
    alone = going_animal(number=2, tag="V-4", arrived=True, arrived_number=1, arrived_dead=1, condition="stiff")

    text = said(transfer_file(counted, alone, open_items=None, stage="received"))

    assert holds(text, f"{group.tag} 35 3", "V-4 0 1 dead, stiff") == []
    assert holds(said(transfer_file(group)), "animal alive dead") == []
    assert holds(said(transfer_file(going_animal())), "animal alive dead") != []


@pytest.mark.parametrize(("hazard", "locked"), [("venomous", True), (None, True), ("can_injure", False)])
def test_what_is_or_may_be_venomous_travels_locked(hazard, locked):
    assert (squeezed(CATALOGUE["venomous-transport"].sentence) in said(transfer_file(going_animal(hazard=hazard)))) is locked
    assert holds(said(transfer_file(going_animal(hazard=hazard))), CATALOGUE["live-transport"].sentence, "Not legal advice") == []


def test_nobody_carries_animals_without_the_caution_for_that():
    assert "live-transport" in of_journey([])


def test_the_data_lies_in_the_file_byte_for_byte():
    sheet = transfer_file(going_animal())

    reader = pypdf.PdfReader(BytesIO(transfer_file_pdf(sheet)))

    assert reader.attachments == {ATTACHMENT_NAME: [transfer_file_json(sheet)]}
    (attached,) = reader.attachment_list
    assert (attached.subtype, attached.size) == ("/application/json", len(transfer_file_json(sheet)))


def test_the_json_says_which_form_it_is_and_the_footer_its_hash():
    sheet = transfer_file(going_animal())
    written = json.loads(transfer_file_json(sheet))

    assert (written["form"], written["form_version"], len(written["animals"])) == ("reedbed-transfer-file", 2, 1)
    assert holds(said(sheet), record_hash(sheet)[:16]) == []


def test_equal_sheets_give_equal_bytes():
    assert transfer_file_pdf(transfer_file(going_animal())) == transfer_file_pdf(transfer_file(going_animal()))


def test_a_transfer_without_animals_or_papers_says_that_there_are_none():
    assert said(transfer_file(papers=())).count(squeezed("None on record.")) >= 2


def test_an_instant_without_a_zone_and_a_precision_that_nobody_knows_are_refused():
    with pytest.raises(ValueError, match="dispatched_at has no zone"):
        transfer_file(dispatched_at=datetime(2026, 12, 2, 8, 0))  # noqa: DTZ001 - that is the point
    with pytest.raises(ValueError, match="hatched_precision"):
        going_animal(hatched_precision="century")


ANIMAL = ("tag", "name", "scientific_name", "name_authorship", "common_name", "name_as_printed", "locality", "acquired", "held", "lived_in")


def all_marked() -> list[str]:
    return [marked(number, text) for number, text in enumerate(TEXTS)]


def test_every_text_of_an_animal_is_extracted_as_it_was_typed():
    animals = [
        going_animal(
            number=number,
            **dict.fromkeys((*ANIMAL, "target_source", "note", "condition", "discrepancy", "mark_loaded", "mark_arrived"), text),
            marks=(MarkToRead(kind="tag", code=text, scheme=text, body_site=text, note=""),),
            parents=(Ancestor(role="dam", who=text, scientific_name=text, certainty="certain"),),
            history=(Happening(on=date(2026, 11, 1), what=text),),
            measured_there=(Output(measured_on=date(2026, 11, 1), value=1, unit=text, method=text),),
        )
        for number, text in enumerate(all_marked(), start=1)
    ]

    assert lost_of_marked(TEXTS, transfer_file_pdf(transfer_file(*animals)), times=22) == []


def test_every_text_of_a_paper_is_extracted_as_it_was_typed():
    papers = tuple(going_paper(title=text, kind_title=text, number=text, authority=text, note=text) for text in all_marked())

    assert lost_of_marked(TEXTS, transfer_file_pdf(transfer_file(going_animal(), papers=papers)), times=5) == []


def test_every_text_of_the_plan_is_extracted_as_it_was_typed():
    for text in TEXTS:
        typed = iter(marked(number, text) for number in range(40))
        ends = [
            end(
                name=next(typed),
                site=next(typed),
                address=next(typed),
                contact=next(typed),
                licences=(Licence(number=next(typed), title=None, sha256=None, until_on=None, lapses=False),),
            )
            for _ in range(2)
        ]
        carriage = Carriage(
            carrier=next(typed),
            contact=next(typed),
            authorisation=Licence(number=next(typed), title=None, sha256=None, until_on=None, lapses=False),
            container=next(typed),
            least_c=None,
            most_c=None,
        )
        plan = {name: next(typed) for name in ("care", "note", "quarantine_place")}
        items = (OpenLine(code="not_here", sentence=next(typed)),)
        sheet = transfer_file(
            going_animal(), sender=ends[0], receiver=ends[1], carriage=carriage, open_items=items, renewals=(next(typed),), **plan
        )

        assert lost_of_marked([text] * 19, transfer_file_pdf(sheet), times=1) == []


def test_every_text_of_a_transfer_file_is_among_them():
    assert set(text_fields(GoingAnimal)) - {
        *ANIMAL,
        "target_source",
        "note",
        "condition",
        "discrepancy",
        "mark_loaded",
        "mark_arrived",
    } == {*("rank", "grouping", "sex", "life_stage", "hatched_precision", "origin", "hazard")}
    assert set(text_fields(GoingPaper)) == {"title", "kind", "kind_title", "number", "authority", "requirement_code", "sha256", "note"}
    assert set(text_fields(End)) == {"name", "site", "address", "contact", "jurisdiction"}
    assert set(text_fields(Carriage)) == {"carrier", "contact", "container"}
    chosen_or_furniture = {"form", "paper_id", "organisation", "zone", "check_at", "transfer_id", "basis", "stage"}
    assert set(text_fields(TransferFileSheet)) - chosen_or_furniture == {"reference", "quarantine_place", "offspring_split", "care", "note"}


def test_a_long_list_of_animals_is_read_back_whole():
    animals = [going_animal(number=number, tag=f"V-{number:03}") for number in range(1, 200)]

    letters = letters_of(transfer_file_pdf(transfer_file(*animals)))

    assert [one.tag for one in animals if one.tag not in letters] == []

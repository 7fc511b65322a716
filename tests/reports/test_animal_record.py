import json
import os
import subprocess
import sys
from dataclasses import replace
from datetime import date, datetime, timedelta
from io import BytesIO
from pathlib import Path

import pypdf
import pytest

from domain.rules.fitness import Hazard
from domain.rules.lives import EventKind, Grouping, LifeStage, Sex, Status
from domain.rules.measures import MeasureKind
from reports.animal_record import animal_record_json, animal_record_pdf
from reports.animal_record.chart import day_scale, mass_scale, stretches, weighings
from reports.animal_record.compose import EVENT_WORDS, STATUS_WORDS, figures
from reports.animal_record.lives import age, ended_on, gaps, hatched, kept
from reports.canonical import record_hash
from reports.cautions import caution
from tests.reports.makers import (
    TODAY,
    animal_record,
    document_line,
    event_line,
    holding_line,
    in_body,
    letters_of,
    mark_line,
    measurement_line,
    name_line,
    offspring_line,
    opened,
    parent_line,
    placement_line,
    squeezed,
    state_line,
    text_of,
)

ROOT = Path(__file__).parents[2]
SECTIONS = (
    "Origin and acquisition",
    "Names",
    "Marks",
    "Sex, life stage and status",
    "Placements",
    "Measurements",
    "Parents",
    "Offspring",
    "Ownership and loans",
    "Events",
    "Documents",
    "Fate",
)


def said(**stated):
    return text_of(animal_record_pdf(animal_record(**stated))).replace("\u00a0", " ")


def letters(**stated):
    return letters_of(animal_record_pdf(animal_record(**stated)))


def weighed(*masses, start=date(2022, 3, 1), step=30):
    return tuple(measurement_line(measured_on=start + timedelta(days=number * step), mass_g=mass) for number, mass in enumerate(masses))


def whole_life(**stated):
    """A record with something in every section, over several pages."""
    facts = {
        "name": "Minna",
        "common_name": "Hermann's tortoise",
        "name_as_printed": "Testudo graeca hermanni",
        "names": (name_line(),),
        "marks": (mark_line(),),
        "states": (state_line(from_on=date(2021, 7, 1), sex=Sex.FEMALE, life_stage=LifeStage.ADULT),),
        "placements": (placement_line(),),
        "measurements": weighed(*(400 + number for number in range(120))),
        "parents": (parent_line(),),
        "offspring": (offspring_line(),),
        "holdings": (holding_line(),),
        "events": (event_line(note="long " * 200),),
        "documents": (document_line(),),
        "withdrawn": 2,
    }
    return animal_record(**facts | stated)


def test_the_paper_begins_with_tag_name_and_taxon_in_italics():
    pdf = animal_record_pdf(animal_record(name="Minna", name_authorship="Gmelin, 1789", common_name="Hermann's tortoise"))

    lines = text_of(pdf).splitlines()
    assert lines[1:4] == [
        "A-0017 · Minna",
        "Testudo hermanni Gmelin, 1789",
        "Hermann's tortoise individual · sex not known · life stage not known",
    ]
    assert _faces(pdf, "Testudo hermanni") == {"Oblique"}
    assert _faces(pdf, "Gmelin, 1789") == {"DejaVuSansCondensed"}


def _faces(pdf, text):
    with opened(pdf) as paper:
        chars = paper.pages[0].chars
    whole = "".join(letter["text"] for letter in chars)
    start = whole.index(text)
    return {letter["fontname"].split("+")[-1].removeprefix("DejaVuSansCondensed-") for letter in chars[start : start + len(text)]}


def test_a_name_above_the_genus_is_not_in_italics():
    assert _faces(animal_record_pdf(animal_record(scientific_name="Serpentes", rank="suborder")), "Serpentes") == {"DejaVuSansCondensed"}


def test_the_name_on_its_papers_stands_in_the_title_where_it_differs():
    assert "on its papers: Testudo graeca" in said(name_as_printed="Testudo graeca")
    assert "on its papers:" not in said(name_as_printed="Testudo hermanni")
    assert "name on its papers Testudo hermanni" in said(name_as_printed="Testudo hermanni")
    assert "name on its papers not on record" in said()


def test_sections_come_in_their_order_and_are_bookmarks():
    sheet = whole_life()
    pdf = animal_record_pdf(sheet)

    outline = [entry.title.split(" ·")[0] for entry in pypdf.PdfReader(BytesIO(pdf)).outline]
    assert outline == [*SECTIONS[:5], "Mass over time [g]", *SECTIONS[5:], "Notes in full"]


def test_what_is_not_on_record_is_said_section_by_section():
    text = said()

    for section in SECTIONS[1:-1]:
        assert f"{section} · not on record" in text
    for fact in ("origin", "locality", "hatched or born", "came here", "on what ground", "from", "paper about it", "fate"):
        assert f"\n{fact} not on record" in text
    assert "page 1 of 1" in text


@pytest.mark.parametrize(
    ("hazard", "ids"),
    [
        (Hazard.HARMLESS, ("zoonosis",)),
        (Hazard.CAN_INJURE, ("bite-wounds", "zoonosis")),
        (Hazard.DANGEROUS, ("dangerous-animals", "bite-wounds", "zoonosis")),
        (Hazard.VENOMOUS, ("dangerous-animals", "venom", "zoonosis")),
        (None, ("hazard-not-on-record", "zoonosis")),
    ],
)
def test_cautions_of_its_hazard_class_stand_before_the_record(hazard, ids):
    text = squeezed(said(hazard=hazard))

    before = text[: text.index("Originandacquisition")]
    every = ("zoonosis", "bite-wounds", "venom", "dangerous-animals", "hazard-not-on-record")
    assert {id_ for id_ in every if squeezed(caution(id_).sentence) in before} == set(ids)


@pytest.mark.parametrize(
    ("born", "precision", "on", "words"),
    [
        (date(2026, 11, 24), "day", TODAY, "0 days"),
        (date(2026, 11, 23), "day", TODAY, "1 day"),
        (date(2026, 9, 26), "day", TODAY, "59 days"),
        (date(2026, 9, 25), "day", TODAY, "1 month"),
        (date(2024, 11, 25), "day", TODAY, "23 months"),
        (date(2024, 11, 24), "day", TODAY, "2 years"),
        (date(2023, 11, 25), "day", TODAY, "2 years"),
        (date(2023, 11, 24), "day", TODAY, "3 years"),
        (date(2026, 11, 1), "month", TODAY, "under 1 month"),
        (date(2026, 1, 1), "month", TODAY, "about 10 months"),
        (date(2021, 6, 1), "month", TODAY, "about 5 years"),
        (date(2026, 1, 1), "year", TODAY, "under 1 year"),
        (date(2025, 1, 1), "year", TODAY, "about 1 year"),
        (date(2026, 11, 25), "day", TODAY, ""),
    ],
)
def test_the_age_is_as_exact_as_the_date_of_hatching(born, precision, on, words):
    assert age(born, precision=precision, on=on) == words


@pytest.mark.parametrize(("precision", "words"), [("day", "14 Jun 2021"), ("month", "Jun 2021"), ("year", "2021")])
def test_the_date_of_hatching_shows_no_more_than_is_known(precision, words):
    assert hatched(date(2021, 6, 14), precision=precision).replace("\u00a0", " ") == words


def figure_values(**stated):
    return [(str(figure.value).replace("\u00a0", " "), figure.label.replace("\u00a0", " ")) for figure in figures(animal_record(**stated))]


def test_the_key_figures_are_age_mass_place_and_status():
    states = (
        state_line(from_on=date(2021, 7, 1), until_on=date(2022, 1, 1)),
        state_line(from_on=date(2022, 1, 2), sex=Sex.FEMALE),
    )

    assert figure_values(
        hatched_on=date(2021, 6, 14),
        states=states,
        placements=(placement_line(until_on=date(2022, 5, 1)), placement_line(from_on=date(2022, 5, 2), enclosure="T-15")),
        measurements=(*weighed(400, 2412.5), measurement_line(kind=MeasureKind.SHELL_HEIGHT, mass_g=None, length_mm=90, measured_on=TODAY)),
    ) == [
        ("5 years", "old, hatched or born 14 Jun 2021"),
        ("2 412.5 g", "mass, 31 Mar 2022"),
        ("T-15", "North Campus, since 2 May 2022"),
        ("kept here", "status since 1 Jul 2021"),
    ]


def test_without_a_date_of_hatching_the_key_figure_is_since_when_it_is_here():
    assert figure_values(events=(event_line(),))[0] == ("1 Jul 2021", "is when it came; age not on record")


def test_the_age_of_one_that_died_is_that_at_its_death():
    states = (state_line(until_on=date(2024, 6, 13)), state_line(from_on=date(2024, 6, 14), status=Status.DEAD))

    found = figure_values(hatched_on=date(2021, 6, 14), states=states, placements=(placement_line(until_on=date(2024, 6, 14)),))

    assert found[0] == ("3 years", "old on 14 Jun 2024, hatched or born 14 Jun 2021")
    assert found[2:] == [("T-14", "was its last place here, North Campus"), ("dead", "status since 14 Jun 2024")]


def test_one_that_is_here_without_a_place_says_so():
    assert figure_values(states=(state_line(),), placements=(placement_line(until_on=date(2022, 5, 1)),))[2] == (
        "not on record",
        "place since 1 May 2022",
    )


def test_a_missing_animal_is_an_alarm():
    (*_, status) = figures(
        animal_record(states=(state_line(until_on=date(2026, 1, 1)), state_line(from_on=date(2026, 1, 2), status=Status.MISSING)))
    )

    assert status.alarm
    assert status.value == "missing"


@pytest.mark.parametrize(
    ("stage", "counts", "estimated", "found"),
    [
        (LifeStage.LARVA, (), False, ("1 300", "animals")),
        (LifeStage.EGG, (), False, ("1 300", "eggs")),
        (LifeStage.LARVA, (EventKind.COUNTED,), False, ("1 300", "animals, counted 1 May 2026")),
        (LifeStage.LARVA, (EventKind.COUNTED, EventKind.ESTIMATED), True, ("about 1 300", "animals, estimated 2 May 2026")),
    ],
)
def test_a_group_begins_with_its_number_and_how_it_is_known(stage, counts, estimated, found):
    events = [event_line(number=1300, change=1300)]
    events += [event_line(kind=kind, happened_on=date(2026, 5, day), number=1300, change=0) for day, kind in enumerate(counts, start=1)]

    values = figure_values(
        grouping=Grouping.GROUP, count=1300, estimated=estimated, states=(state_line(life_stage=stage),), events=tuple(events)
    )

    assert values[0] == found
    assert len(values) == 5


def test_the_mass_of_a_group_is_the_mean_of_how_many():
    masses = (measurement_line(mass_g=0.42, of_number=20), measurement_line(measured_on=date(2022, 4, 1), mass_g=0.61, of_number=25))
    stated = {"grouping": Grouping.GROUP, "count": 120, "measurements": masses}

    assert figure_values(**stated)[2] == ("0.61 g", "mean mass of 25, 1 Apr 2022")
    assert "Mean mass over time [g]" in said(**stated)
    assert "mean of 20" in said(**stated)


def test_a_long_place_is_cut_in_the_strip_and_whole_in_its_table():
    place = "Behind the filter cellar beside the laboratory door, " * 2

    text = letters(states=(state_line(),), placements=(placement_line(enclosure=place),))

    assert squeezed(place) in text
    assert "…" in text


def test_origin_and_acquisition_are_those_of_the_first_event():
    first = event_line(basis="loan", party="Gannet Islands Garden", reference="L 14")
    later = event_line(happened_on=date(2022, 1, 1), kind=EventKind.SENT_AWAY, change=0, basis="exchange", party="Another")

    text = said(events=(first, later), origin="captive_bred", locality="Łąka", hatched_on=date(2020, 6, 1), hatched_precision="month")

    for line in (
        "origin captive bred",
        "locality Łąka",
        "hatched or born Jun 2020",
        "came here acquired on 1 Jul 2021",
        "on what ground loan",
        "from Gannet Islands Garden",
        "paper about it L 14",
        "hazard class harmless",
    ):
        assert f"\n{line}\n" in text


def test_an_unknown_origin_and_ground_are_not_on_record():
    text = said(origin="unknown", events=(event_line(basis="unknown"),))

    assert "origin not on record" in text
    assert "on what ground not on record" in text


@pytest.mark.parametrize(("kind", "noun"), [(EventKind.LAID, "eggs"), (EventKind.ACQUIRED, "animals")])
def test_a_group_came_as_so_many(kind, noun):
    words = "laid here" if kind is EventKind.LAID else "acquired"

    assert f"came here {words} on 1 Jul 2021, 140 {noun}" in said(
        grouping=Grouping.GROUP, count=140, events=(event_line(kind=kind, number=140, change=140),)
    )


def test_marks_say_how_they_are_read_and_until_when_they_were_borne():
    marks = (
        mark_line(
            kind="scute_notch",
            code="L3-R8",
            scheme="from the nuchal",
            body_site="carapace",
            until_on=date(2023, 1, 1),
            until_reason="grown out",
            is_primary=False,
            reading="typed_twice",
        ),
        mark_line(from_on=date(2023, 1, 1), reading="scanner", reader="reader B", applied_by="vet"),
        mark_line(kind="photograph", code=None, view="plastron", scale_mm=50, from_on=date(2024, 1, 1), is_primary=False),
    )

    text = letters(marks=marks)

    assert "scutenotchL3-R81Jul20211Jan2023grownoutwhere:carapacescheme:fromthenuchalcode:typedtwice" in text
    assert "transponder900012345678901primarymark1Jan2023todatecode:scannerreader:readerBappliedby:vet" in text
    assert "photograph1Jan2024todateview:plastronbarinthepicture:50mm" in text
    assert "Marks·3" in text


def test_days_without_a_place_are_rows_that_say_so_and_are_not_counted():
    states = (state_line(from_on=date(2021, 7, 1)),)
    places = (
        placement_line(from_on=date(2021, 7, 3), until_on=date(2022, 1, 1)),
        placement_line(from_on=date(2022, 1, 3), enclosure="T-15"),
    )

    text = letters(states=states, placements=places)

    assert "Placements·2" in text
    assert "1Jul20212Jul2021notonrecord3Jul20211Jan2022T-14NorthCampus2Jan20222Jan2022notonrecord3Jan2022todateT-15NorthCampus" in text


def test_a_gap_that_lasts_until_today_is_to_date():
    text = letters(states=(state_line(),), placements=(placement_line(until_on=date(2022, 1, 1)),))

    assert "2Jan2022todatenotonrecord" in text


def test_days_of_which_nobody_says_whose_it_was_are_rows_that_say_so():
    text = letters(states=(state_line(),), holdings=(holding_line(from_on=date(2021, 7, 5)),))

    assert "1Jul20214Jul2021notonrecord5Jul2021todateowned" in text
    assert "Ownershipandloans·1" in text


def test_why_it_was_put_where_it_does_not_fit_is_said():
    text = said(placements=(placement_line(override_reason="no other was free", note="moved by night"),))

    assert "put there although it does not suit: no" in text
    assert "moved by night" in text


def test_why_animals_joined_a_group_where_it_does_not_fit_is_said():
    joined = event_line(kind=EventKind.JOINED_BY, other_tag="G-0092", override_reason="released by the vet", note="carried over")

    text = squeezed(said(events=(joined,)))

    assert "wenttherealthoughitdoesnotsuit:releasedbythevet" in text
    assert "carriedover" in text


@pytest.mark.parametrize(
    ("spells", "known", "expected"),
    [
        ([(1, 9)], [], [(1, 9)]),
        ([(1, 9)], [(1, 9)], []),
        ([(1, 9)], [(1, None)], []),
        ([(1, 9)], [(3, 4), (5, 6)], [(1, 2), (7, 9)]),
        ([(1, 9)], [(5, 5)], [(1, 4), (6, 9)]),
        ([(3, 5)], [(1, 2), (6, None)], [(3, 5)]),
        ([(1, 2), (8, 9)], [(2, 8)], [(1, 1), (9, 9)]),
        ([(1, 9)], [(2, 8), (4, 5)], [(1, 1), (9, 9)]),
        ([(1, 9)], [(2, None), (4, 5)], [(1, 1)]),
    ],
)
def test_gaps_are_the_days_that_no_interval_covers(spells, known, expected):
    lines = [placement_line(from_on=_day(first), until_on=_day(last) if last else None) for first, last in known]

    found = gaps([(_day(first), _day(last)) for first, last in spells], lines)

    assert found == tuple((_day(first), _day(last)) for first, last in expected)


def _day(number):
    return date(2022, 1, number)


def test_it_was_kept_until_the_day_before_it_had_gone_and_again_since_it_returned():
    states = (
        state_line(from_on=_day(1), until_on=_day(3)),
        state_line(from_on=_day(4), until_on=_day(6), status=Status.AWAY),
        state_line(from_on=_day(7), until_on=_day(9), status=Status.DEPARTED),
        state_line(from_on=_day(10)),
    )

    assert kept(animal_record(states=states, today=_day(20))) == ((_day(1), _day(6)), (_day(10), _day(20)))
    assert ended_on(animal_record(states=states)) is None
    assert ended_on(animal_record(states=states[:3])) == _day(7)


def test_it_ended_on_the_day_of_its_last_change_of_status():
    states = (
        state_line(from_on=_day(1), until_on=_day(3)),
        state_line(from_on=_day(4), until_on=_day(6), status=Status.DEAD),
        state_line(from_on=_day(7), status=Status.DEAD, sex=Sex.MALE),
    )

    assert ended_on(animal_record(states=states)) == _day(4)
    assert ended_on(animal_record()) is None


def test_a_loan_past_its_day_says_how_late_it_is():
    late = holding_line(kind="loan_out", party="Tern Point", due_back_on=date(2026, 11, 1), terms="for lessons")

    assert "loanoutdueback1Nov202623dayslateTernPointforlessons" in letters(holdings=(late,))
    assert "late" not in letters(holdings=(replace(late, until_on=date(2026, 11, 3)),))
    assert "late" not in letters(holdings=(replace(late, due_back_on=TODAY),))


def test_parents_are_listed_by_role_the_surest_first_and_those_elsewhere_in_words():
    parents = (
        parent_line(role="sire", tag=None, scientific_name=None, elsewhere="a male of the next garden", certainty="possible"),
        parent_line(role="sire", tag="A-0009", certainty="probable", known_by="the only male"),
        parent_line(),
    )

    text = letters(parents=parents)

    assert (
        "damA-0007TestudohermannicertainsireA-0009Testudohermanniprobableknownby:theonlymalesirenotkepthereamaleofthenextgardenpossible"
    ) in text


def test_offspring_are_listed_by_day_and_tag_those_without_a_day_last():
    offspring = (
        offspring_line(tag="C"),
        offspring_line(tag="B", hatched_on=date(2024, 1, 2)),
        offspring_line(tag="A", hatched_on=date(2024, 1, 2), hatched_precision="year", count=40, status=Status.DEPARTED, role="sire"),
    )

    text = letters(offspring=offspring)

    rows = (
        "ATestudohermanniassirecertain202440left",
        "BTestudohermanniasdamcertain2Jan20241kepthere",
        "CTestudohermanniasdamcertainnotonrecord1kepthere",
    )
    assert "".join(rows) in text


def test_events_come_in_order_with_what_they_changed_the_number_by_and_to():
    events = (
        event_line(kind=EventKind.LAID, number=1140, change=1140),
        event_line(kind=EventKind.DIED, number=12, change=-12, cause="fungus", happened_on=date(2021, 7, 2)),
        event_line(kind=EventKind.STAGED, number=1128, change=0, life_stage=LifeStage.LARVA, happened_on=date(2021, 7, 3)),
        event_line(kind=EventKind.SPLIT_OFF, number=40, change=-40, other_tag="G-0092", happened_on=date(2021, 7, 4)),
        event_line(kind=EventKind.COUNTED, number=1088, change=0, happened_on=date(2021, 7, 5)),
        event_line(kind=EventKind.ESTIMATED, number=1100, change=12, happened_on=date(2021, 7, 6)),
        event_line(
            kind=EventKind.DEPARTED,
            number=100,
            change=-100,
            basis="gift",
            party="Tern Point",
            reference="T-9",
            happened_on=date(2021, 7, 7),
        ),
    )

    text = letters(grouping=Grouping.GROUP, count=1000, events=events)

    rows = (
        "1Jul2021laidhere+1140→1140",
        "2Jul2021died−12→1128cause:fungus",
        "3Jul2021lifestagenoted1128animalsnowlarva",
        "4Jul2021splitofftoG-0092−40→1088",
        "5Jul2021counted1088found±0→1088",
        "6Jul2021estimatedabout1100found+12→1100",
        "7Jul2021leftthecollection−100→1000giftTernPointpaper:T-9",
    )
    places = [text.index(row) for row in rows]
    assert places == sorted(places)
    assert "ofthegroup1140came,orwereborn,hatchedorlaidhere,12died,100left,40wentintootherrecords,12morefoundincounts;1000keptnow." in text


@pytest.mark.parametrize("kind", list(EventKind))
def test_every_kind_of_event_has_its_words(kind):
    events = (event_line(), event_line(kind=kind, happened_on=date(2021, 7, 2), change=0, other_tag="G-1"))

    assert squeezed(EVENT_WORDS[kind]) in letters(events=events)


@pytest.mark.parametrize("status", list(Status))
def test_every_status_has_its_words_and_its_fate(status):
    text = said(states=(state_line(), state_line(from_on=date(2022, 1, 1), status=status)))

    assert STATUS_WORDS[status] in text
    assert "fate not on record" not in text


@pytest.mark.parametrize(
    ("kind", "status", "facts"),
    [
        (EventKind.DIED, Status.DEAD, ("fate Died on 1 Feb 2022.", "cause egg binding", "paper about it PM 22/7")),
        (EventKind.DEPARTED, Status.DEPARTED, ("fate Left the collection on 1 Feb 2022.", "to Tern Point", "paper about it PM 22/7")),
        (EventKind.JOINED, Status.MERGED, ("fate Went on into other records on 1 Feb 2022.", "to Tern Point", "paper about it PM 22/7")),
    ],
)
def test_the_fate_of_one_that_is_gone_is_told(kind, status, facts):
    end = event_line(kind=kind, happened_on=date(2022, 2, 1), change=-1, cause="egg binding", party="Tern Point", reference="PM 22/7")
    states = (state_line(until_on=date(2022, 1, 31)), state_line(from_on=date(2022, 2, 1), status=status))

    text = said(events=(event_line(), end), states=states)

    for fact in facts:
        assert f"\n{fact}\n" in text


def test_what_went_into_another_record_says_which():
    end = event_line(kind=EventKind.JOINED, happened_on=date(2022, 2, 1), change=-1, other_tag="G-0092")
    states = (state_line(until_on=date(2022, 1, 31)), state_line(from_on=date(2022, 2, 1), status=Status.MERGED))

    text = said(events=(event_line(), end), states=states)

    assert "went into G-0092" in text
    assert "\nto G-0092\n" in text


def test_documents_have_the_whole_fingerprint_of_their_file():
    digest = "".join(f"{number:02x}" for number in range(32))

    text = letters(
        documents=(document_line(title="Loan agreement", reference="L 14", role="basis", dated_on=date(2021, 6, 1), sha256=digest),)
    )

    assert f"Loanagreementbasisapplication/pdf1Jun2021L14{digest}" in text


@pytest.mark.parametrize(
    ("withdrawn", "corrected", "sentence"),
    [
        (0, 0, "No entry about it was withdrawn or corrected."),
        (1, 0, "1 entry was withdrawn; only what holds is shown here, the journal keeps the rest."),
        (2, 0, "2 entries were withdrawn; only what holds is shown here, the journal keeps the rest."),
        (2, 1, "2 entries were withdrawn and 1 entry was corrected; only what holds is shown here, the journal keeps the rest."),
    ],
)
def test_entries_that_do_not_hold_are_counted(withdrawn, corrected, sentence):
    assert sentence in said(withdrawn=withdrawn, corrected=corrected)


def test_a_long_note_stands_in_full_after_the_tables_and_its_cell_refers_to_it():
    note = " ".join(f"word{number}" for number in range(600))[:4_000]
    first = event_line(note=note)

    text = letters(events=(first,), note="short note", names=(name_line(note="x" * 281),))

    assert squeezed(note) in text
    assert "noteshortnote" in text
    assert "1·NameMinna,1Jul2021" + "x" * 281 + "2·Acquired,1Jul2021" in text
    assert text.count("seenote1") == text.count("seenote2") == 1


def test_tables_go_on_over_pages_with_their_heads():
    pdf = animal_record_pdf(animal_record(measurements=weighed(*range(100, 300), step=3)))

    with opened(pdf) as paper:
        pages = [page.extract_text() for page in paper.pages]

    with_rows = [page for page in pages if "Measurements" in page]
    assert len(with_rows) > 3
    assert all("on what measured how by remarks" in page for page in with_rows)
    assert all("Measurements, continued" in page for page in with_rows[1:])
    assert sum(page.count("mass ") for page in with_rows) >= 200


def test_measurements_come_by_day_with_unit_method_and_who():
    lines = (
        measurement_line(
            kind=MeasureKind.STRAIGHT_CARAPACE_LENGTH,
            mass_g=None,
            length_mm=182.5,
            measured_on=date(2023, 1, 1),
            method="calliper",
            by="vet",
        ),
        measurement_line(measured_on=date(2022, 1, 1), mass_g=1140, surprising=True, note="after rest"),
    )

    assert "1Jan2022mass1140gunusual,andconfirmedafterrest1Jan2023straightcarapacelength182.5mmcallipervet" in letters(measurements=lines)


def test_the_last_words_stand_with_the_fate_on_one_page():
    for count in range(1, 30):
        events = tuple(event_line(change=0, kind=EventKind.STAGED) for _ in range(count))
        with opened(animal_record_pdf(animal_record(events=events, hazard=Hazard.VENOMOUS))) as paper:
            last = paper.pages[-1].extract_text()
        assert "\nFate\n" in f"\n{last}", count


def test_a_chart_needs_two_weighings():
    assert "over time" not in said(measurements=weighed(400))
    assert "2 weighings, 1 Mar 2022 to 31 Mar 2022." in said(measurements=weighed(400, 410))


def test_the_chart_shows_every_weighing_where_it_belongs():
    with opened(animal_record_pdf(animal_record(measurements=weighed(100, 200, 150, step=10)))) as paper:
        (line,) = [curve for curve in paper.pages[0].curves if len(curve["pts"]) == 3]

    (first_x, first_y), (second_x, second_y), (third_x, third_y) = line["pts"]
    assert second_x - first_x == pytest.approx(third_x - second_x)
    # Pages are measured from the top.
    assert first_y - second_y == pytest.approx(2 * (third_y - second_y))
    assert second_y < third_y < first_y


def test_the_scale_of_mass_has_round_marks_around_all_weighings():
    for masses in ((412.5, 412.5), (0.42, 1.2), (38, 2350), (999, 1001), (85_000, 120_000), (7, 7.0001)):
        scale = mass_scale(weighings(animal_record(measurements=weighed(*masses))))

        assert scale.low <= min(masses)
        assert max(masses) <= scale.high
        assert 2 <= len(scale.marks) <= 7
        assert 0 <= scale.share(masses[0]) <= 1


def test_marks_of_mass_are_written_without_rounding_noise():
    scale = mass_scale(weighings(animal_record(measurements=weighed(0.42, 1.2))))

    assert [words for _, words in scale.marks] == ["0.4", "0.6", "0.8", "1", "1.2"]


@pytest.mark.parametrize(
    ("days", "marks"),
    [
        (0, ["1 Mar 2022"]),
        (20, ["1 Mar 2022", "21 Mar 2022"]),
        (70, ["Mar 2022", "Apr 2022", "May 2022"]),
        (365 * 2, ["Apr 2022", "Jul 2022", "Oct 2022", "Jan 2023", "Apr 2023", "Jul 2023", "Oct 2023", "Jan 2024"]),
        (365 * 3, ["Jul 2022", "Jan 2023", "Jul 2023", "Jan 2024", "Jul 2024", "Jan 2025"]),
        (365 * 12, ["2024", "2026", "2028", "2030", "2032", "2034"]),
    ],
)
def test_the_scale_of_days_has_as_many_marks_as_can_be_read(days, marks):
    scale = day_scale(weighings(animal_record(measurements=weighed(1, 2, step=days))))

    assert [words.replace("\u00a0", " ") for _, words in scale.marks] == marks
    assert all(scale.low <= day <= scale.high for day, _ in scale.marks)


def test_no_line_is_drawn_over_a_gap_of_more_than_a_year():
    known = weighings(animal_record(measurements=weighed(1, 2, step=366)))
    apart = weighings(animal_record(measurements=weighed(1, 2, step=367)))

    assert len(stretches(known)) == 1
    assert len(stretches(apart)) == 2
    assert "No line is drawn" in said(measurements=weighed(1, 2, step=367))
    assert "No line is drawn" not in said(measurements=weighed(1, 2, step=366))


def test_a_diamond_is_explained_where_there_is_one():
    surprising = (*weighed(400, 410), measurement_line(measured_on=date(2023, 1, 1), surprising=True))

    assert "A diamond is a weighing that was unusual, and confirmed." in said(measurements=surprising)
    assert "diamond" not in said(measurements=weighed(400, 410))


@pytest.mark.parametrize("field", ["data_as_of", "generated_at"])
def test_an_instant_without_a_zone_is_refused(field):
    with pytest.raises(ValueError, match=field):
        animal_record(**{field: datetime(2026, 1, 1)})  # noqa: DTZ001


def test_what_could_be_read_in_two_ways_is_refused():
    with pytest.raises(ValueError, match="hatched_precision is 'week'"):
        animal_record(hatched_precision="week")
    with pytest.raises(ValueError, match="events are not in the order"):
        animal_record(events=(event_line(), event_line(happened_on=date(2021, 6, 30))))


def test_lists_in_another_order_print_the_same_rows():
    marks = (mark_line(code="A"), mark_line(code="B"), mark_line(code="C", from_on=date(2020, 1, 1)))
    names = (name_line(name="M1", from_on=date(2020, 1, 1)), name_line(name="M2"))
    places = (placement_line(enclosure="P1", from_on=date(2020, 1, 1), until_on=date(2021, 6, 30)), placement_line(enclosure="P2"))

    forth = letters(marks=marks, names=names, placements=places)
    back = letters(marks=marks[::-1], names=names[::-1], placements=places[::-1])

    assert forth.split("record")[0] == back.split("record")[0]


def test_nothing_stands_outside_the_page():
    texts = "W" * 400, "two words " * 60, "水族馆" * 100
    sheet = whole_life(
        events=tuple(event_line(party=text, cause=text, note=text) for text in texts),
        placements=tuple(placement_line(enclosure=text, override_reason=text) for text in texts),
        tag="T" * 120,
        scientific_name="Genus " * 20,
    )

    with opened(animal_record_pdf(sheet)) as paper:
        for page in paper.pages:
            assert all(letter["x0"] >= 34 and letter["x1"] <= page.width - 33 for letter in page.chars)
            between = [letter for letter in page.chars if 100 < letter["top"] < page.height - 50]
            assert all(in_body(letter, height=page.height) for letter in between)


def test_equal_sheets_give_equal_bytes_and_other_facts_others():
    assert animal_record_pdf(whole_life()) == animal_record_pdf(whole_life())
    assert animal_record_pdf(whole_life(corrected=1)) != animal_record_pdf(whole_life())


def test_the_bytes_do_not_depend_on_the_process():
    program = (
        "import hashlib; from tests.reports.test_animal_record import whole_life;"
        "from reports.animal_record import animal_record_pdf; print(hashlib.sha256(animal_record_pdf(whole_life())).hexdigest())"
    )
    runs = [
        subprocess.run(
            [sys.executable, "-c", program],
            check=True,
            capture_output=True,
            cwd=ROOT,
            env=os.environ | {"PYTHONHASHSEED": seed, "PYTHONPATH": str(ROOT)},
        )
        for seed in ("1", "2")
    ]

    assert len({run.stdout for run in runs}) == 1


def test_the_fingerprint_of_the_sheet_stands_on_the_paper_and_json_gives_back_its_facts():
    sheet = whole_life()

    assert f"record {record_hash(sheet)[:16]}" in text_of(animal_record_pdf(sheet))
    given = json.loads(animal_record_json(sheet))
    assert given["tag"] == "A-0017"
    assert len(given["measurements"]) == 120
    assert given["states"][0] == {"from_on": "2021-07-01", "until_on": None, "status": "present", "sex": "female", "life_stage": "adult"}

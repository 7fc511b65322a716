import os
import subprocess
import sys
from datetime import datetime
from pathlib import Path

import pytest

from domain.rules.fitness import Hazard
from reports.canonical import record_hash
from reports.labels import Targets, labels_json, labels_pdf
from reports.labels.compose import kinds, more, number, pills, set_points
from reports.labels.render import CODE_SIDE, CODE_SIZES, LABEL_HEIGHT, LABEL_WIDTH
from tests.reports.makers import enclosure_label, label_sheet, label_taxon, letters_of, opened, squeezed, text_of
from tests.reports.qr_reader import read

ROOT = Path(__file__).parents[2]
MM = 72 / 25.4
GAP = 4.0
EVERY_TARGET = Targets(
    uvi_low=2,
    uvi_high=3,
    air_low_c=24,
    air_high_c=29.5,
    basking_low_c=30,
    basking_high_c=34,
    water_low_c=21,
    water_high_c=26,
    humidity_low_pct=60,
    humidity_high_pct=80,
    water="hard, low flow",
)


def crowded(**stated):
    """A label with all that a label can hold, several times over."""
    taxa = [label_taxon(scientific_name=f"Genus species{number}", targets=EVERY_TARGET, hazard=None) for number in range(7)]
    taxa += [label_taxon(scientific_name="Bitis gabonica", hazard=Hazard.VENOMOUS, males=0, females=0, in_groups=1200, estimated=True)]
    facts = {"code": "Hall of the great river 12", "place": "Reedmere House · North House", "life_support_system": "closed circuit 12"}
    return enclosure_label(*taxa, **facts, uv_lamp=True, quarantine=True, **stated)


def corners(pdf):
    """The upper left corners of the labels of each page, as the squares of their codes have them."""
    with opened(pdf) as paper:
        return [
            sorted((rect["top"] - GAP, rect["x1"] + GAP - LABEL_WIDTH) for rect in page.rects if rect["width"] == pytest.approx(CODE_SIDE))
            for page in paper.pages
        ]


def scanned(pdf):
    """What the codes of each page say, read from a picture of the page; and in how wide a quiet zone they stand [modules]."""
    found = []
    with opened(pdf) as paper:
        for page, places in zip(paper.pages, corners(pdf), strict=True):
            picture = page.to_image(resolution=300).original.convert("L")
            scale = 300 / 72
            for top, left in places:
                x = left + LABEL_WIDTH - CODE_SIDE - GAP
                box = [round(edge * scale) for edge in (x, top + GAP, x + CODE_SIDE, top + GAP + CODE_SIDE)]
                found.append(_scan(picture.crop(box)))
    return found


def _scan(picture):
    dark = picture.point(lambda level: 255 if level < 128 else 0)
    left, top, right, bottom = dark.getbbox()
    finder = next(x for x in range(left, right) if not dark.getpixel((x, top + 2))) - left
    size = round((right - left) / (finder / 7))
    module = (right - left) / size
    places = [(number + 0.5) * module for number in range(size)]
    rows = [[bool(dark.getpixel((int(left + x), int(top + y)))) for x in places] for y in places]
    quiet = min(left, top, picture.width - right, picture.height - bottom) / module
    return read(rows), quiet


def test_the_codes_are_read_from_the_page_and_say_nothing_but_link_and_id():
    labels = [enclosure_label(label_taxon(), code=f"T-{number}", short_id=f"7KQ4M{number}") for number in range(12)]

    found = scanned(labels_pdf(label_sheet(*labels)))

    assert [said for said, _ in found] == [f"https://records.example.org/e/7KQ4M{number}" for number in range(12)]
    assert all(quiet >= 3.8 for _, quiet in found)


@pytest.mark.parametrize("link_base", ["", "https://a-rather-long-name.records.example.org/enc/"[:48]])
def test_the_code_holds_the_id_alone_or_after_the_longest_link(link_base):
    label = crowded(short_id="0190a1b2-c3d4-ab")

    ((said, quiet),) = scanned(labels_pdf(label_sheet(label, link_base=link_base)))

    assert said == f"{link_base}0190a1b2-c3d4-ab"
    assert quiet >= 3.8


@pytest.mark.parametrize("label", [enclosure_label(label_taxon()), crowded(), enclosure_label(code="W" * 120, place="W" * 120)])
def test_nothing_is_written_into_the_code_or_out_of_the_label(label):
    pdf = labels_pdf(label_sheet(label))
    (((top, left),),) = corners(pdf)
    code_left, code_bottom = left + LABEL_WIDTH - CODE_SIDE - GAP, top + GAP + CODE_SIDE

    with opened(pdf) as paper:
        letters = [letter for letter in paper.pages[0].chars if top - 1 < letter["top"] < top + LABEL_HEIGHT + 2]
        pills_ = [curve for curve in paper.pages[0].curves if curve["height"] < 14]

    assert letters
    assert pills_
    for drawn in (*letters, *pills_):
        assert left + 5 < drawn["x0"] < drawn["x1"] < left + LABEL_WIDTH - 3
        assert top < drawn["top"] < drawn["bottom"] < top + LABEL_HEIGHT - 3
        assert drawn["x1"] < code_left or drawn["top"] > code_bottom - 1


@pytest.mark.parametrize("hazards", [(), (Hazard.VENOMOUS,), (Hazard.VENOMOUS, None), (Hazard.CAN_INJURE, Hazard.DANGEROUS, None)])
def test_no_caution_stands_on_another_or_on_the_short_id(hazards):
    taxa = [label_taxon(hazard=hazard) for hazard in hazards]
    with opened(labels_pdf(label_sheet(enclosure_label(*taxa, uv_lamp=True, quarantine=True)))) as paper:
        pills_ = [curve for curve in paper.pages[0].curves if curve["height"] < 14]
        letters = [letter for letter in paper.pages[0].chars if "Mono" in letter["fontname"] and letter["top"] < 300]

    assert len(pills_) == len(pills(enclosure_label(*taxa, uv_lamp=True, quarantine=True)))
    boxes = [(one["x0"], one["top"], one["x1"], one["bottom"]) for one in (*pills_, *letters)]
    for place, (x0, top, x1, bottom) in enumerate(boxes):
        for other_x0, other_top, other_x1, other_bottom in boxes[place + 1 :]:
            assert x1 <= other_x0 + 0.1 or other_x1 <= x0 + 0.1 or bottom <= other_top + 0.1 or other_bottom <= top + 0.1


def test_the_name_of_the_enclosure_is_read_from_three_metres():
    with opened(labels_pdf(label_sheet(enclosure_label(label_taxon(), code="N-114")))) as paper:
        assert [letter["text"] for letter in paper.pages[0].chars if letter["size"] == pytest.approx(30)] == list("N-114")


@pytest.mark.parametrize("code", ["Aquarium 12", "Quarantine room, shelf 3 left", "x" * 120, "W" * 120, "水族馆" * 40, "two words " * 12])
def test_a_long_name_shrinks_and_is_never_cut(code):
    pdf = labels_pdf(label_sheet(enclosure_label(label_taxon(), code=code)))

    with opened(pdf) as paper:
        sizes = {
            round(letter["size"], 1) for letter in paper.pages[0].chars if "Bold" in letter["fontname"] or "Fallback" in letter["fontname"]
        }
    assert squeezed(code) in letters_of(pdf)
    assert sizes & set(CODE_SIZES[1:])
    assert 30.0 not in sizes


def test_ten_labels_of_95_by_50_mm_stand_on_a_page():
    first, second = corners(labels_pdf(label_sheet(*[enclosure_label() for _ in range(11)])))

    assert len(first) == 10
    assert second == [pytest.approx(first[0])]
    columns = [first[0][1], first[0][1] + 95 * MM]
    rows = [first[0][0] + number * 50 * MM for number in range(5)]
    assert first == [pytest.approx((top, left)) for top in rows for left in columns]
    assert columns[0] == pytest.approx((210 * MM - 2 * 95 * MM) / 2, abs=0.1)


@pytest.mark.parametrize(("labels", "edges"), [(1, 4), (2, 7), (3, 10), (10, 27)])
def test_every_edge_to_cut_along_is_drawn_once(labels, edges):
    with opened(labels_pdf(label_sheet(*[enclosure_label() for _ in range(labels)]))) as paper:
        cuts = [line for line in paper.pages[0].lines if line["dash"] == ([2, 3], 0)]

    assert len(cuts) == edges
    assert {round(max(line["width"], line["height"]) / MM) for line in cuts} == {95, 50}


@pytest.mark.parametrize(("first_label", "on_first"), [(1, 10), (4, 7), (10, 1)])
def test_used_places_stay_empty(first_label, on_first):
    labels = [enclosure_label(code=f"T-{number:02}") for number in range(12)]

    places = corners(labels_pdf(label_sheet(*labels, first_label=first_label)))

    assert [len(places[0]), len(places[1])] == [on_first, min(10, 12 - on_first)]
    assert sum(map(len, places)) == 12
    whole = corners(labels_pdf(label_sheet(*labels)))[0]
    assert places[0] == [pytest.approx(place) for place in whole[first_label - 1 :]]


def test_every_page_has_a_bar_of_50_mm_and_says_how_to_print():
    with opened(labels_pdf(label_sheet(*[enclosure_label() for _ in range(11)], first_label=9))) as paper:
        assert len(paper.pages) == 2
        for page in paper.pages:
            assert "Print at 100 %, not fitted to the page." in page.extract_text()
            assert any(line["width"] == pytest.approx(50 * MM, abs=0.05) and line["height"] == 0 for line in page.lines)


def test_no_label_says_so():
    said = text_of(labels_pdf(label_sheet()))

    assert "No enclosure was chosen." in said
    assert "page 1 of 1" in said


def test_place_system_short_id_and_revision_stand_on_the_label():
    said = letters_of(labels_pdf(label_sheet(enclosure_label(life_support_system="circuit 12", short_id="7KQ4M0", revision=14))))

    assert "NorthHouse·circuit12" in said
    assert "7KQ4M0r14" in said


@pytest.mark.parametrize(
    ("stated", "said"),
    [
        ({}, "1.1"),
        ({"males": 0, "females": 2}, "0.2"),
        ({"unsexed": 3}, "1.1.3"),
        ({"males": 0, "females": 0, "unsexed": 3}, "0.0.3"),
        ({"males": 0, "females": 0, "in_groups": 40}, "group of 40"),
        ({"males": 0, "females": 0, "in_groups": 1300, "estimated": True}, "group of about 1 300"),
        ({"in_groups": 12}, "1.1 + group of 12"),
        ({"males": 0, "females": 0}, "none"),
    ],
)
def test_numbers_are_written_as_the_trade_writes_them(stated, said):
    assert number(label_taxon(**stated)).replace("\u00a0", " ") == said


def test_names_of_genera_and_below_are_in_italics_and_those_above_are_not():
    taxa = [label_taxon(scientific_name=f"Name{rank}", rank=rank) for rank in ("species", "family")]

    with opened(labels_pdf(label_sheet(enclosure_label(*taxa)))) as paper:
        faces = {rank: {one["fontname"] for one in _word(paper.pages[0].chars, f"Name{rank}")} for rank in ("species", "family")}

    assert {name.rsplit("-", 1)[-1] for name in faces["species"]} == {"Oblique"}
    assert not any("Oblique" in name for name in faces["family"])


def _word(letters, word):
    whole = "".join(letter["text"] for letter in letters)
    start = whole.index(word)
    return letters[start : start + len(word)]


def test_kinds_without_room_are_counted_and_the_dangerous_one_is_shown():
    said = text_of(labels_pdf(label_sheet(crowded()))).replace("\u00a0", " ")

    assert "Bitis gabonica" in said
    assert "and 7 more kinds" in said
    assert "Genus species0" not in said


def test_as_many_kinds_are_shown_as_are_legible():
    taxa = [label_taxon(scientific_name=f"Genus species{number}") for number in range(30)]

    said = text_of(labels_pdf(label_sheet(enclosure_label(*taxa))))

    assert said.count("Genus species") == 4
    assert "and 26 more kinds" in said
    assert more(1) == "and 1 more kind"


def test_kinds_that_fit_are_not_counted_as_more():
    said = text_of(labels_pdf(label_sheet(enclosure_label(label_taxon(), label_taxon(scientific_name="Morelia viridis")))))

    assert "Morelia viridis" in said
    assert "Testudo hermanni" in said
    assert "more kind" not in said


def test_the_most_dangerous_kind_comes_first_then_by_name():
    hazards = {
        "e": Hazard.HARMLESS,
        "d": None,
        "c": Hazard.CAN_INJURE,
        "b": Hazard.VENOMOUS,
        "a": Hazard.DANGEROUS,
        "c0": Hazard.CAN_INJURE,
    }
    label = enclosure_label(*(label_taxon(scientific_name=name, hazard=hazard) for name, hazard in hazards.items()))

    assert [kind.name for kind in kinds(label)] == ["b", "a", "c", "c0", "d", "e"]


@pytest.mark.parametrize(
    ("hazards", "said"),
    [
        ((), ("WASH HANDS",)),
        ((Hazard.HARMLESS,), ("WASH HANDS",)),
        ((Hazard.CAN_INJURE,), ("BITES: USE TOOLS", "WASH HANDS")),
        ((Hazard.DANGEROUS,), ("DANGER: TWO PEOPLE, TOOLS", "WASH HANDS")),
        ((Hazard.HARMLESS, Hazard.VENOMOUS, Hazard.DANGEROUS), ("VENOM: TWO PEOPLE, TOOLS", "WASH HANDS")),
        ((None,), ("HAZARD NOT KNOWN: ASK", "WASH HANDS")),
        ((None, Hazard.CAN_INJURE), ("BITES: USE TOOLS", "HAZARD NOT KNOWN: ASK", "WASH HANDS")),
    ],
)
def test_cautions_are_of_the_gravest_hazard_and_of_what_is_not_known(hazards, said):
    label = enclosure_label(*(label_taxon(hazard=hazard) for hazard in hazards))

    assert pills(label) == said
    assert all(squeezed(pill) in letters_of(labels_pdf(label_sheet(label))) for pill in said)


def test_ultraviolet_lamps_and_quarantine_are_cautions():
    assert pills(enclosure_label(uv_lamp=True, quarantine=True)) == ("QUARANTINE", "UV: OFF BEFORE OPENING", "WASH HANDS")


@pytest.mark.parametrize(
    ("targets", "said"),
    [
        ([None], ["set points not on record"]),
        ([], []),
        ([EVERY_TARGET], ["air 24–29.5 °C", "basking 30–34 °C", "water 21–26 °C", "humidity 60–80 %", "UVI 2–3", "hard, low flow"]),
        ([Targets(air_low_c=20)], ["air ≥ 20 °C"]),
        ([Targets(humidity_high_pct=60)], ["humidity ≤ 60 %"]),
        ([Targets(water_low_c=20, water_high_c=20)], ["water 20 °C"]),
        ([Targets(uvi_low=0, uvi_high=1)], ["UVI 0–1"]),
        ([Targets(air_low_c=20, air_high_c=26), Targets(air_low_c=24, air_high_c=30), None], ["air 24–26 °C"]),
        ([Targets(air_low_c=20, air_high_c=22), Targets(air_low_c=24)], ["air: kinds differ"]),
        ([Targets(water="soft"), Targets(water="hard"), Targets(water="soft")], ["soft", "hard"]),
    ],
)
def test_set_points_are_those_that_suit_all_kinds(targets, said):
    label = enclosure_label(*(label_taxon(targets=one) for one in targets))

    assert [point.replace("\u00a0", " ") for point in set_points(label)] == said


def test_names_of_which_nothing_can_be_seen_do_not_stop_the_paper():
    said = text_of(labels_pdf(label_sheet(enclosure_label(label_taxon(scientific_name="\u200b"), code="\u200b", place=""))))

    assert "1.1" in said


def test_an_enclosure_without_animals_says_so():
    said = text_of(labels_pdf(label_sheet(enclosure_label())))

    assert "no animals on record" in said
    assert "set points" not in said


@pytest.mark.parametrize("short_id", ["", "abc", "x" * 17, "T 14", "Żaba7", "7KQ/M0"])
def test_a_short_id_that_says_more_than_an_id_is_refused(short_id):
    with pytest.raises(ValueError, match="short_id"):
        enclosure_label(short_id=short_id)


@pytest.mark.parametrize(
    ("stated", "named"),
    [
        ({"first_label": 0}, "first_label"),
        ({"first_label": 11}, "first_label"),
        ({"link_base": "https://records.example.org/" + "x" * 21}, "link_base"),
        ({"link_base": "https://records example/"}, "link_base"),
        ({"data_as_of": datetime(2026, 1, 1)}, "data_as_of"),  # noqa: DTZ001
        ({"generated_at": datetime(2026, 1, 1)}, "generated_at"),  # noqa: DTZ001
    ],
)
def test_what_cannot_be_printed_is_refused(stated, named):
    with pytest.raises(ValueError, match=named):
        label_sheet(**stated)


def test_labels_are_black_on_white_only():
    with opened(labels_pdf(label_sheet(crowded()))) as paper:
        page = paper.pages[0]
        fills = {tuple(curve["non_stroking_color"]) for curve in page.curves} | {tuple(rect["non_stroking_color"]) for rect in page.rects}

    assert {sum(colour) for colour in fills} <= {0, len(next(iter(fills)))}


def test_equal_sheets_give_equal_bytes_and_other_facts_others():
    assert labels_pdf(label_sheet(crowded())) == labels_pdf(label_sheet(crowded()))
    assert labels_pdf(label_sheet(crowded(revision=9))) != labels_pdf(label_sheet(crowded()))


def test_the_bytes_do_not_depend_on_the_process():
    program = (
        "import hashlib; from tests.reports.makers import label_sheet; from tests.reports.test_labels import crowded;"
        "from reports.labels import labels_pdf; print(hashlib.sha256(labels_pdf(label_sheet(crowded()))).hexdigest())"
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


def test_the_fingerprint_of_the_sheet_stands_on_the_paper():
    sheet = label_sheet(crowded())

    assert f"record {record_hash(sheet)[:16]}" in text_of(labels_pdf(sheet))
    assert b'"short_id":"7KQ4M0"' in labels_json(sheet)

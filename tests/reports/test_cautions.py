import re

import pytest

from domain.rules.fitness import Hazard
from reports.cautions import ALWAYS_LAST, CATALOGUE, caution, in_order, of_animals
from reports.due_list import due_list_pdf
from tests.reports.makers import due_row, due_sheet, squeezed, text_of

PROMISED = (
    "uv-eyes",
    "mercury-lamp-disposal",
    "hot-surface",
    "isolate-supply",
    "water-hygiene",
    "keep-biofilter",
    "chemicals-eyes",
    "measure-after-fitting",
    "pressurised-canister",
    "dangerous-animals",
)


@pytest.mark.parametrize("id_", PROMISED)
def test_every_caution_promised_has_a_word_and_a_sentence(id_):
    known = caution(id_)

    assert len(known.word) >= 2
    assert known.sentence.endswith(".")


def test_ids_are_in_kebab_case_and_words_are_told_apart():
    assert all(re.fullmatch(r"[a-z]+(-[a-z]+)*", id_) for id_ in CATALOGUE)
    assert len({known.word for known in CATALOGUE.values()}) == len(CATALOGUE)


def test_an_unknown_id_prints_as_itself():
    assert caution("hot-gravel").word == "hot-gravel"


def test_cautions_come_once_in_the_order_of_the_catalogue_and_unknown_ones_last():
    ids = [known.id for known in in_order(["zz", "uv-eyes", "isolate-supply", "aa", "uv-eyes"])]

    assert ids == ["isolate-supply", "uv-eyes", "aa", "zz"]


def test_the_box_holds_only_the_cautions_used_and_ends_with_who_has_the_last_word():
    text = squeezed(text_of(due_list_pdf(due_sheet(due_row(cautions=("uv-eyes",))))))

    assert squeezed(caution("uv-eyes").sentence + ALWAYS_LAST) in text
    assert not any(squeezed(caution(id_).sentence) in text for id_ in PROMISED if id_ != "uv-eyes")


def test_a_box_longer_than_a_page_goes_on_and_its_last_sentence_is_not_alone():
    ids = tuple(f"local-caution-{number:03}" for number in range(120))

    text = text_of(due_list_pdf(due_sheet(due_row(cautions=ids))))

    boxes = text.split("Before you start")[1:]
    assert len(boxes) > 2
    assert all("ask before you start" in box for box in boxes)
    assert text.count(ALWAYS_LAST) == 1


@pytest.mark.parametrize("hazard", [*Hazard, None])
def test_every_hazard_class_has_cautions_of_the_catalogue_and_germs_always_last(hazard):
    ids = of_animals([hazard, hazard])

    assert set(ids) <= set(CATALOGUE)
    assert len(set(ids)) == len(ids)
    assert ids[-1] == "zoonosis"
    assert (len(ids) > 1) is (hazard is not Hazard.HARMLESS)


def test_without_animals_germs_are_the_only_caution():
    assert of_animals([]) == ("zoonosis",)

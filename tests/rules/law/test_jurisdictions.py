"""Whose law applies where: codes, what lies in what, and the chain from a place up."""

from __future__ import annotations

from dataclasses import replace

import pytest

from domain.rules.law.jurisdictions import Jurisdiction, Level, chain, fault_of_code, fault_of_parent


def place(code, level=Level.STATE, parent=None, *, fictional=True):
    return Jurisdiction(code=code, name=code, level=level, parent_code=parent, fictional=fictional, zone="UTC")


UNION = place("XU", Level.SUPRANATIONAL)
STATE = place("XR", parent="XU")
PROVINCE = place("XR-LOW", Level.SUBDIVISION, "XR")
COUNTY = place("XR-L2", Level.SUBDIVISION, "XR-LOW")
COUNCIL = place("XR-LOW:REED", Level.LOCAL_AUTHORITY, "XR-LOW")
ALL = {one.code: one for one in (UNION, STATE, PROVINCE, COUNTY, COUNCIL)}

OF_SUBDIVISION = "The code of a subdivision should be the state's two letters, a hyphen and one to three letters or digits."
OF_LOCAL_AUTHORITY = (
    "The code of a local authority should be the code of what it lies in, a colon and an identifier of its own in capitals, "
    "digits and hyphens."
)


@pytest.mark.parametrize(
    ("code", "level", "fictional", "fault"),
    [
        ("XR", Level.STATE, True, None),
        ("AA", Level.STATE, True, None),
        ("QM", Level.STATE, True, None),
        ("ZZ", Level.STATE, True, None),
        ("PT", Level.STATE, False, None),
        ("EU", Level.SUPRANATIONAL, False, None),
        ("XU", Level.SUPRANATIONAL, True, None),
        ("PT-11", Level.SUBDIVISION, False, None),
        ("XR-LOW", Level.SUBDIVISION, True, None),
        ("XR:REED", Level.LOCAL_AUTHORITY, True, None),
        ("GB-ENG:REED-2", Level.LOCAL_AUTHORITY, False, None),
        ("XR", Level.STATE, False, "XR is assigned to nobody (ISO 3166-1): only what is fictional may bear it."),
        ("XK", Level.STATE, False, "XK is assigned to nobody (ISO 3166-1): only what is fictional may bear it."),
        (
            "PT-11",
            Level.SUBDIVISION,
            True,
            "What is fictional should bear a code that is assigned to nobody (AA, QM to QZ, XA to XZ, ZZ), not PT.",
        ),
        ("QL", Level.STATE, False, "ISO 3166-1 knows no QL."),
        ("EU", Level.STATE, False, "ISO 3166-1 knows no EU."),
        ("PT", Level.SUPRANATIONAL, False, "ISO 3166-1 knows no PT."),
        ("xr", Level.STATE, True, "The code of a state should be its two letters of ISO 3166-1."),
        ("XR-LOW", Level.STATE, True, "The code of a state should be its two letters of ISO 3166-1."),
        ("XR", Level.SUBDIVISION, True, OF_SUBDIVISION),
        ("XR-LOWS", Level.SUBDIVISION, True, OF_SUBDIVISION),
        ("XRU", Level.SUPRANATIONAL, True, "The code of a supranational should be two letters."),
        (
            "XR-LOW",
            Level.LOCAL_AUTHORITY,
            True,
            OF_LOCAL_AUTHORITY,
        ),
    ],
)
def test_codes_are_those_of_the_standard_or_say_that_they_are_fictional(code, level, fictional, fault):
    assert fault_of_code(place(code, level, fictional=fictional)) == fault


@pytest.mark.parametrize("one", list(ALL.values()), ids=lambda one: one.code)
def test_a_tree_has_no_fault(one):
    assert (fault_of_code(one), fault_of_parent(one, ALL)) == (None, None)


@pytest.mark.parametrize(
    ("one", "fault"),
    [
        (place("XR"), None),
        (place("XR-LOW", Level.SUBDIVISION), "Say what this subdivision lies in."),
        (place("XR:REED", Level.LOCAL_AUTHORITY), "Say what this local authority lies in."),
        (place("XR-HIL", Level.SUBDIVISION, "XL"), "There is no jurisdiction XL."),
        (place("XR-HIL", Level.SUBDIVISION, "XU"), "A subdivision does not lie in a supranational."),
        (place("XL", Level.STATE, "XR"), "A state does not lie in a state."),
        (place("XL-N", Level.SUBDIVISION, "XR"), "XL-N does not lie in XR, by its code."),
        (place("XR-HIL:REED", Level.LOCAL_AUTHORITY, "XR-LOW:REED"), None),
        (place("XV", Level.SUPRANATIONAL, "XV"), "XV would lie in itself."),
        (place("PT", Level.STATE, "XU", fictional=False), "What is fictional and what is real do not lie in one another."),
    ],
    ids=lambda value: getattr(value, "code", value),
)
def test_what_it_lies_in_is_there_above_it_and_of_its_state(one, fault):
    assert fault_of_parent(one, {**ALL, one.code: one}) == fault


def test_a_circle_is_a_fault_of_each_in_it():
    first, second = place("XU", Level.SUPRANATIONAL, "XV"), place("XV", Level.SUPRANATIONAL, "XU")
    known = {"XU": first, "XV": second, "XR": STATE}

    assert [fault_of_parent(one, known) for one in known.values()] == ["XU would lie in itself.", "XV would lie in itself.", None]


@pytest.mark.parametrize(
    ("code", "codes"),
    [
        ("XR-LOW:REED", ("XR-LOW:REED", "XR-LOW", "XR", "XU")),
        ("XR-L2", ("XR-L2", "XR-LOW", "XR", "XU")),
        ("XR", ("XR", "XU")),
        ("XR-HIL", ("XR-HIL", "XR", "XU")),
        ("XR-HIL:MOSS", ("XR-HIL:MOSS", "XR-HIL", "XR", "XU")),
        ("PT", ("PT",)),
        ("PT-11", ("PT-11", "PT")),
    ],
)
def test_the_chain_goes_up_and_begins_below_what_is_on_record(code, codes):
    assert chain(ALL, code) == codes


def test_a_chain_ends_even_where_something_lies_in_itself():
    assert chain({"XU": replace(UNION, parent_code="XU")}, "XU") == ("XU",)
    assert chain({"XR": STATE}, "XR") == ("XR", "XU")

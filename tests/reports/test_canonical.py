import hashlib
import json
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta, timezone
from decimal import Decimal

import pytest

from domain.rules.lives import Sex
from reports.canonical import canonical_json, record_hash


@dataclass(frozen=True, slots=True)
class Part:
    b: str
    a: date | None


@dataclass(frozen=True, slots=True)
class Whole:
    parts: tuple[Part, ...]
    at: datetime
    sex: Sex
    mass_g: float


def whole(**stated):
    return Whole(**{"parts": (Part("Łąka", date(2026, 3, 1)), Part("", None)), "at": datetime(2026, 3, 1, tzinfo=UTC)} | SAID | stated)


SAID = {"sex": Sex.FEMALE, "mass_g": 412.5}


def test_a_sheet_is_written_with_sorted_keys_without_spaces_and_in_ascii():
    assert canonical_json(whole()) == (
        b'{"at":"2026-03-01T00:00:00Z","mass_g":412.5,"parts":[{"a":"2026-03-01","b":"\\u0141\\u0105ka"},{"a":null,"b":""}],"sex":"female"}'
    )


def test_instants_are_written_in_utc_whatever_their_offset():
    later = datetime(2026, 3, 1, 13, 30, tzinfo=timezone(timedelta(hours=13, minutes=30)))

    assert canonical_json(whole(at=later)) == canonical_json(whole())


def test_the_fingerprint_is_that_of_these_bytes():
    assert record_hash(whole()) == hashlib.sha256(canonical_json(whole())).hexdigest()
    assert record_hash(whole(mass_g=412.6)) != record_hash(whole())


@pytest.mark.parametrize("strange", [Decimal(1), object(), Whole])
def test_what_a_sheet_does_not_hold_is_refused(strange):
    with pytest.raises(TypeError, match=f"a sheet holds no {type(strange).__name__}"):
        canonical_json(whole(sex=strange))


def test_every_field_is_in_it():
    assert set(json.loads(canonical_json(whole()))) == {"parts", "at", "sex", "mass_g"}

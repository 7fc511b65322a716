"""The published JSON Schema is that of this version, and judges packs as the reading does."""

from __future__ import annotations

import json
import tomllib

import jsonschema
import pytest

from api.law import PackRefused, read_pack
from api.law.schema import published, schema, schema_text
from domain.records.statements import json_text
from seed.demo import law_files
from tests.api.law.packs import BASIS, HEAD, STATE, requirement


def test_the_published_copy_is_current():
    assert published() == schema_text()
    assert json.loads(published()) == schema()


def test_the_schema_is_one():
    jsonschema.Draft202012Validator.check_schema(schema())
    assert schema()["$schema"] == "https://json-schema.org/draft/2020-12/schema"


def test_what_is_not_said_is_left_out_as_toml_has_no_null():
    assert '"null"' not in published()
    assert '"default": null' not in published()


def is_valid(text):
    validator = jsonschema.Draft202012Validator(schema(), format_checker=jsonschema.FormatChecker())
    return validator.is_valid(json.loads(json_text(tomllib.loads(text))))


def is_read(text):
    try:
        read_pack(text, file="pack.toml")
    except PackRefused:
        return False
    return True


WHEN, DUTY = "[[requirement.when]]\n", '[[requirement.obligation]]\ncode = "o"\nduty = "notify"\noccasion = "escape"\n'


@pytest.mark.parametrize(
    "text",
    [
        *law_files().values(),
        HEAD,
        BASIS + requirement(),
        BASIS + requirement("XR-1", WHEN + 'fact = "mass"\nunder = 4\nunit = "lb"'),
        BASIS + requirement("XR-1", WHEN + 'fact = "sex"\nis = ["male"]'),
        BASIS + requirement("XR-1", DUTY + "within = { working_days = 10 }"),
        BASIS + requirement("XR-1", DUTY + 'within = "P2Y6M"'),
    ],
    ids=lambda text: text[-60:],
)
def test_both_take_a_pack(text):
    assert (is_read(text), is_valid(text)) == (True, True)


@pytest.mark.parametrize(
    "text",
    [
        "",
        HEAD.replace("format = 1", "format = 2"),
        HEAD.replace("format = 1", 'format = "1"'),
        HEAD + "more = 1\n",
        HEAD.replace('"fiction"', '"Fiction"'),
        HEAD.replace("fictional = true", 'fictional = "yes"'),
        HEAD + STATE.replace('"XR"', '"xr"'),
        HEAD + STATE.replace('"state"', '"planet"'),
        HEAD + STATE + "rest_days = 1\n",
        HEAD + STATE + 'rest_days = ["monday", "monday"]\n',
        BASIS + requirement(citation=None),
        BASIS + requirement(reviewed_on=None),
        BASIS + requirement(colour='"red"'),
        BASIS + requirement(consequence='"forbidden"'),
        BASIS + requirement(activities='["fly"]'),
        BASIS + requirement(activities="[]"),
        BASIS + requirement(with_hybrids="1"),
        BASIS + requirement(taxa='[{ name = "Boa" }]'),
        BASIS + requirement(taxa='[{ name = "Boa", rank = "tribe" }]'),
        BASIS + requirement(taxa='[{ name = "Boa", rank = "genus", higher = { tribe = "Boini" } }]'),
        BASIS + requirement(but_not='[{ name = "Boa", rank = "genus", applies_from = 2020-01-01 }]'),
        BASIS + requirement("XR-1", WHEN + 'fact = "girth"\nunder = 4'),
        BASIS + requirement("XR-1", WHEN + 'fact = "mass"\nunder = "4"\nunit = "g"'),
        BASIS + requirement("XR-1", WHEN + 'fact = "mass"\nunder = -4\nunit = "g"'),
        BASIS + requirement("XR-1", WHEN + 'fact = "mass"\nunder = 4\nunit = "stone"'),
        BASIS + requirement("XR-1", WHEN + 'fact = "sex"\nis = "male"'),
        BASIS + requirement("XR-1", DUTY + 'within = "a while"'),
        BASIS + requirement("XR-1", DUTY + 'within = "P1M10D"'),
        BASIS + requirement("XR-1", DUTY + "within = { working_days = 0 }"),
        BASIS + requirement("XR-1", DUTY + "within = { days = 3 }"),
        BASIS + requirement("XR-1", DUTY + "due_day = 32"),
    ],
    ids=lambda text: text[-60:],
)
def test_both_refuse_a_pack(text):
    assert (is_read(text), is_valid(text)) == (False, False)

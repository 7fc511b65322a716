"""The list of what the product is made of (CycloneDX): made from what is installed, complete, and under licences that may be used."""

from __future__ import annotations

import json
import re
import subprocess
import sys
import tomllib
from importlib.metadata import version
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

HOUSE = Path(__file__).parents[1]
PROJECT = tomllib.loads((HOUSE / "pyproject.toml").read_text(encoding="utf-8"))["project"]
COMMAND = ("cyclonedx_py", "environment", "--pyproject", "pyproject.toml", "--output-reproducible", "--of", "JSON")
PERMISSIVE = {
    "0BSD", "Apache-2.0", "BSD-2-Clause", "BSD-3-Clause", "CC0-1.0", "ISC", "MIT", "MIT-0", "MIT-CMU", "PSF-2.0", "Python-2.0", "Zlib",
}  # fmt: skip
WEAK_COPYLEFT = {"LGPL-3.0-only", "MPL-2.0"}
"""May be used unchanged beside the product, which is how it is used; a change to such a library itself would have to be published."""
CLASSIFIERS = {
    "Apache Software License": "Apache-2.0",
    "BSD License": "BSD-3-Clause",
    "MIT License": "MIT",
    "Mozilla Public License 2.0 (MPL 2.0)": "MPL-2.0",
    "GNU Library or Lesser General Public License (LGPL)": "LGPL-3.0-only",
}
READ_IN_ITS_TEXT = {"pysqlite3": "Zlib", "pypdfium2": "BSD-3-Clause"}
"""Libraries whose licence stands in a file and not in their description."""


@pytest.fixture(scope="module")
def components():
    """Return the components by name, as the documented command lists them."""
    made = subprocess.run([sys.executable, "-m", *COMMAND, sys.prefix], cwd=HOUSE, check=True, capture_output=True, text=True)
    listed = json.loads(made.stdout)
    assert (listed["bomFormat"], listed["metadata"]["component"]["name"]) == ("CycloneDX", "reedbed")
    return {canonicalize_name(one["name"]): one for one in listed["components"]}


def licences_of(name, component):
    """Return the licences of a component by their SPDX names; of a choice, each."""
    stated = [one.get("expression") or one["license"].get("id") or one["license"]["name"] for one in component.get("licenses", ())]
    stated = [text for text in stated if text != "License :: DFSG approved"] or [READ_IN_ITS_TEXT.get(name, "none stated")]
    return {CLASSIFIERS.get(text.rpartition(" :: ")[2], text.strip("()")) for one in stated for text in re.split(" AND | OR ", one)}


def wanted(*extras):
    texts = [*PROJECT["dependencies"], *(text for extra in extras for text in PROJECT["optional-dependencies"][extra])]
    found = [Requirement(text) for text in texts]
    return {canonicalize_name(one.name) for one in found if one.marker is None or one.marker.evaluate()}


def test_every_library_that_is_asked_for_is_listed_with_its_version_and_licence(components):
    for name in wanted("postgres", "seal", "test"):
        assert components[name]["version"] == version(name)
        assert licences_of(name, components[name]) != {"none stated"}, name


def test_every_library_is_under_a_licence_that_may_be_used(components):
    strange = {
        name: found for name, component in components.items() if (found := licences_of(name, component) - PERMISSIVE - WEAK_COPYLEFT)
    }

    assert strange == {}


def test_the_list_names_no_host_of_packages_and_no_place_on_this_machine(components):
    text = json.dumps([{key: value for key, value in one.items() if key != "externalReferences"} for one in components.values()])

    assert str(HOUSE) not in text
    assert sys.prefix not in text


@pytest.mark.parametrize("licence", ["GPL-3.0-only", "AGPL-3.0-or-later", "SSPL-1.0", "none stated"])
def test_another_licence_would_be_noticed(licence):
    component = {"licenses": [{"expression": f"MIT AND {licence}"}]}

    assert licences_of("x", component) - PERMISSIVE - WEAK_COPYLEFT == {licence}

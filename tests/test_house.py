"""The project as a whole: its lock, licences, containers, commands and gates."""

from __future__ import annotations

import ast
import os
import re
import shutil
import subprocess
import sys
import tomllib
from importlib.metadata import packages_distributions
from pathlib import Path

import psycopg
import pytest
import yaml
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from tests.conftest import pytest_runtest_setup
from tests.postgres_server import dsn, url_for

HOUSE = Path(__file__).parents[1]
PRODUCT = ("api", "domain", "migrations", "reports", "seed")
RULES_MAY_IMPORT = {"numpy", "dateutil"}
PROJECT = tomllib.loads((HOUSE / "pyproject.toml").read_text(encoding="utf-8"))["project"]
LOCK = (HOUSE / "requirements.lock").read_text(encoding="utf-8")
LOCKED_LINE = re.compile(r"(?P<name>[a-z0-9-]+)==[\w.]+( ; [^\\/]+)? \\")
HASH_LINE = re.compile(r" {4}--hash=sha256:[0-9a-f]{64}( \\)?")
# Each is put together here, so that this file does not contain what it looks for.
PLACES_NOT_TO_NAME = re.compile(
    "|".join(
        [
            *("pypi" + r"\.org", "python" + r"hosted\.", "npm" + r"js\.", "proxy" + r"\.golang"),
            *(r"(?<![\w.])/" + folder + "/" for folder in ("work", "root", "home", "opt")),
        ]
    )
)


def declared(*requirements: str) -> set[str]:
    return {canonicalize_name(Requirement(text).name) for text in requirements}


def locked() -> set[str]:
    return {found["name"] for line in LOCK.splitlines() if (found := LOCKED_LINE.fullmatch(line))}


def source_files(*folders: str) -> list[Path]:
    return sorted(path for folder in folders for path in (HOUSE / folder).rglob("*.py"))


def imported_by(path: Path) -> set[str]:
    """Return the full names of the modules that a file imports, wherever in the file."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    plain = {name.name for node in ast.walk(tree) if isinstance(node, ast.Import) for name in node.names}
    froms = {node.module for node in ast.walk(tree) if isinstance(node, ast.ImportFrom) and node.module}
    return plain | froms


def fenced_blocks(text: str) -> list[str]:
    return [block.strip() for block in re.findall(r"^```\w*\n(.*?)^```", text, re.MULTILINE | re.DOTALL)]


def files_of_the_tree() -> list[Path]:
    if shutil.which("git") and (HOUSE / ".git").exists():
        command = ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"]
        listed = subprocess.run(command, cwd=HOUSE, check=True, capture_output=True, text=True).stdout
        return [path for name in listed.split("\0") if name and (path := HOUSE / name).is_file()]
    made_here = re.compile(r"(^|/)(\.venv|\.\w+_cache|\.hypothesis|__pycache__|node_modules)/")
    everything = (path for path in HOUSE.rglob("*") if path.is_file())
    return [path for path in everything if not made_here.search(path.relative_to(HOUSE).as_posix())]


def run_tool(*command: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run([sys.executable, *command], cwd=HOUSE, check=False, capture_output=True, text=True)


class MarkedTest:
    """A collected test as far as the setup hook looks at it."""

    def __init__(self, *tools: str) -> None:
        self.marker = pytest.mark.system(*tools).mark

    def iter_markers(self, name: str) -> list[pytest.Mark]:
        return [self.marker] if name == self.marker.name else []


def test_the_lock_holds_versions_and_hashes_and_names_no_host_folder_or_header():
    odd_lines = [line for line in LOCK.splitlines() if not (LOCKED_LINE.fullmatch(line) or HASH_LINE.fullmatch(line))]

    assert odd_lines == []


def test_every_dependency_is_in_the_lock():
    extras = [text for extra in PROJECT["optional-dependencies"].values() for text in extra]

    assert declared(*PROJECT["dependencies"], *extras) - locked() == set()


def test_the_lock_satisfies_the_bounds_of_every_dependency():
    versions = dict(re.findall(r"^([a-z0-9-]+)==([\w.]+)", LOCK, re.MULTILINE))
    extras = [text for extra in PROJECT["optional-dependencies"].values() for text in extra]
    wanted = [Requirement(text) for text in (*PROJECT["dependencies"], *extras)]

    assert [str(want) for want in wanted if versions[canonicalize_name(want.name)] not in want.specifier] == []


def test_what_the_product_imports_is_declared():
    own_and_standard = {*PRODUCT, *sys.stdlib_module_names}
    roots = {name.split(".")[0] for path in source_files(*PRODUCT) for name in imported_by(path)} - own_and_standard
    brought_by = packages_distributions()
    extras = PROJECT["optional-dependencies"]
    may_import = declared(*PROJECT["dependencies"], *extras["postgres"], *extras["s3"], *extras["seal"])

    undeclared = {root for root in roots if not {canonicalize_name(name) for name in brought_by[root]} & may_import}

    assert undeclared == set()


def test_rules_import_numbers_and_dates_only():
    allowed = {*sys.stdlib_module_names, *RULES_MAY_IMPORT}
    strays = {
        f"{path.name}: {name}"
        for path in source_files("domain/rules")
        for name in imported_by(path)
        if name.split(".")[0] not in allowed and not name.startswith(("domain.rules", "domain.errors"))
    }

    assert strays == set()


def test_the_licence_is_the_one_the_project_declares():
    text = (HOUSE / "LICENSE").read_text(encoding="utf-8")

    assert PROJECT["license"] == "Apache-2.0"
    assert "Apache License" in text
    assert "END OF TERMS AND CONDITIONS" in text


def test_fonts_lie_beside_their_licence():
    fonts = list((HOUSE / "reports").rglob("*.ttf"))

    assert fonts
    assert {font.name for font in fonts if not list(font.parent.glob("LICENSE*"))} == set()


def test_every_container_is_unprivileged_and_keeps_its_root_file_system_read_only():
    services = yaml.safe_load((HOUSE / "compose.yaml").read_text(encoding="utf-8"))["services"]

    assert services.keys() == {"database", "migrate", "serve", "nightly"}
    for name, service in services.items():
        assert service["user"].split(":")[0] not in {"0", "root"}, name
        assert service["read_only"] is True, name
        assert service["cap_drop"] == ["ALL"], name
        assert "no-new-privileges:true" in service["security_opt"], name
        assert "privileged" not in service, name


def test_what_others_wait_for_has_a_health_check():
    services = yaml.safe_load((HOUSE / "compose.yaml").read_text(encoding="utf-8"))["services"]

    assert "pg_isready" in services["database"]["healthcheck"]["test"]
    assert "/readyz" in services["serve"]["healthcheck"]["test"][-1]


def test_no_password_or_secret_has_a_default():
    text = (HOUSE / "compose.yaml").read_text(encoding="utf-8")
    environments = [service["environment"] for service in yaml.safe_load(text)["services"].values()]
    secrets = {value for environment in environments for name, value in environment.items() if re.search("PASSWORD|SECRET|URL", name)}

    assert secrets
    assert {value for value in secrets if not re.search(r"\$\{\w+:\?[^}]+\}", value)} == set()


def test_ci_ends_with_the_test_command_of_the_readme():
    readme = (HOUSE / "README.md").read_text(encoding="utf-8")
    (test_command,) = [block for block in fenced_blocks(readme) if "pytest" in block]

    lines_of_ci = (HOUSE / ".ci" / "run").read_text(encoding="utf-8").rstrip().splitlines()

    assert lines_of_ci[-len(test_command.splitlines()) :] == test_command.splitlines()


@pytest.mark.skipif(os.name != "posix", reason="the file system has no executable bit")
def test_ci_can_be_started():
    assert os.access(HOUSE / ".ci" / "run", os.X_OK)


def test_no_file_names_a_package_host_or_a_folder_of_a_machine():
    findings = [
        f"{path.relative_to(HOUSE)}: {found.group()}"
        for path in files_of_the_tree()
        if (found := PLACES_NOT_TO_NAME.search(path.read_text(encoding="utf-8", errors="ignore")))
    ]

    assert findings == []


def test_the_linter_finds_nothing():
    answer = run_tool("-m", "ruff", "check", ".")

    assert answer.returncode == 0, answer.stdout + answer.stderr


def test_the_formatter_would_change_nothing():
    answer = run_tool("-m", "ruff", "format", "--check", ".")

    assert answer.returncode == 0, answer.stdout + answer.stderr


@pytest.mark.timeout(600)
def test_the_types_hold():
    answer = run_tool("-m", "mypy")

    assert answer.returncode == 0, answer.stdout + answer.stderr


def test_imports_go_one_way():
    answer = run_tool("-c", "from importlinter.cli import lint_imports_command; lint_imports_command()", "--no-cache")

    assert answer.returncode == 0, answer.stdout + answer.stderr


def test_a_missing_tool_skips_a_test(monkeypatch):
    monkeypatch.delenv("REEDBED_REQUIRE_SYSTEM", raising=False)

    with pytest.raises(pytest.skip.Exception, match="no-such-tool"):
        pytest_runtest_setup(MarkedTest("no-such-tool"))


def test_a_missing_tool_fails_a_test_where_tools_are_promised(monkeypatch):
    monkeypatch.setenv("REEDBED_REQUIRE_SYSTEM", "1")

    with pytest.raises(pytest.fail.Exception, match="no-such-tool"):
        pytest_runtest_setup(MarkedTest("no-such-tool"))


def test_a_clone_holds_what_its_template_held(postgres_url, postgres_template, postgres_database):
    def build(url):
        with psycopg.connect(dsn(url)) as connection:
            connection.execute("CREATE TABLE pond AS SELECT 'reed' AS plant")

    postgres_template("house_template", build=build)
    clone = postgres_database("house_template")

    with psycopg.connect(dsn(url_for(postgres_url, database=clone, role="reedbed_owner"))) as connection:
        assert connection.execute("SELECT plant FROM pond").fetchall() == [("reed",)]


@pytest.mark.parametrize("role", ["reedbed_owner", "reedbed_service"])
def test_a_role_of_the_product_is_bound_by_row_level_security(postgres_url, role):
    with psycopg.connect(dsn(url_for(postgres_url, database="postgres", role=role))) as connection:
        powers = connection.execute("SELECT rolsuper, rolbypassrls FROM pg_roles WHERE rolname = current_user").fetchone()

    assert powers == (False, False)

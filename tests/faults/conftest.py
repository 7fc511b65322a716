"""What the tests with faults need: how many rounds, what only some machines can do, and processes that may be killed."""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.faults.forked import Forker, forking
from tests.faults.restartable_postgres import RestartablePostgres

ROUNDS_VARIABLE = "REEDBED_ROUNDS"
FULL_ROUNDS = 200
MAY_MOUNT = "mounting file systems (needs the superuser)"
HAS_FUSE = "file systems of our own (needs the superuser, /dev/fuse and libfuse)"


@pytest.fixture
def rounds() -> Callable[..., int]:
    """Return a function that says how many rounds to make: few by default, all or a share of them as the environment says."""
    wanted = os.environ.get(ROUNDS_VARIABLE)

    def chosen(few: int, *, full: int) -> int:
        return few if wanted is None else max(1, full * int(wanted) // FULL_ROUNDS)

    return chosen


@pytest.fixture
def every_call() -> bool:
    """Return whether each single call is to fail once, and not only some."""
    return int(os.environ.get(ROUNDS_VARIABLE, "0")) >= FULL_ROUNDS


@pytest.fixture(scope="session")
def forker(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Forker]:
    """Yield what makes processes of ours quickly."""
    _need("processes that fork", met=hasattr(os, "fork"))
    with forking(tmp_path_factory.mktemp("forked")) as made:
        yield made


@pytest.fixture(scope="session")
def restartable_postgres() -> Iterator[RestartablePostgres]:
    """Yield a PostgreSQL server of this run's own that may be killed."""
    with RestartablePostgres.running() as server:
        yield server


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """Yield a file system of 3 MB."""
    _need(MAY_MOUNT, met=_may_mount(tmp_path))
    yield from _mounted(tmp_path / "small", ["-t", "tmpfs", "-o", "size=3m", "reedbed-small"])


@pytest.fixture
def failing_disk(tmp_path: Path) -> Iterator[Path]:
    """Yield a file system that turns read-only once ``mount -o remount,abort`` tells it that something is wrong with it."""
    _need(MAY_MOUNT, met=_may_mount(tmp_path) and Path("/dev/loop-control").exists() and shutil.which("mkfs.ext4") is not None)
    image = tmp_path / "image"
    with image.open("wb") as empty:
        empty.truncate(32 << 20)
    subprocess.run(["mkfs.ext4", "-q", image], check=True)
    yield from _mounted(tmp_path / "failing", ["-o", "loop", str(image)])


@pytest.fixture
def lazy_disk(tmp_path: Path) -> Iterator[Any]:
    """Yield a disk that keeps only what was asked of it to keep."""
    _need(HAS_FUSE, met=_may_mount(tmp_path) and Path("/dev/fuse").exists() and _has_libfuse())
    from tests.faults.lazy_disk import mounted  # noqa: PLC0415 - where there is no libfuse it cannot be imported

    with mounted(tmp_path) as disk:
        yield disk


@pytest.fixture
def lazy_folders(tmp_path: Path) -> Iterator[Any]:
    """Yield such a disk that has folders, and keeps their names only when it is asked to."""
    _need(HAS_FUSE, met=_may_mount(tmp_path) and Path("/dev/fuse").exists() and _has_libfuse())
    from tests.faults.lazy_disk import mounted  # noqa: PLC0415 - where there is no libfuse it cannot be imported

    with mounted(tmp_path, "tests.faults.lazy_folders") as disk:
        yield disk


def _mounted(place: Path, words: list[str]) -> Iterator[Path]:
    place.mkdir()
    subprocess.run(["mount", *words, place], check=True)
    try:
        yield place
    finally:
        subprocess.run(["umount", "-l", place], check=True)


def _need(what: str, *, met: bool) -> None:
    """Skip where the machine cannot do something, except where that was promised: there it fails."""
    if met:
        return
    if os.environ.get("REEDBED_REQUIRE_SYSTEM") == "1":
        pytest.fail(f"not possible here: {what}", pytrace=False)
    pytest.skip(f"not possible here: {what}")


def _may_mount(folder: Path) -> bool:
    """Return whether file systems may be mounted here; in a container not even the superuser may, unless it was allowed."""
    if os.name != "posix" or os.geteuid() != 0:
        return False
    place = folder / "attempt"
    place.mkdir(exist_ok=True)
    made = subprocess.run(["mount", "-t", "tmpfs", "reedbed-attempt", place], check=False, capture_output=True)
    if made.returncode == 0:
        subprocess.run(["umount", place], check=True)
    return made.returncode == 0


def _has_libfuse() -> bool:
    try:
        import mfusepy  # noqa: F401, PLC0415 - it looks for the library when it is imported
    except (ImportError, OSError):
        return False
    return True

"""Stores for tests: every test that asks for `ledger_url` runs on SQLite and on PostgreSQL.

The server is TEST_DATABASE_URL, else one of the tests' own from the system's binaries (as user
postgres where the tests run as root; a socket in a private folder, no port). Without either the
test is skipped, or fails where REQUIRE_PG=1. So is a test that asks for a browser without chromium,
or fails where REQUIRE_BROWSER=1; one at a time may drive it, so that each module starts its own.
What is kept between runs lies in a folder of the tests' own.
"""

from __future__ import annotations

import os
import pwd
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path
from uuid import uuid4

import pytest
from sqlalchemy import NullPool, create_engine, make_url, text

MAIN = sys.modules["__main__"]


@pytest.fixture(scope="session", autouse=True)
def own_shelf(tmp_path_factory, request):
    timed = request.config.option.markexpr in {"bench", "slow"}
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("AGING_CACHE", "off" if timed else str(tmp_path_factory.mktemp("shelf")))
        yield


@pytest.fixture(autouse=True)
def own_main():
    """A page run in a test may stay as __main__, which programs begun later would run again."""
    yield
    sys.modules["__main__"] = MAIN


def _binaries() -> Path | None:
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda p: int(p.parts[4]))
    on_path = shutil.which("initdb")
    return found[-1].parent if found else Path(on_path).resolve().parent if on_path else None


@pytest.fixture(scope="session")
def postgres_server():
    given = os.environ.get("TEST_DATABASE_URL")
    if given:
        yield given
        return
    binaries = _binaries()
    if binaries is None:
        missing = pytest.fail if os.environ.get("REQUIRE_PG") == "1" else pytest.skip
        missing("no PostgreSQL: set TEST_DATABASE_URL or install postgresql")
    home = Path(tempfile.mkdtemp(prefix="aging-pg-", dir="/tmp"))
    owner = {}
    if os.geteuid() == 0:
        account = pwd.getpwnam("postgres")
        os.chown(home, account.pw_uid, account.pw_gid)
        owner = {"user": account.pw_uid, "group": account.pw_gid, "extra_groups": []}

    def run(program, *arguments):
        command = [binaries / program, "-D", home / "data", *arguments]
        subprocess.run(command, check=True, capture_output=True, cwd=home, **owner)

    options = f"-k {home} -c listen_addresses='' -c fsync=off"
    try:
        run("initdb", "-U", "postgres", "-A", "trust", "-E", "UTF8", "--locale=C", "--no-sync")
        run("pg_ctl", "-w", "-l", home / "log", "-o", options, "start")
        yield f"postgresql://postgres@/postgres?host={home}"
        run("pg_ctl", "-w", "-m", "immediate", "stop")
    finally:
        shutil.rmtree(home, ignore_errors=True)


@pytest.fixture
def postgres_url(postgres_server):
    server = make_url(postgres_server).set(drivername="postgresql+psycopg")
    engine = create_engine(server, poolclass=NullPool, isolation_level="AUTOCOMMIT")
    name = f"aging_{uuid4().hex}"
    with engine.connect() as conn:
        conn.execute(text(f"CREATE DATABASE {name}"))
    yield server.set(database=name).render_as_string(hide_password=False)
    with engine.connect() as conn:
        conn.execute(text(f"DROP DATABASE {name} WITH (FORCE)"))


@pytest.fixture(params=["sqlite", "postgresql"])
def ledger_url(request, tmp_path):
    """URL of a store that does not exist yet."""
    if request.param == "sqlite":
        return f"sqlite:///{tmp_path / 'aging.sqlite'}"
    return request.getfixturevalue("postgres_url")


CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
FLAGS = [
    "--no-sandbox", "--disable-gpu", "--disable-background-networking",
    "--disable-component-update", "--disable-sync", "--no-first-run",
]  # fmt: skip


@pytest.fixture(scope="module")
def playing():
    if CHROMIUM is None and not os.environ.get("REQUIRE_BROWSER"):
        pytest.skip("no chromium; REQUIRE_BROWSER=1 makes this a failure")
    assert CHROMIUM, "REQUIRE_BROWSER is set, and there is no chromium"
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        yield play


@pytest.fixture(scope="module")
def browser(playing):
    launched = playing.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
    yield launched
    launched.close()

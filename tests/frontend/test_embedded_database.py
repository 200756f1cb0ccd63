"""The embedded database outlives commands, not their absence, and every way of being killed."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import psycopg
import pytest

from frontend.installation.refusal import InstallationError
from frontend.processes.database import EmbeddedDatabase
from frontend.processes.database_place import DatabasePlace

ROOT = Path(__file__).resolve().parents[2]
# Attaches, says so, and stays until its input ends.
OWNER = (
    "import sys; from pathlib import Path; from frontend.processes.database import EmbeddedDatabase; "
    "database = EmbeddedDatabase(Path(sys.argv[1])); database.attach(); print('attached', flush=True); sys.stdin.read()"
)


@pytest.fixture
def database(tmp_path):
    found = EmbeddedDatabase(tmp_path / "data")
    yield found
    found.release(is_awaited=True)


def start_owner(data):
    owner = subprocess.Popen(
        [sys.executable, "-c", OWNER, str(data)], cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    assert owner.stdout.readline() == "attached\n"
    return owner


def server_process_id(database):
    return int((database.place.cluster / "postmaster.pid").read_text().split()[0])


def keeper_process_id(database):
    """Return the parent of the server (field 4 of its stat file, proc(5))."""
    return int(Path(f"/proc/{server_process_id(database)}/stat").read_text().rsplit(")", 1)[1].split()[1])


def wait_until(condition, limit_s=20.0):
    deadline_s = time.monotonic() + limit_s
    while not condition():
        assert time.monotonic() < deadline_s
        time.sleep(0.05)


def write_rows(database, count):
    with psycopg.connect(database.address) as connection:
        connection.execute("CREATE TABLE IF NOT EXISTS kept (number integer)")
        connection.execute("INSERT INTO kept SELECT generate_series(1, %s)", [count])


def count_rows(database):
    with psycopg.connect(database.address) as connection:
        return connection.execute("SELECT count(*) FROM kept").fetchone()[0]


def test_it_stops_with_its_last_owner_and_not_before(database):
    database.attach()
    other = start_owner(database.place.data)
    database.release(is_awaited=True)
    time.sleep(1.0)
    assert database.is_answering()
    other.communicate()
    wait_until(lambda: not database.is_answering())


def test_an_owner_that_is_killed_counts_no_longer(database):
    owner = start_owner(database.place.data)
    owner.kill()
    owner.communicate()
    wait_until(lambda: not database.is_answering())


@pytest.mark.skipif(sys.platform != "linux", reason="reads /proc")
@pytest.mark.slow
@pytest.mark.parametrize("victims", [("server", "keeper"), ("server",), ("keeper",)])
def test_after_a_kill_of_anything_the_next_start_has_all_data(database, victims):
    owner = start_owner(database.place.data)
    write_rows(database, 1000)
    process_ids = {"server": server_process_id(database), "keeper": keeper_process_id(database)}
    owner.kill()
    for victim in victims:
        os.kill(process_ids[victim], signal.SIGKILL)
    owner.communicate()
    database.attach()
    assert count_rows(database) == 1000


def test_a_stale_number_that_belongs_to_somebody_else_now_stops_nothing(database):
    database.attach()
    write_rows(database, 10)
    database.release(is_awaited=True)
    # As after a power failure: the traces are there, and the number is that of a living process.
    stale = f"{os.getpid()}\n{database.place.cluster}\n0\n5432\n{database.place.sockets}\n\n0 0\nready\n"
    (database.place.cluster / "postmaster.pid").write_text(stale)
    (database.place.sockets / ".s.PGSQL.5432.lock").write_text(stale)
    database.attach()
    assert count_rows(database) == 10


def test_nobody_but_the_owner_reaches_the_socket(database):
    database.attach()
    assert database.place.sockets.stat().st_mode & 0o077 == 0
    with psycopg.connect(database.address) as connection:
        assert connection.execute("SHOW listen_addresses").fetchone() == ("",)


def test_a_folder_with_something_else_in_it_is_refused(database):
    database.place.cluster.mkdir(parents=True)
    (database.place.cluster / "letter.txt").write_text("mine")
    with pytest.raises(InstallationError, match="is not empty and holds no database"):
        database.attach()


def test_data_of_another_version_are_refused_with_the_way_over(database):
    database.attach()
    database.release(is_awaited=True)
    (database.place.cluster / "PG_VERSION").write_text("9\n")
    with pytest.raises(InstallationError, match=r"was made by PostgreSQL 9, .*manage\.py backup"):
        database.attach()
    (database.place.cluster / "PG_VERSION").write_text("18\n")


def test_a_long_path_still_gets_a_socket(tmp_path):
    place = DatabasePlace(tmp_path / ("long" * 40))
    assert len(str(place.sockets / ".s.PGSQL.5432").encode()) < 104

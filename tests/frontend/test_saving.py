"""A backup is whole or not a backup; a restoration is whole or nothing."""

import json

import psycopg
import pytest
from django.conf import settings as django_settings

from frontend.installation.refusal import InstallationError
from frontend.processes.saving.backup import write_backup
from frontend.processes.saving.database_dump import DatabaseDump
from frontend.processes.saving.file_copies import sha256_of
from frontend.processes.saving.restore import restore_backup

SOURCE, TARGET = "saving_source", "saving_target"


@pytest.fixture
def databases(embedded_database):
    """Return a database with something in it and an empty one."""
    admin = psycopg.connect(embedded_database.address, autocommit=True)
    for name in (SOURCE, TARGET):
        admin.execute(f"DROP DATABASE IF EXISTS {name} WITH (FORCE)")
        admin.execute(f"CREATE DATABASE {name}")
    with psycopg.connect(embedded_database.place.address(SOURCE)) as connection:
        connection.execute("CREATE TABLE line (words text)")
        connection.execute("INSERT INTO line VALUES ('craquelé'), (NULL)")
    yield embedded_database
    for name in (SOURCE, TARGET):
        admin.execute(f"DROP DATABASE IF EXISTS {name} WITH (FORCE)")
    admin.close()


def dump_of(name):
    return DatabaseDump({**django_settings.DATABASES["default"], "NAME": name})


def lines_in(databases, name):
    with psycopg.connect(databases.place.address(name)) as connection:
        return connection.execute("SELECT words FROM line ORDER BY words").fetchall()


@pytest.fixture
def installation(tmp_path):
    data = tmp_path / "installation"
    for name, content in {"masters/ab/one.tif": b"master", "pyramids/x/two.tif": b"pyramid" * 1000}.items():
        (data / name).parent.mkdir(parents=True)
        (data / name).write_bytes(content)
    (data / "masters" / ".incoming").mkdir()
    (data / "masters" / ".incoming" / "half.tif").write_bytes(b"half")
    return data


@pytest.fixture
def backup(tmp_path, installation, databases):
    folder = tmp_path / "backup"
    write_backup(folder, data=installation, database=dump_of(SOURCE), software_version="1")
    return folder


def restore(backup, data, *, is_database_empty=True):
    return restore_backup(backup, data=data, database=dump_of(TARGET), is_database_empty=is_database_empty)


def test_what_was_saved_comes_back(backup, databases, installation, tmp_path):
    manifest = restore(backup, tmp_path / "new")
    assert [saved.path for saved in manifest.files] == ["masters/ab/one.tif", "pyramids/x/two.tif"]
    for saved in manifest.files:
        assert sha256_of(tmp_path / "new" / saved.path) == saved.sha256 == sha256_of(installation / saved.path)
    assert lines_in(databases, TARGET) == [("craquelé",), (None,)]


def test_a_backup_never_overwrites_another(backup, installation, databases):
    with pytest.raises(InstallationError, match="is not empty: name a new folder"):
        write_backup(backup, data=installation, database=dump_of(SOURCE), software_version="1")


@pytest.mark.parametrize("is_database_empty", [True, False])
def test_nothing_is_restored_over_something(backup, installation, is_database_empty, tmp_path):
    data = installation if is_database_empty else tmp_path / "new"
    with pytest.raises(InstallationError, match="is not empty, and restoring would mix two"):
        restore(backup, data, is_database_empty=is_database_empty)


def test_a_backup_that_was_not_finished_is_none(backup, tmp_path):
    (backup / "backup.json").unlink()
    with pytest.raises(InstallationError, match=r"no complete backup \(backup\.json is missing"):
        restore(backup, tmp_path / "new")


@pytest.mark.parametrize("damaged", ["files/pyramids/x/two.tif", "database.dump"])
def test_damage_is_found_and_a_whole_copy_can_follow(backup, databases, tmp_path, damaged):
    whole = (backup / damaged).read_bytes()
    (backup / damaged).write_bytes(whole[:-1] + b"?")
    with pytest.raises(InstallationError, match="damaged"):
        restore(backup, tmp_path / "new")
    (backup / damaged).write_bytes(whole)
    restore(backup, tmp_path / "new")
    assert len(lines_in(databases, TARGET)) == 2


def test_a_list_cannot_write_outside_the_data_folder(backup, tmp_path):
    content = json.loads((backup / "backup.json").read_text())
    content["files"][0]["path"] = "masters/../../outside.tif"
    (backup / "files").joinpath("masters").joinpath("..").joinpath("outside.tif").resolve().touch()
    (backup / "backup.json").write_text(json.dumps(content))
    with pytest.raises(InstallationError, match="names a file outside the data folder"):
        restore(backup, tmp_path / "new")
    assert not (tmp_path / "outside.tif").exists()


def test_a_backup_of_a_later_form_is_refused(backup, tmp_path):
    content = json.loads((backup / "backup.json").read_text())
    (backup / "backup.json").write_text(json.dumps({**content, "version": 99}))
    with pytest.raises(InstallationError, match="this release reads mahlstick-backup up to version 1"):
        restore(backup, tmp_path / "new")

"""What an earlier version kept opens in this one."""

import json

import pytest

from tests.releases.content import OBSERVATION
from tests.releases.make_release import RELEASES, manage

FOLDERS = sorted(path for path in RELEASES.iterdir() if (path / "database.dump").exists())


def test_every_release_has_its_folder():
    assert FOLDERS != []


@pytest.mark.slow
@pytest.mark.parametrize("folder", FOLDERS, ids=lambda folder: folder.name)
def test_the_installation_of_a_release_opens_whole(folder, tmp_path):
    manage(tmp_path, "restore", str(folder))
    manage(tmp_path, "migrate", "--verbosity", "0")
    manage(tmp_path, "verify")
    face = manage(
        tmp_path, "shell", "--verbosity", "0", "-c", "from imaging.models import Face; print(Face.objects.get().pk)"
    ).strip()
    lines = manage(tmp_path, "export_annotations", face, "--format", "jsonld").splitlines()
    documents = [json.loads(line) for line in lines if line.startswith("{")]
    assert [OBSERVATION in json.dumps(document) for document in documents] == [True]

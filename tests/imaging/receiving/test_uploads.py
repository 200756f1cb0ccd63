"""Resumable uploads against a real server process, killed and resumed at random bytes.

Protocol: tus 1.0.0 (https://tus.io/protocols/resumable-upload), core and the extensions that OPTIONS names.
"""

from __future__ import annotations

import base64
import contextlib
import hashlib
import json
import os
import random
import shutil
import signal
import socket
import subprocess
import sys
import time

import httpx
import pytest
from django.test import Client

from frontend.error_responses import status_of
from imaging.errors import NoDiskSpaceError
from imaging.models import Role, StoredFile, TechnicalImage, Upload
from imaging.services.master_files import RESERVE_BYTES
from imaging.services.storage_paths import absolute_path
from imaging.services.tokens import make_api_token
from imaging.services.uploading import begin_upload
from tests.factories import make_artwork, make_face, make_member, make_study
from tests.imaging.receiving.pictures import painted, write_master
from tests.imaging.receiving.processes import ROOT, environment_of

pytestmark = pytest.mark.django_db(transaction=True)

SLIP = {"modality": "VIS", "state": "before", "um_per_px": "50"}
TUS = {"Tus-Resumable": "1.0.0"}
BODY = {**TUS, "Content-Type": "application/offset+octet-stream"}


class Server:
    """A granian process with the upload application."""

    def __init__(self, data_folder):
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.port = probe.getsockname()[1]
        self.environment = environment_of(data_folder)
        self.data_folder = data_folder
        self.process = None
        self.start()

    def start(self):
        command = [sys.executable, "-m", "granian", "--interface", "asginl", "--host", "127.0.0.1"]
        command += ["--port", str(self.port), "--no-ws", "tests.imaging.receiving.upload_server:application"]
        self.process = subprocess.Popen(
            command, cwd=ROOT, env=self.environment, start_new_session=True, stdout=subprocess.DEVNULL
        )
        deadline_s = time.monotonic() + 20
        while time.monotonic() < deadline_s:
            with contextlib.suppress(httpx.TransportError):
                httpx.options(f"{self.address}/uploads/")
                return
            time.sleep(0.05)
        raise AssertionError("the server did not start")

    def kill(self):
        os.killpg(self.process.pid, signal.SIGKILL)
        self.process.wait()

    @property
    def address(self):
        return f"http://127.0.0.1:{self.port}"


@pytest.fixture
def place():
    study = make_study()
    work = make_artwork(study)
    return make_face(work), make_member(study, Role.CONTRIBUTOR)


@pytest.fixture(scope="module")
def process(tmp_path_factory, django_db_setup, django_db_blocker):
    """Run one server for all tests here: starting it takes longer than most of them."""
    folder = tmp_path_factory.mktemp("uploads") / "var"
    folder.mkdir()
    with django_db_blocker.unblock():
        server = Server(folder)
    yield server
    server.kill()


@pytest.fixture
def data_folder(process, settings):
    """Use the server's data folder, emptied."""
    for path in process.data_folder.iterdir():
        shutil.rmtree(path)
    settings.DATA_DIR = process.data_folder
    return process.data_folder


@pytest.fixture
def server(process, data_folder):
    return process


@pytest.fixture
def client(server, place):
    _, secret = make_api_token(place[1])
    with httpx.Client(base_url=server.address, headers={"Authorization": f"Bearer {secret}"}, timeout=30) as client:
        yield client


def metadata(face, name="vis.tif", slip=SLIP, **more):
    values = {"filename": name, "face": str(face.pk), "slip": json.dumps(slip), **more}
    return ",".join(f"{key} {base64.b64encode(value.encode()).decode()}" for key, value in values.items())


def create(client, face, size_bytes, **options):
    headers = {**TUS, "Upload-Length": str(size_bytes), "Upload-Metadata": metadata(face, **options)}
    return client.post("/uploads/", headers=headers)


def patch(client, location, data, offset, **headers):
    return client.patch(location, content=data, headers={**BODY, "Upload-Offset": str(offset), **headers})


def offset_of(client, location):
    answer = client.head(location, headers=TUS)
    assert answer.status_code == 200, answer.headers
    return int(answer.headers["Upload-Offset"])


@pytest.fixture
def master(tmp_path):
    return write_master(tmp_path / "vis.tif", painted(800, 600)).read_bytes()


def test_options_tell_what_the_server_can_do(server):
    answer = httpx.options(f"{server.address}/uploads/")
    assert answer.status_code == 204
    assert answer.headers["Tus-Version"] == "1.0.0"
    assert set(answer.headers["Tus-Extension"].split(",")) == {
        "creation",
        "creation-with-upload",
        "expiration",
        "checksum",
        "termination",
    }
    assert answer.headers["Tus-Max-Size"] == str(64 * 1024**3)
    assert "sha1" in answer.headers["Tus-Checksum-Algorithm"].split(",")


def test_a_file_in_two_parts_becomes_an_image_with_the_same_bytes(client, place, master):
    created = create(client, place[0], len(master))
    assert created.status_code == 201
    location, half = created.headers["Location"], len(master) // 2
    first = patch(client, location, master[:half], 0)
    assert (first.status_code, first.headers["Upload-Offset"]) == (204, str(half))
    assert "Upload-Expires" in first.headers
    last = patch(client, location, master[half:], half)
    assert last.status_code == 204, last.text
    image = TechnicalImage.objects.get(pk=last.headers["Mahlstick-Image"])
    assert image.master.sha256 == hashlib.sha256(master).hexdigest()
    assert absolute_path(image.master.path).read_bytes() == master
    assert image.stated_um_per_px == 50.0
    assert client.get(location).json()["image"] == str(image.pk)
    assert offset_of(client, location) == len(master)


def test_a_whole_file_may_come_with_its_creation(client, place, master):
    headers = {**BODY, "Upload-Length": str(len(master)), "Upload-Metadata": metadata(place[0])}
    answer = client.post("/uploads/", content=master, headers=headers)
    assert answer.status_code == 201, answer.text
    assert TechnicalImage.objects.filter(pk=answer.headers["Mahlstick-Image"]).exists()


def test_the_server_killed_at_random_bytes_loses_nothing(client, server, place, tmp_path):
    data = write_master(tmp_path / "big.tif", painted(2400, 1600)).read_bytes()
    location = create(client, place[0], len(data)).headers["Location"]
    rng, kills, offset = random.Random(11), 0, 0
    while offset < len(data):
        stop_at = rng.randrange(offset, len(data)) if kills < 4 else len(data)
        with contextlib.suppress(httpx.TransportError), client_of(client) as victim:
            patch(victim, location, killed_at(data[offset:], stop_at - offset, server, kills < 4), offset)
        if kills < 4:
            kills += 1
            server.start()
        on_disk = absolute_path("uploads").joinpath(location.rsplit("/", 1)[1])
        known = offset
        offset = offset_of(client, location)
        assert offset >= known
        if on_disk.exists():
            assert offset == on_disk.stat().st_size
            assert on_disk.read_bytes() == data[:offset]
    assert kills == 4
    image = TechnicalImage.objects.get(pk=client.get(location).json()["image"])
    assert image.master.sha256 == hashlib.sha256(data).hexdigest()


def killed_at(data, count, server, is_killing):
    """Yield bytes; kill the server when so many were handed to the network."""
    for start in range(0, len(data), 65_536):
        if is_killing and start + 65_536 > count:
            yield data[start:count]
            time.sleep(0.1)
            server.kill()
            return
        yield data[start : start + 65_536]


def test_a_client_that_vanishes_leaves_what_arrived(client, server, place, master):
    location = create(client, place[0], len(master)).headers["Location"]
    with socket.create_connection(("127.0.0.1", server.port)) as raw:
        head = f"PATCH {location} HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: {len(master)}\r\nUpload-Offset: 0\r\n"
        head += f"Tus-Resumable: 1.0.0\r\nContent-Type: {BODY['Content-Type']}\r\n"
        head += f"Authorization: {client.headers['Authorization']}\r\n\r\n"
        raw.sendall(head.encode() + master[:300_001])
        time.sleep(0.5)
    deadline_s = time.monotonic() + 10
    while offset_of(client, location) < 300_001 and time.monotonic() < deadline_s:
        time.sleep(0.05)
    assert offset_of(client, location) == 300_001
    assert patch(client, location, master[300_001:], 300_001).status_code == 204
    assert StoredFile.objects.get().sha256 == hashlib.sha256(master).hexdigest()


def test_a_second_writer_waits_its_turn(client, server, place, master):
    location = create(client, place[0], len(master)).headers["Location"]

    def slow():
        yield master[:1000]
        with client_of(client) as other:
            busy = patch(other, location, master[:10], 0)
        assert (busy.status_code, busy.json()["code"]) == (423, "upload_busy")
        yield master[1000:2000]

    assert patch(client, location, slow(), 0).headers["Upload-Offset"] == "2000"


def client_of(client):
    return httpx.Client(base_url=client.base_url, headers={"Authorization": client.headers["Authorization"]})


def test_bytes_for_the_wrong_place_are_refused(client, place, master):
    location = create(client, place[0], len(master)).headers["Location"]
    answer = patch(client, location, master[:10], 5)
    assert (answer.status_code, answer.json()["current"]) == (409, 0)
    assert offset_of(client, location) == 0


@pytest.mark.parametrize("algorithm", ["sha256", "sha1"])
def test_a_part_with_a_wrong_checksum_is_dropped(client, place, master, algorithm):
    location = create(client, place[0], len(master)).headers["Location"]
    digest = base64.b64encode(hashlib.new(algorithm, master[:1000]).digest()).decode()
    wrong = patch(client, location, master[1:1001], 0, **{"Upload-Checksum": f"{algorithm} {digest}"})
    assert (wrong.status_code, wrong.json()["code"]) == (460, "chunk_checksum")
    assert offset_of(client, location) == 0
    right = patch(client, location, master[:1000], 0, **{"Upload-Checksum": f"{algorithm} {digest}"})
    assert right.headers["Upload-Offset"] == "1000"


def test_a_file_that_is_no_picture_is_refused_with_its_name_and_leaves_nothing(client, place, data_folder):
    location = create(client, place[0], 400, name="../../x/letter.tif").headers["Location"]
    answer = patch(client, location, b"%PDF-1.7" + b" " * 392, 0)
    assert (answer.status_code, answer.json()["code"]) == (422, "unknown_format")
    assert "letter.tif holds a PDF document" in answer.json()["detail"]
    assert client.get(location).json()["code"] == "unknown_format"
    assert [path for path in data_folder.rglob("*") if path.is_file()] == []
    assert TechnicalImage.objects.count() == 0


def test_a_wrong_slip_is_refused_before_the_first_byte(client, place):
    answer = create(client, place[0], 100, slip={"modality": "ABC", "state": "before"})
    assert (answer.status_code, answer.json()["field"]) == (400, "modality")
    assert Upload.objects.count() == 0


def test_more_than_the_limit_and_more_than_was_announced_are_refused(client, place, master):
    assert create(client, place[0], 64 * 1024**3 + 1).status_code == 413
    location = create(client, place[0], 1000).headers["Location"]
    assert patch(client, location, master[:1001], 0).status_code == 413
    assert offset_of(client, location) == 0


def test_a_disk_too_full_for_all_open_uploads_is_told_at_the_creation(place, data_folder, monkeypatch):
    usage = shutil.disk_usage(data_folder)._replace(free=RESERVE_BYTES + 1500)
    monkeypatch.setattr(shutil, "disk_usage", lambda _: usage)
    wanted = {"face_id": str(place[0].pk), "size_bytes": 1000, "name": "a.tif"}
    begin_upload(place[1], fields=dict(SLIP), **wanted)
    # There is room for one of the two, and the first one has not brought its bytes yet.
    with pytest.raises(NoDiskSpaceError, match=r"a\.tif needs .* bytes in .* are free\. Free some space"):
        begin_upload(place[1], fields=dict(SLIP), **wanted)
    assert status_of(NoDiskSpaceError(file_name="a", needed_bytes=1, folder="b", free_bytes=0)) == 507


def test_an_upload_can_be_given_up(client, place, data_folder):
    location = create(client, place[0], 1000).headers["Location"]
    patch(client, location, b"x" * 10, 0)
    assert client.delete(location, headers=TUS).status_code == 204
    assert client.head(location, headers=TUS).status_code == 404
    assert list((data_folder / "uploads").iterdir()) == []


def test_others_learn_nothing_of_an_upload(client, server, place):
    location = create(client, place[0], 1000).headers["Location"]
    _, secret = make_api_token(make_member(place[0].artwork.study, Role.LEAD))
    for headers in ({}, {"Authorization": f"Bearer {secret}"}):
        answer = httpx.head(server.address + location, headers={**TUS, **headers})
        assert answer.status_code == 404


def test_readers_may_not_bring_in_and_strangers_do_not_find_the_face(server, place):
    _, secret = make_api_token(make_member(place[0].artwork.study, Role.READER))
    headers = {**TUS, "Upload-Length": "10", "Upload-Metadata": metadata(place[0])}
    reader = httpx.post(f"{server.address}/uploads/", headers={**headers, "Authorization": f"Bearer {secret}"})
    assert (reader.status_code, reader.json()["code"]) == (403, "role_needed")
    assert httpx.post(f"{server.address}/uploads/", headers=headers).status_code == 404


def test_another_protocol_version_is_refused(client, place):
    headers = {"Tus-Resumable": "0.2.2", "Upload-Length": "10", "Upload-Metadata": metadata(place[0])}
    assert client.post("/uploads/", headers=headers).status_code == 412


def test_a_session_needs_its_check_value_and_the_own_origin(server, place, client, settings):
    browser = Client()
    browser.force_login(place[1])
    session = browser.cookies[settings.SESSION_COOKIE_NAME].value
    token = "a" * 32
    headers = {**TUS, "Upload-Length": "10", "Upload-Metadata": metadata(place[0])}
    cookies = {"sessionid": session, "csrftoken": token}

    def post(**more):
        cookie = "; ".join(f"{name}={value}" for name, value in cookies.items())
        return httpx.post(f"{server.address}/uploads/", headers={**headers, "Cookie": cookie, **more})

    assert post().json()["code"] == "foreign_origin"
    assert post(**{"X-CSRFToken": token, "Origin": "https://elsewhere.example"}).status_code == 403
    assert post(**{"X-CSRFToken": token}).status_code == 201
    assert post(**{"X-CSRFToken": token, "Origin": server.address}).status_code == 201

"""Tiles before Django: right bytes, right headers, and rights that end at once."""

import asyncio
import io
import threading
import time

import numpy as np
import pytest
from PIL import Image

from imaging.api.tiles import TileApplication, parse_address
from imaging.compute.pyramid.tile_reader import OpenPyramids
from imaging.models import PyramidKind, Visibility
from imaging.services.tile_grants import FRESH_S, TileGrant, TileGrants
from imaging.services.tokens import make_api_token
from tests.factories import bring_in, make_artwork, make_face, make_frame, make_member, make_study, write_picture

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def published(tmp_path):
    study = make_study()
    owner = make_member(study)
    face = make_face(make_artwork(study, width_mm=32.0, height_mm=24.0))
    make_frame(face, canvas_pitch_mm=0.1)
    image = bring_in(write_picture(tmp_path), face, owner)
    return image.pyramids.get(kind=PyramidKind.DISPLAY, is_current=True)


@pytest.fixture
def tiles():
    application = TileApplication(TileGrants(), OpenPyramids(limit=4))
    application.grants.start()
    yield application
    application.grants.stop()


def ask(application, path, *, method="GET", **headers):
    """Return status, headers and body of one request."""
    sent = []

    async def send(message):
        sent.append(message)

    async def receive():
        return {"type": "http.request", "body": b"", "more_body": False}

    raw = [(name.replace("_", "-").encode(), value.encode()) for name, value in headers.items()]
    scope = {"type": "http", "method": method, "path": path, "headers": raw}
    asyncio.run(application(scope, receive, send))
    return sent[0]["status"], dict(sent[0]["headers"]), sent[1]["body"]


def bearer(person):
    return f"Bearer {make_api_token(person)[1]}"


def test_the_last_tile_of_a_row_has_full_size_and_the_pixels_of_the_master(published, tiles):
    token = bearer(published.image.brought_in_by)
    zoom = published.zooms - 1
    status, headers, body = ask(tiles, f"/t/{published.pk}/{zoom}/1/0", authorization=token)
    tile = np.asarray(Image.open(io.BytesIO(body)))
    assert (status, headers[b"content-type"], tile.shape) == (200, b"image/jpeg", (256, 256, 3))
    # Column 256 of 320: red is 256 * 255 // 319.
    assert abs(int(tile[0, 0, 0]) - 204) <= 4


def test_restricted_tiles_are_kept_only_by_the_readers_own_browser(published, tiles):
    token = bearer(published.image.brought_in_by)
    _, headers, _ = ask(tiles, f"/t/{published.pk}/0/0/0", authorization=token)
    assert headers[b"cache-control"].startswith(b"private")
    assert headers[b"vary"] == b"Cookie, Authorization"


def test_public_tiles_may_be_kept_by_everybody(published, tiles):
    published.image.visibility = Visibility.PUBLIC
    published.image.save()
    status, headers, _ = ask(tiles, f"/t/{published.pk}/0/0/0")
    assert (status, headers[b"cache-control"][:6]) == (200, b"public")


def test_a_tile_that_the_reader_has_is_not_sent_again(published, tiles):
    token = bearer(published.image.brought_in_by)
    path = f"/t/{published.pk}/0/0/0"
    _, headers, _ = ask(tiles, path, authorization=token)
    status, _, body = ask(tiles, path, authorization=token, if_none_match=headers[b"etag"].decode())
    assert (status, body) == (304, b"")


@pytest.mark.parametrize("rest", ["0/1/0", "0/0/9999", "99/0/0", "0/0", "0/0/0/0", "a/0/0", "-1/0/0"])
def test_a_tile_that_does_not_exist_is_not_found(published, tiles, rest):
    token = bearer(published.image.brought_in_by)
    assert ask(tiles, f"/t/{published.pk}/{rest}", authorization=token)[0] == 404


def test_a_stranger_cannot_tell_a_hidden_pyramid_from_none(published, tiles):
    hidden = ask(tiles, f"/t/{published.pk}/0/0/0")
    absent = ask(tiles, "/t/00000000-0000-0000-0000-000000000000/0/0/0")
    assert hidden == absent


def test_tiles_are_read_only(published, tiles):
    assert ask(tiles, f"/t/{published.pk}/0/0/0", method="POST")[0] == 405


def test_a_kept_decision_asks_the_database_nothing(published, tiles, django_assert_num_queries):
    token = bearer(published.image.brought_in_by)
    shown = (b"", token.encode())

    def is_kept():
        ask(tiles, f"/t/{published.pk}/0/0/0", authorization=token)
        return tiles.grants.kept(shown, str(published.pk)) is not None

    # What is decided before the process listens is not kept.
    wait_until(is_kept)
    with django_assert_num_queries(0):
        assert tiles.grants.kept(shown, str(published.pk)).status == 200


@pytest.mark.parametrize("change", ["membership", "embargo", "token", "inactive"])
def test_a_right_taken_away_stops_tiles_in_every_process_within_two_seconds(published, change):
    person = published.image.brought_in_by
    path, token = f"/t/{published.pk}/0/0/0", bearer(person)
    processes = [TileApplication(TileGrants(), OpenPyramids(limit=4)) for _ in range(2)]
    for process in processes:
        process.grants.start()
    wait_until(lambda: all(ask(process, path, authorization=token)[0] == 200 for process in processes))
    take_away(change, person, published.image)
    asked_s = time.monotonic()
    wait_until(lambda: all(ask(process, path, authorization=token)[0] != 200 for process in processes), within_s=2.0)
    assert time.monotonic() - asked_s < 2.0
    for process in processes:
        process.grants.stop()


def take_away(change, person, image):
    """Take one right away as a lead, the person or the administration would."""
    if change == "membership":
        person.memberships.all().delete()
    elif change == "embargo":
        image.visibility = Visibility.PRIVATE
        image.brought_in_by = make_member(image.study)
        image.save()
    elif change == "token":
        person.api_tokens.update(revoked_at="2020-01-01T00:00:00Z")
    else:
        person.is_active = False
        person.save()


def test_a_process_that_no_longer_hears_the_database_decides_each_request_anew(published):
    grants = TileGrants()
    grants.heard_at_s = time.monotonic() - FRESH_S - 0.1
    grants.decisions["somebody", str(published.pk)] = TileGrant(status=200, ends_at_s=time.monotonic() + 60)
    assert grants.kept("somebody", str(published.pk)) is None


def test_a_decision_made_while_rights_changed_is_not_kept():
    grants = TileGrants()
    grants.heard_at_s = time.monotonic() + 60

    def decide_slowly():
        changer = threading.Thread(target=grants.forget_all)
        changer.start()
        changer.join()
        return TileGrant(status=200, ends_at_s=time.monotonic() + 60)

    assert grants.make("somebody", "pyramid", make_decision=decide_slowly).status == 200
    assert grants.kept("somebody", "pyramid") is None


@pytest.mark.parametrize("path", ["/t/x/y/0/0", "/t/00000000-0000-0000-0000-000000000000/00000000/0/0", "/t/"])
def test_an_address_that_is_none_is_not_parsed(path):
    assert parse_address(path) is None


def wait_until(holds, *, within_s=10.0):
    """Wait until something holds; fail when it does not in time."""
    deadline_s = time.monotonic() + within_s
    while not holds():
        assert time.monotonic() < deadline_s, "it did not come to hold in time"
        time.sleep(0.02)

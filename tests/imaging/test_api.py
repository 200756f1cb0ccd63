"""The API of images, frames and registrations, as a program with a token uses it."""

import pytest

from imaging.models import Role
from imaging.services.tokens import make_api_token
from tests.factories import bring_in, make_artwork, make_face, make_frame, make_member, make_study, write_picture

pytestmark = pytest.mark.django_db


@pytest.fixture
def face():
    return make_face(make_artwork(make_study(), width_mm=32.0, height_mm=24.0))


@pytest.fixture
def owner(face):
    return make_member(face.artwork.study)


@pytest.fixture
def by_token(api, owner):
    """Return a client that acts by a token of a contributor."""
    api.credentials(HTTP_AUTHORIZATION=f"Bearer {make_api_token(owner)[1]}")
    return api


@pytest.fixture
def image(face, owner, tmp_path):
    make_frame(face, canvas_pitch_mm=0.1)
    return bring_in(write_picture(tmp_path), face, owner)


def corner_points(*, off_mm=0.0):
    """Return five control points and two check points of a picture at 0.1 mm a pixel."""
    places = [(2, 2), (30, 2), (2, 22), (30, 22), (16, 12), (8, 18), (24, 6)]
    return [
        {
            "label": f"P{number}",
            "kind": "check" if number > 4 else "control",
            "x_mm": x_mm + off_mm,
            "y_mm": y_mm,
            "x_px": x_mm * 10,
            "y_px": y_mm * 10,
        }
        for number, (x_mm, y_mm) in enumerate(places)
    ]


def test_an_image_carries_the_templates_of_its_tiles_and_windows(by_token, image):
    document = by_token.get(f"/api/v1/images/{image.pk}").json()
    assert all(part in document["tile_url"] for part in ("/t/", "{z}", "{x}", "{y}"))
    address = document["window_url"].format(x_mm=0, y_mm=0, width_mm=8, height_mm=6, width_px=80, format="png")
    assert by_token.get(address)["Content-Type"] == "image/png"


def test_lists_come_in_pages(by_token, image):
    document = by_token.get("/api/v1/images/?limit=1").json()
    assert (len(document["results"]), document["next"]) == (1, None)


def test_points_make_a_candidate_and_accepting_it_publishes(by_token, image):
    made = by_token.post(
        f"/api/v1/images/{image.pk}/registrations", {"model": "affine", "points": corner_points()}, format="json"
    )
    assert (made.status_code, made.json()["status"], made.json()["quality"]["check_count"]) == (201, "candidate", 2)
    judged = by_token.post(
        f"/api/v1/registrations/{made.json()['id']}/judgement", {"accept": True, "reason": "Fits."}, format="json"
    )
    assert judged.json()["status"] == "accepted"
    assert image.jobs.latest("wanted_at").parameters == {"registration": made.json()["id"]}


def test_too_few_points_are_refused_with_the_numbers(by_token, image):
    answer = by_token.post(
        f"/api/v1/images/{image.pk}/registrations",
        {"model": "affine", "points": corner_points()[:2]},
        format="json",
    )
    problem = answer.json()
    assert (answer.status_code, problem["code"]) == (422, "too_few_control_points")
    assert "needs at least 3" in problem["detail"]


def test_a_frame_is_set_up_and_corrected_by_the_next_version(by_token, face):
    made = by_token.post(f"/api/v1/faces/{face.pk}/frames", {"width_mm": 32, "height_mm": 24}, format="json")
    corrected = by_token.post(
        f"/api/v1/frames/{made.json()['id']}/corrections",
        {"width_mm": 32.2, "height_mm": 24, "zero_at_mm": [0.1, 0], "reason": "Measured again."},
        format="json",
    )
    assert (made.status_code, corrected.status_code) == (201, 201)
    assert corrected.json()["version"] == 2
    assert corrected.json()["mm_from_previous_mm"][0][2] == pytest.approx(-0.1 * 32.2 / 32)


def test_fields_that_cannot_be_used_are_named(by_token, face):
    answer = by_token.post(f"/api/v1/faces/{face.pk}/frames", {"width_mm": "wide"}, format="json")
    assert (answer.status_code, answer.json()["code"]) == (400, "fields_refused")
    assert set(answer.json()["fields"]) == {"width_mm", "height_mm"}


def test_a_reader_may_look_and_not_register(api, image):
    api.force_authenticate(make_member(image.study, Role.READER))
    assert api.get(f"/api/v1/images/{image.pk}").status_code == 200
    answer = api.post(f"/api/v1/images/{image.pk}/registrations", {}, format="json")
    assert (answer.status_code, answer.json()["code"]) == (403, "role_needed")


def test_the_api_describes_itself_and_how_to_send_a_token(api):
    schema = api.get("/api/v1/schema/", HTTP_ACCEPT="application/vnd.oai.openapi+json").json()
    assert "/api/v1/images/{id}" in schema["paths"]
    assert schema["components"]["securitySchemes"]["token"] == {"type": "http", "scheme": "bearer"}

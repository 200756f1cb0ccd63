"""Registrations are versions that people judge; one at a time is accepted."""

import pytest

from imaging.errors import FieldRefusedError, UnfitStateError
from imaging.interop.control_points_csv import ControlPointRow
from imaging.services.registering import (
    WantedFit,
    accept_registration,
    current_registration,
    refuse_registration,
    register_by_control_points,
    register_by_stated_scale,
    register_same_grid,
)
from tests.factories import make_artwork, make_face, make_frame, make_image, make_member, make_study

pytestmark = pytest.mark.django_db

PITCH_MM = 0.08


@pytest.fixture
def laid():
    """Return an image of 8000 x 6000 px, its frame of 640 x 480 mm and a contributor."""
    study = make_study()
    author, face = make_member(study), make_face(make_artwork(study))
    return make_image(face, author), make_frame(face), author


def points_on_a_grid(*, shift_mm=0.0, check_every=3):
    """Return 24 points of an image at 80 micrometres a pixel."""
    places = [(x_mm, y_mm) for x_mm in range(40, 640, 100) for y_mm in range(40, 480, 110)]
    return [
        ControlPointRow(
            f"P{number}",
            (x_mm + shift_mm, float(y_mm)),
            (x_mm / PITCH_MM, y_mm / PITCH_MM),
            is_check=number % check_every == 0,
        )
        for number, (x_mm, y_mm) in enumerate(places)
    ]


def test_a_stated_scale_lays_the_middle_on_the_middle_and_says_so(laid):
    image, frame, author = laid
    registration = register_by_stated_scale(image, frame, made_by=author)
    assert registration.quality_notes[0]["code"] == "zero_point_assumed"


def test_a_stated_scale_needs_a_scale(laid):
    image, frame, author = laid
    image.stated_um_per_px = None
    with pytest.raises(FieldRefusedError, match="stated_um_per_px is empty"):
        register_by_stated_scale(image, frame, made_by=author)


def test_control_points_give_a_map_judged_by_the_check_points(laid):
    image, frame, author = laid
    registration = register_by_control_points(
        image, frame, wanted=WantedFit(points_on_a_grid(shift_mm=1.5), "affine"), made_by=author
    )
    assert registration.quality["check_count"] == 8
    assert registration.quality["check_rms_mm"] == pytest.approx(0.0, abs=1e-9)
    assert registration.points.filter(kind="check").count() == 8


def test_a_gross_slip_is_found_and_named(laid):
    image, frame, author = laid
    points = points_on_a_grid()
    wrong = points[4]
    points[4] = ControlPointRow(wrong.label, wrong.frame_mm, (wrong.image_px[0] + 400, wrong.image_px[1]))
    registration = register_by_control_points(image, frame, wanted=WantedFit(points, "affine"), made_by=author)
    assert list(registration.points.filter(is_slip=True).values_list("label", flat=True)) == ["P4"]
    assert any("P4" in note["message"] for note in registration.quality_notes)


def test_accepting_another_registration_replaces_the_first(laid):
    image, frame, author = laid
    first = accept_registration(register_by_stated_scale(image, frame, made_by=author), judge=author)
    second = accept_registration(register_by_stated_scale(image, frame, made_by=author), judge=author)
    first.refresh_from_db()
    assert (first.status, current_registration(image)) == ("replaced", second)


def test_a_registration_is_judged_once(laid):
    image, frame, author = laid
    registration = accept_registration(register_by_stated_scale(image, frame, made_by=author), judge=author)
    with pytest.raises(UnfitStateError, match="This registration is accepted; it must be a candidate"):
        refuse_registration(registration, judge=author, reason="too late")


def test_a_refusal_needs_a_reason(laid):
    image, frame, author = laid
    registration = register_by_stated_scale(image, frame, made_by=author)
    with pytest.raises(FieldRefusedError, match="judgement is empty"):
        refuse_registration(registration, judge=author, reason="")


def test_the_same_grid_needs_the_same_size(laid):
    image, frame, author = laid
    accept_registration(register_by_stated_scale(image, frame, made_by=author), judge=author)
    other = make_image(image.face, author, image.campaign, width_px=100, height_px=100)
    with pytest.raises(FieldRefusedError, match="100 x 100 px against 8000 x 6000 px"):
        register_same_grid(other, image, made_by=author)


def test_the_same_grid_lies_exactly_where_the_other_lies(laid):
    image, frame, author = laid
    reference = accept_registration(register_by_stated_scale(image, frame, made_by=author), judge=author)
    other = make_image(image.face, author, image.campaign)
    assert register_same_grid(other, image, made_by=author).map == reference.map

"""Frames are set up once and corrected by new versions that carry everything over."""

import numpy as np
import pytest

from imaging.compute.maps import FrameMap
from imaging.errors import FieldRefusedError, UnfitStateError
from imaging.services.framing import FrameDescription, change_of_measure, correct_frame, current_frame, set_up_frame
from imaging.services.registering import current_registration
from tests.factories import make_artwork, make_face, make_image, make_member, make_registration, make_study

pytestmark = pytest.mark.django_db


@pytest.fixture
def face():
    return make_face(make_artwork(make_study()))


@pytest.fixture
def author(face):
    return make_member(face.artwork.study)


def test_a_frame_without_a_drawn_outline_has_the_stated_rectangle(face, author):
    frame = set_up_frame(face, FrameDescription(640, 480), made_by=author)
    assert frame.outline_mm == [[0, 0], [640, 0], [640, 480], [0, 480]]


def test_the_uncertainty_of_the_scale_is_that_of_the_longer_side(face, author):
    frame = set_up_frame(face, FrameDescription(640, 480, size_uncertainty_mm=1.28), made_by=author)
    assert frame.scale_uncertainty == pytest.approx(0.001)


def test_a_second_frame_is_a_correction_not_a_set_up(face, author):
    set_up_frame(face, FrameDescription(640, 480), made_by=author)
    with pytest.raises(UnfitStateError, match=r"already framed.*Correct the frame instead"):
        set_up_frame(face, FrameDescription(640, 480), made_by=author)


@pytest.mark.parametrize(
    ("field", "description"),
    [
        ("width_mm", FrameDescription(0.0, 480)),
        ("height_mm", FrameDescription(640, float("nan"))),
        ("canvas_pitch_mm", FrameDescription(640, 480, canvas_pitch_mm=0)),
        ("size_uncertainty_mm", FrameDescription(640, 480, size_uncertainty_mm=400)),
        ("outline_mm", FrameDescription(640, 480, outline_mm=((0, 0), (640, 480), (640, 0), (0, 480)))),
    ],
)
def test_an_unfit_frame_is_refused_by_field(face, author, field, description):
    with pytest.raises(FieldRefusedError, match=f"^{field} is"):
        set_up_frame(face, description, made_by=author)


def test_a_correction_keeps_every_registered_pixel_where_it_lies_on_the_work(face, author):
    frame = set_up_frame(face, FrameDescription(640, 480), made_by=author)
    image = make_image(face, author)
    before = FrameMap.from_json(make_registration(image, frame).map)
    corrected = FrameDescription(641.28, 480.96)
    change = change_of_measure(frame, corrected, zero_at_mm=(2.0, 1.0))
    correct_frame(frame, corrected, change=change, made_by=author, reason="Measured again.")
    after = FrameMap.from_json(current_registration(image).map)
    places_mm = np.array([[2.0, 1.0], [100.0, 50.0], [640.0, 480.0]])
    assert np.allclose(after.px_from_mm(change.new_from_old_mm(places_mm)), before.px_from_mm(places_mm), atol=1e-6)
    assert change.new_from_old_mm([[2.0, 1.0]]).tolist() == [[0.0, 0.0]]


def test_a_correction_leaves_the_old_version_and_its_registration_on_record(face, author):
    frame = set_up_frame(face, FrameDescription(640, 480), made_by=author)
    image = make_image(face, author)
    old = make_registration(image, frame)
    change = change_of_measure(frame, FrameDescription(641, 480), zero_at_mm=(0.0, 0.0))
    correct_frame(frame, FrameDescription(641, 480), change=change, made_by=author, reason="Steel rule.")
    old.refresh_from_db()
    assert (old.status, current_frame(face).version, current_registration(image).version) == ("replaced", 2, 2)


def test_a_correction_needs_a_reason(face, author):
    frame = set_up_frame(face, FrameDescription(640, 480), made_by=author)
    change = change_of_measure(frame, FrameDescription(641, 480), zero_at_mm=(0.0, 0.0))
    with pytest.raises(FieldRefusedError, match="reason is empty"):
        correct_frame(frame, FrameDescription(641, 480), change=change, made_by=author, reason=" ")


def test_a_correction_that_halves_the_work_is_a_slip(face, author):
    frame = set_up_frame(face, FrameDescription(640, 480), made_by=author)
    with pytest.raises(FieldRefusedError, match="a correction by less than a half"):
        change_of_measure(frame, FrameDescription(64, 480), zero_at_mm=(0.0, 0.0))

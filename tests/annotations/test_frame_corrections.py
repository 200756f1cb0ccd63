"""A corrected frame takes its annotations along: same place on the work, new millimetres, history kept."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from annotations.compute.geometries import geometry_from_wkb
from annotations.interop.web_annotation import export_annotation
from annotations.models import Annotation
from annotations.services.exporting import web_annotation_of
from annotations.services.history import revisions_of
from imaging.compute.frame_versions import FrameChange
from imaging.compute.maps import FrameMap
from imaging.services.framing import FrameDescription, correct_frame
from tests import factories


@pytest.fixture
def corrected(scene):
    """One annotation on an image, one on none, one withdrawn; then the zero point moves 12 mm left and 3 mm up."""
    author, lead = scene.people["author"], scene.people["lead"]
    factories.make_annotation(scene.face, author, image=scene.image)
    factories.make_annotation(scene.face, author, shape_mm=shapely.box(0.0, 0.0, 10.0, 10.0))
    before = export_annotation(web_annotation_of(Annotation.objects.get(number=1)))
    frame = scene.face.frames.get()
    described = FrameDescription(frame.width_mm, frame.height_mm, canvas_pitch_mm=frame.canvas_pitch_mm)
    change = FrameChange(np.array([[1.0, 0.0, 12.0], [0.0, 1.0, 3.0]]))
    correct_frame(frame, described, change=change, made_by=lead, reason="support measured anew")
    return before


def test_annotations_keep_their_place_on_the_work(scene, corrected):
    line, square = (geometry_from_wkb(bytes(row.geometry_wkb)) for row in Annotation.objects.order_by("number"))
    assert shapely.get_coordinates(line).tolist() == [[22.0, 23.0], [25.0, 27.0]]
    assert square.bounds == (12.0, 3.0, 22.0, 13.0)
    assert set(Annotation.objects.values_list("frame__version", flat=True)) == {2}


def test_the_pixels_of_the_image_do_not_move(scene, corrected):
    after = export_annotation(web_annotation_of(Annotation.objects.get(number=1)))
    pixels_before, pixels_after = (document["target"][1]["selector"][:2] for document in (corrected, after))
    assert pixels_after == pixels_before
    assert after["target"][0]["selector"][2] != corrected["target"][0]["selector"][2]


def test_a_later_registration_does_not_move_the_pixels_it_was_drawn_on(scene, corrected):
    """The invariant of the design: a new registration never moves an annotation silently."""
    scene.image.registrations.update(status="replaced")
    moved = FrameMap.from_stated_scale(0.08, (5.0, 5.0), image_size_px=(8000, 6000))
    factories.make_registration(scene.image, scene.face.frames.get(version=2), version=3, map=moved.to_json())
    after = export_annotation(web_annotation_of(Annotation.objects.get(number=1)))
    assert after["target"][1]["selector"][:2] == corrected["target"][1]["selector"][:2]


def test_the_history_says_who_moved_the_frame(scene, corrected):
    last = revisions_of(Annotation.objects.get(number=1))[-1]
    assert (last.number, last.editor) == (2, scene.people["lead"])
    assert {change.field for change in last.changes} == {"frame", "geometry"}


def test_the_image_it_was_drawn_on_stays_on_record(scene, corrected):
    drawn_on = Annotation.objects.get(number=1).drawn_on_registration
    assert drawn_on is not None
    assert (drawn_on.version, drawn_on.frame.version) == (1, 1)


def draw_point(scene, **fields):
    body = {"face": str(scene.face.pk), "geometry": {"type": "Point", "coordinates": [50.0, 60.0]}, **fields}
    return scene.client("author").post("/api/v1/annotations/", body, format="json").json()


def test_a_page_from_before_the_correction_draws_on_the_same_place(scene, corrected):
    """It names the registration, or the frame, that its millimetres belong to; 12 and 3 mm were added since."""
    frame = {"frame": str(scene.face.frames.get(version=1).pk)}
    registration = {"drawn_on_registration": str(scene.image.registrations.get(version=1).pk)}
    image = {"drawn_on_image": str(scene.image.pk)}
    for fields in (frame, registration, {**frame, **image}, {**frame, **registration}):
        drawn = draw_point(scene, **fields)
        assert (drawn["geometry"]["coordinates"], drawn["frame_version"]) == ([62.0, 63.0], 2)


def test_a_page_from_after_the_correction_draws_where_it_says(scene, corrected):
    newer = str(scene.face.frames.get(version=2).pk)
    for fields in ({}, {"frame": newer}, {"drawn_on_image": str(scene.image.pk)}):
        assert draw_point(scene, **fields)["geometry"]["coordinates"] == [50.0, 60.0]


def test_a_frame_of_another_face_is_refused(scene):
    other = factories.make_frame(factories.make_face(scene.face.artwork, kind="back"))
    assert draw_point(scene, frame=str(other.pk))["field"] == "frame"

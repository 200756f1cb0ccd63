"""Rendered windows through the API: values equal an outside resampling of the master, pictures are toned."""

import io

import numpy as np
import pytest
import tifffile
from PIL import Image
from scipy import ndimage

from imaging.compute.maps import FrameMap
from imaging.models import Visibility
from imaging.services.registering import current_registration
from tests.factories import bring_in, make_artwork, make_face, make_frame, make_member, make_study

pytestmark = pytest.mark.django_db


@pytest.fixture
def laid(tmp_path):
    """Return a 16-bit grey image laid into its frame, its pixels, and its owner."""
    study = make_study()
    owner = make_member(study)
    face = make_face(make_artwork(study, width_mm=40.0, height_mm=30.0))
    make_frame(face, canvas_pitch_mm=0.1)
    grain = np.random.default_rng(7).normal(0, 1, (300, 400))
    pixels = np.clip(30_000 + 9_000 * ndimage.gaussian_filter(grain, 1.2), 0, 65_535).astype(np.uint16)
    path = tmp_path / "grain.tif"
    tifffile.imwrite(path, pixels)
    return bring_in(path, face, owner, modality="IRR"), pixels, owner


def ask_window(api, image, person, **query):
    api.force_authenticate(person)
    wanted = {"x_mm": 3.013, "y_mm": 2.027, "width_mm": 20.0, "height_mm": 16.0, "width_px": 260, **query}
    return api.get(f"/api/v1/images/{image.pk}/window", wanted)


def test_a_raw_window_equals_scipys_cubic_resampling_of_the_master(api, laid):
    image, pixels, owner = laid
    answer = ask_window(api, image, owner, format="tif")
    values = tifffile.imread(io.BytesIO(answer.content)).astype(float)
    pitch_mm = 20.0 / 260
    columns_mm = 3.013 + (np.arange(260) + 0.5) * pitch_mm
    rows_mm = 2.027 + (np.arange(208) + 0.5) * pitch_mm
    frame_map = FrameMap.from_json(current_registration(image).map)
    places_px = frame_map.px_on_lattice(columns_mm, rows_mm) - 0.5
    # Reference: scipy.ndimage.map_coordinates, cubic spline, samples at pixel centres.
    expected = ndimage.map_coordinates(pixels.astype(float), [places_px[..., 1], places_px[..., 0]], order=3)
    assert values.shape == (208, 260)
    assert np.sqrt(np.mean((values - expected) ** 2)) <= 1.0


def test_a_16_bit_master_stays_16_bit(api, laid):
    image, _, owner = laid
    values = tifffile.imread(io.BytesIO(ask_window(api, image, owner, format="tif").content))
    assert (values.dtype.name, len(np.unique(values)) > 5000) == ("uint16", True)


def test_a_toned_window_is_a_picture_of_the_size_asked(api, laid):
    image, _, owner = laid
    answer = ask_window(api, image, owner, format="jpg", width_px=130)
    picture = Image.open(io.BytesIO(answer.content))
    assert (answer["Content-Type"], picture.size, picture.mode) == ("image/jpeg", (130, 104), "L")


def test_a_window_that_the_reader_has_is_not_rendered_again(api, laid):
    image, _, owner = laid
    first = ask_window(api, image, owner)
    api.credentials(HTTP_IF_NONE_MATCH=first["ETag"])
    assert ask_window(api, image, owner).status_code == 304


def test_another_tone_is_another_window(api, laid):
    image, _, owner = laid
    before = ask_window(api, image, owner)["ETag"]
    image.tone = {**image.tone, "is_inverted": not image.tone["is_inverted"]}
    image.save()
    assert ask_window(api, image, owner)["ETag"] != before


@pytest.mark.parametrize(
    ("field", "query"),
    [
        ("width_px", {"width_px": 0}),
        ("width_mm", {"width_mm": -1}),
        ("format", {"format": "svg"}),
        ("x_mm", {"x_mm": "nan"}),
    ],
)
def test_an_unfit_window_is_refused_by_field(api, laid, field, query):
    image, _, owner = laid
    answer = ask_window(api, image, owner, **query)
    assert answer.status_code == 400
    assert field in str(answer.json())


def test_a_window_of_more_than_sixteen_million_pixels_is_refused(api, laid):
    image, _, owner = laid
    answer = ask_window(api, image, owner, width_px=8000, width_mm=1.0, height_mm=30.0)
    assert (answer.status_code, answer.json()["field"]) == (400, "width_px")


def test_a_window_passes_the_same_door_as_every_derivative(api, laid):
    image, _, _ = laid
    image.visibility = Visibility.PRIVATE
    image.save()
    assert ask_window(api, image, make_member(image.study)).status_code == 404

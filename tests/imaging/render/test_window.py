"""Windows of the face: values as scipy gives them, pictures without aliasing."""

import io
import json

import cv2
import numpy as np
import pytest
import tifffile
from PIL import Image
from scipy import ndimage

from imaging.compute.colour.profiles import srgb_profile
from imaging.compute.displacement import DisplacementGrid
from imaging.compute.frames import CanvasGrid, sample_index_from_px
from imaging.compute.maps import FrameMap
from imaging.compute.masters.source import ArraySource, open_master
from imaging.compute.pyramid.levels import build_reading_levels, with_levels
from imaging.compute.render.display_tone import DisplayTone
from imaging.compute.render.shown_pixels import FILL_GREY, ShownPixels
from imaging.compute.render.window import MOST_WINDOW_PX, render_window, sample_window, window_grid
from imaging.compute.render.window_encoding import encode_values, encode_window
from imaging.errors import FieldRefusedError, NoRandomAccessError
from tests.imaging.pictures import painted, turned_map


def bent_map(size_px):
    """A perspective map with a displacement of some pixels."""
    projective = np.array([[19.5, 0.9, -12.0], [-0.7, 20.3, 9.0], [1e-4, -2e-4, 1.0]])
    rng = np.random.default_rng(2)
    dx_px, dy_px = rng.normal(0.0, 2.0, (2, 12, 16))
    return FrameMap(projective, DisplacementGrid(-5.0, -5.0, 5.0, dx_px, dy_px), image_size_px=size_px)


def by_scipy(pixels, frame_map, grid):
    """Resample the whole master at the exact place of each pixel, as scipy's manual has it."""
    rows, columns = np.mgrid[0 : grid.height_px, 0 : grid.width_px] + 0.5
    places_mm = grid.mm_from_px(np.stack([columns, rows], axis=-1).reshape(-1, 2))
    x, y = sample_index_from_px(frame_map.px_from_mm(places_mm)).T
    bands = [
        ndimage.map_coordinates(band.astype(float), [y, x], order=3, mode="mirror")
        for band in np.moveaxis(pixels, 2, 0)
    ]
    return np.stack(bands, axis=-1).reshape(grid.height_px, grid.width_px, -1)


@pytest.mark.parametrize(
    "window_mm",
    [(10.0, 10.0, 6.4, 6.4), (2.0, 3.0, 40.0, 25.0), (20.0, 8.0, 0.4, 0.3), (-3.0, -3.0, 10.0, 10.0)],
    ids=["same scale", "coarser", "much finer", "over the edge"],
)
def test_values_are_those_of_a_cubic_spline_through_the_master(window_mm):
    pixels = painted((700, 1000, 2), "uint16", noise=0.02)
    x_mm, y_mm, width_mm, height_mm = window_mm
    grid = window_grid(x_mm, y_mm, width_mm=width_mm, height_mm=height_mm, width_px=130)
    frame_map = bent_map((1000, 700))
    window = sample_window(ArraySource(pixels), frame_map, grid=grid)
    assert window.pixels.dtype == np.uint16
    expected = np.clip(by_scipy(pixels, frame_map, grid), 0, 65535)
    difference = (window.pixels - expected)[window.is_inside]
    # 0.29 of a step is the rounding to whole numbers alone.
    assert np.sqrt((difference**2).mean()) < 0.3
    assert np.abs(difference).max() <= 0.51


def test_float_values_stay_floats():
    pixels = painted((80, 90), "float32", noise=0.05)[..., np.newaxis]
    grid = window_grid(0.5, 0.5, width_mm=3.0, height_mm=3.0, width_px=50)
    window = sample_window(ArraySource(pixels), turned_map((90, 80), angle_deg=2.0), grid=grid)
    expected = by_scipy(pixels, turned_map((90, 80), angle_deg=2.0), grid)
    np.testing.assert_allclose(window.pixels[window.is_inside], expected[window.is_inside], atol=2e-4)


def test_a_window_of_whole_pixels_gives_the_master_itself():
    pixels = painted((200, 300, 3), "uint16", noise=0.1)
    grid = window_grid(1.0, 2.0, width_mm=5.0, height_mm=4.0, width_px=100)
    window = sample_window(ArraySource(pixels), turned_map((300, 200)), grid=grid)
    assert np.array_equal(window.pixels, pixels[40:120, 20:120])


def test_outside_the_master_values_are_zero_and_marked():
    pixels = np.full((100, 100), 7, np.uint16)
    grid = window_grid(-2.5, 2.5, width_mm=5.0, height_mm=1.0, width_px=100)
    window = sample_window(ArraySource(pixels), turned_map((100, 100)), grid=grid)
    assert window.is_inside[0].tolist() == [False] * 50 + [True] * 50
    assert window.pixels[0, :, 0].tolist() == [0] * 50 + [7] * 50


def test_a_window_far_away_is_empty_and_no_error():
    source, frame_map = ArraySource(painted((50, 60, 3))), turned_map((60, 50))
    grid = window_grid(1e6, -1e6, width_mm=5.0, height_mm=1.0, width_px=40)
    tone = DisplayTone(0.0, 255.0, channels=(0, 1, 2))
    assert not sample_window(source, frame_map, grid=grid).is_inside.any()
    shown = render_window(source, frame_map, grid=grid, shown=ShownPixels(source, tone))
    assert not shown.is_inside.any()
    assert (shown.pixels == FILL_GREY).all()


@pytest.mark.parametrize("dtype", ["uint8", "uint16", "float32"])
@pytest.mark.parametrize("angle_deg", [0.0, 1.5, 10.0, 90.0, 200.0])
@pytest.mark.parametrize("shape", [(300, 400), (300, 400, 3)], ids=str)
def test_pictures_agree_with_plain_cubic_resampling_by_opencv(shape, angle_deg, dtype):
    source, frame_map = ArraySource(painted(shape, dtype)), turned_map((400, 300), angle_deg=angle_deg)
    left, top, *_ = frame_map.extent_mm()
    grid = CanvasGrid(left - 1.0, top - 1.0, 0.05, 400, 300)
    full = 1000.0 if dtype == "float32" else np.iinfo(dtype).max
    tone = DisplayTone(0.0, float(full), channels=(0, 1, 2) if len(shape) == 3 else (0,))
    window = render_window(source, frame_map, grid=grid, shown=ShownPixels(source, tone))
    rows, columns = np.mgrid[0:300, 0:400] + 0.5
    places_mm = grid.mm_from_px(np.stack([columns, rows], axis=-1).reshape(-1, 2))
    index = sample_index_from_px(frame_map.px_from_mm(places_mm)).reshape(300, 400, 2).astype(np.float32)
    plain = cv2.remap(
        source.pixels.astype(np.float32), index, np.empty(0), cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE
    )
    expected = np.clip(plain.reshape(window.pixels.shape) / full, 0, 1) * 255
    difference = np.abs(window.pixels - expected)[window.is_inside]
    assert window.is_inside.mean() > 0.1
    assert difference.max() < 2.5
    assert difference.mean() < 0.5


def test_fine_lines_turn_to_grey_and_not_to_moire_when_reduced(tmp_path):
    """Lines of 2 px reduced 2.9 times; single samples of them would spread by 100."""
    pixels = np.zeros((900, 900), np.uint8)
    pixels[:, ::2] = 200
    source, frame_map = ArraySource(pixels), turned_map((900, 900), angle_deg=0.7)
    build_reading_levels(source, tmp_path / "levels.tif")
    tone = DisplayTone(0.0, 255.0)
    grid = window_grid(5.0, 5.0, width_mm=30.0, height_mm=30.0, width_px=207)
    # A mean over 2.9 px leaves 22 % of lines of 2 px (sinc 1.45); a level of 2 px nothing.
    for reader, spread in ((source, 25), (with_levels(source, tmp_path / "levels.tif"), 4)):
        window = render_window(reader, frame_map, grid=grid, shown=ShownPixels(reader, tone))
        assert window.is_inside.all()
        assert window.pixels.mean() == pytest.approx(100, abs=1)
        assert window.pixels.std() < spread


def test_huge_reductions_read_a_level_and_say_so(tmp_path):
    source, frame_map = ArraySource(painted((1000, 1500), "uint16")), turned_map((1500, 1000))
    build_reading_levels(source, tmp_path / "levels.tif")
    levelled = with_levels(source, tmp_path / "levels.tif")
    grid = window_grid(0.0, 0.0, width_mm=75.0, height_mm=50.0, width_px=90)
    window = render_window(levelled, frame_map, grid=grid, shown=ShownPixels(levelled, DisplayTone(0.0, 65535.0)))
    assert window.scale_factor == 8
    assert sample_window(levelled, frame_map, grid=grid).scale_factor == 1


def test_values_as_tiff_come_back_with_their_place():
    pixels = painted((200, 300, 3), "uint16", noise=0.1)
    grid = window_grid(-1.0, 2.0, width_mm=5.0, height_mm=4.0, width_px=100)
    window = sample_window(ArraySource(pixels), turned_map((300, 200)), grid=grid)
    data = encode_values(window)
    assert data == encode_values(window)
    with tifffile.TiffFile(io.BytesIO(data)) as tiff:
        page, mask = tiff.pages
        assert np.array_equal(page.asarray(), window.pixels)
        assert np.array_equal(mask.asarray(), window.is_inside)
        description = json.loads(page.description)
        assert CanvasGrid.from_json(description["grid"]) == grid
        assert description["scale_factor"] == 1
        # 0.05 mm a pixel are 200 pixels a centimetre.
        assert page.get_resolution("CENTIMETER") == pytest.approx((200.0, 200.0))


@pytest.mark.parametrize("bands", [1, 2, 4, 7])
@pytest.mark.parametrize("dtype", ["uint8", "uint16", "float32"])
def test_values_of_any_number_of_bands_can_be_written(bands, dtype):
    source = ArraySource(painted((60, 60, bands), dtype, noise=0.1))
    grid = window_grid(0.5, 0.5, width_mm=2.0, height_mm=2.0, width_px=40)
    window = sample_window(source, turned_map((60, 60)), grid=grid)
    stored = tifffile.imread(io.BytesIO(encode_values(window)))
    assert np.array_equal(stored.reshape(window.pixels.shape), window.pixels)


@pytest.mark.parametrize("file_format", ["png", "webp", "jpg"])
@pytest.mark.parametrize("shape", [(60, 60), (60, 60, 3)], ids=str)
def test_pictures_are_transparent_where_the_image_ends(file_format, shape):
    source = ArraySource(np.full(shape, 250, np.uint8))
    tone = DisplayTone(0.0, 255.0, channels=(0, 1, 2) if len(shape) == 3 else (0,))
    grid = window_grid(-1.5, 0.5, width_mm=3.0, height_mm=2.0, width_px=60)
    window = render_window(source, turned_map((60, 60)), grid=grid, shown=ShownPixels(source, tone))
    picture = Image.open(io.BytesIO(encode_window(window, file_format)))
    picture.load()
    assert picture.size == (60, 40)
    if file_format == "jpg":
        assert np.asarray(picture.convert("L"))[20, 10] == pytest.approx(FILL_GREY, abs=3)
    else:
        alpha = np.asarray(picture.getchannel("A"))
        assert (alpha[20, 10], alpha[20, 50]) == (0, 255)


@pytest.mark.parametrize("bands", [1, 3])
def test_a_png_holds_the_window_without_loss_and_says_that_it_is_srgb(bands):
    source = ArraySource(painted((60, 60, bands), noise=0.1))
    tone = DisplayTone.whole_range(source.dtype, channels=tuple(range(bands)))
    grid = window_grid(0.5, 0.5, width_mm=2.0, height_mm=2.0, width_px=40)
    window = render_window(source, turned_map((60, 60)), grid=grid, shown=ShownPixels(source, tone))
    picture = Image.open(io.BytesIO(encode_window(window, "png")))
    assert np.array_equal(np.asarray(picture).reshape(window.pixels.shape), source.pixels[10:50, 10:50])
    assert picture.info["srgb"] == 1


@pytest.mark.parametrize("file_format", ["jpg", "webp"])
def test_colour_pictures_carry_an_srgb_profile(file_format):
    source = ArraySource(painted((300, 700, 3)))
    tone = DisplayTone.whole_range(source.dtype, channels=(0, 1, 2))
    grid = window_grid(0.0, 0.0, width_mm=35.0, height_mm=15.0, width_px=700)
    window = render_window(source, turned_map((700, 300)), grid=grid, shown=ShownPixels(source, tone))
    picture = Image.open(io.BytesIO(encode_window(window, file_format)))
    assert np.abs(np.asarray(picture).astype(int) - source.pixels).mean() < 3
    assert picture.info["icc_profile"] == srgb_profile()


def test_an_unknown_format_is_refused_by_name():
    source = ArraySource(painted((20, 20)))
    grid = window_grid(0.0, 0.0, width_mm=1.0, height_mm=1.0, width_px=20)
    window = render_window(source, turned_map((20, 20)), grid=grid, shown=ShownPixels(source, DisplayTone(0.0, 255.0)))
    with pytest.raises(FieldRefusedError, match="format is bmp; needed is png, jpg, webp or tif"):
        encode_window(window, "bmp")


@pytest.mark.parametrize(
    ("changed", "message"),
    [
        ({"width_mm": 0.0}, "width_mm is 0.0; needed is a number above 0"),
        ({"height_mm": -1.0}, r"height_mm is -1.0"),
        ({"width_px": 0}, "width_px is 0"),
        ({"x_mm": float("nan")}, "x_mm is nan; needed is a finite number"),
        ({"width_mm": float("inf")}, "width_mm is inf"),
        ({"width_px": 5000}, "5000 x 5000 pixels; needed is a window of at most 16,000,000 pixels"),
        ({"height_mm": 1e9}, "at most 16,000,000 pixels"),
    ],
)
def test_an_impossible_window_is_refused_by_field(changed, message):
    asked = {"x_mm": 0.0, "y_mm": 0.0, "width_mm": 10.0, "height_mm": 10.0, "width_px": 100} | changed
    with pytest.raises(FieldRefusedError, match=message):
        window_grid(asked.pop("x_mm"), asked.pop("y_mm"), **asked)


@pytest.mark.parametrize(
    "window_mm",
    [(2.0, 3.0, 15.0, 10.0), (-50.0, -50.0, 200.0, 200.0), (12.0, 0.0, 5.0, 5.0), (-1e7, -1e7, 2e7, 2e7)],
)
def test_a_window_across_the_horizon_of_a_perspective_map_is_filled_there(window_mm):
    """The vanishing line of this map is x = 12 mm; the picture lies to the right of it."""
    matrix = np.array([[-20.0, 0, 500.0], [0, -20.0, 400.0], [1 / 12, 0, -1.0]])
    source, frame_map = ArraySource(painted((600, 700, 3))), FrameMap(matrix, image_size_px=(700, 600))
    x_mm, y_mm, width_mm, height_mm = window_mm
    grid = window_grid(x_mm, y_mm, width_mm=width_mm, height_mm=height_mm, width_px=120)
    shown = ShownPixels(source, DisplayTone(0.0, 255.0, channels=(0, 1, 2)))
    beyond = grid.x0_mm + (np.arange(120) + 0.5) * grid.pitch_mm < 12.0
    for window in (
        render_window(source, frame_map, grid=grid, shown=shown),
        sample_window(source, frame_map, grid=grid),
    ):
        assert not window.is_inside[:, beyond].any()
        assert np.isfinite(window.pixels).all()


def test_the_largest_window_is_allowed():
    grid = window_grid(0.0, 0.0, width_mm=4.0, height_mm=4.0, width_px=4000)
    assert grid.width_px * grid.height_px == MOST_WINDOW_PX


def test_a_master_that_only_streams_is_refused(tmp_path):
    Image.fromarray(painted((40, 50))).save(tmp_path / "master.png")
    source = open_master(tmp_path / "master.png")
    grid = window_grid(0.0, 0.0, width_mm=1.0, height_mm=1.0, width_px=20)
    with pytest.raises(NoRandomAccessError, match="Build its reading levels first"):
        sample_window(source, turned_map((50, 40)), grid=grid)

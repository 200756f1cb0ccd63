"""What is shown of values."""

import numpy as np
import pytest

from imaging.compute.masters.source import ArraySource
from imaging.compute.pyramid.levels import build_reading_levels, with_levels
from imaging.compute.render.display_tone import DisplayTone
from imaging.compute.render.tone_statistics import tone_from_statistics
from imaging.errors import FieldRefusedError
from tests.imaging.pictures import painted


def curve(values, tone):
    """The formula of the class's description in plain numpy."""
    share = np.clip((values.astype(np.float64) - tone.black) / (tone.white - tone.black), 0, 1)
    shown = share ** (1 / tone.gamma)
    return 255 * (1 - shown if tone.is_inverted else shown)


@pytest.mark.parametrize("dtype", ["uint8", "uint16", "float32"])
@pytest.mark.parametrize("gamma", [0.5, 1.0, 2.2])
@pytest.mark.parametrize("is_inverted", [False, True])
def test_shown_values_follow_the_curve(dtype, gamma, is_inverted):
    pixels = painted((40, 50, 3), dtype, noise=0.2)
    low, high = np.percentile(pixels, [10, 90])
    tone = DisplayTone(float(low), float(high), gamma, is_inverted, channels=(0, 1, 2))
    # Floats are sorted into 65,536 steps first, which a steep curve shows near black.
    tolerance = 1.0 if dtype == "float32" else 0.51
    assert np.abs(tone.apply(pixels) - curve(pixels, tone)).max() <= tolerance


def test_eight_bits_over_their_whole_range_pass_unchanged():
    pixels = painted((40, 50, 3), noise=0.2)
    tone = DisplayTone.whole_range(np.dtype(np.uint8), channels=(0, 1, 2))
    assert tone.is_passthrough(np.dtype(np.uint8))
    assert np.array_equal(tone.apply(pixels), pixels)


def test_bands_can_be_chosen_and_mixed():
    pixels = painted((20, 30, 5), "uint16", noise=0.2)
    chosen = DisplayTone(0.0, 65535.0, channels=(4, 0, 2)).apply(pixels)
    assert np.array_equal(chosen[..., 0], DisplayTone(0.0, 65535.0, channels=(4,)).apply(pixels)[..., 0])
    mixed = DisplayTone(0.0, 65535.0, mix=((0.5, 0.0, 0.5, 0.0, 0.0),)).apply(pixels)
    expected = 255 * (pixels[..., 0] / 2.0 + pixels[..., 2] / 2.0) / 65535
    assert np.abs(mixed[..., 0] - expected).max() < 0.6


def test_values_that_are_no_numbers_are_shown_black():
    pixels = np.array([[[np.nan], [np.inf], [-np.inf], [0.5]]], np.float32)
    assert DisplayTone(0.0, 1.0).apply(pixels).ravel().tolist() == [0, 255, 0, 128]


def test_a_tone_survives_storage():
    tone = DisplayTone(1.5, 99.0, 1.8, True, channels=(2, 1, 0), mix=((1.0, 0.0), (0.0, 1.0), (0.5, 0.5)))
    assert DisplayTone.from_json(tone.to_json()) == tone
    counted = tone_from_statistics(ArraySource(painted((30, 40), "uint16")))
    assert DisplayTone.from_json(counted.to_json()) == counted


@pytest.mark.parametrize(
    ("document", "message"),
    [
        ([], "tone is list; needed is an object"),
        ({"black": 0.0}, r"tone is without \['white'\]"),
        ({"black": 0.0, "white": 1.0, "contrast": 2}, r"tone is with \['contrast'\]"),
        ({"black": 5.0, "white": 5.0}, "tone.white is 5.0; needed is a value clearly above tone.black, which is 5.0"),
        ({"black": "0", "white": 1.0}, "tone.black is 0; needed is a number"),
        ({"black": True, "white": 2.0}, "tone.black is True; needed is a number"),
        ({"black": 0.0, "white": float("nan")}, "tone.white is nan; needed is a finite number"),
        ({"black": 0.0, "white": 1.0, "gamma": 0.0}, "tone.gamma is 0.0; needed is 0.05 to 20"),
        ({"black": 0.0, "white": 1.0, "channels": [0, 1]}, r"tone.channels is \(0, 1\); needed is 1 or 3"),
        ({"black": 0.0, "white": 1.0, "channels": [0.5]}, "needed is a list of numbers"),
        ({"black": 0.0, "white": 1.0, "channels": "012"}, "needed is a list of numbers"),
        ({"black": 0.0, "white": 1.0, "mix": [["a"]]}, "tone.mix is"),
        ({"black": 0.0, "white": 1.0, "is_inverted": 1}, "tone.is_inverted is 1; needed is true or false"),
        ({"black": 0.0, "white": 1.0, "statistics": {}}, "tone.statistics is"),
    ],
)
def test_an_unusable_tone_is_refused_by_field(document, message):
    with pytest.raises(FieldRefusedError, match=message):
        DisplayTone.from_json(document)


@pytest.mark.parametrize(
    ("tone", "message"),
    [
        (DisplayTone(0.0, 1.0, channels=(2,)), "needed is bands from 0 to 1"),
        (DisplayTone(0.0, 1.0, mix=((1.0, 0.0, 0.0),)), "tone.mix is 3 weights; needed is 2 weights a row"),
    ],
)
def test_a_tone_for_other_bands_is_refused(tone, message):
    with pytest.raises(FieldRefusedError, match=message):
        tone.refuse_missing_bands(2)


@pytest.mark.parametrize("dtype", ["uint16", "float32"])
def test_black_and_white_are_percentiles_of_the_whole_picture(dtype):
    """Against numpy's percentiles of all values."""
    pixels = painted((400, 300), dtype, noise=0.1)
    tone = tone_from_statistics(ArraySource(pixels))
    expected = np.percentile(pixels, [0.5, 99.5])
    span = float(expected[1] - expected[0])
    assert (tone.black, tone.white) == pytest.approx(expected, abs=span * 1e-3)
    assert (tone.statistics.pixels, tone.statistics.scale_factor) == (120_000, 1)


def test_a_large_picture_is_counted_on_a_level_of_2500_to_5000_px(tmp_path):
    source = ArraySource(painted((600, 10_240), "uint16", noise=0.05))
    build_reading_levels(source, tmp_path / "levels.tif")
    tone = tone_from_statistics(with_levels(source, tmp_path / "levels.tif"))
    assert tone.statistics.scale_factor == 4
    assert tone.statistics.pixels == 2560 * 150
    expected = np.percentile(source.pixels, [0.5, 99.5])
    assert np.abs(np.array([tone.black, tone.white]) - expected).max() < 0.03 * 65535


@pytest.mark.parametrize("shape", [(30, 40), (30, 40, 3)], ids=str)
@pytest.mark.parametrize("dtype", ["uint8", "uint16"])
def test_a_picture_with_a_profile_keeps_its_whole_range(shape, dtype):
    tone = tone_from_statistics(ArraySource(painted(shape, dtype), icc_profile=b"any"))
    assert (tone.black, tone.white, tone.is_colour_managed) == (0.0, float(np.iinfo(dtype).max), True)


def test_the_same_value_everywhere_can_be_shown():
    for dtype in ("uint16", "float32"):
        tone = tone_from_statistics(ArraySource(np.full((20, 20), 900, dtype)))
        assert tone.white > tone.black

"""The pictures are not easy: one seed here, twenty by `demo_fixtures.painter.hardness`."""

import pytest

from demo_fixtures.painter.hardness import measure_seed

pytestmark = pytest.mark.slow


def test_naive_registration_fails_and_hidden_things_stay_hidden(whole_plan):
    figures = measure_seed(1, pitch_mm=0.7, plan=whole_plan)
    assert figures.naive_fails
    # The check of the check: the same method does find the infrared, so it is not broken.
    assert figures.sift_infrared_error_px < 1.0
    assert figures.drawing_visible_mean_l < 0.5
    assert figures.drawing_infrared_mean > 0.04
    assert figures.varnish_xray_max == 0.0
    assert abs(figures.candle_visible_l) < 0.5 * figures.candle_visible_sd_l
    assert figures.candle_xray > 1.5 * figures.candle_xray_sd

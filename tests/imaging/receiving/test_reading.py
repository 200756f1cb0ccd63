"""The READ job: every pixel once, levels, tiles, and a sentence where a file is refused."""

from __future__ import annotations

import io
import shutil

import numpy as np
import pillow_heif
import pytest
import tifffile
from PIL import Image

from imaging.compute.pyramid.level_file import LevelFile
from imaging.compute.pyramid.tile_reader import PyramidFile
from imaging.errors import MasterFileError, TruncatedFileError, UnsupportedColourError
from imaging.models import ImageStatus, JobKind, JobStatus, PyramidKind, TechnicalImage
from imaging.services import ingest_sheets, reading
from imaging.services.image_sources import open_image_source
from imaging.services.job_runs import run_job_here
from imaging.services.jobs import retry_job, start_job
from imaging.services.storage_paths import absolute_path
from imaging.services.tasks import HANDLERS
from tests.factories import make_frame
from tests.imaging.receiving.pictures import painted, write_master


def pyramid_of(image, kind):
    return image.pyramids.get(kind=kind, is_current=True)


def test_reading_decodes_every_pixel_and_keeps_the_statistics(read, tmp_path):
    pixels = painted()
    done = read(write_master(tmp_path / "a.tif", pixels))
    assert done.job.status == JobStatus.DONE, done.job.error
    assert done.image.status == ImageStatus.READ
    red = done.image.statistics["bands"][0]
    # Reference: numpy over the same samples.
    assert (red["minimum"], red["maximum"]) == (pixels[..., 0].min(), pixels[..., 0].max())
    assert red["mean"] == pytest.approx(pixels[..., 0].mean())


def test_reading_levels_are_means_without_loss(read, tmp_path):
    pixels = painted()
    image = read(write_master(tmp_path / "a.tif", pixels)).image
    levels = LevelFile(absolute_path(pyramid_of(image, PyramidKind.READING).path))
    half = levels.read_window(0, 0, 320, 240, scale_factor=2)
    sums = pixels.reshape(240, 2, 320, 2, 3).astype(np.int64).sum(axis=(1, 3))
    # 2 x 2 means, halves up, in whole numbers.
    np.testing.assert_array_equal(half, (sums + 2) // 4)


def test_tiles_in_own_pixels_show_the_toned_picture(read, tmp_path):
    pixels = painted(256, 256, bands=1)[..., 0]
    image = read(write_master(tmp_path / "a.tif", pixels)).image
    file = PyramidFile(absolute_path(pyramid_of(image, PyramidKind.RAW_DISPLAY).path))
    tile = tile_pixels(file.tile(len(file.zooms) - 1, 0, 0))
    tone = image.tone
    expected = np.clip((pixels.astype(float) - tone["black"]) / (tone["white"] - tone["black"]), 0, 1) * 255
    assert np.abs(tile.astype(float) - expected).mean() < 4.0


def tile_pixels(data):
    return np.asarray(Image.open(io.BytesIO(data)).convert("L"))


def test_the_tone_comes_from_the_whole_picture(read, tmp_path):
    pixels = painted(bands=1)[..., 0]
    image = read(write_master(tmp_path / "a.tif", pixels)).image
    # numpy's percentiles of the same samples, nearest rank.
    low, high = np.percentile(pixels, [0.5, 99.5], method="inverted_cdf")
    assert image.tone["black"] == pytest.approx(low, rel=0.02)
    assert image.tone["white"] == pytest.approx(high, rel=0.02)


def test_the_metadata_are_kept(read, tmp_path):
    image = read(write_master(tmp_path / "a.tif", um_per_px=80, software="painter")).image
    assert image.metadata["software"] == "painter"
    assert image.metadata["header"]["format"] == "tiff"
    assert image.metadata["um_per_px"] == pytest.approx([80.0, 80.0])


def test_what_nobody_stated_is_taken_over_from_the_file(read, tmp_path):
    exif = Image.Exif()
    exif[0x010F], exif[0x0110], exif[0x013B] = "Kamra", "K1", "Tilde Amberg"
    path = tmp_path / "a.jpg"
    Image.fromarray((painted() >> 8).astype(np.uint8)).save(path, exif=exif)
    image = read(path, photographer="Oswin Farrow").image
    assert (image.camera, image.photographer) == ("Kamra K1", "Oswin Farrow")


@pytest.mark.parametrize("ending", ["png", "jpg", "heic"])
def test_other_formats_are_read_at_every_scale(read, tmp_path, ending):
    pillow_heif.register_heif_opener()
    path = tmp_path / f"a.{ending}"
    pixels = (painted() >> 8).astype(np.uint8)
    Image.fromarray(pixels).save(path, quality=95)
    image = read(path).image
    assert image.status == ImageStatus.READ, image.refusal
    source = open_image_source(image)
    shown = source.read_window(0, 0, 320, 240, scale_factor=2).astype(float)
    # Reference: Pillow's own decoding of the same file, halved.
    decoded = np.asarray(Image.open(path).convert("RGB")).astype(float)
    assert np.abs(shown - decoded.reshape(240, 2, 320, 2, 3).mean(axis=(1, 3))).mean() < 1.5


def test_pages_are_read_as_bands(read, tmp_path):
    pages = np.moveaxis(painted(bands=4), -1, 0)
    path = tmp_path / "cube.tif"
    with tifffile.TiffWriter(path) as tiff:
        for page in pages:
            tiff.write(page, metadata=None, photometric="minisblack")
    image = read(path).image
    assert image.status == ImageStatus.READ
    assert open_image_source(image).bands == 4


def damaged(tmp_path):
    whole = write_master(tmp_path / "whole.tif", compression="deflate")
    with tifffile.TiffFile(whole) as tiff:
        start = tiff.pages[0].dataoffsets[3]
    data = bytearray(whole.read_bytes())
    # The header still promises everything; a compressed strip begins with nothing that can be decoded.
    data[start : start + 64] = bytes(64)
    path = tmp_path / "short.tif"
    path.write_bytes(bytes(data))
    return path


def not_numbers(tmp_path):
    pixels = np.ones((64, 64), np.float32)
    pixels[3, 4] = np.nan
    return write_master(tmp_path / "short.tif", pixels)


@pytest.mark.parametrize(
    ("make", "code", "words"),
    [(damaged, "damaged_file", "is damaged"), (not_numbers, "not_a_number", "that are no number")],
)
def test_a_file_that_cannot_be_decoded_is_refused_with_the_sentence(read, tmp_path, data_folder, make, code, words):
    good = read(write_master(tmp_path / "good.tif"), title="good")
    before = sorted((path, path.read_bytes()) for path in (data_folder / "pyramids").rglob("*.tif"))
    done = read(make(tmp_path), title="bad")
    assert (done.job.status, done.job.error_code) == (JobStatus.STOPPED, code)
    assert done.image.status == ImageStatus.REFUSED
    assert done.image.refusal == done.job.error
    assert "short.tif" in done.job.error
    assert words in done.job.error
    good.image.refresh_from_db()
    assert good.image.status == ImageStatus.READ
    assert sorted((path, path.read_bytes()) for path in (data_folder / "pyramids").rglob("*.tif")) == before


def test_a_cmyk_file_and_a_huge_claim_are_refused_on_the_header(bring_in, tmp_path):
    cmyk = tmp_path / "cmyk.tif"
    tifffile.imwrite(cmyk, np.zeros((32, 32, 4), np.uint8), photometric="separated", metadata=None)
    with pytest.raises(UnsupportedColourError, match=r"cmyk\.tif is CMYK"):
        bring_in(cmyk)
    huge = tmp_path / "huge.tif"
    data = bytearray(write_master(tmp_path / "x.tif", painted(64, 64)).read_bytes())
    with tifffile.TiffFile(tmp_path / "x.tif") as tiff:
        place = tiff.pages[0].tags["ImageWidth"].valueoffset
    data[place : place + 2] = (60_000).to_bytes(2, "little")
    huge.write_bytes(bytes(data))
    with pytest.raises(MasterFileError, match=r"huge\.tif"):
        bring_in(huge)


def test_a_file_that_was_cut_off_is_refused_on_the_header(bring_in, tmp_path):
    whole = write_master(tmp_path / "whole.tif")
    cut = tmp_path / "cut.tif"
    cut.write_bytes(whole.read_bytes()[: whole.stat().st_size // 2])
    with pytest.raises(TruncatedFileError, match=r"cut\.tif ends too early.*Copy it again"):
        bring_in(cut)


def test_a_stated_scale_lays_a_picture_as_large_as_the_frame(read, tmp_path, studio):
    make_frame(studio.face, canvas_pitch_mm=0.5)
    done = read(write_master(tmp_path / "a.tif"), um_per_px="1000")
    assert done.job.result["publish_job"]
    registration = done.image.registrations.get()
    assert (registration.method, registration.status) == ("stated_scale", "accepted")
    assert registration.quality_notes[0]["code"] == "zero_point_assumed"


def test_a_picture_of_another_size_than_the_frame_waits_for_a_judge(read, tmp_path, studio):
    make_frame(studio.face, canvas_pitch_mm=0.5)
    done = read(write_master(tmp_path / "a.tif"), um_per_px="900")
    assert done.image.registrations.get().status == "candidate"
    assert done.job.result["publish_job"] == ""


def test_reading_again_keeps_a_tone_that_somebody_set(read, tmp_path):
    image = read(write_master(tmp_path / "a.tif")).image
    image.tone = {**image.tone, "gamma": 2.0}
    image.save()
    job = run_job_here(start_job(JobKind.READ, image=image), HANDLERS)
    image.refresh_from_db()
    assert job.status == JobStatus.DONE
    assert image.tone["gamma"] == 2.0
    assert image.pyramids.filter(is_current=True).count() == 2


def test_a_full_disk_stops_the_job_and_leaves_the_image_waiting(bring_in, tmp_path, monkeypatch):
    came = bring_in(write_master(tmp_path / "a.tif"))
    usage = shutil.disk_usage(tmp_path)._replace(free=0)
    monkeypatch.setattr(shutil, "disk_usage", lambda _: usage)
    stopped = run_job_here(came.job, HANDLERS)
    came.image.refresh_from_db()
    assert (stopped.status, stopped.error_code) == (JobStatus.STOPPED, "no_disk_space")
    assert came.image.status == ImageStatus.WAITING
    monkeypatch.undo()
    assert run_job_here(retry_job(stopped), HANDLERS).status == JobStatus.DONE


def test_an_image_withdrawn_while_it_is_read_stays_withdrawn(bring_in, tmp_path, monkeypatch):
    came = bring_in(write_master(tmp_path / "a.tif"))
    checked = ingest_sheets.kept_metadata

    def withdrawn_meanwhile(*arguments):
        TechnicalImage.objects.filter(pk=came.image.pk).update(status=ImageStatus.WITHDRAWN, title="by mistake")
        return checked(*arguments)

    monkeypatch.setattr(reading, "kept_metadata", withdrawn_meanwhile)
    run_job_here(came.job, HANDLERS)
    came.image.refresh_from_db()
    assert (came.image.status, came.image.title) == (ImageStatus.WITHDRAWN, "by mistake")


def test_a_radiograph_with_black_as_dense_is_shown_as_on_film(read, tmp_path):
    pixels = painted(bands=1)[..., 0]
    image = read(write_master(tmp_path / "a.tif", pixels), modality="XR", polarity="black_is_dense").image
    assert image.tone["is_inverted"] is True


def codes_of(image):
    return {line["code"] for line in image.ingest_sheet}


def test_the_sheet_holds_the_scale_against_the_size_of_the_work(read, tmp_path):
    # 640 px of 1 mm are the 640 mm of the work; 640 px of 0.5 mm are not.
    fitting = read(write_master(tmp_path / "a.tif"), um_per_px="1000").image
    small = read(write_master(tmp_path / "b.tif", painted(seed=2)), um_per_px="500").image
    assert "size_fits" in codes_of(fitting)
    doubt = next(line for line in small.ingest_sheet if line["code"] == "size_smaller")
    assert (doubt["state"], doubt["remedy"]) == ("open", doubt["action"])
    assert "320.0 × 240.0 mm" in doubt["sentence"]


def test_a_duplicate_stands_on_the_sheet_with_what_to_do(read, tmp_path):
    read(write_master(tmp_path / "a.tif"))
    second = read(write_master(tmp_path / "b.tif")).image
    line = next(line for line in second.ingest_sheet if line["code"] == "duplicate")
    assert line["sentence"] == "The same bytes are here already as VIS before v1."
    assert line["remedy"].startswith("Withdraw one of the two")


def shifted(pixels, shift_px):
    return np.ascontiguousarray(np.roll(pixels, shift_px, axis=1))


def test_a_true_claim_of_one_grid_is_measured_and_laid(read, tmp_path, studio):
    make_frame(studio.face, canvas_pitch_mm=0.5)
    visible = read(write_master(tmp_path / "vis.tif"), um_per_px="1000").image
    infrared = read(
        write_master(tmp_path / "irr.tif", painted(seed=8, bands=1)[..., 0]), modality="IRR", same_grid_as="vis.tif"
    ).image
    assert infrared.same_grid_as == visible
    assert "same_grid_agrees" in codes_of(infrared)
    own, other = infrared.registrations.get(), visible.registrations.get()
    assert (own.method, own.status, own.map, own.reference) == ("same_grid", "accepted", other.map, other)


def test_a_false_claim_of_one_grid_is_doubted_and_waits_for_a_judge(read, tmp_path, studio):
    make_frame(studio.face, canvas_pitch_mm=0.5)
    read(write_master(tmp_path / "vis.tif"), um_per_px="1000")
    moved = shifted(painted(seed=8, bands=1)[..., 0], 5)
    infrared = read(write_master(tmp_path / "irr.tif", moved), modality="IRR", same_grid_as="vis.tif").image
    line = next(line for line in infrared.ingest_sheet if line["code"] == "same_grid_doubtful")
    assert line["finding"]["dx_px"] == pytest.approx(5.0, abs=0.3)
    registration = infrared.registrations.get()
    assert registration.status == "candidate"
    assert registration.quality_notes[-1]["code"] == "same_grid_doubtful"


def test_a_claim_is_measured_later_when_the_other_image_is_read_later(bring_in, tmp_path, studio):
    make_frame(studio.face, canvas_pitch_mm=0.5)
    visible = bring_in(write_master(tmp_path / "vis.tif"), um_per_px="1000")
    infrared = bring_in(
        write_master(tmp_path / "irr.tif", painted(seed=8, bands=1)[..., 0]), modality="IRR", same_grid_as="vis.tif"
    )
    run_job_here(infrared.job, HANDLERS)
    infrared.image.refresh_from_db()
    assert "same_grid_waiting" in codes_of(infrared.image)
    run_job_here(visible.job, HANDLERS)
    infrared.image.refresh_from_db()
    assert "same_grid_agrees" in codes_of(infrared.image)
    publish = visible.image.jobs.get(kind=JobKind.PUBLISH)
    assert run_job_here(publish, HANDLERS).status == JobStatus.DONE
    assert infrared.image.registrations.get().status == "accepted"

"""Small pictures: the coarsest tile that shows the whole, or a rendered window."""

from collections.abc import Iterable

from imaging.models import PyramidKind, Registration, TechnicalImage
from imaging.services.publishing import current_pyramid

__all__ = ["THUMBNAIL_WIDTH_PX", "thumbnail_address", "thumbnail_addresses"]

#: Twice the width at which it is shown, for fine screens.
THUMBNAIL_WIDTH_PX = 320


def thumbnail_address(image: TechnicalImage) -> str | None:
    """Return the address of a picture of the whole face in one image; None before publication.

    The picture is a rendered window, so it passes the same door as every other derivative.
    """
    pyramid = current_pyramid(image, PyramidKind.DISPLAY)
    if pyramid is None or pyramid.registration is None:
        return None
    return _window_of_frame(image, pyramid.registration, footprint_mm=pyramid.footprint_mm)


def _window_of_frame(image: TechnicalImage, registration: Registration, *, footprint_mm: list[list[float]]) -> str:
    """Return the window of the whole frame, or of the image itself when it covers only a small part of the face."""
    frame = registration.frame
    x_mm, y_mm, width_mm, height_mm = 0.0, 0.0, frame.width_mm, frame.height_mm
    if footprint_mm:
        xs, ys = [point[0] for point in footprint_mm], [point[1] for point in footprint_mm]
        covers_little = (max(xs) - min(xs)) * (max(ys) - min(ys)) < 0.5 * width_mm * height_mm
        if covers_little:
            x_mm, y_mm, width_mm, height_mm = min(xs), min(ys), max(xs) - min(xs), max(ys) - min(ys)
    return (
        f"/api/v1/images/{image.pk}/window?x_mm={x_mm:.3f}&y_mm={y_mm:.3f}"
        f"&width_mm={width_mm:.3f}&height_mm={height_mm:.3f}&width_px={THUMBNAIL_WIDTH_PX}&format=jpg"
    )


def thumbnail_addresses(images: Iterable[TechnicalImage]) -> list[tuple[TechnicalImage, str]]:
    """Return images with the address of their small picture, visible light first; unpublished ones are left out."""
    ordered = sorted(images, key=lambda image: (image.modality != "VIS", image.brought_in_at))
    return [(image, address) for image in ordered if (address := thumbnail_address(image)) is not None]

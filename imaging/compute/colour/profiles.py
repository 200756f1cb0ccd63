"""From a master's own colour space to sRGB, which browsers assume of a picture without profile."""

from __future__ import annotations

import io
from typing import Any

import numpy as np
import pyvips
from numpy.typing import NDArray
from PIL import ImageCms

from imaging.compute.masters.icc_profile import summarise_profile
from imaging.errors import UnusableProfileError

__all__ = ["SrgbTransform", "profile_name", "srgb_profile"]

_VIPS_FORMATS = {np.dtype(np.uint8): "uchar", np.dtype(np.uint16): "ushort"}
_CHANNELS = {"RGB": 3, "GRAY": 1}
# Colours per axis at which a profile is compared with sRGB.
_PROBE_STEPS = 9


def srgb_profile() -> bytes:
    """Return the profile that published tiles carry, the same bytes each time."""
    return bytes(pyvips.Operation.call("profile_load", "srgb"))


def profile_name(profile: bytes | None) -> str:
    """Return the name that a profile gives itself, empty if there is none."""
    summary = summarise_profile(profile) if profile else None
    return summary.name if summary else ""


class SrgbTransform:
    """Converts pixels of one profile to sRGB, white to white.

    Parameters
    ----------
    profile : bytes
        ICC profile of the pixels: RGB or grey.
    channels : int
        1 or 3.
    dtype : numpy.dtype
        uint8 or uint16.
    name : str
        File name for messages.

    Raises
    ------
    UnusableProfileError
        If the profile is damaged or has other channels.

    Notes
    -----
    Relative colorimetric intent with black point compensation (ISO 15076-1, ISO 18619): the
    white of the master's space becomes 255, 255, 255 and nothing is clipped in the shadows.
    Grey stays one channel.
    """

    def __init__(self, profile: bytes, *, channels: int, dtype: np.dtype, name: str = "the image") -> None:
        self._profile, self._name = profile, name
        self._channels, self._dtype = channels, np.dtype(dtype)
        summary = summarise_profile(profile)
        if summary is None:
            raise UnusableProfileError(file_name=name, what="it is no ICC profile")
        if _CHANNELS.get(summary.colour_space) != channels:
            what = f"it is for {summary.colour_space}, the pixels have {channels} channel(s)"
            raise UnusableProfileError(file_name=name, what=what)
        _refuse_broken(profile, name=name)
        self.is_identity = self._changes_nothing()

    def apply(self, pixels: NDArray[Any]) -> NDArray[Any]:
        """Return the pixels in sRGB.

        Parameters
        ----------
        pixels : (rows, columns, channels) array
            Of the type and channels given before.

        Returns
        -------
        pixels : array
            Same shape and type; the argument itself when the profile is sRGB.
        """
        if self.is_identity or pixels.size == 0:
            return pixels
        return self._transformed(pixels)

    def _transformed(self, pixels: NDArray[Any]) -> NDArray[Any]:
        rows, columns, channels = pixels.shape
        data = np.ascontiguousarray(pixels)
        depth = self._dtype.itemsize * 8
        colour, grey = ("rgb16", "grey16") if depth == 16 else ("srgb", "b-w")
        image = pyvips.Image.new_from_memory(data, columns, rows, channels, _VIPS_FORMATS[self._dtype]).copy(
            interpretation=colour if channels == 3 else grey
        )
        image.set_type(pyvips.GValue.blob_type, "icc-profile-data", self._profile)
        try:
            result = image.icc_transform(
                "srgb",
                embedded=True,
                intent="relative",
                black_point_compensation=True,
                depth=depth,
            ).numpy()
        except pyvips.Error as err:
            raise UnusableProfileError(file_name=self._name, what=str(err).strip()) from err
        return result if channels == 3 else np.ascontiguousarray(result[..., 1:2])

    def _changes_nothing(self) -> bool:
        """Whether no probe colour moves by more than half an 8-bit step."""
        full = np.iinfo(self._dtype).max
        steps = np.linspace(0, full, _PROBE_STEPS).round().astype(self._dtype)
        if self._channels == 1:
            probe = np.linspace(0, full, 256).round().astype(self._dtype).reshape(1, 256, 1)
        else:
            probe = np.stack(np.meshgrid(steps, steps, steps), axis=-1).reshape(1, -1, 3)
        moved = np.abs(self._transformed(probe).astype(np.int64) - probe.astype(np.int64))
        return bool(moved.max() <= full / 255 / 2)


def _refuse_broken(profile: bytes, *, name: str) -> None:
    # libvips passes over a profile that it cannot open and leaves the colours as they are.
    try:
        ImageCms.ImageCmsProfile(io.BytesIO(profile))
    except (OSError, ValueError, TypeError, ImageCms.PyCMSError) as err:
        raise UnusableProfileError(file_name=name, what=f"it is damaged ({err})") from err

"""Values of a master to eight bits in sRGB: colour profile first, then the display tone."""

from __future__ import annotations

from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from imaging.compute.colour.profiles import SrgbTransform
from imaging.compute.masters.source import MasterSource
from imaging.compute.render.display_tone import DisplayTone
from imaging.errors import UntaggedColourError

__all__ = ["FILL_GREY", "ShownPixels"]

# Where a picture has no pixels: the sRGB value of CIE L* = 50 (IEC 61966-2-1).
FILL_GREY = 119


class ShownPixels:
    """The way of one master's pixels to the screen.

    Parameters
    ----------
    source : MasterSource
        Gives bands, type and profile.
    tone : DisplayTone
        What is shown of it.
    untagged : {"srgb", "refuse"}
        Colours without profile: take them as sRGB, or refuse.

    Raises
    ------
    FieldRefusedError
        If the tone names bands that the master has not.
    UntaggedColourError
        If there is no profile and that is to be refused.
    UnusableProfileError
        If the profile does not fit.

    Notes
    -----
    A profile is applied to integers only, and only when the tone asks for it and shows the
    bands in their own order; a mix or an element map has no colour to manage.
    """

    def __init__(
        self,
        source: MasterSource,
        tone: DisplayTone,
        *,
        untagged: Literal["srgb", "refuse"] = "srgb",
    ) -> None:
        tone.refuse_missing_bands(source.bands)
        self.tone = tone
        self.channels = tone.shown_channels
        own_order = tone.mix is None and tone.channels == tuple(range(self.channels))
        self._transform = None
        self._is_rounded_first = False
        if tone.is_colour_managed and own_order and source.dtype.kind == "u":
            if source.icc_profile is not None:
                # Sixteen bits shown over their whole range become eight first: LittleCMS has an
                # exact way for eight bits, and a table with errors up to 14 levels for sixteen.
                self._is_rounded_first = tone.is_whole_range(source.dtype)
                eight_bits = np.dtype(np.uint8)
                self._transform = SrgbTransform(
                    source.icc_profile,
                    channels=self.channels,
                    dtype=eight_bits if self._is_rounded_first else source.dtype,
                    name=source.name,
                )
            elif untagged == "refuse":
                raise UntaggedColourError(file_name=source.name)
        self.is_passthrough = (self._transform is None or self._transform.is_identity) and tone.is_passthrough(
            source.dtype
        )

    def select(self, pixels: NDArray[Any]) -> NDArray[Any]:
        """Return the shown channels of a window of the master."""
        return self.tone.select(pixels)

    def show(self, selected: NDArray[Any], out: NDArray[np.uint8]) -> None:
        """Write the shown values of selected channels.

        Parameters
        ----------
        selected : (rows, columns, channels) array
            From `select`, perhaps resampled since.
        out : (rows, columns, channels) uint8 array
            Taken as it is.
        """
        if self._transform is None:
            self.tone.shade(selected, out)
        elif self._is_rounded_first:
            self.tone.shade(selected, out)
            if not self._transform.is_identity:
                np.copyto(out, self._transform.apply(out))
        else:
            self.tone.shade(self._transform.apply(selected), out)

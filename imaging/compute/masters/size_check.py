"""Limits on the size a header claims, the same for every format."""

from imaging.errors import HugeClaimError

from .limits import MasterLimits

__all__ = ["refuse_huge_claims"]


def refuse_huge_claims(width_px: int, height_px: int, *, bands: int, file_name: str, limits: MasterLimits) -> None:
    """Refuse a picture that claims more pixels or bands than the limits allow.

    Parameters
    ----------
    width_px, height_px : int
        As the header says.
    bands : int
        Samples per pixel.
    file_name : str
        For the message.
    limits : MasterLimits
        The bounds.

    Raises
    ------
    HugeClaimError
        Naming what was claimed and what is accepted.
    """
    claims = (
        ("px along one side", max(width_px, height_px), limits.max_side_px),
        ("pixels", width_px * height_px, limits.max_pixels),
        ("bands", bands, limits.max_bands),
    )
    for what, got, limit in claims:
        if got > limit:
            raise HugeClaimError(file_name=file_name, what=what, got=got, limit=limit)

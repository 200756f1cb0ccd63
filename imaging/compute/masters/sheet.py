"""The ingest sheet: what fits about a received file, and each doubt in one sentence."""

import re
from pathlib import PurePath

from imaging.errors import GuardError, MasterFileError

from .header import FORMAT_ENDINGS
from .icc_profile import summarise_profile
from .sheet_facts import SheetCheck, SheetFacts
from .sheet_scale import scale_check, size_check
from .sheet_tones import tone_checks

__all__ = ["build_sheet", "refused_sheet"]

# trade practice, no source: inventory-number_modality_state_face_version.ext.
_USUAL_NAME = re.compile(r"[a-z0-9-]+_(?P<modality>[a-z]{3,4}|xr)_(bt|dt|at)[a-z0-9-]*_[a-z0-9-]+_v\d+\.[a-z0-9]+")
_MODALITY_CODES = {
    "vis", "rak", "spc", "trl", "uvl", "uvr", "nir", "irr", "fcir", "xr", "xrf", "msi", "mac",
}  # fmt: skip
_LOSSY = {"jpeg": "JPEG", "hevc": "HEVC (HEIC)"}
_PROFILE_SPACES = {"rgb": "RGB", "grey": "GRAY"}
# Exif 2.32, tag 274.
_ORIENTATION_WORDS = {
    2: "mirrored left to right",
    3: "turned by half",
    4: "mirrored top to bottom",
    5: "mirrored and turned by a quarter",
    6: "turned a quarter clockwise",
    7: "mirrored and turned by a quarter",
    8: "turned a quarter anticlockwise",
}


def build_sheet(facts: SheetFacts) -> list[SheetCheck]:
    """Return the lines of the ingest sheet, in the order they are shown.

    Parameters
    ----------
    facts : SheetFacts
        What the file says, what its pixels are like, and what the person said.

    Returns
    -------
    lines : list of SheetCheck
        One per thing checked; tones and polarity only once the pixels were read.
    """
    return [
        scale_check(facts),
        size_check(facts),
        _depth(facts),
        _compression(facts),
        _profile(facts),
        *tone_checks(facts),
        _orientation(facts),
        _pictures(facts),
        *_bands(facts),
        *_duplicate(facts),
        *_name(facts),
    ]


def refused_sheet(error: MasterFileError | GuardError) -> list[SheetCheck]:
    """Return the one line of a file that cannot be a master.

    Parameters
    ----------
    error : MasterFileError or GuardError
        Why.

    Returns
    -------
    lines : list of SheetCheck
        State ``"refused"``; ``values["error"]`` is the code of the error, for its translation.
    """
    return [
        SheetCheck(
            key="file",
            state="refused",
            code="refused",
            values={"message": str(error), "error": error.code},
        )
    ]


def _depth(facts: SheetFacts) -> SheetCheck:
    header, statistics = facts.header, facts.statistics
    if header.sample_format == "u8":
        return SheetCheck(key="depth", state="open", code="depth_8_bit")
    if header.sample_format == "u16" and statistics is not None:
        # 8-bit values times 256 or 257 leave at most 256 values, evenly apart.
        worst = max(statistics.bands, key=lambda band: band.distinct_count)
        if 2 < worst.distinct_count <= 256 and worst.value_step in (255, 256, 257):
            return SheetCheck(
                key="depth",
                state="open",
                code="depth_8_in_16",
                values={"distinct": worst.distinct_count, "step": worst.value_step},
            )
    return SheetCheck(key="depth", state="fits", code="depth_fits", values={"bits": header.bits})


def _compression(facts: SheetFacts) -> SheetCheck:
    compression = facts.header.compression
    if compression in _LOSSY:
        return SheetCheck(
            key="compression",
            state="open",
            code="lossy",
            values={"compression": _LOSSY[compression]},
        )
    return SheetCheck(key="compression", state="fits", code="lossless", values={"compression": compression})


def _profile(facts: SheetFacts) -> SheetCheck:
    header = facts.header
    summary = summarise_profile(header.icc_profile) if header.icc_profile else None
    name = header.icc_name or "without a name"
    if summary is not None and header.colour in _PROFILE_SPACES:
        if summary.colour_space != _PROFILE_SPACES[header.colour]:
            return SheetCheck(
                key="profile",
                state="open",
                code="profile_wrong",
                values={"name": name, "space": summary.colour_space, "colour": header.colour},
            )
        return SheetCheck(key="profile", state="fits", code="profile_fits", values={"name": name})
    if header.colour != "rgb":
        return SheetCheck(key="profile", state="fits", code="profile_not_needed")
    if header.icc_name:
        # A PNG may say sRGB without carrying a profile.
        return SheetCheck(key="profile", state="fits", code="profile_fits", values={"name": header.icc_name})
    return SheetCheck(key="profile", state="open", code="profile_missing")


def _orientation(facts: SheetFacts) -> SheetCheck:
    orientation = facts.header.orientation
    if orientation == 1:
        return SheetCheck(key="orientation", state="fits", code="orientation_fits")
    return SheetCheck(
        key="orientation",
        state="open",
        code="orientation_tag",
        values={"orientation": orientation, "words": _ORIENTATION_WORDS[orientation]},
    )


def _pictures(facts: SheetFacts) -> SheetCheck:
    count = facts.header.other_picture_count
    if count:
        return SheetCheck(key="pictures", state="open", code="more_pictures", values={"count": count})
    return SheetCheck(key="pictures", state="fits", code="one_picture")


def _bands(facts: SheetFacts) -> list[SheetCheck]:
    header = facts.header
    lines = []
    if header.colour == "bands":
        if header.band_names:
            lines.append(
                SheetCheck(
                    key="bands",
                    state="fits",
                    code="bands_fit",
                    values={"names": ", ".join(header.band_names)},
                )
            )
        else:
            lines.append(SheetCheck(key="bands", state="open", code="bands_nameless", values={"bands": header.bands}))
    if header.has_alpha:
        lines.append(SheetCheck(key="alpha", state="open", code="alpha", is_hint=True))
    return lines


def _duplicate(facts: SheetFacts) -> list[SheetCheck]:
    if not facts.checksum:
        return []
    known_as = facts.known_checksums.get(facts.checksum)
    if known_as is not None:
        return [SheetCheck(key="duplicate", state="open", code="duplicate", values={"name": known_as})]
    return [
        SheetCheck(
            key="duplicate",
            state="fits",
            code="checksum_new",
            values={"checksum": facts.checksum},
        )
    ]


def _name(facts: SheetFacts) -> list[SheetCheck]:
    header = facts.header
    ending = PurePath(header.file_name).suffix
    lines = []
    if ending.lower() not in FORMAT_ENDINGS[header.format]:
        lines.append(
            SheetCheck(
                key="ending",
                state="open",
                code="name_ending",
                values={"ending": ending or "nothing", "format": header.format.upper()},
                is_hint=True,
            )
        )
    usual = _USUAL_NAME.fullmatch(header.file_name)
    named = usual["modality"].upper() if usual else ""
    if not usual:
        lines.append(SheetCheck(key="name", state="open", code="name_pattern", is_hint=True))
    elif named.lower() in _MODALITY_CODES and facts.modality not in ("", named):
        lines.append(
            SheetCheck(
                key="name",
                state="open",
                code="name_modality",
                values={"named": named, "given": facts.modality},
            )
        )
    else:
        lines.append(SheetCheck(key="name", state="fits", code="name_fits"))
    return lines

"""What a master says about its making, its rights and its text, from all its blocks."""

import hashlib
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from imaging.compute.masters.icc_profile import summarise_profile
from imaging.compute.masters.master_header import MasterHeader
from imaging.errors import GuardError, MasterFileError

from .exif import exif_of_block, exif_of_tiff, iso_time
from .iptc import iptc_datasets
from .metadata_blocks import MetadataBlocks, metadata_blocks
from .xmp import XmpText, first_text, xmp_properties

__all__ = ["ImageMetadata", "read_metadata"]

_LONGEST_FIELD = 10_000
_WHOLE_PACKET_BYTES = 2**20

_DC = "{http://purl.org/dc/elements/1.1/}"
_RIGHTS = "{http://ns.adobe.com/xap/1.0/rights/}"
_BASIC = "{http://ns.adobe.com/xap/1.0/}"
_NEWS = "{http://ns.adobe.com/photoshop/1.0/}"
_IPTC_CORE = "{http://iptc.org/std/Iptc4xmpCore/1.0/xmlns/}"
_CREATIVE_COMMONS = "{http://creativecommons.org/ns#}"
# Names of the properties: IPTC Photo Metadata Standard 2023.1, "XMP specs" (from memory).
# The first that says something wins; IIM datasets and Exif come after XMP.
_XMP_SOURCES = {
    "creator": (f"{_DC}creator",),
    "credit_line": (f"{_NEWS}Credit",),
    "copyright_notice": (f"{_DC}rights",),
    "usage_terms": (f"{_RIGHTS}UsageTerms",),
    "licence_url": (f"{_CREATIVE_COMMONS}license", f"{_RIGHTS}WebStatement"),
    "alt_text": (f"{_IPTC_CORE}AltTextAccessibility",),
    "extended_description": (f"{_IPTC_CORE}ExtDescrAccessibility",),
    "title": (f"{_DC}title",),
    "description": (f"{_DC}description",),
}
_IIM_SOURCES = {
    "creator": "2:80",
    "credit_line": "2:110",
    "copyright_notice": "2:116",
    "title": "2:5",
    "description": "2:120",
}
_EXIF_SOURCES = {
    "creator": "Artist",
    "copyright_notice": "Copyright",
    "description": "ImageDescription",
}


@dataclass(frozen=True, kw_only=True)
class ImageMetadata:
    """Metadata of one master; empty text and None where the file says nothing.

    Parameters
    ----------
    camera, lens, software : str
        Exif; maker and model in one.
    exposure_s, f_number, iso, focal_length_mm : float or None
        Exif.
    taken_at : str
        ISO 8601; without an offset where the file states no zone.
    orientation : int
        1 to 8.
    um_per_px : (float, float) or None
        Stated pitch.
    icc_name, icc_colour_space : str
        Of the embedded profile.
    creator, credit_line, copyright_notice, usage_terms, licence_url : str
        IPTC, from XMP first, then IIM, then Exif.
    alt_text, extended_description, title, description : str
        IPTC, likewise.
    sources : dict of str to str
        For each text: ``"xmp"``, ``"iptc"`` or ``"exif"``.
    doubts : tuple of str
        Codes of blocks that could not be read: ``"exif_damaged"``, ``"xmp_damaged"``.
    raw : dict
        Everything that was found, unknown fields included: ``exif``, ``xmp`` (properties),
        ``xmp_packet`` (up to 1 MiB), ``iptc``, ``icc``.
    """

    camera: str = ""
    lens: str = ""
    software: str = ""
    exposure_s: float | None = None
    f_number: float | None = None
    iso: float | None = None
    focal_length_mm: float | None = None
    taken_at: str = ""
    orientation: int = 1
    um_per_px: tuple[float, float] | None = None
    icc_name: str = ""
    icc_colour_space: str = ""
    creator: str = ""
    credit_line: str = ""
    copyright_notice: str = ""
    usage_terms: str = ""
    licence_url: str = ""
    alt_text: str = ""
    extended_description: str = ""
    title: str = ""
    description: str = ""
    sources: dict[str, str] = field(default_factory=dict)
    doubts: tuple[str, ...] = ()
    raw: dict[str, Any] = field(default_factory=dict)

    def to_json(self) -> dict[str, Any]:
        """Return the metadata as JSON values."""
        values = asdict(self)
        values["um_per_px"] = list(self.um_per_px) if self.um_per_px else None
        values["doubts"] = list(self.doubts)
        return values

    @classmethod
    def from_json(cls, values: Mapping[str, Any]) -> "ImageMetadata":
        """Return the metadata that `to_json` gave."""
        pitch = values["um_per_px"]
        return cls(
            **{
                **values,
                "um_per_px": (float(pitch[0]), float(pitch[1])) if pitch else None,
                "doubts": tuple(values["doubts"]),
            }
        )


def read_metadata(path: Path, header: MasterHeader) -> ImageMetadata:
    """Return what a master says about itself.

    Parameters
    ----------
    path : Path
        Where it lies.
    header : MasterHeader
        From `read_header`, which found the file acceptable.

    Returns
    -------
    metadata : ImageMetadata
        A damaged block is a doubt, never a reason to refuse the picture.

    Notes
    -----
    Exif 2.32; XMP, ISO 16684-1; IPTC Photo Metadata 2023.1; IIM 4.2. HEIC is opened in a
    guarded child, all else is read in Python in bounded pieces.
    """
    doubts: list[str] = []
    try:
        blocks = metadata_blocks(path, header)
    except (MasterFileError, GuardError):
        blocks = MetadataBlocks()
        doubts.append("blocks_damaged")
    exif = _exif(path, header, blocks, doubts)
    properties = xmp_properties(blocks.xmp) if blocks.xmp else {}
    if properties is None:
        doubts.append("xmp_damaged")
    datasets = iptc_datasets(blocks.iptc)
    texts, sources = _texts(properties or {}, datasets, exif)
    profile = summarise_profile(header.icc_profile) if header.icc_profile else None
    return ImageMetadata(
        camera=_camera(exif),
        lens=_clean(_text(exif, "LensModel")),
        software=_clean(_text(exif, "Software")),
        exposure_s=_number(exif, "ExposureTime"),
        f_number=_number(exif, "FNumber"),
        iso=_number(exif, "ISOSpeedRatings"),
        focal_length_mm=_number(exif, "FocalLength"),
        taken_at=_taken_at(exif),
        orientation=header.orientation,
        um_per_px=header.um_per_px,
        icc_name=header.icc_name,
        icc_colour_space=profile.colour_space if profile else "",
        **texts,
        sources=sources,
        doubts=tuple(doubts),
        raw=_raw(header, blocks, exif=exif, properties=properties, datasets=datasets),
    )


def _exif(path: Path, header: MasterHeader, blocks: MetadataBlocks, doubts: list[str]) -> dict[str, Any]:
    try:
        if header.format in ("tiff", "bigtiff"):
            return exif_of_tiff(path)
        return exif_of_block(blocks.exif) if blocks.exif else {}
    except MasterFileError:
        doubts.append("exif_damaged")
        return {}


def _texts(
    properties: Mapping[str, XmpText], datasets: Mapping[str, list[str]], exif: Mapping[str, Any]
) -> tuple[dict[str, str], dict[str, str]]:
    texts: dict[str, str] = {}
    sources: dict[str, str] = {}
    for name, names in _XMP_SOURCES.items():
        candidates = [("xmp", first_text(properties.get(each))) for each in names]
        if name in _IIM_SOURCES:
            candidates.append(("iptc", "; ".join(datasets.get(_IIM_SOURCES[name], []))))
        if name in _EXIF_SOURCES:
            candidates.append(("exif", _human_text(_text(exif, _EXIF_SOURCES[name]))))
        found = next(((source, _clean(text)) for source, text in candidates if _clean(text)), None)
        texts[name] = found[1] if found else ""
        if found:
            sources[name] = found[0]
    return texts, sources


def _raw(
    header: MasterHeader,
    blocks: MetadataBlocks,
    *,
    exif: dict[str, Any],
    properties: dict[str, XmpText] | None,
    datasets: dict[str, list[str]],
) -> dict[str, Any]:
    packet = blocks.xmp.decode("utf-8", "replace").replace("\0", "")
    profile = header.icc_profile or b""
    return {
        "exif": exif,
        "xmp": properties or {},
        "xmp_packet": packet if len(packet) <= _WHOLE_PACKET_BYTES else "",
        "iptc": datasets,
        "icc": {
            "name": header.icc_name,
            "bytes": len(profile),
            "sha256": hashlib.sha256(profile).hexdigest() if profile else "",
        },
    }


def _camera(exif: Mapping[str, Any]) -> str:
    make, model = _text(exif, "Make").strip(), _text(exif, "Model").strip()
    return _clean(model if model.startswith(make) else f"{make} {model}".strip())


def _taken_at(exif: Mapping[str, Any]) -> str:
    return (
        iso_time(exif.get("DateTimeOriginal"), exif.get("OffsetTimeOriginal"))
        or iso_time(exif.get("DateTimeDigitized"), exif.get("OffsetTimeDigitized"))
        or iso_time(exif.get("DateTime"), exif.get("OffsetTime"))
    )


def _text(exif: Mapping[str, Any], name: str) -> str:
    found = exif.get(name)
    return found if isinstance(found, str) else ""


def _human_text(text: str) -> str:
    """Return a text unless a program wrote it for itself, as JSON or XML."""
    return "" if text.lstrip()[:1] in ("{", "<") else text


def _number(exif: Mapping[str, Any], name: str) -> float | None:
    found = exif.get(name)
    if isinstance(found, list) and found:
        found = found[0]
    return float(found) if isinstance(found, (int, float)) and found > 0 else None


def _clean(text: str) -> str:
    """Return text without control characters, which PostgreSQL and pages do not take."""
    kept = "".join(each for each in text if each.isprintable() or each == "\n")
    return kept.strip()[:_LONGEST_FIELD]

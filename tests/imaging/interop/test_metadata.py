"""Metadata blocks are read as Pillow reads them, kept whole, and cannot do harm."""

import base64
import io
import json
import struct
import time

import numpy as np
import pillow_heif
import pytest
import tifffile
from PIL import Image, ImageCms, IptcImagePlugin

from imaging.compute.masters.header import read_header
from imaging.interop.metadata import ImageMetadata, read_metadata
from imaging.interop.xmp import xmp_properties

pillow_heif.register_heif_opener()

PIXELS = np.zeros((20, 30, 3), np.uint8)
XMP = """<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?>
<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF
 xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#"><rdf:Description rdf:about=""
 xmlns:dc="http://purl.org/dc/elements/1.1/"
 xmlns:news="http://ns.adobe.com/photoshop/1.0/"
 xmlns:xmpRights="http://ns.adobe.com/xap/1.0/rights/"
 xmlns:cc="http://creativecommons.org/ns#"
 xmlns:iptc="http://iptc.org/std/Iptc4xmpCore/1.0/xmlns/"
 xmlns:own="https://ostervale.example/terms#"
 news:Credit="Ostervale House, inv. OH 0417" own:plate="7">
 <dc:creator><rdf:Seq><rdf:li>Ilse Korvander</rdf:li><rdf:li>Jun Teasdale</rdf:li></rdf:Seq>
 </dc:creator>
 <dc:rights><rdf:Alt><rdf:li xml:lang="nl">© Ostervale Huis</rdf:li>
  <rdf:li xml:lang="x-default">© Ostervale House</rdf:li></rdf:Alt></dc:rights>
 <xmpRights:UsageTerms><rdf:Alt><rdf:li xml:lang="x-default">With credit line</rdf:li></rdf:Alt>
 </xmpRights:UsageTerms>
 <cc:license rdf:resource="http://creativecommons.org/licenses/by/4.0/"/>
 <iptc:AltTextAccessibility><rdf:Alt><rdf:li xml:lang="x-default">A blue jug</rdf:li></rdf:Alt>
 </iptc:AltTextAccessibility>
 <iptc:ExtDescrAccessibility>A blue jug with three walnuts on a table</iptc:ExtDescrAccessibility>
 <own:lamps rdf:parseType="Resource"><own:left>45</own:left></own:lamps>
</rdf:Description></rdf:RDF></x:xmpmeta><?xpacket end="w"?>""".encode()


def exif_block():
    exif = Image.Exif()
    exif[271], exif[272], exif[274] = "Korvander", "Korvander K1", 6
    exif[306] = "2024:03:15 09:00:00"
    exif[315] = "Mirel Adeyo"
    exif[65001] = "unknown to us"
    inner = exif.get_ifd(0x8769)
    inner[33434], inner[33437], inner[34855], inner[37386] = 0.5, 8.0, 100, 120.0
    inner[36867], inner[36881], inner[42036] = "2024:03:14 10:12:05", "+01:00", "Macro 120"
    inner[37500] = b"maker's own bytes \x00\x01"
    return exif


def iim(*fields):
    return b"".join(
        struct.pack(">BBBH", 0x1C, 2, number, len(text.encode())) + text.encode() for number, text in fields
    )


IIM = iim((80, "Tomaso Brenzi"), (110, "Studio North"), (116, "© 2024"), (25, "jug"), (25, "nut"))


def resources(block):
    padded = block + bytes(len(block) % 2)
    body = b"8BIM\x04\x04\0\0" + struct.pack(">I", len(block)) + padded
    other = b"8BIM\x07\xd0\x03abc" + struct.pack(">I", 3) + b"xyz\0"
    payload = b"Photoshop 3.0\0" + other + body
    return b"\xff\xed" + struct.pack(">H", len(payload) + 2) + payload


def read(path):
    return read_metadata(path, read_header(path))


def save(path, file_format, **options):
    Image.fromarray(PIXELS).save(path, file_format, **options)
    return path


@pytest.mark.parametrize("file_format", ["JPEG", "PNG", "TIFF", "HEIF"])
def test_exif_is_read_as_pillow_reads_it(tmp_path, file_format):
    path = save(tmp_path / "a", file_format, exif=exif_block().tobytes())
    metadata = read(path)
    assert metadata.camera == "Korvander K1"
    assert metadata.lens == "Macro 120"
    assert (metadata.exposure_s, metadata.f_number) == (0.5, 8.0)
    assert (metadata.iso, metadata.focal_length_mm) == (100.0, 120.0)
    assert metadata.taken_at == "2024-03-14T10:12:05+01:00"
    assert (metadata.creator, metadata.sources["creator"]) == ("Mirel Adeyo", "exif")
    assert metadata.doubts == ()
    with Image.open(path) as picture:
        reference = picture.getexif()
        assert metadata.raw["exif"]["DateTime"] == reference[306]
        assert metadata.raw["exif"]["0xFDE9"] == "unknown to us" == reference[65001]
        maker_note = reference.get_ifd(0x8769)[37500]
    assert base64.b64decode(metadata.raw["exif"]["MakerNote"]["base64"]) == maker_note


@pytest.mark.parametrize("file_format", ["JPEG", "PNG", "TIFF", "HEIF"])
def test_xmp_fields_are_found_and_unknown_ones_kept(tmp_path, file_format):
    path = tmp_path / "a"
    if file_format == "PNG":
        from PIL.PngImagePlugin import PngInfo

        info = PngInfo()
        info.add_itxt("XML:com.adobe.xmp", XMP.decode(), zip=True)
        save(path, "PNG", pnginfo=info)
    elif file_format == "TIFF":
        tifffile.imwrite(path, PIXELS, extratags=[(700, 1, len(XMP), XMP, True)])
    else:
        save(path, file_format, xmp=XMP)
    metadata = read(path)
    assert metadata.creator == "Ilse Korvander; Jun Teasdale"
    assert metadata.credit_line == "Ostervale House, inv. OH 0417"
    assert metadata.copyright_notice == "© Ostervale House"
    assert metadata.usage_terms == "With credit line"
    assert metadata.licence_url == "http://creativecommons.org/licenses/by/4.0/"
    assert metadata.alt_text == "A blue jug"
    assert metadata.extended_description == "A blue jug with three walnuts on a table"
    own = "{https://ostervale.example/terms#}"
    assert metadata.raw["xmp"][f"{own}plate"] == "7"
    assert metadata.raw["xmp"][f"{own}lamps"] == {f"{own}left": "45"}
    assert metadata.raw["xmp_packet"].encode() == XMP


@pytest.mark.parametrize("file_format", ["JPEG", "TIFF"])
def test_iptc_datasets_are_those_that_pillow_finds(tmp_path, file_format):
    path = tmp_path / "a"
    if file_format == "JPEG":
        save(path, "JPEG", extra=resources(IIM))
    else:
        tifffile.imwrite(path, PIXELS, extratags=[(33723, 7, len(IIM), IIM, True)])
    metadata = read(path)
    with Image.open(path) as picture:
        reference = IptcImagePlugin.getiptcinfo(picture)
    assert metadata.creator == reference[2, 80].decode() == "Tomaso Brenzi"
    assert metadata.raw["iptc"]["2:25"] == [each.decode() for each in reference[2, 25]]
    assert (metadata.credit_line, metadata.copyright_notice) == ("Studio North", "© 2024")
    assert metadata.sources["credit_line"] == "iptc"


def test_xmp_wins_over_the_older_forms(tmp_path):
    path = save(tmp_path / "a", "JPEG", xmp=XMP, exif=exif_block(), extra=resources(IIM))
    metadata = read(path)
    assert metadata.creator == "Ilse Korvander; Jun Teasdale"
    assert metadata.sources["creator"] == "xmp"
    assert metadata.raw["iptc"]["2:80"] == ["Tomaso Brenzi"]


def test_the_profile_is_named_as_littlecms_names_it(tmp_path):
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB"))
    path = save(tmp_path / "a", "PNG", icc_profile=profile.tobytes())
    metadata = read(path)
    assert metadata.icc_name == ImageCms.getProfileDescription(profile).strip()
    assert metadata.icc_colour_space == profile.profile.xcolor_space.strip()


def test_it_survives_json(tmp_path):
    path = save(tmp_path / "a", "JPEG", xmp=XMP, exif=exif_block(), extra=resources(IIM))
    metadata = read(path)
    assert ImageMetadata.from_json(json.loads(json.dumps(metadata.to_json()))) == metadata


def test_a_picture_without_metadata_says_nothing(tmp_path):
    metadata = read(save(tmp_path / "a", "JPEG"))
    assert (metadata.camera, metadata.creator, metadata.taken_at) == ("", "", "")
    assert metadata.doubts == ()


@pytest.mark.parametrize(("written", "description"), [("A jug", "A jug"), ('{"shape": [2, 2]}', ""), ("<OME/>", "")])
def test_what_programs_write_for_themselves_is_no_description(tmp_path, written, description):
    path = tmp_path / "a.tif"
    tifffile.imwrite(path, PIXELS, description=written, metadata=None)
    metadata = read(path)
    assert metadata.description == description
    assert metadata.raw["exif"]["ImageDescription"] == written


BOMB = b"""<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;">
<!ENTITY c "&b;&b;&b;&b;&b;&b;&b;&b;">]><rdf:RDF
xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#"><rdf:Description>&c;</rdf:Description>
</rdf:RDF>"""
READS_A_FILE = b"""<!DOCTYPE x [<!ENTITY a SYSTEM "file:///etc/passwd">]><rdf:RDF
xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#" xmlns:d="d:d"><rdf:Description>
<d:title>&a;</d:title></rdf:Description></rdf:RDF>"""
DEEP = b"<a>" * 50_000 + b"</a>" * 50_000


@pytest.mark.parametrize("packet", [BOMB, READS_A_FILE, DEEP, b"<rdf", b"\xff\xfe\x00", b"x" * 10**7])
def test_a_hostile_packet_is_a_doubt_and_costs_little(packet, tmp_path):
    began = time.process_time()
    assert xmp_properties(packet) is None
    assert time.process_time() - began < 1.0
    path = tmp_path / "a.tif"
    tifffile.imwrite(path, PIXELS, extratags=[(700, 1, len(packet), packet, True)])
    metadata = read(path)
    assert metadata.doubts == ("xmp_damaged",)
    assert "root:" not in json.dumps(metadata.to_json())


def test_a_damaged_exif_block_is_a_doubt_and_no_refusal(tmp_path):
    out = io.BytesIO()
    Image.fromarray(PIXELS).save(out, "JPEG", exif=exif_block().tobytes())
    content = bytearray(out.getvalue())
    place = content.index(b"Exif\0\0") + 6
    struct.pack_into(">I" if content[place : place + 2] == b"MM" else "<I", content, place + 4, 60_000)
    path = tmp_path / "a.jpg"
    path.write_bytes(content)
    assert read(path).doubts == ("exif_damaged",)


def test_no_text_holds_zeros_or_control_characters(tmp_path):
    exif = Image.Exif()
    exif[315] = "Ilse\x07\x1b[31m Korvander"
    exif[272] = "K1\0hidden"
    metadata = read(save(tmp_path / "a", "JPEG", exif=exif))
    assert metadata.creator == "Ilse[31m Korvander"
    assert "\\u0000" not in json.dumps(metadata.to_json())


def test_random_damage_to_the_blocks_never_stops_the_reading(tmp_path):
    out = io.BytesIO()
    Image.fromarray(PIXELS).save(out, "JPEG", xmp=XMP, exif=exif_block(), extra=resources(IIM))
    generator = np.random.default_rng(5)
    start = out.getvalue()
    blocks = [start.index(b"Exif\0\0") + 6, start.index(b"8BIM"), start.index(b"<?xpacket")]
    path = tmp_path / "a.jpg"
    for number in range(300):
        content = bytearray(start)
        place = blocks[number % 3]
        for offset in generator.integers(0, 90, 6):
            content[place + offset] = generator.integers(0, 256)
        path.write_bytes(content)
        json.dumps(read(path).to_json(), allow_nan=False)


def test_a_library_that_fails_on_the_blocks_is_a_doubt(tmp_path):
    path = save(tmp_path / "a.heic", "HEIF", exif=exif_block().tobytes())
    header = read_header(path)
    path.write_bytes(path.read_bytes()[:200])
    assert read_metadata(path, header).doubts == ("blocks_damaged",)

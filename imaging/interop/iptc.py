"""The older form of the IPTC fields: datasets of the Information Interchange Model."""

import struct

__all__ = ["iptc_datasets"]

_DATASET_MARK = 0x1C
_LONGEST_DATASET = 0x7FFF
_MOST_DATASETS = 4096
_CHARACTER_SET = "1:90"
_UTF_8 = b"\x1b%G"


def iptc_datasets(block: bytes) -> dict[str, list[str]]:
    """Return the datasets by ``"record:number"``, such as ``"2:80"`` for the by-line.

    Parameters
    ----------
    block : bytes
        As stored in TIFF tag 33723 or in a resource of a JPEG.

    Returns
    -------
    datasets : dict of str to list of str
        All that were read before the first damage; unknown ones included.

    Notes
    -----
    IPTC-NAA IIM 4.2 (2014), part II; numbers from memory. Text without a stated character set
    is read as UTF-8 and, failing that, as Latin-1.

    Examples
    --------
    >>> iptc_datasets(bytes([0x1C, 2, 80, 0, 4]) + b"Ilse")
    {'2:80': ['Ilse']}
    """
    found: dict[str, list[bytes]] = {}
    position = 0
    for _ in range(_MOST_DATASETS):
        if position + 5 > len(block) or block[position] != _DATASET_MARK:
            break
        record, number, length = struct.unpack_from(">BBH", block, position + 1)
        position += 5
        if length > _LONGEST_DATASET or position + length > len(block):
            break
        found.setdefault(f"{record}:{number}", []).append(block[position : position + length])
        position += length
    is_utf_8 = found.get(_CHARACTER_SET, [b""])[0] == _UTF_8
    return {
        key: [_text(value, is_utf_8=is_utf_8) for value in values]
        for key, values in found.items()
        if key.startswith("2:")
    }


def _text(value: bytes, *, is_utf_8: bool) -> str:
    try:
        return value.decode("utf-8").replace("\0", "").strip()
    except UnicodeDecodeError:
        return value.decode("utf-8" if is_utf_8 else "latin-1", "replace").replace("\0", "").strip()

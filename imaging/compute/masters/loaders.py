"""Which decoders of libvips may run."""

import pyvips

__all__ = ["allow_only_needed_loaders"]

_NEEDED_LOADERS = ("VipsForeignLoadTiff", "VipsForeignLoadJpeg", "VipsForeignLoadPng")


def allow_only_needed_loaders() -> None:
    """Block every loader of libvips in this process but TIFF, JPEG and PNG.

    Notes
    -----
    For the whole process and for good. An SVG named ``.tif`` is otherwise opened as an SVG.
    """
    pyvips.block_untrusted_set(True)
    pyvips.operation_block_set("VipsForeignLoad", True)
    for loader in _NEEDED_LOADERS:
        pyvips.operation_block_set(loader, False)

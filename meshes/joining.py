"""Two scans of one stone, turned over in between, joined into one closed surface."""

import ctypes
from contextlib import suppress
from typing import Any


def open3d() -> Any:
    """Import Open3D; a bare machine lacks the library libusb-1.0 that its wheel loads.

    The package libusb-package carries one; loaded first, it is found by its name.
    """
    with suppress(ImportError, OSError):
        import libusb_package

        ctypes.CDLL(str(libusb_package.get_library_path()), mode=ctypes.RTLD_GLOBAL)
    import open3d as library

    return library

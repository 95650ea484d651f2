"""Loading Open3D: slow and large, so only where a scan needs it."""

import ctypes
from contextlib import suppress
from typing import Any

from plumbstone.meshes.errors import PlumbstoneError


def open3d() -> Any:
    """Import Open3D; a bare machine lacks the library libusb-1.0 that its wheel loads.

    The package libusb-package carries one; loaded first, it is found by its name.
    """
    with suppress(ImportError, OSError):
        import libusb_package

        ctypes.CDLL(str(libusb_package.get_library_path()), mode=ctypes.RTLD_GLOBAL)
    try:
        import open3d as library
    except (ImportError, OSError) as error:
        raise PlumbstoneError(
            f"This scan needs the package open3d, which does not load here ({error}); "
            "install it (pip install open3d), or export a closed mesh."
        ) from None
    library.utility.set_verbosity_level(library.utility.VerbosityLevel.Error)
    return library

"""Loading Open3D: slow and large, so only where a scan needs it."""

import ctypes
import sys
from contextlib import suppress
from importlib import import_module
from types import ModuleType
from typing import Any

import numpy as np

from plumbstone.meshes.errors import PlumbstoneError
from plumbstone.meshes.piece import Floats, Indices

DRAWING = "open3d.visualization"
POISSON_DEPTH = 7


def open3d() -> Any:
    """Import Open3D; a bare machine lacks the library libusb-1.0 that its wheel loads.

    The package libusb-package carries one; loaded first, it is found by its name.

    Raises
    ------
    PlumbstoneError
        If it is not installed or does not load; says what to do.
    """
    with suppress(ImportError, OSError):
        import libusb_package

        ctypes.CDLL(str(libusb_package.get_library_path()), mode=ctypes.RTLD_GLOBAL)
    _leave_drawing_for_later()
    try:
        import open3d as library
    except (ImportError, OSError) as error:
        raise PlumbstoneError(
            f"This scan needs the package open3d, which does not load here ({error}); "
            "install it (pip install open3d), or export a closed mesh."
        ) from None
    library.visualization = sys.modules[DRAWING]
    library.utility.set_verbosity_level(library.utility.VerbosityLevel.Error)
    return library


def poisson_surface(cloud: Any) -> tuple[Floats, Indices]:
    """Put a closed surface through a cloud of points with normals.

    References
    ----------
    Kazhdan and Hoppe (2013), ACM TOG 32, 29 (from memory); by Open3D.
    """
    mesh, _ = open3d().geometry.TriangleMesh.create_from_point_cloud_poisson(
        cloud, depth=POISSON_DEPTH, n_threads=1
    )
    return np.asarray(mesh.vertices), np.asarray(mesh.triangles).astype(np.int64)


def _leave_drawing_for_later() -> None:
    """Keep Open3D from loading, for its drawings, a web server that nothing here asks for."""
    if DRAWING in sys.modules:
        return

    def loaded(name: str) -> Any:
        if name.startswith("__") and name != "__path__":  # as who looks through all modules asks
            raise AttributeError(name)
        sys.modules.pop(DRAWING, None)
        return getattr(import_module(DRAWING), name)

    sys.modules[DRAWING] = stand_in = ModuleType(DRAWING)
    stand_in.__getattr__ = loaded  # type: ignore[method-assign]

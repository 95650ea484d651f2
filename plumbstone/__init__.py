"""Weights, litres, bags and buoyancy for planted aquariums, from rough 3D shapes.

The door for a notebook; each name is loaded when it is first used.

Examples
--------
>>> import plumbstone as ps
>>> stone = ps.weigh(material="granite", size_m=(0.28, 0.19, 0.15))
>>> round(stone.mass_kg.mid, 1)
10.6
"""

import os
import sys
from importlib import import_module

TYPE_CHECKING = False  # typing itself is loaded where Ctrl-C is caught
if TYPE_CHECKING:
    from plumbstone.meshes.errors import PlumbstoneError
    from plumbstone.meshes.piece import Piece
    from plumbstone.meshes.ranges import Range
    from plumbstone.volumes.figures import Report
    from plumbstone.volumes.findings import Finding
    from plumbstone.volumes.layout import Layout
    from plumbstone.volumes.scape.scape import Scape, read_scape, scape_from
    from plumbstone.volumes.weigh import weigh

# In a checkout this folder comes first on the path; its rooms lie beside it, in the install.
if not os.path.isdir(os.path.join(__path__[0], "volumes")):  # noqa: PTH112, PTH118
    __path__ += [os.path.join(entry, "plumbstone") for entry in sys.path]  # noqa: PTH118

_HOMES = {
    "Finding": "volumes.findings",
    "Layout": "volumes.layout",
    "Piece": "meshes.piece",
    "PlumbstoneError": "meshes.errors",
    "Range": "meshes.ranges",
    "Report": "volumes.figures",
    "Scape": "volumes.scape.scape",
    "read_scape": "volumes.scape.scape",
    "scape_from": "volumes.scape.scape",
    "weigh": "volumes.weigh",
}

__all__ = [
    "Finding",
    "Layout",
    "Piece",
    "PlumbstoneError",
    "Range",
    "Report",
    "Scape",
    "read_scape",
    "scape_from",
    "weigh",
]


def __getattr__(name: str) -> object:
    """Load a name from its room when it is first used."""
    if name == "__version__":
        from importlib.metadata import version

        return version("plumbstone")
    if name not in _HOMES:
        raise AttributeError(f"module 'plumbstone' has no attribute {name!r}")
    found = getattr(import_module(f"plumbstone.{_HOMES[name]}"), name)
    globals()[name] = found
    return found


def __dir__() -> list[str]:
    """List the names that can be loaded."""
    return sorted([*__all__, "__version__"])

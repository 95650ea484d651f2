"""Weigh one piece by what is known of it, in one call."""

from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from plumbstone.meshes.measures.rulers import Ruler
from plumbstone.meshes.piece import piece_from
from plumbstone.meshes.reading.parts import ScanError
from plumbstone.meshes.telling import as_argument, named
from plumbstone.volumes.bodies import weighing
from plumbstone.volumes.bodies.weighing import Weighed, WeighingError
from plumbstone.volumes.figures import WeighedFigures
from plumbstone.volumes.scape.materials import Material, find_material
from plumbstone.volumes.scape.quantities import numbers_of


def weigh(
    scan: Any = None,
    *,
    material: str,
    unit: str | None = None,
    longest_m: float | None = None,
    across_m: float | None = None,
    size_m: tuple[float, float, float] | None = None,
    mass_kg: float | None = None,
    one_piece: bool = False,
) -> WeighedFigures:
    """Weigh a stone or a piece of wood from a scan, a size, or its mass.

    Parameters
    ----------
    scan : Path, str or mesh, optional
        File with a mesh or a point cloud; or a mesh in memory, see `meshes.piece.piece_from`.
    material : str
        A name of the materials table.
    unit : str, optional
        Of the scan's coordinates; of a mesh in memory metres, if not given.
    longest_m : float, optional
        Known greatest distance between two points of the body, to set the scale of the scan [m].
    across_m : float, optional
        Known greatest width at right angles to that [m].
    size_m : (float, float, float), optional
        Length, width, height, where there is no scan [m].
    mass_kg : float, optional
        As weighed; checks a scan, or tells the volume by itself [kg].
    one_piece : bool
        Whether all of a scan is surely the piece, so that no part of it is doubted as a hand,
        a stand or a neighbour.

    Returns
    -------
    WeighedFigures

    Raises
    ------
    PlumbstoneError
        If nothing is given to weigh it by, or what is given cannot belong to one piece.
    """
    if not isinstance(material, str):
        raise WeighingError(f"{material!r} is no name of a material, such as granite.")
    weighing.refuse_idle(
        {
            "a scan": scan is not None, "size": size_m, "unit": unit, "longest": longest_m,
            "across": across_m, "one-piece": one_piece,
        }
    )  # fmt: skip
    stone = find_material(material)
    given = {"longest_m": longest_m, "across_m": across_m, "mass_kg": mass_kg}
    for name, value in given.items():
        if value is not None and min(numbers_of((value,), 1) or (0.0,)) <= 0:
            raise WeighingError(f"{name} is {value!r}; give a number above zero.")
    sides = None if size_m is None else numbers_of(size_m, 3)
    if size_m is not None and (sides is None or min(sides) <= 0):
        raise WeighingError(
            f"size_m is {size_m!r}; give three sides in metres: (0.28, 0.19, 0.15)."
        )
    if scan is not None:
        ruler = Ruler(unit, longest_m, across_m, single=one_piece)
        found = _weigh_scan(scan, stone, ruler, mass_kg)
    elif sides is not None:
        found = weighing.weigh_size((sides[0], sides[1], sides[2]), stone, mass=mass_kg)
    elif mass_kg is not None:
        found = weighing.weigh_mass(float(mass_kg), stone)
    else:
        raise WeighingError("Give a scan, size_m or mass_kg.")
    return _figures_of(found)


def _figures_of(found: Weighed) -> WeighedFigures:
    """Take the figures of what was weighed."""
    return WeighedFigures(
        name=found.name,
        material=found.material.name,
        volume_m3=found.volume,
        mass_kg=found.mass,
        size_m=found.size,
        trust=found.confidence.word,
        why=found.confidence.reason,
        mended=found.changes,
        warnings=found.warnings,
    )


def _weigh_scan(scan: Any, material: Material, ruler: Ruler, mass: float | None) -> Weighed:
    """Weigh a file; a mesh in memory as the file that it could be, doubted alike."""
    if isinstance(scan, (str, Path)):
        return weighing.weigh_scan(Path(scan), material, ruler, mass).told(as_argument)
    from plumbstone.meshes.writing import ply_bytes

    try:
        piece = piece_from(scan, "piece")
    except ValueError as problem:
        raise WeighingError(f"The mesh {problem}") from None
    ruler = replace(ruler, unit=ruler.unit or "m")
    with TemporaryDirectory() as folder:
        path = Path(folder, "mesh.ply")
        path.write_bytes(ply_bytes(piece.vertices, piece.faces))
        try:
            found = weighing.weigh_scan(path, material, ruler, mass).told(_of_mesh)
        except ScanError as error:
            raise ScanError(Path("The mesh"), named(error.problem, _of_mesh)) from None
    return replace(found, name=piece.name)


def _of_mesh(thing: str, value: str) -> str:
    """Name a thing to who weighs a mesh in memory."""
    return "the mesh" if thing == "source" else as_argument(thing, value)

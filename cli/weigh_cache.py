"""Results of weighed scans, kept by the content of the file, so that a second run is instant."""

from dataclasses import astuple
from pathlib import Path
from typing import Any

from plumbstone.cli import kept_answers
from plumbstone.meshes.measures.openings import Extents
from plumbstone.meshes.ranges import Range
from plumbstone.volumes.bodies.weighing import Confidence, Weighed, mass_of
from plumbstone.volumes.scape.materials import Material


def recalled(place: Path, path: Path, material: Material) -> list[Weighed] | None:
    """Give what was weighed before from the same bytes; None if nothing was."""
    try:
        return [_weighed(row, path, material) for row in kept_answers.recalled(place)]
    except (ValueError, LookupError, TypeError):
        return None  # absent or damaged: weigh anew


def remembered(place: Path | None, found: list[Weighed]) -> None:
    """Keep results for a later run; a disk that refuses is no error."""
    kept_answers.remembered(place, [_row(weighed) for weighed in found])


def _row(weighed: Weighed) -> dict[str, Any]:
    """Give what does not hang on material and mass."""
    extents = weighed.extents
    assert extents is not None
    return {
        "volume": [*weighed.volume],
        "size": weighed.size,
        "confidence": astuple(weighed.confidence),
        "changes": weighed.changes,
        "warnings": weighed.warnings,
        "lowest": extents.lowest,
        "openings": extents.openings,
        "sides": extents.sides,
    }


def _weighed(row: dict[str, Any], path: Path, material: Material) -> Weighed:
    """Weigh kept results with the material asked for."""
    volume = Range(*row["volume"])
    density = material.density
    if density is None:
        raise ValueError(material.name)
    openings = tuple((float(a), float(b)) for a, b in row["openings"])
    return Weighed(
        name=path.stem,
        source=str(path),
        material=material,
        volume=volume,
        mass=mass_of(volume, density),
        size=tuple(row["size"]),
        confidence=Confidence(*row["confidence"]),
        changes=tuple(row["changes"]),
        warnings=tuple(row["warnings"]),
        extents=Extents(row["lowest"], openings, tuple(row["sides"])),
    )

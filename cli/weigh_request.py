"""What `weigh` is asked for: options parsed, files found, scans weighed side by side."""

import glob
import os
import re
from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

from plumbstone.cli.options import measured
from plumbstone.cli.output import counted, naming
from plumbstone.cli.wording.units import Units, figures_in
from plumbstone.meshes.errors import PlumbstoneError, unreadable
from plumbstone.meshes.measures.rulers import FILE_ALONE, Known, Ruler
from plumbstone.meshes.ranges import Range
from plumbstone.meshes.telling import named
from plumbstone.volumes.bodies import weighing
from plumbstone.volumes.bodies.weighing import Weighed
from plumbstone.volumes.sanity import checked
from plumbstone.volumes.scape.materials import Material, find_material
from plumbstone.volumes.scape.quantities import each_unit, is_quantity, parse_quantity, read_to

MAT_CONTROL = 0.100  # [m]; see plumbstone.meshes.reading.mat
# ISO/IEC 7810 ID-1; ISO 216; ANSI/ASME Y14.1 [m]
KNOWN_SHEETS = {
    "card": (0.08560, 0.05398), "a4": (0.297, 0.210), "a5": (0.210, 0.148),
    "letter": (0.2794, 0.2159),
}  # fmt: skip
WATER = 997.05  # fresh, 25 °C [kg/m³]; see plumbstone.volumes.density
LOST = "the process that weighed it was stopped, maybe for want of memory; try it alone."
FIGURES = "0123456789.,/ -¼½¾⅛⅜⅝⅞"  # of a side without its unit
# Files that lie beside scans and are none; all others of a folder are weighed or told of.
BESIDE = (".mtl", ".bin", ".jpg", ".jpeg", ".png", ".webp", ".heic", ".md", ".json", ".pdf")
MANY = 4  # files from which on a pool of processes pays its start

Failures = list[dict[str, str]]


@dataclass(frozen=True, slots=True)
class Request:
    """The options that hold for every piece, in SI units."""

    material: Material
    mass: float | None = None  # [kg]
    volume: Range | None = None  # by the bucket [m³]
    ruler: Ruler = FILE_ALONE
    every: bool = False
    same_stone: bool = False
    rescale: bool = False
    meshes: bool = False  # whether the meshes themselves are wanted
    units: Units = Units.METRIC  # of what is told


def by_scale(
    material: str,
    mass: str | None = None,
    in_water: str | None = None,
    bucket_rise: str | None = None,
    scale_step: str | None = None,
    scale_capacity: str | None = None,
) -> tuple[Material, float | None, Range | None]:
    """Parse what a scale told: the material with its measured density, mass [kg], volume [m³].

    Raises
    ------
    PlumbstoneError
        If something is none of its kind, or more or less than a piece can have.
    """
    found, volume = find_material(material), None
    dry, submerged = measured("--mass", mass, "mass"), measured("--in-water", in_water, "mass")
    rise = _rise(bucket_rise)
    step = measured("--scale-step", scale_step, "mass") or 1e-3
    capacity = measured("--scale-capacity", scale_capacity, "mass")
    if submerged is not None and dry is not None:
        density = weighing.density_of_two_weighings(dry, submerged, step, capacity, WATER)
        found = weighing.with_density(found, density)
    if rise is not None:
        volume = weighing.volume_by_bucket(rise, step, capacity, WATER)
        if dry is not None:
            density = weighing.density_by_bucket(dry, volume, found)
            found = weighing.with_density(found, density)
    return found, dry, volume


def ruler_of(
    unit: str | None = None,
    longest: str | None = None,
    across: str | None = None,
    mat: bool = False,
    mat_control: str | None = None,
    known: str | None = None,
) -> Ruler:
    """Parse what is known of lengths: of the file, of the piece, and beside it in view.

    Raises
    ------
    PlumbstoneError
        If something is no length, or lengths contradict each other.
    """
    ends = measured("--longest", longest, "length"), measured("--across", across, "length")
    if ends[0] and ends[1] and ends[1] > ends[0]:
        raise PlumbstoneError("--across is the width at right angles to --longest: less than it.")
    line = measured("--mat-control", mat_control, "length")
    if line is not None and not 0.9 < line / MAT_CONTROL < 1.1:
        raise PlumbstoneError(f'--mat-control "{mat_control}": the line is drawn 10 cm long.')
    thing = None if known is None else _known(known)
    read = max(read_to(text) for text in (longest or "", across or ""))
    return Ruler(unit, *ends, read, mat=mat, control=line, known=thing)


def weigh_all(
    request: Request,
    scans: Sequence[Path] = (),
    size: str | None = None,
    factor: float | None = None,
    limbs: Sequence[str] = (),
) -> tuple[list[Weighed], Failures]:
    """Weigh by tape, with its factor [-], limbs, bucket or mass; or scans, a bad one a row."""
    failed: Failures = []
    if scans:
        found, failed = _weigh_scans(request, _files(scans))
    else:
        found = [_weighed(request, size, factor, limbs)]
    found = [weighing.checked_by_table(weighed) for weighed in found]
    for weighed in found:
        checked({weighed.name: {"volume_m3": weighed.volume, "mass_kg": weighed.mass}})
    return found, failed


def _weighed(
    request: Request, size: str | None, factor: float | None, limbs: Sequence[str]
) -> Weighed:
    """Weigh one piece of which there is no scan."""
    material, mass = request.material, request.mass
    if size is not None:
        example = "28 x 19 x 15 cm"
        length, width, height = _sides(size, 3, "--size", "length x width x height", example)
        return weighing.weigh_size((length, width, height), material, factor, mass)
    if limbs:
        return weighing.weigh_limbs([_limb(text) for text in limbs], material, mass)
    if request.volume is not None:
        return weighing.weigh_volume(request.volume, material, mass)
    if mass is None:
        problem = 'Name a scan, or give --size "28 x 19 x 15 cm", --limb, --bucket-rise or --mass.'
        raise PlumbstoneError(problem)
    return weighing.weigh_mass(mass, material)


def readable(scans: Sequence[Path]) -> list[Path]:
    """List the files that will be read; what is missing or empty is told when it is weighed."""
    with suppress(PlumbstoneError):
        return _files(scans)
    return list(scans)


def opening_of(text: str | None) -> tuple[float, float] | None:
    """Parse "80 x 35 cm", or take the opening of the tank in a scape file [m]."""
    if text is None:
        return None
    if text.endswith(".toml"):
        from plumbstone.volumes.scape.scape import read_scape

        tank = read_scape(Path(text)).tank
        return tank.length - 2 * tank.bracing, tank.depth - 2 * tank.bracing
    width, depth = _sides(text, 2, "--opening", "width x depth", "80 x 35 cm")
    return width, depth


def _weigh_scans(request: Request, files: list[Path]) -> tuple[list[Weighed], Failures]:
    """Weigh scans, many of them side by side; heaviest first."""
    if request.same_stone:
        from plumbstone.meshes.closing.joining import joined_scan

        if len(files) != 2:
            raise PlumbstoneError(f"--same-stone takes two scans of one stone, not {len(files)}.")
        scan = joined_scan(files[0], files[1], request.ruler)
        return [_as_weighed(weighing.weigh_closed(scan, request.material), request)], []
    _one_each(request, files, lengths=True)
    found: list[Weighed] = []
    failed: Failures = []
    for path, pieces in _each(request, files):
        if isinstance(pieces, str):
            if len(files) == 1:
                raise PlumbstoneError(pieces)
            failed.append(
                {"file": str(path), "reason": named(pieces, naming(), figures_in(request.units))}
            )
        else:
            found += pieces
    _one_each(request, found, lengths=False)
    found = [_as_weighed(weighed, request) for weighed in found]
    return sorted(found, key=lambda weighed: (-weighed.mass.mid, weighed.source)), failed


def _one_each(request: Request, pieces: Sequence[object], *, lengths: bool) -> None:
    """Refuse what was measured of one piece for several: a mass, and of files their lengths."""
    measured: dict[str, object] = {"--mass": request.mass, "--bucket-rise": request.volume}
    if lengths:
        measured |= {"--longest": request.ruler.longest, "--across": request.ruler.across}
    for option, value in measured.items():
        if value is not None and len(pieces) > 1:
            problem = f"{option} is that of one piece, not of {len(pieces)}; weigh one with it."
            raise PlumbstoneError(problem)


def _each(request: Request, files: list[Path]) -> Iterator[tuple[Path, list[Weighed] | str]]:
    """Weigh each file in turn, in a pool of processes if there are many."""
    workers = _workers()
    if len(files) < MANY or workers < 2 or request.meshes:
        for path in files:
            yield path, weigh_file(request, path)
        return
    from plumbstone.cli.workers import side_by_side

    found = side_by_side(partial(weigh_file, request), files, min(workers, len(files)))
    for path, pieces in zip(files, counted(found, "Scans", len(files)), strict=True):
        yield path, f"{path}: {LOST}" if pieces is None else pieces


def _workers() -> int:
    """How many processes may run side by side; PLUMBSTONE_WORKERS sets another number."""
    wanted = os.environ.get("PLUMBSTONE_WORKERS", "")
    if wanted.isdigit() and int(wanted) > 0:
        return int(wanted)
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def weigh_file(request: Request, path: Path) -> list[Weighed] | str:
    """Weigh the bodies of one scan, or say why not; taken from the cache if it can be."""
    from plumbstone.cli.weigh_cache import recalled, remembered
    from plumbstone.meshes.contents import file_stamp, kept_place

    ruler, every = request.ruler, request.every
    stamp, place = file_stamp(path), None
    if not request.meshes:
        place = kept_place(path, "weigh", ".json", repr(ruler), repr(every))
    try:
        known = None if place is None else recalled(place, path, request.material)
        if known is not None:
            return _numbered(known)
        from plumbstone.meshes.closing.keeping import kept_scan
        from plumbstone.meshes.closing.scans import closed_scans

        scans = closed_scans(path, ruler) if every else (kept_scan(path, ruler),)
        found = [weighing.weigh_closed(scan, request.material) for scan in scans]
    except PlumbstoneError as error:
        return error.text
    if not request.meshes:
        found = [replace(weighed, piece=None, seen=None, away=None) for weighed in found]
        if stamp == file_stamp(path):  # else it changed while it was read
            remembered(place, found)
    return _numbered(found)


def _numbered(found: list[Weighed]) -> list[Weighed]:
    """Tell the bodies of one scan apart by a number."""
    if len(found) == 1:
        return found
    return [replace(weighed, name=f"{weighed.name} {k}") for k, weighed in enumerate(found, 1)]


def _as_weighed(weighed: Weighed, request: Request) -> Weighed:
    """Scale a scan to its volume in water or its mass, or check it by that."""
    if request.volume is not None:
        weighed = weighing.rescaled_to_volume(weighed, request.volume)
    if request.mass is None:
        return weighed
    if request.rescale:
        return weighing.rescaled_to_mass(weighed, request.mass)
    return weighing.checked_by_mass(weighed, request.mass)


def _files(scans: Sequence[Path]) -> list[Path]:
    """Spread folders and patterns into the scans they hold, each once."""
    return list({path.absolute(): path for path in _spread(scans)}.values())


def _spread(scans: Sequence[Path]) -> Iterator[Path]:
    for path in scans:
        if path.is_dir():
            inside = _scans_in(path)
            if not inside:
                raise PlumbstoneError(f"{path}: no scan in this folder.")
            yield from inside
        elif not path.exists() and (matches := sorted(glob.glob(str(path)))):  # noqa: PTH207
            yield from map(Path, matches)
        else:
            yield path


def _scans_in(folder: Path) -> list[Path]:
    """List all in a folder but what lies beside scans, and folders of such things."""
    try:
        seen = sorted(p for p in folder.iterdir() if not p.name.startswith("."))
    except OSError as error:
        raise PlumbstoneError(f"{folder}: {unreadable(folder, error)}") from None
    scans = [p for p in seen if p.suffix.lower() not in BESIDE]
    return [p for p in scans if not p.is_dir() or _holds_scans(p)]


def _holds_scans(folder: Path) -> bool:
    """Tell whether there is more in a folder than what lies beside scans; if in doubt there is."""
    with suppress(OSError):
        return any(p.suffix.lower() not in BESIDE and p.is_file() for p in folder.iterdir())
    return True


def _rise(text: str | None) -> float | None:
    """Parse what a reading rises by [kg]; a scale may tell water in millilitres."""
    if text is None or not is_quantity(text, "volume"):
        return measured("--bucket-rise", text, "mass")
    return WATER * (measured("--bucket-rise", text, "volume") or 0.0)


def _known(text: str) -> Known:
    """Parse a thing of known size: a name, or its kind and sides."""
    kind, _, sides = text.strip().partition(" ")
    if text.strip().lower() in KNOWN_SHEETS:
        return Known("sheet", KNOWN_SHEETS[text.strip().lower()], text.strip())
    counts = {"sheet": 2, "can": 2, "box": 3}
    if kind.lower() not in counts or not sides:
        problem = f'--known "{text}": write card, A4, "can 66 x 115 mm" or "box 20 x 10 x 5 cm".'
        raise PlumbstoneError(problem)
    found = _sides(sides, counts[kind.lower()], "--known", "its sides", "box 20 x 10 x 5 cm")
    ordered = found if kind.lower() == "can" else sorted(found, reverse=True)
    return Known(kind.lower(), tuple(ordered), text.strip())


def _sides(text: str, count: int, option: str, order: str, example: str) -> list[float]:
    """Parse lengths joined by x [m]: a unit after each, or one after the last for all."""
    parts = re.split(r" *[x×*] *| +by +", text.strip(), flags=re.IGNORECASE)
    unit = parts[-1].lstrip(FIGURES)
    if len(parts) != count:
        raise PlumbstoneError(f'{option} "{text}": write {order}, "{example}".')
    if not any(part.lstrip(FIGURES) for part in parts):
        raise PlumbstoneError(f"{option}: no unit; write {each_unit(text.strip(), 'length')}.")
    if not any(part.lstrip(FIGURES) for part in parts[:-1]):
        parts = [*(f"{part} {unit}".strip() for part in parts[:-1]), parts[-1]]
    # What is no number is worse than what lacks a unit; of others the last was typed with it.
    worst = sorted(range(count), key=lambda k: (not parts[k].lstrip(FIGURES), -k))
    found = {k: parse_quantity(parts[k], "length") for k in worst}
    if min(found.values()) <= 0:
        raise PlumbstoneError(f'{option} "{text}": every side must be more than nothing.')
    return [found[k] for k in range(count)]


def _limb(text: str) -> tuple[float, float, float]:
    """Parse "60 cm, 25 cm, 12 cm": length, girth at one end, girth at the other."""
    joined = re.sub(r"(?<=[^0-9]), *|, +|; *", " x ", text)  # other commas are decimal
    length, start, end = _sides(joined, 3, "--limb", "length, girth, girth", "60 cm, 25 cm, 12 cm")
    return length, start, end

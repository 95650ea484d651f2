"""What to hang on a piece of wood, and where: tie points, least sinkers, stones at hand."""

import itertools
import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import scipy

from plumbstone.meshes.measures.columns import Grid, columns_of
from plumbstone.meshes.measures.displacement import mesh_centre
from plumbstone.meshes.measures.faults import shells
from plumbstone.meshes.piece import Floats, Piece
from plumbstone.volumes.bodies.placement import Body
from plumbstone.volumes.figures import StrappingFigures
from plumbstone.volumes.holding.equilibrium import Rig, least_sinkers
from plumbstone.volumes.holding.free_bodies import Stage
from plumbstone.volumes.holding.ties import hung_from, skin_of
from plumbstone.volumes.scape.groups import KEPT, Group, Sinker
from plumbstone.volumes.scape.materials import Material

MOST_SINKERS = 3
MOST_POINTS = 6  # of one kind of places
NEAR = 0.03  # tie points nearer than this are one [m]
LATTICE = 60  # cells along a piece, on which limbs are told apart
LIMB = 0.03  # a limb stands at least so far above its crotch [m]
BURIED = 0.01  # a limb end lies at least so far below the soil line [m]
BY_HAND = 5.0  # what one hand sets under water [kg]; common practice, no source
LIGHTEST = 0.1  # what is worth a tie [kg]; common practice, no source
TIMES_WOOD = 4.0  # all sinkers together, in times of what the wood weighs
STEPS = (1.0, 1.1, 1.3, 1.7)  # times the least, until the whole verdict is "stays"
# Steps in which places are told [m], and by how much more stone at most [kg]: half a centimetre
# and 10 g; a quarter inch and, with room to spare, a fiftieth of a pound.
TOLD = ((5e-3, 0.0), (6.35e-3, 0.023))
LIGHTER = 0.97  # of what fewer sinkers weigh: else they are not worth another tie
CHOICES = 4  # of stones at hand that are tried
EVERY = 3  # of the levels, while places are tried


@dataclass(frozen=True, slots=True)
class Offer:
    """Sinkers of one number at the best of the allowed tie points, judged as a whole."""

    material: Material
    points: tuple[tuple[float, float, float], ...]  # [m]
    masses: tuple[float, ...]  # dry, one at each point, in whole tens of grams [kg]
    hows: tuple[str, ...]  # "hanging" where there is room below, else "strapped"
    stones: tuple[str, ...] = ()  # stones at hand that do, one at each point; empty: none do

    @property
    def total(self) -> float:
        """All sinkers together [kg]."""
        return sum(self.masses)


@dataclass(frozen=True, slots=True, eq=False)
class Offers:
    """What would hold one group, in place of what hangs on it now."""

    points: Floats  # (p, 3) places where a tie may go [m]
    why: str  # what these places are
    best: tuple[Offer, ...]  # one, two, three sinkers; more only where they are lighter than
    # fewer would be; empty: none at these points holds it
    feet: tuple[tuple[float, float, float], ...] = ()  # where one or two more feet hold it as
    # drawn [m]; sought where no sinkers are offered
    strapping: StrappingFigures | None = None  # sought with the whole tank, where none are offered


def offers_for(
    stage: Stage,
    number: int,
    rigs_of: Callable[[Stage], Sequence[Rig]],
    stays: Callable[[Stage], bool],
    bed: Floats,
    grid: Grid,
    material: Material,
    at_hand: Sequence[Body],
) -> Offers:
    """Find the least sinkers for a group at its tie points, or at those offered by default.

    `rigs_of` gives the rigs of the group at the ends of its ranges, the reserve on its lift;
    `stays` is the whole verdict on a stage: whether it is proved that the group stays. `bed` is its
    surface, (rows, columns) [m]. Sinkers are of one material; stones at hand are chosen from.

    Notes
    -----
    Hanging and standing sinkers of the group are left out, strapped ones and what lies on it
    stay. What is offered holds it both as stones that pull with their whole weight and as
    stones that stand with taut ties. Places that will not show come first; others only where
    none of these will do.
    """
    group = stage.group_of(number)
    bare = replace(group, sinkers=tuple(s for s in group.sinkers if s.how in KEPT))
    stage = stage.with_group(number, bare)
    if stays(stage):
        nothing = Offer(material, (), (), ())
        return Offers(np.empty((0, 3)), "no place: it holds with nothing tied on", (nothing,))
    coarse = stage.at_levels(_fewer(stage.levels))
    rigs = rigs_of(coarse)
    wood = [b.piece for b in stage.wood_of(number)]
    most = min(BY_HAND, TIMES_WOOD * sum(b.mass.low for b in stage.wood_of(number)))
    tried: list[tuple[Floats, str]] = []
    for points, why in places_for(group, wood, bed, grid):
        if not len(points):
            continue
        tried.append((points, why))
        ground = bed[grid.cell_at(points[:, 0], points[:, 1])]
        found = _by_number(rigs, points, ground, coarse, number, material, most)
        proved = [o for o in (_proved(offer, stage, number, stays) for offer in found) if o]
        if proved:
            best = _lighter(proved)
            with_stones = (_with_stones(o, at_hand, stage, number, stays) for o in best)
            return Offers(points, why, tuple(with_stones))
    points, why = tried[0] if tried else (np.empty((0, 3)), "")
    return Offers(points, why if group.tie_points else "any place that was tried", ())


def feet_for(
    stage: Stage, number: int, stays: Callable[[Stage], bool]
) -> tuple[tuple[float, float, float], ...]:
    """Places of a body's underside [m] where one or two more feet hold it as drawn, lowest first.

    Judged by the whole verdict, the feet as firm as the floor, where its underside is too flat
    to slide on them; empty where none do.
    """
    wood = stage.wood_of(number)
    faces = skin_of(wood)
    group = stage.group_of(number)
    normals = np.cross(faces[:, 1] - faces[:, 0], faces[:, 2] - faces[:, 0])
    flat = -normals[:, 2] * group.friction.low > np.hypot(normals[:, 0], normals[:, 1])
    under = faces[flat].reshape(-1, 3)
    under = under[np.argsort(under[:, 2], kind="stable")]
    cells = np.floor(under[:, :2] / NEAR).astype(np.int64)
    lowest = under[np.sort(np.unique(cells, axis=0, return_index=True)[1])]
    coarse = stage.at_levels(_fewer(stage.levels))
    pairs = itertools.combinations(_spread(lowest), 2)
    for places in (*lowest[:, None], *map(np.array, pairs)):
        told = (np.column_stack((_as_told(places[:, :2], step), places[:, 2])) for step, _ in TOLD)
        at = [(coarse, places), (stage, places), *((stage, rounded) for rounded in told)]
        if all(stays(tried.with_feet(number, feet)) for tried, feet in at):
            return tuple((float(x), float(y), float(z)) for x, y, z in places)
    return ()


def limb_ends_below(piece: Piece, bed: Floats, grid: Grid) -> Floats:
    """Lowest places of the parts of a piece that lie below the surface of the bed, (p, 3) [m]."""
    corners = piece.vertices
    under = corners[:, 2] < bed[grid.cell_at(corners[:, 0], corners[:, 1])] - BURIED
    faces = piece.faces[under[piece.faces].all(axis=1)]
    if not len(faces):
        return np.empty((0, 3))
    number = shells(faces, len(corners))
    buried = (corners[np.unique(faces[number == k])] for k in range(int(number.max()) + 1))
    return np.array([part[int(part[:, 2].argmin())] for part in buried])


def lowest_crotch(piece: Piece, grid: Grid) -> Floats:
    """Place [m] where the two lowest limbs of a piece part, (1, 3); (0, 3) where they never do.

    Notes
    -----
    From the top down, parts above a level are told apart; where two parts that both stand
    well above the level become one, there is a crotch. Parts are those of a lattice.
    """
    step = float(piece.size.max()) / LATTICE
    coarse = Grid.of_spacing(grid.length, grid.depth, step)
    window = columns_of(piece.vertices, piece.faces, coarse)
    low, high = float(piece.low[2]), float(piece.high[2])
    heights = np.arange(low + step / 2, high, step)
    solid = np.zeros((len(heights), *window.lowest().shape), dtype=bool)
    for bottom, top in zip(window.bottoms, window.tops, strict=True):
        solid |= (heights[:, None, None] >= bottom) & (heights[:, None, None] <= top)
    found = np.empty((0, 3))
    before = np.zeros(solid.shape, dtype=np.int32)
    tall: set[int] = set()
    for level in range(len(heights) - 1, -1, -1):
        parts, _ = scipy.ndimage.label(solid[level:])
        for number in np.unique(parts[0][parts[0] > 0]):
            above = tall & {int(n) for n in np.unique(before[level + 1 :][parts[1:] == number])}
            if len(above) > 1:
                row, column = np.argwhere(parts[0] == number).mean(axis=0)
                x = (column + window.column + 0.5) * coarse.spacing[0]
                y = (row + window.row + 0.5) * coarse.spacing[1]
                found = np.array([[x, y, heights[level]]])
        before[level:] = parts
        tall = {
            number
            for number in range(1, int(parts.max()) + 1)
            if np.ptp(np.flatnonzero((parts == number).any(axis=(1, 2)))) * step >= LIMB
        }
    return found


def _fewer(levels: Floats) -> Floats:
    """Leave out levels, but not the first and the last."""
    return np.unique(np.concatenate([levels[::EVERY], levels[-1:]]))


def places_for(
    group: Group, wood: Sequence[Piece], bed: Floats, grid: Grid
) -> Iterable[tuple[Floats, str]]:
    """Give the places where a tie may go: what the file names, else first what will not show."""
    if group.tie_points:
        yield np.array(group.tie_points), "the tie points that you named"
        return
    yield (
        _apart(np.concatenate([_below(piece, bed, grid) for piece in wood]))[:MOST_POINTS],
        "limbs below the soil line",
    )
    crotches = np.concatenate([lowest_crotch(piece, grid) for piece in wood])
    yield _apart(crotches)[:MOST_POINTS], "the lowest crotch"
    feet = _apart(np.concatenate([_feet(p) for p in wood]))
    yield feet[:MOST_POINTS], "the feet"
    seen = np.concatenate([_amid_and_ends(piece) for piece in wood])
    yield _apart(np.concatenate([seen, feet]))[: 2 * MOST_POINTS], "places that will show"


def _below(piece: Piece, bed: Floats, grid: Grid) -> Floats:
    """Limb ends below the soil line, then places along the limbs there, (p, 3) [m]."""
    corners = piece.vertices
    under = corners[:, 2] < bed[grid.cell_at(corners[:, 0], corners[:, 1])] - BURIED
    return np.concatenate([limb_ends_below(piece, bed, grid), _spread(corners[under])])


def _feet(piece: Piece) -> Floats:
    """Places near the lowest one, far from each other, (p, 3) [m]."""
    corners = piece.vertices
    return _spread(corners[corners[:, 2] < corners[:, 2].min() + NEAR])


def _amid_and_ends(piece: Piece) -> Floats:
    """Corner nearest to the middle, and those at both ends, (3, 3) [m]."""
    corners = piece.vertices
    off = corners - mesh_centre(corners, piece.faces)
    along = off @ np.linalg.svd(off, full_matrices=False)[2][0]
    amid = np.hypot(off[:, 0], off[:, 1]) + 0.1 * np.abs(off[:, 2])
    return corners[[int(amid.argmin()), int(along.argmin()), int(along.argmax())]]


def _spread(corners: Floats) -> Floats:
    """Choose corners far from each other, the lowest first, (p, 3)."""
    if not len(corners):
        return np.empty((0, 3))
    chosen = [int(corners[:, 2].argmin())]
    far = np.linalg.norm(corners - corners[chosen[0]], axis=1)
    while len(chosen) < MOST_POINTS and far.max() > NEAR:
        chosen.append(int(far.argmax()))
        far = np.minimum(far, np.linalg.norm(corners - corners[chosen[-1]], axis=1))
    return np.asarray(corners[chosen], dtype=float)


def _apart(points: Floats) -> Floats:
    """Keep the lowest of places that are nearly one, lowest first."""
    kept: list[Floats] = []
    for point in points[np.argsort(points[:, 2], kind="stable")]:
        if all(float(np.linalg.norm(point - other)) > NEAR for other in kept):
            kept.append(point)
    return np.array(kept).reshape(-1, 3)


def _by_number(
    rigs: Sequence[Rig],
    points: Floats,
    ground: Floats,
    stage: Stage,
    number: int,
    material: Material,
    most: float,
) -> list[Offer]:
    """Best set of one, two and three points by the levels that are tried, over ground (p,) [m]."""
    wet = 1 - stage.water / material.dense.low
    shares = np.where(stage.levels > 0, wet, 1.0)
    own = {piece.entry.name for piece in stage.bodies[number].pieces}
    others = [body.piece for name, body in stage.placed.items() if name not in own]
    wood = skin_of(stage.wood_of(number))
    found: list[Offer] = []
    everywhere = least_sinkers(rigs, _beside(points), shares, most)
    if everywhere is None:
        return []
    used = np.argsort(-everywhere)[:MOST_SINKERS]
    least = float(everywhere.sum())  # no set of these places is lighter
    for count in range(1, min(MOST_SINKERS, len(points)) + 1):
        if found and least >= LIGHTER * found[-1].total:
            break
        sets = itertools.combinations(range(len(points)), count)
        tried = sets if count < MOST_SINKERS else iter([tuple(int(i) for i in used)])
        best: Offer | None = None
        for chosen in tried:
            places = points[list(chosen)]
            masses = least_sinkers(rigs, places, shares, most)
            if masses is None or (best is not None and masses.sum() >= best.total):
                continue
            masses = least_sinkers(rigs, _beside(places), shares, most)
            if masses is None or (count > 1 and masses.min() < 1e-3):
                continue
            if best is None or masses.sum() < best.total:
                best = _offer(material, places, ground[list(chosen)], masses, others, wood)
            if best.total <= least / LIGHTER:
                break
        if best is not None:
            found.append(best)
    return found


def _beside(points: Floats) -> Floats:
    """Corners of where ties may be that are told to be at points (p, 3): (4, p, 3) [m]."""
    corners = np.array([(x, y, 0) for x in (-1, 1) for y in (-1, 1)])
    return points + max(TOLD)[0] / 2 * corners[:, None]


def _offer(
    material: Material,
    points: Floats,
    ground: Floats,
    masses: Floats,
    others: Sequence[Piece],
    wood: Floats,
) -> Offer:
    """Make an offer; where there is no room for the stone below, it is strapped on."""
    heights = (masses / material.dense.mid) ** (1 / 3)
    below = [np.array([*point[:2], hung_from(wood, point)]) for point in points]
    rooms = [_room_below(point, float(z), others) for point, z in zip(below, ground, strict=True)]
    return Offer(
        material,
        tuple((float(x), float(y), float(z)) for x, y, z in points),
        tuple(float(mass) for mass in masses),
        tuple("hanging" if r > h else "strapped" for r, h in zip(rooms, heights, strict=True)),
    )


def _room_below(point: Floats, ground: float, others: Sequence[Piece]) -> float:
    """Height below a place [m] that is free down to its ground, or to the box of another piece."""
    under = (
        float(piece.high[2])
        for piece in others
        if (piece.low < point).all() and (point[:2] < piece.high[:2]).all()
    )
    return float(point[2]) - max((ground, *under))


def _proved(
    offer: Offer, stage: Stage, number: int, stays: Callable[[Stage], bool]
) -> Offer | None:
    """Give the offer in whole tens of grams that the whole verdict calls held; None: none is.

    Held with stones that hang, with such that stand, and at the places as they are told.
    """
    group = stage.group_of(number)
    standing = ("standing",) * len(offer.masses)
    for more in STEPS:
        masses = tuple(
            max(LIGHTEST, math.ceil(mass * more * 100 - 1e-6) / 100) for mass in offer.masses
        )
        if max(masses) > BY_HAND:
            return None
        rounded = replace(offer, masses=masses)
        told = [rounded, *(_told(rounded, *step) for step in TOLD)]
        tried = (replace(o, hows=hows) for o in told for hows in (o.hows, standing))
        if all(stays(stage.with_group(number, _with_offer(group, o))) for o in tried):
            return rounded
    return None


def _told(offer: Offer, step: float, more: float) -> Offer:
    """Round the places of an offer [m] as a reader is told them, its masses heavier [kg]."""
    places = _as_told(np.array(offer.points), step)
    masses = tuple(mass + more for mass in offer.masses)
    points = tuple((float(x), float(y), float(z)) for x, y, z in places)
    return replace(offer, points=points, masses=masses)


def _as_told(places: Floats, step: float) -> Floats:
    """Round places to a step [m]."""
    return np.round(places / step) * step


def _with_offer(group: Group, offer: Offer) -> Group:
    """Add the sinkers of an offer to a group."""
    added = tuple(
        Sinker(mass, offer.material, how, at)
        for mass, how, at in zip(offer.masses, offer.hows, offer.points, strict=True)
    )
    return replace(group, sinkers=(*group.sinkers, *added))


def _lighter(offers: Sequence[Offer]) -> list[Offer]:
    """Keep larger sets only where they save stone."""
    kept: list[Offer] = []
    for offer in offers:
        if not kept or offer.total < LIGHTER * kept[-1].total:
            kept.append(offer)
    return kept


def _with_stones(
    offer: Offer, at_hand: Sequence[Body], stage: Stage, number: int, stays: Callable[[Stage], bool]
) -> Offer:
    """Name the lightest stones at hand that will do, judged as they weigh; none: they lack."""
    group = stage.group_of(number)

    def held_by(stones: Sequence[Body], end: str) -> Stage:
        sinkers = tuple(
            Sinker(getattr(stone.mass, end), stone.entry.material, how, at)
            for stone, how, at in zip(stones, offer.hows, offer.points, strict=True)
        )
        return stage.with_group(number, replace(group, sinkers=(*group.sinkers, *sinkers)))

    for stones in _fitting(offer, at_hand, stage.water) if offer.points else ():
        if all(stays(held_by(stones, end)) for end in ("low", "high")):
            return replace(offer, stones=tuple(stone.entry.name for stone in stones))
    return offer


def _fitting(offer: Offer, stones: Sequence[Body], water: float) -> list[tuple[Body, ...]]:
    """Choices of stones that weigh enough dry and in water, one for each mass, lightest first."""
    wet = 1 - water / offer.material.dense.low
    ranked = sorted(stones, key=lambda stone: stone.mass.low)
    heavy = (
        [s for s in ranked if s.mass.low >= mass and s.mass_in_water(water).low >= mass * wet]
        for mass in offer.masses
    )
    choices = itertools.product(*(enough[:CHOICES] for enough in heavy))
    apart = (choice for choice in choices if len(set(map(id, choice))) == len(choice))
    return sorted(apart, key=lambda choice: sum(s.mass.low for s in choice))[:CHOICES]

"""Where bodies touch: the true patches between their faces, once they have come to rest."""

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
import scipy

from plumbstone.meshes.measures.columns import Grid, Window
from plumbstone.meshes.measures.nearest import distance_to
from plumbstone.meshes.piece import Flags, Floats, Indices
from plumbstone.meshes.shapes.placing import shared_heights, where_both
from plumbstone.volumes.bodies import contacts

EXACT = 1e-4  # [m]: nearer than this to where it rests, a body touches
TRULY = 1e-7  # [m]: the same, of what does not rock
ROCKS = math.radians(1.0)  # by so much it may rock before its wood is said to move
GENEROUS = 3e-3  # [m]: nearer than this, it may touch once things have shifted
THROUGH = 0.02  # [m]: so far below a top that is not drawn exactly, a body still lies on it
FLANK = 0.5  # [-]: upward part of a normal; what is steeper is a flank, nothing rests on it
SLOPE_OVER = 0.02  # of the soil [m]
FOOT = 0.03  # [m]: corners so far above the lowest one may come to touch the floor
SINKS = 0.03  # [m]: so deep what does not rest as drawn may come down on another piece
SEARCHED = 2.5  # in cells of the grid: how near the coarse gap must come to be looked at exactly
LEANS = 1.0  # [degrees]: from here on a body does not rest as it is drawn
DRAWN_THROUGH = 2e-3  # [m]: from here on a pose is not drawn well enough to be judged
BESIDE = 0.87  # [-]: depth over height of what two pieces share; less (30°) moves them aside
SHEER = 1e3  # [-]: the slope of a flank that no cell beside it tells of
ROUNDING = 1e-12  # [m]
SAMPLED = 30  # places at which it is measured how deep two pieces are drawn into each other
FEW = 500  # faces of a mesh that are all looked at
PANES = {-2: "left", -3: "right", -4: "front", -5: "back"}  # numbers of panes among what carries


@dataclass(frozen=True, slots=True, eq=False)
class Form:
    """The surface of one piece in the tank."""

    vertices: Floats  # (n, 3) [m]
    faces: Indices  # (m, 3)
    window: Window  # its columns on the grid
    ground: float | None = 0.0  # level of what carries it from below [m]; None: the bed


@dataclass(frozen=True, slots=True, eq=False)
class Resting:
    """Where one body touches what is below it, once it has settled."""

    places: Floats  # (c, 3) [m]
    normals: Floats  # (c, 3) of what carries, upwards
    below: Indices  # (c,) which body lies under each; -1: glass or bed; of `PANES`: a pane
    gaps: Floats  # (c,) left between them as it rests [m]
    drawn: Floats  # (c,) the same in its drawn pose
    soil: Flags  # (c,) whether it is the bed
    slopes: tuple[float, float]  # along x and y, of the plane by which it sinks to rest so
    through: float  # how deep it is drawn into what is beside or below it [m]
    into: int = -1  # the body that it is drawn into deepest; -1: none, or glass or bed

    @property
    def lean(self) -> float:
        """How far it must tilt from its drawn pose to rest so [degrees]."""
        return contacts.lean_of(self.slopes)

    @property
    def steepness(self) -> Floats:
        """Slope of each contact [degrees]."""
        return np.degrees(np.arccos(np.clip(self.normals[:, 2], -1, 1)))

    def touching(self) -> Flags:
        """Which contacts touch as it rests, but for panes and flanks."""
        return np.asarray((self.gaps <= EXACT) & (self.normals[:, 2] >= FLANK))

    def firm(self) -> Flags:
        """Which contacts touch before it has rocked visibly, on a round underside.

        Where a curve turns by θ, what touches moves to where the gap was θ / 2 of the way there.
        """
        found = self.touching()
        truly = self.places[found & (self.gaps <= TRULY), :2]
        if len(truly):
            found[found] = self.gaps[found] - TRULY <= ROCKS / 2 * contacts.off_hull(
                self.places[found, :2], truly
            )
        return found

    def near(self, *, drawn: bool) -> Flags:
        """Which contacts may touch once things have shifted; only those of its drawn pose."""
        apart = self.drawn if drawn else np.minimum(self.drawn, self.gaps)
        return np.asarray(apart * self.normals[:, 2] <= GENEROUS)

    def with_feet(self, places: Floats) -> "Resting":
        """Give the same as drawn, with more places (f, 3) [m] that are carried by what is fixed."""
        none = np.zeros(len(places))
        return replace(
            self,
            places=np.vstack([self.places, places]),
            normals=np.vstack([self.normals, np.tile([0.0, 0.0, 1.0], (len(places), 1))]),
            below=np.append(self.below, np.full(len(places), -1)),
            gaps=np.append(self.drawn, none),
            drawn=np.append(self.drawn, none),
            soil=np.append(self.soil, none > 0),
            slopes=(0.0, 0.0),
        )

    def panes(self) -> tuple[str, ...]:
        """Names of the panes that it comes near."""
        return tuple(PANES[int(i)] for i in np.unique(self.below)[::-1] if i in PANES)

    def carriers(self) -> tuple[int, ...]:
        """Numbers of the bodies that it lies on."""
        found = self.below[(self.gaps <= EXACT) & (self.below >= 0)]
        return tuple(sorted(set(found.tolist())))

    def leans_on(self) -> tuple[int, ...]:
        """Numbers of the bodies that it touches as drawn, on their flanks alone."""
        near = self.near(drawn=True) & (self.below >= 0)
        flat = self.below[near & (self.normals[:, 2] >= FLANK)]
        return tuple(sorted({*self.below[near].tolist()} - {*flat.tolist()}))


@dataclass(frozen=True, slots=True, eq=False)
class _Points:
    """Places at which a body may touch, with the gap that is left there as drawn."""

    places: Floats
    normals: Floats
    gaps: Floats
    below: Indices
    soil: Flags
    deep: Floats  # how deep it is drawn into what is below there, whichever way is shortest [m]

    @classmethod
    def of(
        cls, places: Floats, normals: Floats, gaps: Floats, below: int, soil: bool = False
    ) -> "_Points":
        count = len(gaps)
        return cls(
            places.reshape(-1, 3), normals.reshape(-1, 3), gaps,
            np.full(count, below, dtype=np.int64), np.full(count, soil), np.zeros(count),
        )  # fmt: skip

    @classmethod
    def together(cls, parts: Sequence["_Points"]) -> "_Points":
        columns = zip(*(part.columns() for part in parts), strict=True)
        return cls(*map(np.concatenate, columns))

    def chosen(self, keep: Flags | Indices) -> "_Points":
        return _Points(*(column[keep] for column in self.columns()))

    def columns(self) -> list[Any]:
        return [getattr(self, f.name) for f in fields(self)]


def resting_of(
    forms: Sequence[Form],
    others: Sequence[tuple[int, Form]],
    bed: Floats,
    grid: Grid,
    centre: Floats,
    held_at: Floats,
    held_by: Floats,
) -> Resting:
    """Find where a body comes to rest, and what it touches there.

    Its forms lie on others, by their number, or on the bed, whose surface is given, (rows, columns)
    [m]. `centre` is its centre of mass from above, (2,) [m]; while it is dry it is held down at
    `held_at`, (t, 2) [m], by the shares `held_by` of its weight.

    Notes
    -----
    The vertical gap between two meshes is linear on the overlay of their faces, so it is
    least at corners of the overlay: a corner of one over a face of the other, or two edges
    that cross. It rests as drawn where what touches then can carry it. Else, among all
    planes below the gaps, the one highest at the centre of mass touches where it comes to
    rest.
    """
    ground = _Points.together(
        [*(_on_ground(form, bed, grid) for form in forms), *_on_panes(forms, grid)]
    )
    pairs = [(j, a, b) for j, b in others for a in forms if beside(a.window, b.window)]
    coarse = [_coarse(a.window, b.window, grid) for _, a, b in pairs]
    near = [ground.places[:, :2], *(c[0] for c in coarse)]
    heights = [ground.gaps, *(c[1] for c in coarse)]
    plane = contacts.rest_plane(np.concatenate(near), np.concatenate(heights), centre)
    parts = [ground]
    reach = SEARCHED * max(grid.spacing)
    for (j, a, b), (places, gaps) in zip(pairs, coarse, strict=True):
        left = np.minimum(gaps - _at(plane, places, centre), gaps)
        if (left < reach).any():
            parts.append(_exact(a, b, places[left < reach], grid, j))
    rest = _settled(_Points.together(parts), centre, contacts.Pulls(held_at, held_by))
    deep = [(shared_depth(a, b, grid), j) for j, a, b in pairs]
    through, into = max([(rest.through, rest.into), *deep])
    return replace(rest, through=through, into=into)


def lies_over(a: Form, b: Form, grid: Grid) -> bool:
    """Whether one piece may come to touch another beside it from above, or is drawn into it."""
    gaps = _coarse(a.window, b.window, grid)[1]
    near = bool((gaps < SINKS).any())
    return near or bool((shared_heights(a.window, b.window) > THROUGH).any())


def _settled(points: _Points, centre: Floats, held: contacts.Pulls) -> Resting:
    """Rest as drawn where that can be, else on the plane that lies highest at the centre."""
    up = points.normals[:, 2]
    carrying = points.chosen(up >= FLANK)
    lowest = float(carrying.gaps.min(initial=np.inf)) if len(carrying.gaps) else 0.0
    aside = carrying.gaps < -EXACT
    aside &= (carrying.deep <= DRAWN_THROUGH) & (carrying.deep < -BESIDE * carrying.gaps)
    if aside.any() and abs(float(carrying.gaps[~aside].min(initial=np.inf))) <= EXACT:
        # It stands on something else, and is drawn a little into what is beside it.
        standing = carrying.chosen(~aside)
        if contacts.can_rest(standing.places[standing.gaps <= EXACT, :2], centre, held):
            carrying, lowest = standing, float(standing.gaps.min())
    plane = np.array([lowest, 0.0, 0.0])
    if not contacts.can_rest(carrying.places[carrying.gaps - lowest <= EXACT, :2], centre, held):
        plane = contacts.rest_plane(carrying.places[:, :2], carrying.gaps, centre)
    sunk = _at(plane, points.places[:, :2], centre)
    left, drawn = points.gaps - sunk, points.gaps - max(lowest, 0.0)
    kept = np.minimum(left, drawn) * up <= GENEROUS
    near = points.chosen(kept)
    deep = points.deep
    if contacts.lean_of((float(plane[1]), float(plane[2]))) <= LEANS:
        # What sinks into a flank, which is left out of the plane, counts across it.
        deep = np.maximum(deep, np.clip(np.minimum(-left, sunk), 0, None) * up)
    worst = int(deep.argmax())
    beside = np.where(left[kept] < -EXACT, GENEROUS, 0.0)  # only near: nothing rests on it
    return Resting(
        near.places, near.normals, near.below, np.clip(left[kept], beside, None),
        np.clip(drawn[kept], 0, None), near.soil, (float(plane[1]), float(plane[2])),
        float(deep[worst]), max(int(points.below[worst]), -1) if deep[worst] > 0 else -1,
    )  # fmt: skip


def _at(plane: Floats, places: Floats, centre: Floats) -> Floats:
    return plane[0] + (places - centre) @ plane[1:]


def _on_panes(forms: Sequence[Form], grid: Grid) -> Iterator[_Points]:
    """Give the places at which a body comes near a pane; only at best one of them holds it."""
    corners = np.concatenate([form.vertices for form in forms])
    sides = zip(PANES, (0, 0, 1, 1), (0.0, grid.length, 0.0, grid.depth), strict=True)
    for number, axis, at in sides:
        places = corners[np.abs(corners[:, axis] - at) <= GENEROUS].copy()
        places[:, axis] = at
        inward = np.zeros((len(places), 3))
        inward[:, axis] = -1.0 if at else 1.0
        yield _Points.of(places, inward, np.zeros(len(places)), number)


def _on_ground(form: Form, bed: Floats, grid: Grid) -> _Points:
    """Places at which a piece may touch the glass, or the bed it is set on."""
    corners = form.vertices
    if form.ground is not None:
        low = corners[corners[:, 2] < corners[:, 2].min() + FOOT]
        up = np.broadcast_to([0.0, 0.0, 1.0], low.shape)
        places = np.column_stack([low[:, :2], np.full(len(low), form.ground)])
        return _Points.of(places, np.array(up), low[:, 2] - form.ground, -1)
    place = form.window.place
    surface, under = bed[place], form.window.lowest()
    # The slope of the soil is that over a few centimetres, not that of single cells.
    cells = max(3, round(SLOPE_OVER / max(grid.spacing)))
    smooth = scipy.ndimage.uniform_filter(surface, cells, mode="nearest")
    rise_y, rise_x = np.gradient(smooth, *reversed(grid.spacing))
    rows, columns = np.nonzero(np.isfinite(under) & (under < surface + FOOT))
    x, y = grid.x[columns + form.window.column], grid.y[rows + form.window.row]
    bottoms = under[rows, columns]
    # Cells tell how far a foot is pressed in, corners where it touches exactly.
    row, column = grid.cell_at(corners[:, 0], corners[:, 1])
    row = np.clip(row - form.window.row, 0, surface.shape[0] - 1)
    column = np.clip(column - form.window.column, 0, surface.shape[1] - 1)
    low = corners[:, 2] < surface[row, column] + FOOT
    rows, columns = np.append(rows, row[low]), np.append(columns, column[low])
    right = np.append(0 * x, corners[low, 0] - grid.x[column[low] + form.window.column])
    back = np.append(0 * y, corners[low, 1] - grid.y[row[low] + form.window.row])
    x, y = np.append(x, corners[low, 0]), np.append(y, corners[low, 1])
    height = surface[rows, columns] + rise_x[rows, columns] * right + rise_y[rows, columns] * back
    above = np.append(bottoms, corners[low, 2]) - height
    count = len(bottoms)
    slopes = np.stack([rise_x[rows, columns], rise_y[rows, columns]])
    # Where it is pressed in, its own skin pushes, not the level soil beside it.
    own = np.stack([_flatter(under, axis, grid.spacing[1 - axis]) for axis in (1, 0)])
    own = own[:, rows[:count], columns[:count]]
    steeper = (above[:count] < 0) & (np.hypot(*own) > np.hypot(*slopes[:, :count]))
    slopes[:, :count] = np.where(steeper, own, slopes[:, :count])
    pressed = bool((above[:count] < -DRAWN_THROUGH).any())  # then cells alone tell where
    kept = np.append(np.full(count, True), np.full(len(rows) - count, not pressed))
    normals = np.column_stack([*-slopes, np.ones(len(rows))])
    normals /= np.linalg.norm(normals, axis=1)[:, None]
    places = np.column_stack([x, y, height])
    return _Points.of(places, normals, np.maximum(above, 0.0), -1, soil=True).chosen(kept)


def _flatter(heights: Floats, axis: int, step: float) -> Floats:
    """Slope of a surface along an axis [-], to the side where it is flatter; steep without any."""
    known = np.where(np.isfinite(heights), heights, np.nan)
    before = np.diff(known, axis=axis, prepend=np.nan) / step
    after = np.diff(known, axis=axis, append=np.nan) / step
    flatter = np.where(np.abs(before) <= np.abs(after), before, after)
    one = np.where(np.isnan(before), after, before)
    return np.nan_to_num(np.where(np.isnan(flatter), one, flatter), nan=SHEER)


def beside(a: Window, b: Window) -> bool:
    """Whether two pieces share columns, or the boxes around them do."""
    (ra, ca), (rb, cb) = a.place, b.place
    along: bool = ra.start < rb.stop and rb.start < ra.stop
    across: bool = ca.start < cb.stop and cb.start < ca.stop
    return along and across


def _coarse(a: Window, b: Window, grid: Grid) -> tuple[Floats, Floats]:
    """Places (n, 2) of cells in which one piece lies over another, and the gaps (n,) [m].

    Only tops whose middle lies below the underside carry: a stone on wood is no ground.
    """
    (row, column), above, below = where_both(a, b)
    gaps = np.full(above[0].shape[1:], np.inf)
    for under, (bottom, top) in itertools.product(above[0], zip(*below, strict=True)):
        with np.errstate(invalid="ignore"):
            gap = under - top
            carries = ((bottom + top) / 2 <= under) & (gap > -THROUGH)
        gaps = np.where(carries & np.isfinite(gap), np.minimum(gaps, gap), gaps)
    found = np.isfinite(gaps)
    r, c = np.nonzero(found)
    return np.column_stack([grid.x[c + column], grid.y[r + row]]), gaps[found]


def shared_depth(a: Form, b: Form, grid: Grid) -> float:
    """How deep two pieces are drawn into each other [m] where they share more height than an edge.

    Along the floor that is as wide as the shared cells, or as a corner of one lies inside the
    other.
    """
    shared = shared_heights(a.window, b.window).max(axis=(0, 1), initial=0.0)
    high = float(shared.max(initial=0.0))
    if high <= DRAWN_THROUGH:
        return 0.0
    wide = float(2 * scipy.ndimage.distance_transform_edt(np.pad(shared > THROUGH, 1)).max() - 1)
    across = wide * min(grid.spacing) if wide > 2 else 0.0
    return min(high, max(across, _deepest_corner(a, b, grid), _deepest_corner(b, a, grid)))


def _deepest_corner(a: Form, b: Form, grid: Grid) -> float:
    """How deep corners of one piece lie inside another, amid what they share [m]."""
    row, column = grid.cell_at(a.vertices[:, 0], a.vertices[:, 1])
    row, column = row - b.window.row, column - b.window.column
    rows, columns = b.window.bottoms.shape[1:]
    over = (row >= 0) & (row < rows) & (column >= 0) & (column < columns)
    here, z = a.vertices[over], a.vertices[over, 2]
    low, top = (v[:, row[over], column[over]] for v in (b.window.bottoms, b.window.tops))
    inside = here[((low < z) & (z < top)).any(axis=0)]
    if not len(inside):
        return 0.0
    off = np.linalg.norm(inside - inside.mean(axis=0), axis=1)
    corners = b.vertices[b.faces]
    near = np.linalg.norm(corners - inside.mean(axis=0), axis=2).min(axis=1) < off.max() + THROUGH
    near |= len(corners) < FEW
    amid = inside[np.argsort(off)[:SAMPLED]]
    return _farthest(corners[near], amid) if near.any() else 0.0


def _farthest(faces: Floats, places: Floats) -> float:
    """Greatest distance of places from the nearest of some faces [m].

    A place is no farther off than the middle of a face is, so most places and faces need not be
    looked at to find the same.
    """
    middle = faces.mean(axis=1)
    radius = np.linalg.norm(faces - middle[:, None], axis=2).max(axis=1)
    away = np.linalg.norm(places[:, None] - middle, axis=2)
    most, found = away.min(axis=1), 0.0
    for i in np.argsort(-most):
        if most[i] <= found:
            break
        found = max(found, distance_to(faces[away[i] - radius <= most[i] + ROUNDING], places[i]))
    return found


def _exact(a: Form, b: Form, cells: Floats, grid: Grid, number: int) -> _Points:
    """Corners of the overlay of two meshes near some cells, and the gaps there."""
    marked = np.zeros((grid.ny + 3, grid.nx + 3))
    row, column = grid.cell_at(cells[:, 0], cells[:, 1])
    for dr in (0, 1, 2):
        for dc in (0, 1, 2):
            marked[row + dr, column + dc] = 1
    sums = np.zeros((grid.ny + 4, grid.nx + 4))
    sums[1:, 1:] = marked.cumsum(axis=0).cumsum(axis=1)
    under = _faces_near(a, sums, grid, up=False)
    over = _faces_near(b, sums, grid, up=True)
    if not len(under) or not len(over):
        return _Points.of(np.empty((0, 3)), np.empty((0, 3)), np.empty(0), number)
    lower, upper = b.vertices[over], a.vertices[under]
    low_normals, high_normals = _upward(lower), _upward(upper)
    one = np.unique(under)
    here, face, height = _over_faces(a.vertices[one], lower)
    first = _Points.of(
        np.column_stack([a.vertices[one][here, :2], height]),
        low_normals[face],
        a.vertices[one][here, 2] - height,
        number,
    )
    two = np.unique(over)
    here, face, height = _over_faces(b.vertices[two], upper)
    second = _Points.of(
        b.vertices[two][here], high_normals[face], height - b.vertices[two][here, 2], number
    )
    third = _Points.of(*_crossings(_edges(a, under), _edges(b, over)), number)
    points = _Points.together([first, second, third])
    points = points.chosen((points.gaps > -THROUGH) & (points.gaps < 2 * THROUGH))
    return replace(points, deep=_depths(points, lower, upper))


def _depths(points: _Points, lower: Floats, upper: Floats) -> Floats:
    """How deep places of two meshes lie in each other, by the nearest of their faces (p,).

    Of many places the worst are measured; the others are taken to be no deeper.
    """
    deep = np.clip(-points.gaps * points.normals[:, 2], 0, None)
    worst = np.argsort(-deep)[:SAMPLED]
    worst = worst[points.gaps[worst] < -EXACT]
    found = np.zeros(len(worst))
    for k, i in enumerate(worst):
        low = points.places[i]
        high = low + [0.0, 0.0, points.gaps[i]]
        found[k] = min(distance_to(upper, low), distance_to(lower, high))
    deep = np.asarray(np.minimum(deep, found.max(initial=0.0)), dtype=float)
    deep[worst] = found
    return deep


def _faces_near(form: Form, sums: Floats, grid: Grid, *, up: bool) -> Indices:
    """Rows of faces that look up, or down, over marked cells (summed from the corner)."""
    corners = form.vertices[form.faces]
    one, two = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    rise = one[:, 0] * two[:, 1] - one[:, 1] * two[:, 0]
    low, high = corners[:, :, :2].min(axis=1), corners[:, :, :2].max(axis=1)
    row0, column0 = grid.cell_at(low[:, 0], low[:, 1])
    row1, column1 = grid.cell_at(high[:, 0], high[:, 1])
    row1, column1 = row1 + 2, column1 + 2  # one cell of margin is marked on each side
    row0, column0 = row0 + 1, column0 + 1
    count = sums[row1, column1] - sums[row0, column1] - sums[row1, column0] + sums[row0, column0]
    return form.faces[(count > 0) & (rise > 0 if up else rise < 0)]


def _upward(corners: Floats) -> Floats:
    """Give unit normals of faces (f, 3, 3), turned upwards."""
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normals *= np.sign(normals[:, 2:])
    return normals / np.maximum(np.linalg.norm(normals, axis=1), 1e-30)[:, None]


def _over_faces(points: Floats, corners: Floats) -> tuple[Indices, Indices, Floats]:
    """Which points (p, 3) lie over or under which faces (f, 3, 3), and the height there."""
    p, f = _boxes_meeting(points[:, None, :2], corners[:, :, :2])
    (ax, ay, az), (bx, by, bz), (cx, cy, cz) = corners[f].transpose(1, 2, 0)
    x, y = points[p, 0], points[p, 1]
    whole = (by - cy) * (ax - cx) + (cx - bx) * (ay - cy)
    with np.errstate(divide="ignore", invalid="ignore"):
        u = ((by - cy) * (x - cx) + (cx - bx) * (y - cy)) / whole
        v = ((cy - ay) * (x - cx) + (ax - cx) * (y - cy)) / whole
    height = u * az + v * bz + (1 - u - v) * cz
    inside = (u >= -1e-9) & (v >= -1e-9) & (u + v <= 1 + 1e-9)
    return p[inside], f[inside], height[inside]


def _boxes_meeting(a: Floats, b: Floats) -> tuple[Indices, Indices]:
    """Pairs of two lots of shapes, (n, k, 2) and (m, l, 2), whose boxes meet."""
    if len(a) > len(b):
        j, i = _boxes_meeting(b, a)
        return i, j
    (left, front), (right, back) = b.min(axis=1).T, b.max(axis=1).T
    found = [
        np.flatnonzero((left <= x1) & (right >= x0) & (front <= y1) & (back >= y0))
        for (x0, y0), (x1, y1) in zip(a.min(axis=1), a.max(axis=1), strict=True)
    ]
    counts = [len(part) for part in found]
    second = np.concatenate(found) if found else np.empty(0, dtype=np.int64)
    return np.repeat(np.arange(len(a)), counts), second


def _edges(form: Form, faces: Indices) -> Floats:
    """Give the edges of some faces once each, (e, 2, 3) [m]."""
    pairs = np.sort(faces[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2), axis=1)
    return form.vertices[np.unique(pairs, axis=0)]


def _crossings(upper: Floats, lower: Floats) -> tuple[Floats, Floats, Floats]:
    """Where edges cross, seen from above: places on the lower one, normals, gaps."""
    i, j = _boxes_meeting(upper[:, :, :2], lower[:, :, :2])
    p, r = upper[i, 0], upper[i, 1] - upper[i, 0]
    q, s = lower[j, 0], lower[j, 1] - lower[j, 0]
    cross = r[:, 0] * s[:, 1] - r[:, 1] * s[:, 0]
    d = q - p
    with np.errstate(divide="ignore", invalid="ignore"):
        t = (d[:, 0] * s[:, 1] - d[:, 1] * s[:, 0]) / cross
        u = (d[:, 0] * r[:, 1] - d[:, 1] * r[:, 0]) / cross
    meet = (t >= 0) & (t <= 1) & (u >= 0) & (u <= 1) & (np.abs(cross) > 1e-12)
    p, r, q, s, t, u = p[meet], r[meet], q[meet], s[meet], t[meet], u[meet]
    places = q + u[:, None] * s
    gaps = (p + t[:, None] * r)[:, 2] - places[:, 2]
    normals = np.cross(r, s)
    normals *= np.sign(normals[:, 2:])
    length = np.linalg.norm(normals, axis=1)
    return places, normals / np.maximum(length, 1e-30)[:, None], gaps


def lying_on(body: int, resting: Sequence[Resting]) -> tuple[int, ...]:
    """Numbers of the bodies that lie on a body."""
    return tuple(i for i, rest in enumerate(resting) if body in rest.carriers())


def over_foot(body: int, lying: Sequence[int], resting: Sequence[Resting]) -> bool:
    """Whether all that lies on a body does so over its foot, where no weight tips it."""
    foot = resting[body].places[resting[body].touching(), :2]
    loads = [(resting[i], resting[i].touching() & (resting[i].below == body)) for i in lying]
    places = [rest.places[here, :2] for rest, here in loads]
    return not places or (
        len(foot) > 0 and not contacts.off_hull(np.concatenate(places), foot).any()
    )


def patch_corners(resting: Resting, chosen: Flags) -> Indices:
    """Numbers of the contacts at the corners of the hulls, for each thing touched by itself."""
    found = []
    for number in np.unique(resting.below[chosen]):
        here = np.flatnonzero(chosen & (resting.below == number))
        seen = (1, 2) if number in (-2, -3) else (0, 2) if number in PANES else (0, 1)
        found.append(here[contacts.hull_numbers(resting.places[here][:, seen])])
    return np.concatenate(found) if found else np.empty(0, dtype=np.int64)

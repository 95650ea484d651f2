"""Heaps and beds against closed forms and solid booleans."""

import itertools
from math import pi, radians, tan
from pathlib import Path

import manifold3d
import numpy as np
import pytest
from hypothesis import example, given, reject, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from plumbstone.meshes.closing.scans import closed_scan
from plumbstone.meshes.measures.columns import Columns, Grid, Window, columns_of, merged_columns
from plumbstone.meshes.measures.faults import enclosed_volume
from plumbstone.meshes.piece import Piece
from plumbstone.meshes.shapes.placing import stood_at, tilted, turned
from plumbstone.meshes.shapes.primitives import boulder, ellipsoid
from plumbstone.volumes.bed.heightfield import SurfaceError, lifted_out, stable_surface
from plumbstone.volumes.bed.pouring import solve_bed
from plumbstone.volumes.bed.results import BedError
from plumbstone.volumes.scape.layers import Border, Layer, Profile, Zone
from plumbstone.volumes.scape.materials import find_material

TALL = 10.0  # a target that only the slope limits [m]


def heap(inside: np.ndarray, spacing: float, phi: float, edge: np.ndarray | None = None) -> float:
    """Litres of the highest heap on a table of that form."""
    target = np.where(inside, TALL, 0.0)
    surface = stable_surface(target, np.zeros(inside.shape), tan(radians(phi)), spacing, edge=edge)
    return float(surface.sum()) * spacing**2 * 1e3


def table(length: float, depth: float, spacing: float) -> np.ndarray:
    """Cells of a rectangle with a free rim around it."""
    inside = np.zeros((round(depth / spacing) + 2, round(length / spacing) + 2), dtype=bool)
    inside[1:-1, 1:-1] = True
    return inside


def disc(radius: float, spacing: float) -> np.ndarray:
    """Signed distance to the rim of a disc, positive inside."""
    count = round((2 * radius + 0.04) / spacing)
    x = (np.arange(count) + 0.5) * spacing - radius - 0.02
    return radius - np.hypot(*np.meshgrid(x, x))


# Sand-hill closed forms, derived (Nadai's analogy): rectangle tan B² (3L - B) / 12, square
# a³ tan / 6, three walls and one open edge L W² tan / 2, cone π R³ tan / 3.


@pytest.mark.parametrize(
    ("length", "depth", "phi", "litres"), [(0.60, 0.30, 30, 6.4952), (0.30, 0.30, 32, 2.8119)]
)
def test_straight_edged_heaps(length: float, depth: float, phi: float, litres: float) -> None:
    steps = (0.004, 0.002, 0.001)
    found = [heap(table(length, depth, step), step, phi) for step in steps]
    assert found[1] == pytest.approx(litres, rel=1e-3)
    tangent, long, short = tan(radians(phi)), max(length, depth), min(length, depth)
    exact = tangent * short**2 * (3 * long - short) / 12 * 1e3
    assert observed_order(found, exact) >= 0.9


def test_three_walls_and_an_open_edge() -> None:
    inside = np.ones((151, 300), dtype=bool)
    inside[0] = False
    assert heap(inside, 0.002, 30) == pytest.approx(15.588, rel=1e-3)


@pytest.mark.parametrize(("radius", "phi", "litres"), [(0.10, 32, 0.65436), (0.15, 34, 2.3839)])
def test_cones_and_their_order(radius: float, phi: float, litres: float) -> None:
    distances = [disc(radius, h) for h in (0.004, 0.002, 0.001)]
    found = [
        heap(edge > 0, h, phi, edge)
        for edge, h in zip(distances, (0.004, 0.002, 0.001), strict=True)
    ]
    errors = [abs(volume / litres - 1) for volume in found]
    assert errors[1] <= 0.01
    assert abs((2 * found[2] - found[1]) / litres - 1) <= 5e-4
    assert np.log2(errors[0] / errors[2]) / 2 >= 0.9  # observed order over two halvings
    assert heap(distances[1] > 0, 0.002, phi) == pytest.approx(litres, rel=0.01)  # edge judged


def test_heap_against_a_wall_with_free_ends() -> None:
    # Prism L h² / (2 tan) and two quarter cones π h³ / (12 tan²) each; ridge 60 cm, h 8 cm, 33°.
    h, phi, spacing = 0.08, 33, 0.002
    t = tan(radians(phi))
    exact = (0.6 * h**2 / (2 * t) + 2 * pi * h**3 / (12 * t**2)) * 1e3
    assert exact == pytest.approx(2.9565 + 0.6357, abs=2e-4)
    found = []
    for step in (2 * spacing, spacing, spacing / 2):
        nx, ny = round(1.0 / step), round(0.14 / step)
        x, y = (np.arange(nx) + 0.5) * step, (np.arange(ny) + 0.5) * step
        gap = np.hypot(np.maximum(np.abs(x - 0.5) - 0.3, 0)[None], y[:, None])
        edge = h / t - gap
        surface = stable_surface(
            np.where(edge > 0, TALL, 0), np.zeros(edge.shape), t, step, edge=edge
        )
        found.append(float(surface.sum()) * step**2 * 1e3)
    assert observed_order(found, exact) >= 0.9
    for coarse, fine in itertools.pairwise(found):
        assert 2 * fine - coarse == pytest.approx(exact, rel=2e-3)


def gap_in_a_wall(h: float, w: float, t: float, step: float) -> float:
    """What a level bed of height h behind a wall loses through a gap of width w [m³]."""
    nx, ny = round(0.30 / step), round(0.12 / step) + 1
    x = (np.arange(nx) + 0.5) * step
    target = np.full((ny, nx), h)
    target[0] = 0.0
    walls = np.zeros(target.shape, dtype=bool)
    walls[0] = np.abs(x - 0.15) > w / 2
    surface = stable_surface(target, np.zeros(target.shape), t, step, walls=walls)
    return float((h - surface[1:]).sum()) * step**2


def corner_of_a_table(h: float, t: float, step: float) -> float:
    """What a level bed loses around a square of free floor at its corner [m³]."""
    count = round(0.24 / step)
    target = np.full((count, count), h)
    free = round(0.06 / step)
    target[:free, :free] = 0.0
    surface = stable_surface(target, np.zeros(target.shape), t, step)
    return float((target - surface).sum()) * step**2


def observed_order(values: list[float], exact: float) -> float:
    """Order of convergence over two halvings."""
    return float(np.log2(abs(values[0] - exact) / abs(values[2] - exact)) / 2)


def test_soil_fans_out_behind_a_gap() -> None:
    # Missing: w h² / (2 tan) + 2 · π h³ / (12 tan²); derived.
    h, w, t = 0.05, 0.02, tan(radians(34))
    missing = w * h**2 / (2 * t) + 2 * pi * h**3 / (12 * t**2)
    steps = (0.004, 0.002, 0.001)
    found = [gap_in_a_wall(h, w, t, step) for step in steps]
    for coarse, fine in itertools.pairwise(found):
        assert 2 * fine - coarse == pytest.approx(missing, rel=2e-3)


def test_soil_fans_out_around_a_corner() -> None:
    # Two prisms of 6 cm and a quarter cone: 2 · L h² / (2 tan) + π h³ / (12 tan²); derived.
    h, t = 0.04, tan(radians(33))
    missing = 2 * 0.06 * h**2 / (2 * t) + pi * h**3 / (12 * t**2)
    steps = (0.004, 0.002, 0.001)
    found = [corner_of_a_table(h, t, step) for step in steps]
    for coarse, fine in itertools.pairwise(found):
        assert 2 * fine - coarse == pytest.approx(missing, rel=2e-3)


@pytest.mark.parametrize("step", [0.004, 0.002, 0.001])
def test_a_wall_of_given_crest(step: float) -> None:
    # Soil behind a wall of crest c rises from it with the slope up to its target T; over a
    # depth D: D T - (T - c)² / (2 tan); derived.
    c, T, D, t = 0.03, 0.08, 0.20, tan(radians(34))
    rows = round(D / step) + 1
    target, ground = np.full((rows, 5), T), np.zeros((rows, 5))
    target[0], ground[0] = 0.0, c
    surface = stable_surface(target, ground, t, step)
    exact = D * T - (T - c) ** 2 / (2 * t)
    assert float(surface[1:, 2].sum()) * step == pytest.approx(exact, rel=1e-3)


def stepped_floor(a: float, b: float, T: float, D: float, t: float, step: float) -> float:
    """Soil over a floor that steps up by b at a, free at the front, per width [m²]."""
    rows = round(D / step) + 1
    y = (np.arange(rows) - 0.5) * step
    ground = np.where(y > a, b, 0.0)[:, None] * np.ones(5)
    target = np.full((rows, 5), T)
    target[0], ground[0] = 0.0, 0.0
    surface = stable_surface(target, ground, t, step)
    return float((surface - ground)[1:, 2].sum()) * step


def test_a_stepped_floor() -> None:
    # From a free edge at the front the slope runs up; at a the floor steps up by b > a tan,
    # so a second heap begins on its edge; derived: a² tan / 2 + the same from a, up to T.
    a, b, T, D, t = 0.06, 0.06, 0.10, 0.20, tan(radians(34))
    assert b > a * t
    upper = (D - a) * (T - b) - (T - b) ** 2 / (2 * t)
    exact = a**2 * t / 2 + upper
    found = [stepped_floor(a, b, T, D, t, step) for step in (0.004, 0.002, 0.001)]
    assert observed_order(found, exact) >= 0.9
    for coarse, fine in itertools.pairwise(found):
        assert 2 * fine - coarse == pytest.approx(exact, rel=2e-3)


def test_a_quarter_cone_in_a_corner() -> None:
    # Against two panes: π h³ / (12 tan²), its foot a quarter circle of h / tan; derived.
    h, t = 0.06, tan(radians(33))
    exact = pi * h**3 / (12 * t**2)
    found = []
    for step in (0.004, 0.002, 0.001):
        x = (np.arange(round(0.12 / step)) + 0.5) * step
        edge = h / t - np.hypot(*np.meshgrid(x, x))
        surface = stable_surface(
            np.where(edge > 0, TALL, 0.0), np.zeros(edge.shape), t, step, edge=edge
        )
        found.append(float(surface.sum()) * step**2)
    assert observed_order(found, exact) >= 0.9
    assert 2 * found[2] - found[1] == pytest.approx(exact, rel=1e-3)


@pytest.mark.slow  # its library takes longer to load than all else here
def test_another_sand_model_on_the_same_ground() -> None:
    """Landlab cuts slopes to a threshold along the steepest of four neighbours.

    On straight edges the steepest way is one of these, and the two agree; on a disc its
    distances run along the grid, so its heap is higher than the cone.
    """
    landlab = pytest.importorskip("landlab", reason="landlab is not installed here")
    from landlab.components import FlowAccumulator, ThresholdEroder

    step, t = 0.005, tan(radians(32))

    def theirs(inside: np.ndarray) -> float:
        grid = landlab.RasterModelGrid(inside.shape, xy_spacing=step)
        height = grid.add_field(
            "topographic__elevation", np.where(inside, 1.0, 0.0).ravel(), at="node"
        )
        grid.status_at_node[~inside.ravel()] = grid.BC_NODE_IS_FIXED_VALUE
        director = FlowAccumulator(grid, flow_director="FlowDirectorSteepest")
        director.run_one_step()
        eroder = ThresholdEroder(grid, slope_crit=t)
        for _ in range(200):
            before = height.copy()
            director.run_one_step()
            eroder.run_one_step()
            if np.abs(height - before).max() < 1e-9:
                break
        return float(height.sum()) * step**2

    def ours(inside: np.ndarray, edge: np.ndarray) -> float:
        surface = stable_surface(
            np.where(inside, 1.0, 0.0), np.zeros(inside.shape), t, step, edge=edge
        )
        return float(surface.sum()) * step**2

    rows, columns = 65, 121
    y, x = np.mgrid[:rows, :columns]
    rim = np.minimum(np.minimum(y, rows - 1 - y), np.minimum(x, columns - 1 - x)) * step * 1.0
    # Their rim lies on the fixed nodes, so ours is told that the edge passes through these.
    assert ours(rim > 0, rim - 1e-12) == pytest.approx(theirs(rim > 0), rel=0.01)
    disc_edge = 0.15 - np.hypot(x - 60, y - 32) * step
    round_ours, round_theirs = ours(disc_edge > 0, disc_edge), theirs(disc_edge > 0)
    assert round_ours == pytest.approx(pi * 0.15**3 * t / 3, rel=0.02)
    assert 1.05 < round_theirs / round_ours < 1.40


def test_soil_runs_under_the_flank_of_a_round_stone() -> None:
    """With columns a round stone leaves a free gap under its flank; a silhouette does not."""
    grid = Grid.of_spacing(0.2, 0.2, 0.002)
    ball = stood_at(ellipsoid((0.1, 0.1, 0.1)), 0.1, 0.1)
    columns = merged_columns([columns_of(ball.vertices, ball.faces, grid)], grid)
    target = np.full((grid.ny, grid.nx), 0.03)
    target[: grid.ny // 2] = 0.0
    floor = np.zeros(target.shape)
    ground = lifted_out(floor, columns)
    free = stable_surface(target, ground, 0.6, grid.spacing, columns=columns)
    silhouette = stable_surface(
        np.where(columns.highest > 0, 0, target), columns.highest, 0.6, grid.spacing
    )
    held = np.where(columns.highest > 0, 0, silhouette).sum()
    runs = np.where(columns.highest > 0, 0, free).sum()
    assert runs < held


def step_boxes(columns: Columns, grid: Grid, top: float) -> manifold3d.Manifold:
    """The stepped solid of all columns, each a box over its cell, up to a height."""
    dx, dy = grid.spacing
    boxes = []
    for low, high in zip(columns.bottoms, columns.tops, strict=True):
        for j, i in np.argwhere(np.isfinite(low) & (low < top)):
            height = min(high[j, i], top) - low[j, i]
            cube = manifold3d.Manifold.cube((dx, dy, height))
            boxes.append(cube.translate((i * dx, j * dy, low[j, i])))
    return manifold3d.Manifold.batch_boolean(boxes, manifold3d.OpType.Add)


def litres_beside(windows: list[Window], grid: Grid, level: float) -> tuple[float, float]:
    """Volume of a level bed around stones [m³]: ours, and a boolean of the same stepped solids."""
    columns = merged_columns(windows, grid)
    target = np.full((grid.ny, grid.nx), level)
    ground = lifted_out(np.zeros(target.shape), columns)
    surface = stable_surface(target, ground, 5.0, grid.spacing, columns=columns)
    ours = float(columns.free_below(np.minimum(surface, level)).sum()) * grid.cell_area
    bed = manifold3d.Manifold.cube((grid.length, grid.depth, level))
    return ours, (bed - step_boxes(columns, grid, level)).volume()


def test_litres_with_stones_match_a_boolean_of_the_same_steps() -> None:
    grid = Grid.of_spacing(0.30, 0.20, 0.01)
    stones = [
        stood_at(boulder((0.09, 0.07, 0.08), seed, subdivisions=3), x, y)
        for seed, (x, y) in enumerate([(0.07, 0.08), (0.17, 0.12), (0.24, 0.06)])
    ]
    windows = [columns_of(s.vertices, s.faces, grid) for s in stones]
    litres, exact = litres_beside(windows, grid, 0.05)
    assert litres == pytest.approx(exact, rel=1e-3)


def test_litres_with_twenty_scanned_stones_match_a_boolean(scans: Path) -> None:
    """Twenty stones, scans by others in several poses, and the same stepped solids by manifold3d."""
    rng = np.random.default_rng(4)
    kinds = [closed_scan(scans / f"epfl_stone_{n}.stl").piece for n in ("02", "14")]
    grid = Grid.of_spacing(0.80, 0.60, 0.008)
    windows = []
    for k in range(20):
        piece = tilted(turned(kinds[k % 2], rng.uniform(0, 360)), rng.uniform(0, 180), 0)
        x, y = 0.10 + 0.15 * (k % 5), 0.08 + 0.14 * (k // 5)
        windows.append(columns_of(*stood(piece, x, y), grid))
    litres, exact = litres_beside(windows, grid, 0.05)
    assert litres == pytest.approx(exact, rel=1e-3)


def stood(piece: Piece, x: float, y: float) -> tuple[np.ndarray, np.ndarray]:
    placed = stood_at(piece, x, y)
    return placed.vertices, placed.faces


def test_columns_hold_the_exact_volume() -> None:
    grid = Grid.of_spacing(0.40, 0.30, 0.002)
    stone = stood_at(boulder((0.2, 0.15, 0.18), 3), 0.2, 0.15)
    volume = enclosed_volume(stone.vertices, stone.faces)
    sampled = merged_columns([columns_of(stone.vertices, stone.faces, grid)], grid)
    assert sampled.solid_below(1.0).sum() * grid.cell_area == pytest.approx(volume, rel=1e-3)
    scaled = merged_columns([columns_of(stone.vertices, stone.faces, grid, volume)], grid)
    assert scaled.solid_below(1.0).sum() * grid.cell_area == pytest.approx(volume, rel=1e-12)


FIELDS = arrays(float, (9, 12), elements=st.floats(0, 0.3))


@settings(max_examples=40, deadline=None)
@given(target=FIELDS, ground=FIELDS, steep=st.floats(0.2, 1.5), part=st.floats(0.1, 1.0))
def test_properties_of_the_surface(
    target: np.ndarray, ground: np.ndarray, steep: float, part: float
) -> None:
    surface = stable_surface(target, ground, steep, 0.01)
    assert (surface >= ground).all()
    assert (surface <= np.maximum(target, ground) + 1e-12).all()
    # A lower angle of repose never holds more.
    assert (stable_surface(target, ground, steep * part, 0.01) <= surface + 1e-9).all()
    # Solving again changes nothing.
    again = stable_surface(np.where(surface > ground, surface, target), ground, steep, 0.01)
    assert np.abs(again - surface).max() < 1e-9
    # Grains never lie steeper than repose against lower grains beside them.
    grains = (surface > ground + 1e-9) & (target > ground)
    for one, other, both in (
        (surface[:, 1:], surface[:, :-1], grains[:, 1:] & grains[:, :-1]),
        (surface[1:], surface[:-1], grains[1:] & grains[:-1]),
    ):
        high = np.abs(one - other)[both]
        sitting = np.minimum(one, other)[both]
        assert (high[sitting >= 0] <= steep * 0.01 + 1e-9).all()


def even(level: float, **cells: float) -> np.ndarray:
    """Field of one level [m], with cells named by row and column, r4c0, of levels of their own."""
    field = np.full((9, 12), level)
    for name, value in cells.items():
        row, column = name[1:].split("c")
        field[int(row), int(column)] = value
    return field


@settings(max_examples=40, deadline=None)
@given(target=FIELDS, ground=FIELDS, rise=FIELDS, steep=st.floats(0.2, 1.5))
@example(  # a free edge below the ground beside it, raised: its fan starts from that ground
    target=even(0.25, r4c0=0.0), ground=even(0.125, r6c0=0.0625), rise=even(0.0625), steep=1.0
)
@example(  # a stone at half a cell, raised: the neighbour behind now counts at a whole cell
    target=even(0.09375, r2c2=0.0625, r7c7=0.0),
    ground=even(0.015625, r1c4=0.25, r5c5=0.25),
    rise=even(0.25, r7c7=0.0),
    steep=1.5,
)
def test_higher_ground_never_lowers_the_surface(
    target: np.ndarray, ground: np.ndarray, rise: np.ndarray, steep: float
) -> None:
    """Where grains lie before and after, and where stones rise beside them."""
    low = np.minimum(ground, target)
    busy = target > low + 1e-6
    higher = np.where(busy, np.minimum(low + rise, target - 1e-6), low + rise)
    higher = np.maximum(higher, low)
    goal = np.where(busy, target, 0.0)
    before = stable_surface(goal, low, steep, 0.01)
    after = stable_surface(goal, higher, steep, 0.01)
    assert (after >= before - 1e-9).all()
    # Stones that rise outside of the zone only: litres never fall.
    outside = np.where(busy, low, low + rise)
    held = stable_surface(goal, outside, steep, 0.01)
    assert (held - outside)[busy].sum() >= (before - low)[busy].sum() - 1e-9


@settings(max_examples=20, deadline=None)
@given(
    front=st.floats(0.02, 0.06), back=st.floats(0.05, 0.14), share=st.floats(0.2, 0.8),
    line=st.floats(0.08, 0.20),
)  # fmt: skip
def test_a_layer_split_in_two_of_one_material_is_the_same(
    front: float, back: float, share: float, line: float
) -> None:
    material = find_material("sand")

    def layer(name: str, part: float) -> Layer:
        corners = (front * part, front * part, back * part, back * part)
        return Layer(name, material, Zone("behind border"), Profile(True, corners), 0.0, (), 0.0)

    border = Border(((0.0, line), (0.4, line)), (), strip=False)
    floor = (0.4, 0.3)
    whole = solve_bed(floor, [layer("A", 1.0)], (border,), spacing=0.005)
    try:
        split = solve_bed(floor, [layer("A", share), layer("B", 1.0)], (border,), spacing=0.005)
    except BedError:  # the first part alone already stands as steep as it can
        reject()
    assert split.settled == pytest.approx(whole.settled, rel=1e-9)
    assert np.abs(split.surface - whole.surface).max() < 1e-9


def test_shifting_by_whole_cells_changes_nothing() -> None:
    rng = np.random.default_rng(1)
    target = np.zeros((30, 40))
    target[5:20, 5:25] = rng.uniform(0, 0.2, (15, 20))
    surface = stable_surface(target, np.zeros(target.shape), 0.7, 0.01)
    moved = stable_surface(np.roll(target, (6, 9), (0, 1)), np.zeros(target.shape), 0.7, 0.01)
    assert np.abs(np.roll(surface, (6, 9), (0, 1)) - moved).max() < 1e-12


def test_what_cannot_be_solved_is_refused() -> None:
    flat = np.zeros((3, 3))
    with pytest.raises(SurfaceError, match="2-D"):
        stable_surface(flat, np.zeros((2, 3)), 0.5, 0.01)
    with pytest.raises(SurfaceError, match="finite"):
        stable_surface(np.full((3, 3), np.nan), flat, 0.5, 0.01)
    with pytest.raises(SurfaceError, match="above zero"):
        stable_surface(flat, flat, 0.0, 0.01)

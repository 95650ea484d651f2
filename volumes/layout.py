"""A scape laid out: every stage from forms to balance, each remembered by its own inputs."""

from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from functools import wraps
from typing import TYPE_CHECKING, Any, Concatenate, ParamSpec, TypeVar

import numpy as np

from plumbstone.meshes.contents import file_stamp
from plumbstone.meshes.errors import PlumbstoneError
from plumbstone.meshes.measures.columns import Grid, Window, merged_columns
from plumbstone.meshes.measures.displacement import mesh_centre
from plumbstone.meshes.piece import Floats
from plumbstone.meshes.shapes.placing import shared_volume
from plumbstone.volumes.bed import pouring, results
from plumbstone.volumes.bed.bags import bags_of
from plumbstone.volumes.bed.border import judge_borders
from plumbstone.volumes.bed.interfaces import heaving_layers, swallowed_layers
from plumbstone.volumes.bed.passing import rests_of
from plumbstone.volumes.bed.results import BedResult
from plumbstone.volumes.bodies import placement
from plumbstone.volumes.bodies.contacts import air_below
from plumbstone.volumes.bodies.placement import CONTACT_GRID, Body, PlacingError
from plumbstone.volumes.density import water_density
from plumbstone.volumes.figures import BedFigures, Report
from plumbstone.volumes.memo import Memo
from plumbstone.volumes.plan import Ground, Plan, Purchase, in_order_of_work
from plumbstone.volumes.report import bed_figures, report_of
from plumbstone.volumes.scape.materials import find_material
from plumbstone.volumes.scape.quantities import numbers_of
from plumbstone.volumes.scape.scape import PieceEntry, Scape
from plumbstone.volumes.water.content import OpenSpace, load_of, open_space, water_of
from plumbstone.volumes.water.dosing import drain_back

if TYPE_CHECKING:
    from plumbstone.volumes.holding.hold_down import HoldResult, Surroundings
    from plumbstone.volumes.holding.proof import Case
    from plumbstone.volumes.holding.stability import Standing

SINKER_STONE = "granite"
PREVIEW_GRID = 0.004  # [m]
TURNED_INTO = 0.005  # of a body: what it shares with a stone beside that which carries it
NUMBERS = ("at", "turn", "tilt", "lean", "pressed", "mass", "price")  # of a piece
CHANGING = (*NUMBERS, "rests", "settle", "material", "shape", "tied_to")
P = ParamSpec("P")
Found = TypeVar("Found")
if TYPE_CHECKING:
    Asked = Callable[[Any, Sequence[Body], Surroundings], tuple[Found, ...]]


def naming_its_file(
    act: Callable[Concatenate["Layout", P], Found],
) -> Callable[Concatenate["Layout", P], Found]:
    """Let what goes wrong in a method of a layout name the scape file."""

    @wraps(act)
    def named(self: "Layout", /, *args: P.args, **keys: P.kwargs) -> Found:
        try:
            return act(self, *args, **keys)
        except PlumbstoneError as error:
            path = str(self.scape.path)
            if not error.text.startswith(path):
                error.args = (f"{path}: {error.text}",)
            raise

    return named


@dataclass(frozen=True, slots=True, eq=False)
class Layout:
    """A scape and what was computed of it.

    `moved`, `changed` and `with_scape` give another layout that shares what was remembered, so
    a change computes anew only what hangs on it, and gives the same to the last bit as a
    computation from scratch.
    """

    scape: Scape
    memo: Memo = field(default_factory=Memo, repr=False)

    def __post_init__(self) -> None:
        """Refuse what is no scape."""
        if not isinstance(self.scape, Scape):
            raise PlacingError("A layout takes a scape: read_scape(path) or scape_from({...}).")

    def with_scape(self, scape: Scape) -> "Layout":
        """Lay out another scape with what is remembered of this one."""
        return replace(self, scape=scape)

    def changed(self, name: str, **keys: Any) -> "Layout":
        """Change keys of one piece, such as ``at=(0.3, 0.2)`` [m] or ``turn=30``.

        Raises
        ------
        PlacingError
            If there is no piece of that name, no such key, or its value is no number.
        """
        for key, value in keys.items():
            if key not in CHANGING:
                raise PlacingError(f'"{key}" cannot be changed; these can: {", ".join(CHANGING)}.')
            places, count = (value, 2) if key == "at" else ((value,), 1)
            given = value is not None or key not in ("mass", "price")
            if key in NUMBERS and given and numbers_of(places, count) is None:
                raise PlacingError(f"{key} is {value!r}; give plain numbers, in SI or degrees.")
        if isinstance(keys.get("material"), str):
            keys["material"] = find_material(keys["material"])
        pieces = self.scape.pieces
        if name not in [entry.name for entry in pieces]:
            known = ", ".join(entry.name for entry in pieces) or "none"
            raise PlacingError(f'"{name}" is no piece of this scape; it has: {known}.')
        found = tuple(replace(e, **keys) if e.name == name else e for e in pieces)
        return self.with_scape(replace(self.scape, pieces=found))

    def moved(self, name: str, to: tuple[float, float]) -> "Layout":
        """Move one piece: `to` is the middle of its outline from above [m].

        Raises
        ------
        PlacingError
            If there is no piece of that name, or `to` is no place.
        """
        place = numbers_of(to, 2)
        if place is None:
            raise PlacingError(f"{to!r} is no place; give two numbers in metres: (0.2, 0.12).")
        return self.changed(name, at=place)

    def with_water_line(self, level: float) -> "Layout":
        """Fill to another level above the glass [m].

        Raises
        ------
        PlacingError
            If it is no depth of water, or above the rim.
        """
        found, rim = numbers_of((level,), 1), self.scape.tank.height
        if found is None or found[0] <= 0 or (rim is not None and found[0] > rim + 1e-6):
            ends = "" if rim is None else f", whose rim is at {rim:g} m"
            raise PlacingError(f"{level!r} is no level of water [m] in this tank{ends}.")
        tank = replace(self.scape.tank, water_line=found[0])
        return self.with_scape(replace(self.scape, tank=tank))

    @naming_its_file
    def ground(
        self, spacing: float | None = None, *, exact: bool = True, measured: bool = True
    ) -> Ground:
        """Set the pieces, pour the layers and choose bags.

        Main pieces stand first; the bed is poured; pieces that rest on it are pressed in;
        then it is solved again around all of them.

        Parameters
        ----------
        spacing : float, optional
            Width of a grid cell [m]; chosen if not given.
        exact : bool
            Whether litres are extrapolated from two grids; one coarse grid gives a preview.
        measured : bool
            Without it only surfaces are found: no litres and no bags.

        Raises
        ------
        PlumbstoneError
            If pieces or layers contradict each other; the message says where.
        """
        scape = self.scape
        bodies = self._set_on_floor()
        if spacing is None:
            spacing = PREVIEW_GRID if not exact else self._spacing(bodies)
        floor = (scape.tank.length, scape.tank.depth)
        pouring.check_spacing(floor, spacing)
        grid = Grid.of_spacing(*floor, spacing)
        upon = placement.upon_bed(scape.pieces)
        first = [body for body in bodies if body.entry.name not in upon]
        self._check_overlaps(first, Grid.of_spacing(*floor, CONTACT_GRID) if exact else grid)
        on_bed = any(body.entry.rests == "bed" for body in bodies)
        bed = None
        if any(layer.profile for layer in scape.layers):
            bed = self._bed_around(first, spacing, exact, measured=measured and not on_bed)
            grid = bed.grid
            if on_bed:
                bodies = self._set_on_bed(bodies, self.memo(_tops_over, bed), grid)
                bed = self._bed_around(bodies, spacing, exact, measured=measured)
            _check_rim(scape, bed)
        elif on_bed:
            bodies = self._set_on_bed(bodies, self.memo(np.zeros, (grid.ny, grid.nx)), grid)
        if on_bed:
            self._check_overlaps(bodies, grid)
        windows = () if bed else tuple(self._window(body, grid) for body in bodies)
        columns = bed.columns if bed else self.memo(merged_columns, windows, grid)
        bought = bed.layers if bed and measured else ()
        purchases = tuple(Purchase(r, *self.memo(bags_of, r)) for r in bought)
        return Ground(bodies, grid, columns, bed, purchases)

    def preview(self, spacing: float | None = None) -> Plan:
        """Lay the bed on one coarse grid [m], with water and load; wood and border are left out."""
        return self._plan(self.ground(spacing, exact=False), None, judged=False)

    def poured(self) -> Plan:
        """Lay the bed exactly, with water and load as in `plan`; nothing is judged yet."""
        return self._plan(self.ground(), None, judged=False)

    def plan(self, spacing: float | None = None, salt: float | None = None) -> Plan:
        """Compute everything about the scape.

        Parameters
        ----------
        spacing : float, optional
            Width of a grid cell [m]; chosen if not given.
        salt : float, optional
            Grams of salt mix per litre, to give the mass of mix.

        Raises
        ------
        PlumbstoneError
            If pieces, layers or materials contradict each other; the message says where.
        """
        return self._plan(self.ground(spacing), salt, judged=True)

    @naming_its_file
    def holds(self, spacing: float | None = None) -> "tuple[HoldResult, ...]":
        """Judge the wood alone, as `plan` does; `spacing` [m] as for `ground`."""
        tank = self.scape.tank
        ground = self.ground(spacing, measured=False)
        return self._holds(ground, water_density(tank.celsius, tank.salinity))

    def report(self, spacing: float | None = None, salt: float | None = None) -> Report:
        """Compute everything, on a grid [m], and give its figures and findings; see `plan`."""
        return report_of(self.plan(spacing, salt))

    def bed(self, spacing: float | None = None) -> BedFigures:
        """Lay the bed and give its figures; `spacing` [m] as for `ground`."""
        return bed_figures(self.scape, self.ground(spacing))

    @naming_its_file
    def _plan(self, ground: Ground, salt: float | None, *, judged: bool) -> Plan:
        """Add water, load and, where asked for, what holds and what stands."""
        scape, tank, bed = self.scape, self.scape.tank, ground.bed
        water = water_density(tank.celsius, tank.salinity)
        held = load = border = None
        if tank.water_line is not None:
            shape = ground.grid.ny, ground.grid.nx
            surface = self.memo(_as_poured, bed) if bed else self.memo(np.zeros, shape)
            space: OpenSpace = self.memo(open_space, ground.columns, surface, ground.grid)
            held = water_of(tank, ground.bodies, scape.loose, bed, space, salt)
            load = load_of(tank, ground.bodies, scape.loose, bed, held, water)
        if judged and scape.borders and bed is not None:
            border = self.memo(judge_borders, ground.bodies, bed, water)
        spots = results.depths_at(scape.spots, bed) if bed else ()
        sump, back = tank.sump, None
        if sump is not None and sump.area is not None and sump.drop is not None:
            back = drain_back(sump.area, sump.drop, sump.spare)
        return Plan(
            scape=scape,
            water_density=water,
            bodies=in_order_of_work(ground.bodies, bed),
            bed=bed,
            purchases=ground.purchases,
            water=held,
            load=load,
            drain_back=back,
            border=border,
            holds=self._holds(ground, water) if judged else (),
            standing=self._standing(ground, water) if judged else (),
            rests=rests_of(bed.passed) if bed and judged else (),
            swallowed=swallowed_layers(bed.layers, bed.grid.cell_area) if bed else (),
            heaves=heaving_layers(bed.layers, water, bed.grid.cell_area) if bed else (),
            spots=spots,
            guesses=tank.guesses,
            covered={b.entry.name: self._covered(b, ground) for b in ground.bodies},
            air={b.entry.name: self._air(b, ground) for b in ground.bodies} if judged else {},
        )

    def _covered(self, body: Body, ground: Ground) -> float:
        """Share of a body below the bed beside it."""
        if ground.bed is None:
            return 0.0
        return self.memo(
            results.covered_share, self._window(body, ground.grid), ground.bed.soil_line
        )

    def _air(self, body: Body, ground: Ground) -> float:
        """Height of the air below the middle of a stone that is set on the bed [m]."""
        if ground.bed is None or body.entry.rests != "bed" or body.entry.kind == "wood":
            return 0.0
        centre = self.memo(mesh_centre, body.piece.vertices, body.piece.faces)[:2]
        window = self._window(body, ground.grid)
        return self.memo(air_below, window, ground.bed.surface, ground.grid, centre)

    def _solids(self) -> Mapping[str, Body]:
        """Make every form once for each way in which it is known."""
        forms = [placement.at_rest(entry) for entry in self.scape.pieces]
        if self.memo.computed:  # most are remembered
            made = list(map(self._solid, forms))
        else:
            with ThreadPoolExecutor(
                placement.THREADS
            ) as pool:  # numpy lets others run while it works
                made = list(pool.map(self._solid, forms))
        return {body.entry.name: body for body in made}

    def _solid(self, form: PieceEntry) -> Body:
        """Make the body of one entry at rest."""
        scan = form.shape.scan
        stamp = file_stamp(scan) if scan else None
        return self.memo(placement.solid_of, form, stamp, self.scape.path, self.memo)

    def _set_on_floor(self) -> tuple[Body, ...]:
        """Set down what rests on the floor or on other pieces."""
        scape, memo, solids = self.scape, self.memo, self._solids()
        floor = Grid.of_spacing(scape.tank.length, scape.tank.depth, CONTACT_GRID)
        done: dict[str, Body] = {}
        for entry in placement.order_of_setting(scape.pieces):
            body = memo(placement.posed, solids[entry.name], entry)
            if entry.rests in done:
                body = self._set_on(body, done, floor)
            elif entry.settle and entry.rests == "floor":
                body = memo(
                    placement.set_down, body, memo(np.zeros, (floor.ny, floor.nx)), floor, memo
                )
            done[entry.name] = body
        placed = tuple(done[entry.name] for entry in scape.pieces)
        for body in placed:
            memo(placement.check_inside, body, scape.tank, scape.path)
        return placed

    def _set_on(self, body: Body, done: Mapping[str, Body], grid: Grid) -> Body:
        """Set a body on another; where it turns into stones beside that, on these as well."""
        under = {body.entry.rests: self._window(done[body.entry.rests], grid)}
        stones = {
            name: self._window(other, grid)
            for name, other in done.items()
            if other.entry.kind == "stone" and other.entry.rests in ("floor", "bed")
        }
        while True:
            tops = self.memo(_tops_of, tuple(under.values()), grid)
            found = self.memo(placement.set_down, body, tops, grid, self.memo)
            if not body.entry.settle:
                return found
            window, least = self._window(found, grid), TURNED_INTO * body.mesh_volume
            hit = {
                name: stone
                for name, stone in stones.items()
                if name not in under and shared_volume(window, stone, grid.cell_area) > least
            }
            if not hit:
                return found
            under |= hit

    def _check_overlaps(self, bodies: Sequence[Body], grid: Grid) -> None:
        """Refuse stones that stand in each other."""
        for one, other in placement.near_pairs(bodies):
            windows = self._window(one, grid), self._window(other, grid)
            self.memo(placement.check_apart, one, other, *windows, grid.cell_area)

    def _set_on_bed(self, bodies: Sequence[Body], surface: Floats, grid: Grid) -> tuple[Body, ...]:
        """Set what rests on the bed onto it, pressed in as said, then what lies on that."""
        tank, memo = self.scape.tank, self.memo
        floor = Grid.of_spacing(tank.length, tank.depth, CONTACT_GRID)
        done = {body.entry.name: body for body in bodies}
        upon = placement.upon_bed(self.scape.pieces)
        for entry in placement.order_of_setting(self.scape.pieces):
            if entry.rests == "bed":
                done[entry.name] = memo(placement.set_down, done[entry.name], surface, grid, memo)
            elif entry.name in upon:
                done[entry.name] = self._set_on(done[entry.name], done, floor)
        return tuple(done[body.entry.name] for body in bodies)

    def _window(self, body: Body, grid: Grid) -> Window:
        """Cut one body into columns."""
        return self.memo(pouring.cut_piece, body.piece, body.mesh_volume, grid)

    def _spacing(self, bodies: Sequence[Body]) -> float:
        """Choose the width of a cell by the floor and the narrowest stone [m]."""
        tank = self.scape.tank
        sizes = [float(b.piece.size[:2].min()) for b in bodies if b.entry.kind == "stone"]
        narrowest = min([pouring.narrowest_zone(self.scape.layers), *sizes])
        return pouring.chosen_spacing(tank.length, tank.depth, narrowest)

    def _bed_around(
        self, bodies: Sequence[Body], spacing: float, exact: bool, *, measured: bool = True
    ) -> BedResult:
        """Pour all layers around bodies."""
        scape = self.scape
        standing = tuple((body.piece, body.mesh_volume) for body in bodies)
        buried = sum(lump.volume.mid * lump.below_soil for lump in scape.lumps)
        maps = tuple(layer.profile.heightmap for layer in scape.layers if layer.profile)
        floor = (scape.tank.length, scape.tank.depth)
        later = tuple(
            sorted(placement.upon_bed(scape.pieces) & {body.entry.name for body in bodies})
        )
        return self.memo(
            _poured, maps, floor, scape.layers, scape.borders, standing, spacing, buried, exact,
            later, self.memo, measured,
        )  # fmt: skip

    def _holds(self, ground: Ground, water: float) -> "tuple[HoldResult, ...]":
        """Judge every group of wood; none without a water line."""
        if self.scape.tank.water_line is None or not self.scape.groups:
            return ()
        from plumbstone.volumes.holding.hold_down import judge_groups

        return tuple(map(self._with_strapping, self._of_groups(judge_groups, ground, water)))

    def _of_groups(self, asked: "Asked[Found]", ground: Ground, water: float) -> tuple[Found, ...]:
        """Ask something of every group of wood in its surroundings."""
        from plumbstone.volumes.holding.hold_down import Surroundings

        line, scape = self.scape.tank.water_line, self.scape
        assert line is not None
        at_hand = tuple(self._solid(placement.at_rest(entry)) for entry in scape.at_hand)
        stone = find_material(SINKER_STONE)
        of = (water, line, ground.grid, ground.bed, stone, at_hand)
        around = self.memo(Surroundings, *of, memo=self.memo)
        return self.memo(asked, scape.groups, ground.bodies, around)

    def _with_strapping(self, hold: "HoldResult") -> "HoldResult":
        """Tell which straps may be hinges; seek what it may be strapped to, if no sinkers hold it.

        That is sought, too, where there is no room for sinkers below it.
        """
        from plumbstone.volumes.holding.hold_down import cases_of, straps_of
        from plumbstone.volumes.holding.strapping import hinges_of, strapping_for

        def set_anew(scape: Scape) -> "tuple[Case, bool]":
            layout = self.with_scape(scape)
            ground = layout.ground(measured=False)
            case = layout._of_groups(cases_of, ground, hold.stage.water)[hold.number]
            return case, not straps_of(case, ground.grid, self.memo)[2]

        if hold.stays:
            return replace(hold, hinges=hinges_of(self.scape, hold, set_anew))
        best = hold.offers.best[0].hows if hold.offers.best else ("strapped",)
        if "strapped" not in best or not hold.offers.why:
            return hold
        strapping = strapping_for(self.scape, hold, set_anew)
        return replace(hold, offers=replace(hold.offers, strapping=strapping))

    def _standing(self, ground: Ground, water: float) -> "tuple[Standing, ...]":
        """Judge every stone that stands or lies on others."""
        from plumbstone.volumes.holding.stability import judge_stones

        tank = self.scape.tank
        floor = (tank.length, tank.depth)
        line = tank.water_line or 0.0
        tied = tuple(n for g in self.scape.groups if g.sinkers for n in g.wood)
        bed = np.empty(0) if ground.bed is None else ground.bed.soil_line
        inputs = (ground.bodies, water, line, floor, ground.grid, bed, tied)
        return self.memo(judge_stones, *inputs, self.memo)


def _poured(_maps: tuple[Floats | None, ...], *inputs: Any) -> BedResult:
    """Solve the bed; height maps are told apart as objects, so they are inputs of their own."""
    return pouring.solve_bed(*inputs)


def _as_poured(bed: BedResult) -> Floats:
    """Surface of the bed [m] with all grains where they are poured; none is lost that falls out."""
    return np.max([result.surface for result in bed.layers], axis=0)


def _tops_over(bed: BedResult) -> Floats:
    """Top of bed or stone above each cell [m]."""
    heights = np.where(results.bare_cells(bed), 0.0, bed.surface)
    return np.asarray(np.maximum(heights, bed.columns.highest))


def _tops_of(windows: tuple[Window, ...], grid: Grid) -> Floats:
    """Top of pieces above each cell [m]."""
    return merged_columns(windows, grid).highest


def _check_rim(scape: Scape, bed: BedResult) -> None:
    """Refuse a layer that is drawn above the rim."""
    height = scape.tank.height
    for result in bed.layers:
        top = float(result.drawn.max())
        if height is not None and top > height + 1e-6:
            raise results.BedError(
                f'{scape.path}: layer "{result.layer.name}": reaches <{top * 1e2:.4g} cm>, above '
                f"the rim at <{height * 1e2:.4g} cm>; lower it."
            )

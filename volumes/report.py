"""From a plan to its report: the figures and findings that every page, list and file takes."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from plumbstone.meshes.measures.columns import Grid
from plumbstone.meshes.ranges import Range
from plumbstone.volumes import figures
from plumbstone.volumes.bed.bags import BagChoice
from plumbstone.volumes.bed.border import judge_borders
from plumbstone.volumes.bed.findings import bed_findings
from plumbstone.volumes.bed.interfaces import heaving_layers, lasting_slope, swallowed_layers
from plumbstone.volumes.bed.results import PANES, BedResult, LayerResult, depths_at
from plumbstone.volumes.bodies.findings import body_findings
from plumbstone.volumes.bodies.placement import Body
from plumbstone.volumes.density import water_density
from plumbstone.volumes.findings import NO_LINE, Finding, Kind, Severity, worst_first
from plumbstone.volumes.plan import Ground, Plan, Purchase, on_wood, set_after
from plumbstone.volumes.scape.groups import Sinker
from plumbstone.volumes.scape.layers import Border
from plumbstone.volumes.scape.scape import Lump, Scape
from plumbstone.volumes.scape.tank import Tank
from plumbstone.volumes.shopping import costs_of, shopping_of
from plumbstone.volumes.water.loads import ONE_PERSON, lift_code

if TYPE_CHECKING:
    from plumbstone.volumes.holding.buoyancy import Balance
    from plumbstone.volumes.holding.hold_down import HoldResult
    from plumbstone.volumes.holding.stability import Standing

ROOT_TOLERANCE = 1e-3  # [m]
LYING = 1e-3  # a layer thinner than this is not poured there [m]
SHORT_STAND = 1e-3  # by so much a tank may be longer than its stand [m]
BESIDE = 0.01  # from the border line, where a layer's height at it is told [m]


def report_of(plan: Plan) -> figures.Report:
    """Take the figures and findings of a plan, in the order of work."""
    pieces = tuple(_piece(plan, body, i) for i, body in enumerate(plan.bodies, 1))
    layers = tuple(layer_figures(p, plan.bed, plan.scape.borders) for p in plan.purchases)
    tank, shopping = plan.scape.tank, shopping_of(plan.scape, layers, pieces)
    return figures.Report(
        name=plan.scape.name,
        file=str(plan.scape.path),
        tank=figures.TankFigures(
            length_m=tank.length,
            depth_m=tank.depth,
            height_m=tank.height,
            glass_m=tank.glass,
            water_line_m=tank.water_line,
            temperature_c=tank.celsius,
            salinity_g_per_kg=tank.salinity,
        ),
        water_density_kg_per_m3=plan.water_density,
        pieces=pieces,
        lumps=tuple(
            figures.LumpFigures(
                name=lump.name,
                kind=lump.kind,
                count=lump.count,
                material=lump.material.name,
                mass_kg=lump.mass,
                volume_m3=lump.volume,
                below_soil=lump.below_soil,
            )
            for lump in plan.scape.lumps
        ),
        layers=layers,
        depths_m=plan.bed.depths if plan.bed else {},
        spots=plan.spots,
        water=plan.water,
        load=plan.load,
        border=plan.border,
        rests=plan.rests,
        runs_into=plan.swallowed,
        heaves=plan.heaves,
        holds=tuple(hold_figures(hold) for hold in plan.holds),
        standing=tuple(_standing(stone) for stone in plan.standing),
        drain_back=plan.drain_back,
        shopping=shopping,
        costs=costs_of(shopping),
        findings=findings_of(plan, pieces),
        guesses=plan.guesses,
    )


def bed_figures(scape: Scape, ground: Ground) -> figures.BedFigures:
    """Take the figures of the bed alone."""
    layers = tuple(layer_figures(p, ground.bed, scape.borders) for p in ground.purchases)
    return figures.BedFigures(
        name=scape.name,
        file=str(scape.path),
        layers=layers,
        depths_m=ground.bed.depths if ground.bed else {},
        spots=depths_at(scape.spots, ground.bed) if ground.bed else (),
        cost=costs_of(shopping_of(scape, layers, ())).bags,
        findings=findings_on(scape, ground),
    )


def findings_on(scape: Scape, ground: Ground) -> tuple[Finding, ...]:
    """Collect what is found about a bed alone, worst first."""
    bed, tank = ground.bed, scape.tank
    if bed is None:
        return ()
    water = water_density(tank.celsius, tank.salinity)
    border = judge_borders(ground.bodies, bed, water)
    area = bed.grid.cell_area
    lost, heaves = swallowed_layers(bed.layers, area), heaving_layers(bed.layers, water, area)
    return worst_first(bed_findings(bed, border, lost, heaves))


def findings_of(plan: Plan, pieces: Sequence[figures.PieceFigures]) -> tuple[Finding, ...]:
    """Collect what was found, worst first."""
    from plumbstone.volumes.holding.findings import hold_findings

    covered = {piece.name: piece.covered for piece in pieces}
    tank = plan.scape.tank
    return worst_first(
        [
            *body_findings(plan.bodies, tank, covered, plan.air, _hidden(plan.scape)),
            *_told_once(
                [
                    *(found for hold in plan.holds for found in hold_findings(hold)),
                    *findings_of_standing(plan.standing, plan.holds),
                ]
            ),
            *spot_findings(plan.spots),
            *load_findings(plan.load),
            *stand_findings(tank),
            *drain_findings(plan.drain_back),
            *dry_findings(plan.scape, plan.bed),
            *lump_findings(plan.scape.lumps, plan.water_density),
            *bed_findings(plan.bed, plan.border, plan.swallowed, plan.heaves),
        ]
    )


def _hidden(scape: Scape) -> set[str]:
    """Names of pieces that may lie in the bed: sinkers, and what carries or holds others."""
    carriers = {piece.rests for piece in scape.pieces}
    return carriers | {s.stone for group in scape.groups for s in group.sinkers}


def findings_of_standing(
    standing: "Iterable[Standing]", holds: "Iterable[HoldResult]"
) -> Iterator[Finding]:
    """Find what does not stand; of wood, which `hold` judges on its soil, only that it tips."""
    from plumbstone.volumes.holding.findings import standing_findings

    stays = {name: hold.stays for hold in holds for name in hold.group.wood}
    for piece in standing:
        for finding in standing_findings(piece):
            tips = finding.kind is Kind.TIPS and stays.get(piece.name, True)
            if piece.name not in stays or tips:
                yield finding


def _told_once(findings: Iterable[Finding]) -> Iterator[Finding]:
    """Leave out that one piece is drawn into another where it is told of the other."""
    told: set[frozenset[str]] = set()
    for finding in findings:
        pair = frozenset(finding.about)
        if finding.how != "drawn through" or pair not in told:
            yield finding
        if finding.how == "drawn through":
            told.add(pair)


def stand_findings(tank: Tank) -> Iterator[Finding]:
    """Find a tank that reaches over its stand."""
    if tank.stand is None:
        return
    rim = 2 * (tank.glass or 0.0)
    sides = zip((tank.length + rim, tank.depth + rim), tank.stand, strict=True)
    short = max(side - stand for side, stand in sides)
    if short > SHORT_STAND:
        yield Finding(Kind.MISFIT, Severity.CARE, (), {"short_m": short}, how="stand")


def spot_findings(spots: Iterable[figures.SpotFigures]) -> Iterator[Finding]:
    """Find places that are not deep enough for the roots of their plant."""
    for found in spots:
        if found.lacking_m > ROOT_TOLERANCE:
            numbers = {"depth_m": found.depth_m, "lacking_m": found.lacking_m}
            over = found.depth_m < found.height_m - ROOT_TOLERANCE
            how, cure = ("over a piece", "plant beside") if over else ("roots", "raise bed")
            about = (found.name,)
            yield Finding(Kind.SHORT, Severity.CARE, about, numbers, how=how, cure=cure)


def load_findings(load: figures.LoadFigures | None) -> Iterator[Finding]:
    """Find a piece that is heavy to lift, at the high end of its range."""
    if load is None or load.heaviest is None:
        return
    mass = load.heaviest.mass_kg
    if how := lift_code(mass):
        numbers: dict[str, float | Range] = {"mass_kg": mass, "limit_kg": ONE_PERSON}
        about = (load.heaviest.name,)
        yield Finding(Kind.OVER_LIMIT, Severity.CARE, about, numbers, how=how)


def dry_findings(scape: Scape, bed: BedResult | None) -> Iterator[Finding]:
    """Tell of a bed that reaches out of the water, or of all that no water line leaves unsaid."""
    if (line := scape.tank.water_line) is not None:
        top = bed.surface[bed.columns.solid == 0].max(initial=0.0) if bed else 0.0
        if top > line + LYING:
            numbers = {"above_m": float(top) - line}
            yield Finding(Kind.MISFIT, Severity.CARE, (), numbers, how="out of water")
        return
    wood = [piece.name for piece in scape.pieces if piece.kind == "wood"]
    severity = Severity.STOP if wood else Severity.CARE if scape.pieces else Severity.NOTE
    yield Finding(Kind.DOUBTFUL, severity, tuple(wood), how=NO_LINE, cure="water line")


def lump_findings(lumps: Iterable[Lump], water: float) -> Iterator[Finding]:
    """Find stones and wood without a place that float in water of a density [kg/m³]."""
    for lump in lumps:
        density = lump.material.density
        if lump.pores_filled or density is None or density.low >= water:
            continue
        sure = density.mid < water
        yield Finding(
            Kind.FLOATS,
            Severity.STOP if sure else Severity.CARE,
            (lump.name,),
            {"sure": float(sure)},
            how="stone" if lump.kind == "stone" else "loose wood",
            cure="soak",
        )


def drain_findings(back: figures.DrainFigures | None) -> Iterator[Finding]:
    """Find a sump that runs over when the pump stops."""
    if back is not None and back.overflows:
        assert back.spare_m3 is not None
        numbers = {"volume_m3": back.volume_m3, "spare_m3": back.spare_m3}
        yield Finding(Kind.OVER_LIMIT, Severity.STOP, (), numbers, how="sump")


def layer_figures(
    purchase: Purchase, bed: BedResult | None, borders: Sequence[Border]
) -> figures.LayerFigures:
    """Take the figures of one layer and its bags."""
    result, choice, worse = purchase.result, purchase.bags, purchase.bags_if_worse
    material, slide = result.layer.material, result.slide
    sacks = result.layer.sacks
    return figures.LayerFigures(
        name=result.layer.name,
        material=material.name,
        zone=result.layer.zone.name,
        crumbles=material.crumbles,
        settled_m3=result.settled,
        settled_error_m3=result.error,
        sacks=result.sacks,
        sack_m3=None if sacks is None else sacks.holds,
        sack_gaps=None if sacks is None else sacks.gaps,
        drawn_m3=result.wanted,
        stays_m3=result.stays,
        poured_m3=result.poured,
        poured_range_m3=result.poured_range,
        mass_kg=result.mass,
        slope_deg=result.slope_degrees,
        repose_deg=result.layer.repose,
        lasting_deg=lasting_slope(result.layer.repose),
        slides_m3=slide.volume,
        slides_where=slide.where if slide.volume > 0 else "",
        slides_lower_m=slide.drop,
        heights_m=_heights(result),
        ends_m=_ends(result, bed.grid, borders) if bed else {},
        bags=_bags(choice),
        bags_if_worse=_bags(worse.choice if worse else None),
        worse_settling=worse.settling if worse else None,
        worse_repose_deg=worse.repose if worse else None,
        cost=None if choice is None else choice.cost,
        left_over_m3=None if choice is None else choice.left_over,
    )


def hold_figures(hold: "HoldResult") -> figures.HoldFigures:
    """Take the figures of what holds one group."""
    first, drained = hold.first_move, hold.drained_move
    needed = _finite(hold.balance.asked_surely) or hold.balance.asked_sinker
    return figures.HoldFigures(
        name=hold.group.name,
        wood=hold.group.wood,
        balance=replace(balance_figures(hold.balance), sinker_kg=needed),
        verdict=hold.verdict.value,
        stays=hold.stays,
        doubts=tuple(doubt.value for doubt in hold.doubts),
        factor=hold.group.factor,
        friction=hold.group.friction,
        sinker_material=hold.sinker_material.name,
        moves_at_m=hold.moves_at,
        may_move_at_m=None if first is None else first.level,
        moves_how="" if first is None else first.manner,
        moves_about_m=() if first is None else first.edge,
        drained_moves_at_m=None if drained is None else drained.level,
        drained_moves_how="" if drained is None else drained.manner,
        margin_kg=_finite(hold.margin),
        held_factor=_finite(hold.held_factor),
        still_held_under=hold.still_held,
        tie_forces_n=hold.tie_forces,
        greatest_tie_forces_n=hold.greatest_ties,
        later_burial_kg=hold.burial,
        lean_deg=hold.lean,
        drawn_through_m=hold.through,
        carries=hold.carries,
        not_at_rest=hold.doubtful,
        draught_m=None if hold.afloat is None else hold.afloat.draught,
        afloat_turn=None
        if hold.afloat is None
        else tuple(tuple(map(float, row)) for row in hold.afloat.turn),
        soaking=hold.soaking,
        sinkers=tuple(_sinker(sinker, hold) for sinker in hold.group.sinkers),
        tie_points=hold.offers.why,
        offers=tuple(
            figures.OfferFigures(o.material.name, o.masses, o.points, o.hows, o.stones)
            for o in hold.offers.best
            if o.points
        ),
        strapping=hold.offers.strapping,
    )


def balance_figures(balance: "Balance") -> figures.BalanceFigures:
    """Take the figures of a vertical balance."""
    return figures.BalanceFigures(
        lift_kg=balance.lift,
        density_kg_per_m3=balance.density,
        least_sinker_kg=balance.least_sinker,
        sinker_kg=balance.asked_sinker,
        short_kg=_finite(balance.short),
        hung_kg=balance.hung,
        spare_kg=balance.spare,
        from_tub_test=balance.from_tub,
        heavy_enough=balance.enough,
    )


def _sinker(sinker: Sinker, hold: "HoldResult") -> figures.SinkerFigures:
    """Take the figures of one sinker, and where its tie is taken to be."""
    assumed = [place for one, place in hold.assumed if one == sinker]
    return figures.SinkerFigures(
        mass_kg=sinker.mass,
        material=sinker.material.name,
        how=sinker.how,
        stone=sinker.stone or None,
        at_m=sinker.at,
        assumed_at_m=assumed[0] if assumed else None,
    )


def _finite(value: float) -> float | None:
    return value if np.isfinite(value) else None


def _standing(stone: "Standing") -> figures.StandingFigures:
    return figures.StandingFigures(
        name=stone.name,
        tip_deg=stone.tip_angle,
        top_push_dry_n=stone.push_dry,
        top_push_wet_n=stone.push_wet,
        upright=stone.upright,
        doubtful=stone.doubtful,
        to_pane_m=stone.to_pane,
        lies_on=stone.on,
        falls_at_m=stone.falls_at,
    )


def _piece(plan: Plan, body: Body, number: int) -> figures.PieceFigures:
    """Take the figures of one piece."""
    entry = body.entry
    low, high = body.piece.low, body.piece.high
    return figures.PieceFigures(
        number=number,
        name=entry.name,
        kind=entry.kind,
        material=entry.material.name,
        volume_m3=body.volume,
        mass_kg=body.mass,
        mass_in_water_kg=body.mass_in_water(plan.water_density),
        size_m=tuple(float(side) for side in high - low),
        from_left_m=float(low[0] + high[0]) / 2,
        from_front_m=float(low[1] + high[1]) / 2,
        near_left_m=max(0.0, float(low[0])),
        near_front_m=max(0.0, float(low[1])),
        foot_m=float(low[2]),
        top_m=float(high[2]),
        turn_deg=entry.turn,
        tilt_deg=entry.tilt,
        lean_deg=entry.lean,
        rests=entry.rests,
        pressed_m=entry.pressed if entry.rests == "bed" else 0.0,
        set_after_layer=set_after(body, plan.bodies, plan.bed),
        on_wood=on_wood(body, plan.bodies),
        covered=plan.covered[entry.name],
        cost=None if entry.price is None else body.mass.times(entry.price),
        how_known=body.how_known,
        mended=body.piece.changes,
    )


def _heights(result: LayerResult) -> dict[str, float]:
    """Mean drawn height at each pane that the layer reaches [m]."""
    lies = result.drawn > result.below + LYING
    drawn = {name: result.drawn[cut][lies[cut]] for name, cut in PANES.items()}
    return {name: float(heights.mean()) for name, heights in drawn.items() if len(heights)}


def _ends(
    result: LayerResult, grid: Grid, borders: Sequence[Border]
) -> dict[str, tuple[float, float]]:
    """Height of a layer at both ends of each pane and of the border that it reaches [m].

    From left to right, or from front to back; pieces that stand there are left out.
    """
    level = np.minimum(result.surface, result.drawn)
    cuts, zone = dict(PANES), result.layer.zone
    lines = [b.line for b in borders if zone.border in ("", b.name)]
    if lines and zone.name.endswith("border"):
        x, y = np.array(lines[0]).T
        side = -BESIDE if result.layer.zone.name == "before border" else BESIDE
        level = np.where(result.drawn > result.below + LYING, result.drawn, level)
        cuts["border"] = grid.cell_at(grid.x, np.interp(grid.x, x, y) + side)
    found = {}
    for name, cut in cuts.items():
        heights = level[cut][level[cut] > result.below[cut] + LYING]
        if len(heights):
            found[name] = (float(heights[0]), float(heights[-1]))
    return found


def _bags(choice: BagChoice | None) -> tuple[figures.BagFigures, ...]:
    """List the bags to buy, only those that are bought."""
    if choice is None:
        return ()
    return tuple(
        figures.BagFigures(
            holds_m3=None if bag.by_mass else bag.holds,
            holds_kg=bag.holds if bag.by_mass else None,
            label=bag.text,
            count=count,
            price=bag.price,
        )
        for bag, count in zip(choice.bags, choice.counts, strict=True)
        if count
    )

"""Results as JSON documents: keys carry their unit, uncertain figures are ranges."""

import math
from typing import Any

from plumbstone.cli.output import range_json
from plumbstone.meshes.ranges import Range
from plumbstone.volumes.bed.bags import BagChoice
from plumbstone.volumes.bed.border import BorderResult
from plumbstone.volumes.bed.interfaces import lasting_slope
from plumbstone.volumes.bed.pouring import BedResult, LayerResult, SpotDepth
from plumbstone.volumes.bodies.placement import Body
from plumbstone.volumes.holding.buoyancy import Balance
from plumbstone.volumes.holding.hold_down import HoldResult, Move
from plumbstone.volumes.holding.offers import Offer
from plumbstone.volumes.holding.soaking import Soaking
from plumbstone.volumes.holding.stability import Standing
from plumbstone.volumes.plan import Plan, Purchase
from plumbstone.volumes.scape.groups import Sinker
from plumbstone.volumes.scape.scape import Lump, Scape, Tank
from plumbstone.volumes.water.dosing import Dosing, DrainBack, TankParts
from plumbstone.volumes.water.loads import Load

LITRE, GRAM, CENTIMETRE = 1e-3, 1e-3, 1e-2
FLOOR_CAUTION = (
    "Masses and pressure are for the stand maker, local code and a licensed engineer to judge; "
    "this is no approval of a stand or a floor."
)
CAUTIONS = (
    FLOOR_CAUTION,
    "Lift stones close to the body and not alone when heavy; set them on pads, never drop "
    "them on glass; the maker of the tank says what its panes may carry.",
    "Unplug everything electric before hands go into the water; keep drip loops.",
    "Use only wood that is untreated, unpainted and fit for aquariums.",
)


def plan_document(plan: Plan) -> dict[str, Any]:
    """Give a whole plan as the JSON document that `plan` writes and prints."""
    return {
        "name": plan.scape.name,
        "file": str(plan.scape.path),
        "tank": _tank(plan.scape.tank),
        "water_density_kg_per_m3": plan.water_density,
        "pieces": [
            {**_body(body, plan.water_density), "set_after_layer": plan.set_after(body)}
            for body in plan.bodies
        ],
        "lumps": [_lump(lump) for lump in plan.scape.lumps],
        "layers": [layer_document(purchase) for purchase in plan.purchases],
        "depths_cm": _depths(plan.bed),
        "spots": spots_document(plan.spots),
        "water": _water(plan.parts, plan.dosing),
        "load": _load(plan.load),
        "border": border_document(plan.border),
        **_ground(plan),
        "holds": [hold_document(hold) for hold in plan.holds],
        "standing": [_standing(stone) for stone in plan.standing],
        "drain_back": _drain_back(plan.drain_back),
        "warnings": list(plan.warnings),
        "guesses": list(plan.guesses),
        "cautions": list(CAUTIONS),
    }


def bed_document(
    scape: Scape,
    bed: BedResult | None,
    purchases: tuple[Purchase, ...],
    spots: tuple[SpotDepth, ...],
) -> dict[str, Any]:
    """Give the bed of one scape as JSON."""
    costs = [p.bags.cost for p in purchases if p.bags and p.bags.cost is not None]
    return {
        "name": scape.name,
        "file": str(scape.path),
        "layers": [layer_document(purchase) for purchase in purchases],
        "depths_cm": _depths(bed),
        "spots": spots_document(spots),
        "cost": sum(costs) if costs else None,
    }


def spots_document(spots: tuple[SpotDepth, ...]) -> list[dict[str, Any]]:
    """Give the depths at the named places of a scape as JSON."""
    return [
        {
            "name": found.spot.name,
            "height_cm": found.height / CENTIMETRE,
            "depth_cm": found.depth / CENTIMETRE,
            "root_depth_cm": None
            if found.spot.root_depth is None
            else found.spot.root_depth / CENTIMETRE,
            "lacking_cm": found.lacking / CENTIMETRE,
        }
        for found in spots
    ]


def layer_document(purchase: Purchase) -> dict[str, Any]:
    """Give one layer and its bags as JSON."""
    result = purchase.result
    return {
        "name": result.layer.name,
        "material": result.layer.material.name,
        "zone": result.layer.zone.name,
        "settled_l": result.settled / LITRE,
        "settled_error_l": result.error / LITRE,
        "sacks": result.sacks,
        "sack_l": None if result.layer.sacks is None else result.layer.sacks.holds / LITRE,
        "poured_l": result.poured / LITRE,
        "mass_kg": range_json(result.mass),
        "slope_degrees": result.slope_degrees,
        "repose_degrees": _repose(result),
        "lasting_degrees": lasting_slope(result.layer.material),
        "slides_l": result.slide.volume / LITRE,
        "slides_where": result.slide.where if result.slide.volume > 0 else "",
        "slides_lower_cm": result.slide.drop / CENTIMETRE,
        **_bags(purchase.bags),
    }


def border_document(border: BorderResult | None) -> dict[str, Any] | None:
    """Give the row of border stones as JSON."""
    if border is None:
        return None
    weakest = border.weakest
    return {
        "strip": border.strip,
        "gaps": [
            {
                "left": gap.left,
                "right": gap.right,
                "from_left_cm": gap.at[0] / CENTIMETRE,
                "from_front_cm": gap.at[1] / CENTIMETRE,
                "width_mm": gap.width * 1e3,
                "retained_cm": gap.retained / CENTIMETRE,
                "state": gap.state,
                "comes_through_l": gap.volume / LITRE,
                "reach_cm": gap.reach / CENTIMETRE,
                "cure": gap.cure,
                "fill_l": gap.fill / LITRE,
            }
            for gap in border.gaps
        ],
        "stones": [
            {
                "name": f.name,
                "thrust_n": f.thrust,
                "sliding_factor": f.sliding if f.thrust else None,
                "tipping_factor": f.tipping if f.thrust else None,
            }
            for f in border.footings
        ],
        "weakest": None if weakest is None or not weakest.thrust else weakest.name,
    }


def hold_document(hold: HoldResult) -> dict[str, Any]:
    """Give what holds one group as JSON."""
    first, drained = hold.first_move, hold.drained_move
    return {
        "name": hold.group.name,
        "wood": list(hold.group.wood),
        **balance_document(hold.balance),
        "verdict": hold.verdict.value,
        "stays": hold.stays,
        "doubts": [doubt.value for doubt in hold.doubts],
        "factor": hold.group.factor,
        "friction": range_json(hold.group.friction),
        "sinker_material": hold.sinker_material.name,
        "moves_at_cm": None if hold.moves_at is None else hold.moves_at / CENTIMETRE,
        "may_move_at_cm": None if first is None else first.level / CENTIMETRE,
        "moves_how": "" if first is None else first.manner,
        "moves_about_cm": _edge(first),
        "drained_moves_at_cm": None if drained is None else drained.level / CENTIMETRE,
        "drained_moves_how": "" if drained is None else drained.manner,
        "margin_g": hold.margin / GRAM if math.isfinite(hold.margin) else None,
        "held_factor": hold.held_factor if math.isfinite(hold.held_factor) else None,
        "still_held_under": hold.still_held,
        "tie_forces_n": list(hold.tie_forces),
        "greatest_tie_forces_n": list(hold.greatest_ties),
        "later_burial_g": hold.burial / GRAM,
        "lean_degrees": hold.lean,
        "drawn_through_cm": hold.through / CENTIMETRE,
        "carries": list(hold.carries),
        "not_at_rest": list(hold.doubtful),
        "draught_cm": None if hold.afloat is None else hold.afloat.draught / CENTIMETRE,
        "afloat_turn": None if hold.afloat is None else hold.afloat.turn.tolist(),
        "soaking": None if hold.soaking is None else soaking_document(hold.soaking),
        "sinkers": [_sinker(sinker, hold) for sinker in hold.group.sinkers],
        "tie_points": hold.offers.why,
        "offers": [_offer(offer) for offer in hold.offers.best if offer.points],
    }


def soaking_document(soaking: Soaking) -> dict[str, Any]:
    """Give what a log of weighings tells as JSON."""
    return {
        "neutral_kg": soaking.neutral,
        "saturated_kg": soaking.saturated,
        "latest_kg": soaking.latest,
        "days": None if soaking.days is None else range_json(soaking.days),
        "sinks": soaking.sinks,
        "set_aside_days": list(soaking.aside),
    }


def _edge(move: Move | None) -> list[list[float]]:
    """Give the ends of the edge about which a group tips [cm]."""
    if move is None:
        return []
    return [[x / CENTIMETRE, y / CENTIMETRE] for x, y in move.edge]


def _sinker(sinker: Sinker, hold: HoldResult) -> dict[str, Any]:
    ties = [tie for tie in hold.ties if tie.sinker == sinker]
    taken = [v / CENTIMETRE for v in ties[0].place] if ties and ties[0].assumed else None
    return {
        "mass_g": sinker.mass / GRAM,
        "material": sinker.material.name,
        "how": sinker.how,
        "stone": sinker.stone or None,
        "share_of_stone": sinker.share,
        "at_cm": None if sinker.at is None else [v / CENTIMETRE for v in sinker.at],
        "assumed_at_cm": taken,
    }


def _offer(offer: Offer) -> dict[str, Any]:
    return {
        "material": offer.material.name,
        "masses_g": [mass / GRAM for mass in offer.masses],
        "places_cm": [[v / CENTIMETRE for v in point] for point in offer.points],
        "how": list(offer.hows),
        "stones_at_hand": list(offer.stones),
    }


def balance_document(balance: Balance) -> dict[str, Any]:
    """Give a vertical balance as JSON; null where the lightest stone of its kind floats."""
    least, short = balance.least_sinker, balance.short
    return {
        "lift_g": range_json(balance.lift, GRAM),
        "density_kg_per_m3": range_json(balance.density),
        "least_sinker_g": {
            name: v / GRAM if math.isfinite(v) else None
            for name, v in (("low", least.low), ("mid", least.mid), ("high", least.high))
        },
        "sinker_g": balance.asked_sinker / GRAM,
        "short_g": short / GRAM if math.isfinite(short) else None,
        "hung_g": balance.hung / GRAM,
        "spare_g": range_json(balance.spare, GRAM),
        "from_tub_test": balance.from_tub,
        "heavy_enough": balance.enough,
    }


def _repose(result: LayerResult) -> dict[str, float]:
    repose = result.layer.material.repose
    return range_json(repose if repose is not None else Range.exact(0.0))


def _bags(choice: BagChoice | None) -> dict[str, Any]:
    """Give the bags of a layer, only those to buy."""
    if choice is None:
        return {"bags": [], "cost": None, "left_over_l": None}
    bags = []
    for bag, count in zip(choice.bags, choice.counts, strict=True):
        if count:
            key = "holds_kg" if bag.by_mass else "holds_l"
            holds = bag.holds if bag.by_mass else bag.holds / LITRE
            bags.append({key: holds, "count": count, "price": bag.price})
    return {"bags": bags, "cost": choice.cost, "left_over_l": choice.left_over / LITRE}


def _tank(tank: Tank) -> dict[str, Any]:
    return {
        "length_cm": tank.length / CENTIMETRE,
        "depth_cm": tank.depth / CENTIMETRE,
        "height_cm": None if tank.height is None else tank.height / CENTIMETRE,
        "glass_mm": None if tank.glass is None else tank.glass * 1e3,
        "water_line_cm": None if tank.water_line is None else tank.water_line / CENTIMETRE,
        "temperature_c": tank.celsius,
        "salinity_g_per_kg": tank.salinity,
    }


def _body(body: Body, water: float) -> dict[str, Any]:
    low, high = body.piece.vertices.min(axis=0), body.piece.vertices.max(axis=0)
    return {
        "name": body.entry.name,
        "kind": body.entry.kind,
        "material": body.entry.material.name,
        "volume_l": range_json(body.volume, LITRE),
        "mass_kg": range_json(body.mass),
        "mass_in_water_kg": range_json(body.mass_in_water(water)),
        "size_cm": [float(v) / CENTIMETRE for v in body.piece.size],
        "from_left_cm": float(low[0] + high[0]) / 2 / CENTIMETRE,
        "from_front_cm": float(low[1] + high[1]) / 2 / CENTIMETRE,
        "foot_cm": float(low[2]) / CENTIMETRE,
        "top_cm": float(high[2]) / CENTIMETRE,
        "rests": body.entry.rests,
        "how_known": body.how_known,
        "mended": list(body.piece.changes),
        "warnings": list(body.warnings),
    }


def _depths(bed: BedResult | None) -> dict[str, float]:
    return {name: depth / CENTIMETRE for name, depth in bed.depths} if bed else {}


def _water(parts: TankParts | None, dosing: Dosing | None) -> dict[str, Any] | None:
    if parts is None or dosing is None:
        return None
    return {
        "box_l": parts.box / LITRE,
        "stone_l": range_json(parts.stone, LITRE),
        "wood_l": range_json(parts.wood, LITRE),
        "grains_l": range_json(parts.grains, LITRE),
        "between_grains_l": range_json(parts.between_grains, LITRE),
        "free_l": range_json(parts.free_water, LITRE),
        "parts_over_box": parts.closure + 1,
        "dosing_l": range_json(dosing.dosing, LITRE),
        "fill_l": range_json(dosing.fill, LITRE),
        "per_cm_l": dosing.per_centimetre / LITRE,
        "marks": [
            {"change_percent": share * 100, "level_cm": level / CENTIMETRE}
            for share, level in dosing.marks
        ],
        "salt_mix_kg": None if dosing.salt_mix is None else range_json(dosing.salt_mix),
    }


def _load(load: Load | None) -> dict[str, Any] | None:
    if load is None:
        return None
    heaviest = load.heaviest
    return {
        "glass_kg": load.glass,
        "full_without_glass_kg": range_json(load.full),
        "full_kg": None if load.glass is None else range_json(load.full.plus(load.glass)),
        "drained_without_glass_kg": range_json(load.drained),
        "stripped_without_glass_kg": range_json(load.stripped),
        "cabinet_water_kg": load.cabinet,
        "footprint_cm": [side / CENTIMETRE for side in load.footprint],
        "pressure_kpa": range_json(load.pressure, 1e3),
        "heaviest": None
        if heaviest is None
        else {"name": heaviest[0], "mass_kg": range_json(heaviest[1])},
    }


def _lump(lump: Lump) -> dict[str, Any]:
    return {
        "name": lump.name,
        "count": lump.count,
        "material": lump.material.name,
        "mass_kg": range_json(lump.mass),
        "volume_l": range_json(lump.volume, LITRE),
        "below_soil": lump.below_soil,
    }


def _ground(plan: Plan) -> dict[str, Any]:
    """Give what layers do to each other and where they come to rest."""
    return {
        "rests": [
            {
                "layer": rest.layer,
                "outside_l": rest.outside / LITRE,
                "reach_cm": rest.reach / CENTIMETRE,
                "slope_excess": rest.excess,
            }
            for rest in plan.rests
        ],
        "runs_into": [
            {
                "fine": lost.fine,
                "coarse": lost.coarse,
                "filter_ratio": lost.ratio,
                "most_l": lost.most / LITRE,
            }
            for lost in plan.swallowed
        ],
        "heaves": [
            {"filler": h.filler, "cover": h.cover, "lacking_cm": h.lacking / CENTIMETRE}
            for h in plan.heaves
        ],
    }


def _standing(stone: Standing) -> dict[str, Any]:
    return {
        "name": stone.name,
        "tip_degrees": stone.tip_angle,
        "top_push_dry_n": stone.push_dry,
        "top_push_wet_n": stone.push_wet,
        "upright": stone.upright,
        "doubtful": stone.doubtful,
        "to_pane_cm": stone.to_pane / CENTIMETRE,
        "lies_on": list(stone.on),
        "lean_degrees": stone.lean,
        "proved": not stone.unsure,
        "falls_at_cm": None if stone.falls_at is None else stone.falls_at / CENTIMETRE,
    }


def _drain_back(back: DrainBack | None) -> dict[str, Any] | None:
    if back is None:
        return None
    return {
        "volume_l": back.volume / LITRE,
        "spare_l": None if back.spare is None else back.spare / LITRE,
        "overflows": back.overflows,
    }

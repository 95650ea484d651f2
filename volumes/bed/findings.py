"""What is found about the bed and its borders."""

from collections.abc import Iterator, Sequence

from plumbstone.volumes.bed import passing
from plumbstone.volumes.bed.bags import cheapest_bags
from plumbstone.volumes.bed.border import FALLS, SLIDING, TIPPING
from plumbstone.volumes.bed.holes import holes_under
from plumbstone.volumes.bed.interfaces import RETAINS, bare_floor, lasting_slope, overlaps
from plumbstone.volumes.bed.litres import ALIKE
from plumbstone.volumes.bed.results import BedResult, LayerResult, Passed
from plumbstone.volumes.bed.row import row_for
from plumbstone.volumes.figures import BorderFigures, HeaveFigures, RunFigures
from plumbstone.volumes.findings import Finding, Kind, Severity
from plumbstone.volumes.scape.materials import Material

SEEN = 5e-7  # [m³]: less beyond the stones is not seen
VOID = 5e-5  # [m³]: less space below stones is not told
STEP = 0.005  # [m]: differences of height that are told
LEANS_ON = 0.02  # [m]: less soil than that stands against a strip that is bedded in
PART = 0.02  # of a layer: less that slides is not told


def bed_findings(
    bed: BedResult | None,
    border: BorderFigures | None,
    swallowed: Sequence[RunFigures],
    heaves: Sequence[HeaveFigures],
) -> Iterator[Finding]:
    """Find what leaks, slides, creeps, runs into each other, heaves, or is left bare.

    There is no bed where nothing is poured, and no border where none is judged; layers that are
    swallowed or heave are what the layers do to each other.
    """
    if bed is None:
        return
    yield from _leaks(bed, border)
    for hole in holes_under(bed):
        numbers = {
            "width_m": hole.width,
            "height_m": hole.height,
            "x_m": hole.at[0],
            "y_m": hole.at[1],
        }
        yield Finding(Kind.LEAKS, Severity.CARE, (hole.layer,), numbers, how="under stones")
    yield from _off_line(bed)
    for result in bed.layers:
        over = tuple(_over_walls(result, bed))
        yield from over
        yield from (f for f in _slides(result, bed) if not over or f.how == "crest")
        yield from _creeps(result)
        if result.beside:
            about = (result.layer.name, *result.beside)
            yield Finding(Kind.SLIDES, Severity.NOTE, about, how="in turn", cure="pour in turn")
    last = [result for result in bed.layers if not result.layer.zone.pressed][-1:]
    for result in last:
        if result.void > VOID:
            numbers = {"volume_m3": result.void}
            yield Finding(Kind.VOID, Severity.NOTE, (result.layer.name,), numbers)
    for lost in swallowed:
        yield _runs_into(lost, bed)
    for heave in heaves:
        numbers = {"lacking_m": heave.lacking_m, "cover_m": heave.cover_needed_m,
                   "lift_kg": heave.lift_kg, "press_kg": heave.press_kg}  # fmt: skip
        about = (heave.filler, *([heave.cover] if heave.cover else []))
        yield Finding(Kind.HEAVES, Severity.CARE, about, numbers, cure="soak or cover")
    for footing in border.stones if border else ():
        sliding, tipping = footing.sliding_factor, footing.tipping_factor
        if sliding is None or tipping is None:
            continue
        if min(sliding / SLIDING, tipping / TIPPING) < 1:
            numbers = {"sliding": sliding, "tipping": tipping}
            how = "slides" if sliding / SLIDING < tipping / TIPPING else "tips"
            falls = min(sliding, tipping) < FALLS
            severity = Severity.STOP if falls else Severity.CARE
            yield Finding(Kind.WEAK, severity, (footing.name,), numbers, how=how)
    yield from _strips_alone(bed)
    for area, x, y in bare_floor(bed):
        yield Finding(Kind.BARE, Severity.NOTE, (), {"area_m2": area, "x_m": x, "y_m": y})
    for one, other, area in overlaps(bed):
        yield Finding(Kind.OVERLAPS, Severity.CARE, (one, other), {"area_m2": area})


def _leaks(bed: BedResult, border: BorderFigures | None) -> Iterator[Finding]:
    """Tell of each gap into which a layer runs, of what a pulled divider lets out or runs over."""
    gaps = {(gap.left, gap.right): gap for gap in border.gaps} if border else {}
    wide: dict[tuple[str, str], list[float]] = {}
    for passed in bed.passed:
        strip = passed.row.border.strip
        divider = passed.row.border.divider and not strip
        hidden = passed.volume < SEEN
        if hidden and (passed.gap < 0 or passed.lowered < STEP):
            continue
        if divider or passed.gap < 0:
            how = "divider pulled" if divider else "over"
            seen = wide.setdefault((passed.layer, how), [0.0, 0.0])
            seen[0], seen[1] = seen[0] + passed.volume, max(seen[1], passed.reach)
            continue
        sides = passed.row.gaps[passed.gap].left, passed.row.gaps[passed.gap].right
        gap = gaps.get(sides)
        soil = next(r.layer.material for r in bed.layers if r.layer.name == passed.layer)
        how, filler = _filled(passed, soil, bed)
        arches = (
            how in ("may arch", "over filler")
            and passing.state_of(passed.width, soil) == "may arch"
        )
        yield Finding(
            Kind.LEAKS,
            Severity.NOTE if (hidden and not strip) or arches else Severity.CARE,
            (passed.layer, *sides),
            {
                "width_m": passed.width, "retained_m": passed.upper - passed.lower,
                "volume_m3": 0.0 if hidden else passed.volume, "reach_m": passed.reach,
                "fill_m3": gap.fill_m3 if gap and not strip else 0.0,
                "grain_m": passing.STAYS_RATIO * passed.width, "lowered_m": passed.lowered,
            },
            where=filler,
            how=how,
            cure=gap.cure if gap else "",
        )  # fmt: skip
    for (name, how), (volume, reach) in wide.items():
        numbers = {"volume_m3": volume, "reach_m": reach}
        yield Finding(Kind.LEAKS, Severity.CARE, (name,), numbers, how=how)


def _filled(passed: Passed, soil: Material, bed: BedResult) -> tuple[str, str]:
    """Tell how a gap is open, and which layer is pressed into it and does not close it all."""
    gaps = passing.lying_in("border gaps", passed.row, bed.layers, bed.rows)
    pressed = [result.layer for result in gaps]
    if not pressed:
        return passing.state_of(passed.width, soil), ""
    if passing.closes([layer.material for layer in pressed], soil, passed.width):
        return "over filler", pressed[-1].name
    staying = [layer.name for layer in pressed if passing.stays_in(layer.material, passed.width)]
    return ("lets through", staying[0]) if staying else ("falls out", pressed[0].name)


def _off_line(bed: BedResult) -> Iterator[Finding]:
    """Tell of stones beside which a border line passes, so that they hold nothing of it."""
    for row in bed.rows:
        for name, gap in row.missed:
            yield Finding(
                Kind.OFF_LINE, Severity.CARE, (name,), {"away_m": gap}, cure="draw the line over it"
            )


def _strips_alone(bed: BedResult) -> Iterator[Finding]:
    """Tell of soil that leans on a strip before which no stone stands."""
    for result in bed.layers:
        row = row_for(result.layer.zone, bed.rows)
        behind = result.layer.zone.name == "behind border"
        if row is None or not behind or not row.border.strip or row.gaps:
            continue
        assert result.edge is not None
        sides = (result.surface, result.edge > 0), (bed.poured, result.edge <= 0)
        upper, lower = (
            [passing.nearest_level(field, where, s.middle, bed.grid) or 0.0 for s in row.stretches]
            for field, where in sides
        )
        retained = max(a - b for a, b in zip(upper, lower, strict=True))
        if retained > LEANS_ON:
            numbers = {"retained_m": retained}
            yield Finding(Kind.WEAK, Severity.CARE, (result.layer.name,), numbers, how="strip")


def _over_walls(result: LayerResult, bed: BedResult) -> Iterator[Finding]:
    """Tell where a layer ends lower than drawn, as the wall that it lies behind is too low."""
    row, zone = row_for(result.layer.zone, bed.rows), result.layer.zone
    if row is None or zone.name not in ("behind border", "before border"):
        return
    assert result.edge is not None
    inside = result.edge > 0
    worst = (STEP, 0.0, 0.0)
    for stretch in row.stretches:
        drawn, lies = (
            passing.nearest_level(field, inside, stretch.middle, bed.grid) or 0.0
            for field in (result.drawn, result.surface)
        )
        if lies > drawn - ALIKE:  # what lies on the other side holds it
            continue
        worst = max(worst, (drawn - min(stretch.holds), drawn, min(stretch.holds)))
    if worst[0] > STEP:
        numbers = {"over_m": worst[0], "drawn_m": worst[1], "wall_m": worst[2],
                   "volume_m3": result.slide.volume}  # fmt: skip
        how = "over wall" if worst[2] > 0 else "no wall"
        yield Finding(Kind.SLIDES, Severity.CARE, (result.layer.name,), numbers, how=how)


def _slides(result: LayerResult, bed: BedResult) -> Iterator[Finding]:
    """Tell once where a layer ends lower than drawn: at its highest place, or at an edge."""
    slide = result.slide
    if slide.volume < PART * result.settled or slide.drop < STEP:
        return
    numbers = {"volume_m3": slide.volume, "drop_m": slide.drop}
    lying = result.surface > result.below + 1e-6
    free = lying & (bed.columns.solid == 0)
    if free.any() and slide.crest_drawn - slide.crest_stays > STEP:
        lacking = slide.crest_drawn - slide.crest_stays
        crest = {"drawn_m": slide.crest_drawn, "stays_m": slide.crest_stays, "lacking_m": lacking}
        yield Finding(
            Kind.SLIDES, Severity.CARE, (result.layer.name,), {**numbers, **crest},
            where=slide.crest_where, how="crest", cure="lower or wall",
        )  # fmt: skip
        return
    repose = result.layer.repose
    how = "sacks" if result.layer.sacks and repose.low < repose.high else "edge"  # not typed
    yield Finding(
        Kind.SLIDES, Severity.CARE, (result.layer.name,), numbers, where=slide.where, how=how
    )


def _creeps(result: LayerResult) -> Iterator[Finding]:
    """Tell of a slope that does not last bare, whichever way it falls."""
    repose = result.layer.repose
    lasting = lasting_slope(repose)
    if result.steepest_degrees <= lasting:
        return
    numbers = {"slope_deg": result.steepest_degrees, "lasting_deg": lasting,
               "least_repose_deg": repose.low}  # fmt: skip
    severity = Severity.CARE if result.steepest_degrees > repose.low else Severity.NOTE
    yield Finding(
        Kind.CREEPS, severity, (result.layer.name,), numbers, how=result.steepest_towards,
        cure="plant or terrace",
    )  # fmt: skip


def _runs_into(lost: RunFigures, bed: BedResult) -> Finding:
    """Tell of fine grains on coarse ones, and of the bags with and without a fabric."""
    fine = next(r for r in bed.layers if r.layer.name == lost.fine)
    numbers = {"ratio": lost.filter_ratio, "most_m3": lost.most_m3}
    bulk = fine.layer.material.bulk_density
    if fine.layer.bags and bulk is not None:
        more = fine.poured + lost.most_m3 / (1 - fine.layer.settling)
        for key, need in (("bags_with", fine.poured), ("bags_without", more)):
            choice = cheapest_bags(need * (1 + fine.layer.spare), fine.layer.bags, bulk.mid)
            numbers[key] = float(sum(choice.counts))
    borderline = lost.filter_ratio <= RETAINS
    how = "borderline" if borderline else "runs"
    severity = Severity.NOTE if borderline else Severity.CARE
    about = (lost.fine, lost.coarse)
    return Finding(Kind.RUNS_INTO, severity, about, numbers, how=how, cure="fabric")

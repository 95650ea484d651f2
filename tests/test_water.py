"""Water density against IAPWS-95, TEOS-10 and a printed table."""

from pathlib import Path

import pytest

from plumbstone.volumes.density import WaterRangeError, water_density
from plumbstone.volumes.layout import Layout
from plumbstone.volumes.scape.scape import read_scape


@pytest.mark.parametrize("celsius", [0.5, 4, 10, 15, 18, 20, 22, 24, 25, 26, 30, 35, 40])
def test_fresh_water_matches_iapws_95(celsius: float) -> None:
    # IAPWS-95, by the program iapws, at 101.325 kPa.
    import iapws

    truth = iapws.IAPWS95(T=celsius + 273.15, P=0.101325).rho
    assert water_density(celsius) == pytest.approx(truth, abs=0.005)


@pytest.mark.parametrize("salinity", [1, 5, 10, 20, 35, 40])
@pytest.mark.parametrize("celsius", [5, 15, 25, 35])
def test_salt_water_matches_teos_10(celsius: float, salinity: float) -> None:
    # TEOS-10 by the program gsw, surface, at 0° E 0° N, where SA follows from SP.
    import gsw

    absolute = gsw.SA_from_SP(salinity, 0, 0, 0)
    truth = gsw.rho_t_exact(absolute, celsius, 0)
    assert water_density(celsius, salinity) == pytest.approx(truth, abs=0.02)


@pytest.mark.parametrize(
    ("celsius", "printed"),
    [(15.6, 999.01), (18.3, 998.54), (21.1, 997.97), (23.0, 997.54), (23.9, 997.32),
     (26.7, 996.59), (29.4, 995.83)],
)  # fmt: skip
def test_table_of_astm_c29(celsius: float, printed: float) -> None:
    # ASTM C29 water table, read on a secondary page; printed to two digits.
    assert water_density(celsius) == pytest.approx(printed, abs=0.03)


def test_eos_80_check_value() -> None:
    # UNESCO 44: S = 35, t68 = 25 °C, p = 0 gives 1023.34306 (from memory); t90 = t68 / 1.00024.
    assert water_density(25 / 1.00024, 35) == pytest.approx(1023.343, abs=0.005)


@pytest.mark.parametrize(("celsius", "salinity"), [(-1, 0), (41, 0), (25, 50), (25, -1)])
def test_beyond_the_tables_is_refused(celsius: float, salinity: float) -> None:
    with pytest.raises(WaterRangeError, match="outside"):
        water_density(celsius, salinity)


def test_the_sump_below_counts_on_the_floor(tmp_path: Path) -> None:
    # 40 L in the sump and 8 L in the filter on 120 × 50 cm: 48 kg more, 0.78 kPa; arithmetic.
    plans = []
    for more in ("", 'filter_water = "8 L"\nsump = { water = "40 L" }\n'):
        path = tmp_path / "t.toml"
        path.write_text(
            '[tank]\ninside = ["120 cm", "50 cm", "50 cm"]\nwater_line = "46 cm"\n'
            f'temperature = "4 °C"\n{more}',
            encoding="utf-8",
        )
        plans.append(Layout(read_scape(path)).plan().load)
    without, with_sump = plans
    assert without is not None
    assert with_sump is not None
    assert with_sump.cabinet_water_kg == pytest.approx(48.0, rel=1e-4)
    assert with_sump.full_without_glass_kg == without.full_without_glass_kg
    more_pressure = with_sump.pressure_pa.mid - without.pressure_pa.mid
    assert more_pressure == pytest.approx(48 * 9.80665 / 0.6, rel=1e-4)

"""What becomes of one batch that is late or early, and of the fish of one tank."""

from dataclasses import replace

import numpy as np
import pytest

from planner.forecast.factors import Sizes, sizes
from planner.forecast.fishery import Shoal, shoal
from planner.forecast.growing import NEVER, clock
from planner.forecast.harvests import LIGHTER_A_DAY, Harvest, bed, harvest
from planner.forecast.streams import Streams
from planner.forecast.weather import Weather
from planner.learning import Factor, Factors, priors_of
from planner.lots import Lot
from planner.nitrogen import feed_nitrogen, supply_g
from planner.schools import School
from planner.season.decide import season_plan
from planner.season.effort import Effort
from planner.spread import load_spread
from tests.forecasts import Case, case_of
from tests.houses import full_house

CALM = load_spread().scaled(0)
STILL = sizes(CALM, None)


@pytest.fixture(scope="module")
def planned() -> Case:
    problem = full_house().problem
    return case_of(problem, season_plan(problem, Effort(work=0)))


def of_crop(planned: Case, crop: str) -> Lot:
    """A lot that is set out after the first week and cut in one week, well before the end."""
    found = [
        lot
        for lot in planned.lots
        if lot.option.crop == crop
        and lot.option.start > 0
        and len(lot.harvest_kg) == 1
        and max(lot.harvest_kg) < planned.problem.horizon.weeks - 3
    ]
    return found[0]


def cut(
    planned: Case, lot: Lot, slower: list[float], spread: Sizes = STILL, draws: int | None = None
) -> Harvest:
    """The harvest of a lot whose days to harvest are so many times the table's, by draw."""
    problem, weeks = planned.problem, planned.problem.horizon.weeks
    streams = Streams(0, draws or len(slower))
    even = np.ones((weeks, streams.draws))
    crop, zone = problem.crops[lot.option.crop], problem.farm.zones[lot.option.zone]
    ticks = clock(problem, crop, zone, even)
    here = bed(problem, crop, zone.method.value, ticks, streams, spread)
    here = replace(here, days=np.log(np.resize(slower, streams.draws)))
    return harvest(problem, lot, here, Weather(even, even), streams, spread, None)


def days_to_ripe(lot: Lot) -> int:
    return (lot.option.ripe - lot.option.set_out).days


def spare_days(planned: Case, lot: Lot) -> int:
    """Days from ripeness to the Thursday of the deliveries."""
    (week,) = lot.harvest_kg
    return (planned.problem.horizon.monday(week) - lot.option.ripe).days + 3


def test_a_batch_that_is_days_late_is_cut_lighter(planned: Case) -> None:
    lot = of_crop(planned, "lettuce_butterhead")
    (week,) = lot.harvest_kg
    stand = days_to_ripe(lot)
    found = cut(planned, lot, [1.0, (stand + spare_days(planned, lot) + 2) / stand])
    kg = lot.harvest_kg[week]
    lighter = 1 - 2 * LIGHTER_A_DAY * CALM.counted_share
    assert set(found.kg) == {week}
    assert found.kg[week][0] == pytest.approx(kg)
    assert found.kg[week][1] == pytest.approx(kg * lighter, rel=0.04)  # a day more or less


def test_a_batch_that_is_a_week_late_is_cut_the_week_after_and_then_no_more(planned: Case) -> None:
    lot = of_crop(planned, "lettuce_butterhead")
    (week,) = lot.harvest_kg
    stand = days_to_ripe(lot)
    late = spare_days(planned, lot) + 6
    found = cut(planned, lot, [1.0, (stand + late) / stand, (stand + late + 30) / stand])
    last = planned.problem.horizon.week_of(lot.option.clear)
    total = sum(found.kg.values())
    assert found.kg[week].tolist() == pytest.approx([lot.harvest_kg[week], 0, 0])
    assert total[1] > 0.8 * lot.harvest_kg[week]
    assert total[2] == 0
    assert max(found.kg) <= last
    assert found.first_day[1] >= found.first_day[0] + 4
    assert found.first_day[2] == NEVER


def test_a_batch_that_is_early_waits_and_fades(planned: Case) -> None:
    lot = of_crop(planned, "radish")
    (week,) = lot.harvest_kg
    wait = replace(planned.problem.crops["radish"], harvest_window_days=1)
    hasty = replace(planned.problem, crops={**planned.problem.crops, "radish": wait})
    early = [1.0, 0.9, 0.75]
    whole = cut(planned, lot, early)
    faded = cut(Case(**{**_parts(planned), "problem": hasty}), lot, early)
    assert whole.kg[week].tolist() == pytest.approx([lot.harvest_kg[week]] * 3)
    first, second, third = faded.kg[week]
    assert first == pytest.approx(lot.harvest_kg[week])
    assert first >= second > third >= 0
    assert (faded.first_day[:2] == faded.first_day[0]).all()  # nothing is cut before its day


def _parts(planned: Case) -> dict[str, object]:
    return {name: getattr(planned, name) for name in ("plan", "lots", "schools", "flows")}


def test_regrowth_goes_with_growth_and_with_what_the_first_cut_leaves_it(planned: Case) -> None:
    lots = [lot for lot in planned.lots if lot.option.crop == "lettuce_babyleaf"]
    lot = next(lot for lot in lots if len(set(lot.ripe_in.values())) > 1)
    first, *later = sorted(lot.harvest_kg)
    again = [week for week in later if lot.ripe_in[week] > lot.ripe_in[first]]
    found = cut(planned, lot, [1.0, 1 / 1.2, 1.25])
    for week in again:
        even, fast, slow = found.kg[week]
        assert even == pytest.approx(lot.harvest_kg[week])
        assert fast == pytest.approx(1.2 * even, rel=1e-6)
        assert slow <= even / 1.25 + 1e-9
    assert slow < even / 1.25 - 1e-3 or len(again) > 1


def test_few_plants_are_riskier_than_many(planned: Case) -> None:
    lot = of_crop(planned, "lettuce_butterhead")
    losses = sizes(replace(CALM, loss_batch=0.1), None)
    (week,) = lot.harvest_kg
    few = cut(planned, lot, [1.0], losses, 4000).kg[week]
    many_kg = {week: 40 * lot.harvest_kg[week]}
    many = cut(planned, replace(lot, parts=40 * lot.parts, harvest_kg=many_kg), [1.0], losses, 4000)
    assert few.std() / few.mean() > 2 * many.kg[week].std() / many.kg[week].mean()
    assert few.mean() == pytest.approx(lot.harvest_kg[week], rel=0.01)


def test_seed_that_fails_leaves_holes_but_never_more_plants(planned: Case) -> None:
    lot = of_crop(planned, "lettuce_butterhead")
    (week,) = lot.harvest_kg
    found = cut(planned, lot, [1.0], sizes(replace(CALM, germination=0.1), None), 4000).kg[week]
    assert found.max() <= lot.harvest_kg[week] * (1 + 1e-9)
    assert 0.02 < (found < 0.999 * lot.harvest_kg[week]).mean() < 0.5


def only(species: str, **known: float) -> Sizes:
    """Sizes of a house that is unsure of one thing about a species alone."""
    factors = {name: {species: Factor(mean_log=0.0, sd_log=sd, n=1)} for name, sd in known.items()}
    return Sizes(CALM, Factors(priors=priors_of(CALM), **factors))


def tank(planned: Case, sure: Sizes) -> tuple[School, Shoal]:
    school = max(planned.schools, key=lambda s: np.count_nonzero(s.option.feed_g))
    return school, shoal(planned.problem, school, Streams(3, 50), sure)


def test_weight_goes_with_the_growth_coefficient(planned: Case) -> None:
    school, found = tank(planned, only("tilapia_nile", fish_growth=0.2))
    factor = np.exp(Streams(3, 50).normal("growth/tilapia_nile", 0.2))
    start = np.cbrt(planned.problem.farm.fingerlings[0].weight_g)
    assert school.option.at_hand is None
    for week, mean_g in found.mean_g.items():
        rise = np.cbrt(float(school.option.mean_g[week])) - start
        assert mean_g == pytest.approx((start + factor * rise) ** 3)
    weeks = sorted(found.feed_kg)
    one, two = (np.corrcoef(found.feed_kg[week], factor)[0, 1] for week in (weeks[0], weeks[-2]))
    assert min(one, two) > 0.9


def test_twice_the_deaths_square_the_share_alive(planned: Case) -> None:
    school, found = tank(planned, only("tilapia_nile", survival=0.5))
    rate = np.exp(Streams(3, 50).normal("deaths/tilapia_nile", 0.5))
    weeks = [w for w in found.kg if all(take.week > w for take in school.option.takes)]
    assert len(weeks) > 1
    for week in weeks:
        share = float(school.option.alive[week])  # of those counted
        planned_kg = share * school.fish * float(school.option.mean_g[week]) / 1000
        assert found.kg[week] / planned_kg == pytest.approx(share ** (rate - 1), rel=1e-3)


def test_feed_above_the_plans_is_nitrogen_in_the_water(planned: Case) -> None:
    """The same gain on more feed: all of the nitrogen beyond goes to solids and water."""
    school, found = tank(planned, only("tilapia_nile", fcr=0.2))
    option, water = school.option, planned.problem.farm.water
    fish = planned.problem.fish[option.species]
    factor = np.exp(Streams(3, 50).normal("fcr/tilapia_nile", 0.2))
    week = sorted(found.feed_kg)[1]
    feed_g = float(option.feed_g[week]) * school.fish
    assert found.feed_kg[week] == pytest.approx(feed_g * factor / 1000)
    split = feed_nitrogen(
        feed_g * factor,
        np.full(50, feed_g / fish.fcr),
        fish.feed_protein_growout_pct / 100,
        fish.body_n_fraction,
        water.solid_share,
    )
    expected = supply_g(
        split.dissolved, split.solids, water.gas_loss, water.solids_kept, water.mineralised
    )
    assert found.supply_g[week] == pytest.approx(expected, rel=1e-4)


def test_fish_that_are_far_too_light_bring_nothing(planned: Case) -> None:
    school, found = tank(planned, only("tilapia_nile", fish_growth=3.0))
    factor = np.exp(Streams(3, 50).normal("growth/tilapia_nile", 3.0))
    week = next(take.week for take in school.option.takes if take.saleable)
    assert (found.taken_kg[week][factor < 0.01] == 0).all()
    assert (found.taken_kg[week][factor >= 1] > 0).all()
    assert (factor < 0.01).any()

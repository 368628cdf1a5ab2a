"""Things to change, ranked by the money that they cost: only what the book gives ground for.

Each sum stands alone: what one thing cost may be part of what another one did. What to do is
common practice.
"""

from collections import defaultdict
from collections.abc import Iterator, Sequence

from planner.book import Harvest
from planner.review.cropsums import value
from planner.review.ground import Ground
from planner.review.kinds import BatchRow, Change, FishRow, OrderRow, WeekRow
from planner.review.sayings import area_unit, money, names, value_words
from planner.words import LB_KG, figure, plain, plural, quantity, weight

MOST = 5
LEAST_MONEY = 0.5  # below it nothing is said


def changes(
    ground: Ground,
    batches: Sequence[BatchRow],
    orders: Sequence[OrderRow],
    weeks: Sequence[WeekRow],
    fish: Sequence[FishRow],
) -> tuple[Change, ...]:
    """Return the things that cost most, five at most, dearest first."""
    found = Candidates(ground)
    every = [
        *found.losses(batches),
        *found.light_cuts(batches),
        *found.late(batches),
        *found.poor_use(batches),
        *found.short_lines(orders),
        *found.nitrate(weeks),
        *found.feed(weeks),
        *found.deaths(fish),
    ]
    kept = [change for change in every if change.money >= LEAST_MONEY]
    return tuple(sorted(kept, key=lambda c: (-round(c.money, 2), c.kind, c.title))[:MOST])


class Candidates:
    """What may be worth changing on a farm, one method a kind."""

    def __init__(self, ground: Ground) -> None:
        self._ground = ground
        self._names = names(ground.crops, ground.fish)
        self._units = ground.farm.units

    def _money(self, value: float) -> str:
        return money(value, self._ground.farm.currency)

    def _kg_at_price(self, kg: float, price_kg: float) -> str:
        """Return a weight and its price in words. [kg] [money kg⁻¹]"""
        return f"{weight(kg, self._units)} at {self._each(price_kg, 'kg')}"

    def _each(self, price: float, unit: str) -> str:
        """Return the price of a unit in words, of a pound for who weighs in those."""
        if unit == "kg" and self._units == "us":
            return f"{self._money(price * LB_KG)} a lb"
        return f"{self._money(price)} a {plain(unit)}"

    def losses(self, batches: Sequence[BatchRow]) -> Iterator[Change]:
        """Yield, by crop, what the plan still had of parts that were lost."""
        for crop, rows in _by_crop(batches).items():
            kg = sum(row.lost_kg for row in rows)
            lost = [row for row in rows if row.lost_plants]
            plants = sum(row.lost_plants or 0.0 for row in lost)
            price_kg = self._ground.price_kg(crop)
            yield Change(
                kind="loss",
                title=f"{self._names[crop]}: plants lost",
                money=kg * price_kg,
                reckoned=f"{figure(plants)} plants in {plural(len(lost), 'batch')} were lost, of "
                f"which the plan still had {self._kg_at_price(kg, price_kg)}",
                todo="Look in the book at the causes of these losses, and put right the one that "
                "comes back; until then sow more than the order needs.",
            )

    def light_cuts(self, batches: Sequence[BatchRow]) -> Iterator[Change]:
        """Yield, by crop, what was cut less than planned of what stood.

        Cuts without a batch count too: they may be of any of these.
        """
        for crop, rows in _by_crop(batches).items():
            told = [row for row in rows if row.real_kg is not None]
            stood_kg = sum(row.counted_kg - row.lost_counted_kg for row in told)
            real_kg = sum(row.real_kg or 0.0 for row in told) + sum(
                e.kg for e in self._ground.of(Harvest) if e.crop == crop and e.batch is None
            )
            price_kg = self._ground.price_kg(crop)
            yield Change(
                kind="yield",
                title=f"{self._names[crop]}: less cut than planned",
                money=(stood_kg - real_kg) * price_kg,
                reckoned=f"{plural(len(told), 'batch')} gave {weight(real_kg, self._units)} of "
                f"{weight(stood_kg, self._units)} planned, lost parts left out and cuts without a "
                f"batch counted in: {self._kg_at_price(stood_kg - real_kg, price_kg)}",
                todo="Plan again: the next plan takes what these batches taught. Look at light, "
                "warmth and spacing of this crop before sowing more of it.",
            )

    def late(self, batches: Sequence[BatchRow]) -> Iterator[Change]:
        """Yield, by crop, what places were worth in the days by which starts were late."""
        for crop, rows in _by_crop(batches).items():
            late = [row for row in rows if (row.late_days or 0) > 0]
            lost = sum((row.late_days or 0) / 7 * row.area_m2 * row.course_value for row in late)
            days = sum(row.late_days or 0 for row in late)
            yield Change(
                kind="late",
                title=f"{self._names[crop]}: late starts",
                money=lost,
                reckoned=f"{plural(len(late), 'batch')} started {plural(days, 'day')} late "
                "together, at what their places were planned to bring in that time",
                todo="Give sowing and setting out a fixed day, or plan fewer starts in the weeks "
                "in which they slip.",
            )

    def poor_use(self, batches: Sequence[BatchRow]) -> Iterator[Change]:
        """Yield, by zone, the crop whose places would have brought most more with the best one."""
        zones: dict[str, dict[str, list[BatchRow]]] = defaultdict(lambda: defaultdict(list))
        for row in batches:
            if row.real_kg is not None and row.real_m2_weeks > 0:
                zones[row.zone][row.crop].append(row)
        for zone, crops in sorted(zones.items()):
            worth = {crop: value(rows, real=True) or 0.0 for crop, rows in crops.items()}
            best = max(sorted(worth), key=lambda crop: worth[crop])
            m2_weeks = {c: sum(row.real_m2_weeks for row in rows) for c, rows in crops.items()}
            missed = {crop: (worth[best] - worth[crop]) * m2_weeks[crop] for crop in worth}
            crop = max(sorted(missed), key=lambda crop: missed[crop])
            each, by = self._value(worth[crop]), self._value(worth[best])
            yield Change(
                kind="place",
                title=f"{plain(zone)}: {self._names[crop]} brings less than {self._names[best]}",
                money=missed[crop],
                reckoned=f"{each} against {by} a {area_unit(self._units)} and week, over the area "
                "and time that it held; at most, for as long as someone buys the more of "
                f"{self._names[best]}",
                todo=f"Ask the customers whether they would take more {self._names[best]}; if so, "
                "put it into orders.csv or outlets.csv and plan again.",
            )

    def _value(self, worth: float) -> str:
        return value_words(worth, self._ground.farm.currency, self._units)

    def short_lines(self, orders: Sequence[OrderRow]) -> Iterator[Change]:
        """Yield, by line, what was delivered less than ordered."""
        lines: dict[str, list[OrderRow]] = defaultdict(list)
        for row in orders:
            if row.delivered is not None and row.short > 0:
                lines[row.line].append(row)
        for line, rows in sorted(lines.items()):
            short, last = sum(row.short for row in rows), rows[-1]
            causes = list(dict.fromkeys(row.cause for row in rows))
            yield Change(
                kind="order",
                title=f"{plain(last.customer)}, line {plain(line)}: short",
                money=sum(row.short * row.price for row in rows),
                reckoned=f"{quantity(short, last.unit, self._units)} short in "
                f"{plural(len(rows), 'week')}, at {self._each(last.price, last.unit)}",
                todo=f"Causes: {'; '.join(causes[:3])}. Offer the customer less or later, or give "
                "the crop more room.",
            )

    def nitrate(self, weeks: Sequence[WeekRow]) -> Iterator[Change]:
        """Yield the weeks whose tests were out of the band, at the plan's own price of them."""
        out = [row for row in weeks if row.out_mg_l]
        beyond = sum(row.out_mg_l or 0.0 for row in out)
        price = self._ground.farm.weights.nitrate_mg_l_week
        under = any((row.tested_low_mg_l or 0.0) < row.band_mg_l[0] for row in out)
        over = any((row.tested_high_mg_l or 0.0) > row.band_mg_l[1] for row in out)
        more = "Feed more if the fish eat it all and ammonia stays low, or set out less"
        less = "Feed less, set out more or exchange some water"
        advice = f"{more} when it is low; {less[0].lower()}{less[1:]} when it is high"
        yield Change(
            kind="nitrate",
            title="Nitrate out of its band",
            money=beyond * price,
            reckoned=f"{plural(len(out), 'week')} tested out of the band, {figure(beyond)} mg/L "
            f"nitrate-N together, at the {self._money(price)} a mg/L and week of farm.toml: a "
            "weight of the plan, not money paid",
            todo=f"{advice if under and over else more if under else less}. Test weekly.",
        )

    def feed(self, weeks: Sequence[WeekRow]) -> Iterator[Change]:
        """Yield the feed given beyond the plan in the weeks in which it was written down."""
        told = [row for row in weeks if row.real_feed_kg is not None]
        over_kg = sum((row.real_feed_kg or 0.0) - row.planned_feed_kg for row in told)
        price = self._ground.farm.prices.feed_kg
        yield Change(
            kind="feed",
            title="More feed than planned",
            money=over_kg * price,
            reckoned=f"{self._kg_at_price(over_kg, price)} more than planned in "
            f"{plural(len(told), 'week')} with records",
            todo="Weigh the fish, then feed by the plan's ration and stop when they stop eating.",
        )

    def deaths(self, fish: Sequence[FishRow]) -> Iterator[Change]:
        """Yield, by species, fish that died beyond what was planned, at their last weight."""
        for species in sorted({row.species for row in fish}):
            rows = [
                row
                for row in fish
                if row.species == species and row.real_mean_g is not None and row.dead is not None
            ]
            more = {row.tank: (row.dead or 0) - (row.planned_dead or 0.0) for row in rows}
            kg = sum(more[row.tank] * (row.real_mean_g or 0.0) / 1000 for row in rows)
            price_kg = self._ground.price_kg(species)
            yield Change(
                kind="deaths",
                title=f"{self._names[species]}: more deaths than planned",
                money=kg * price_kg,
                reckoned=f"{figure(sum(more.values()))} fish more than planned, at their last "
                f"weight: {self._kg_at_price(kg, price_kg)}",
                todo="Look at oxygen, ammonia and warmth on the days of the deaths, and ask who "
                "knows fish diseases.",
            )


def _by_crop(batches: Sequence[BatchRow]) -> dict[str, list[BatchRow]]:
    found: dict[str, list[BatchRow]] = defaultdict(list)
    for row in batches:
        found[row.crop].append(row)
    return dict(sorted(found.items()))

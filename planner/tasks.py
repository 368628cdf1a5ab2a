"""Dated jobs from a plan: what to sow, set out, cut and clear, what to do with fish and water.

One job a day and kind, with a line for every batch or cohort. The words stand alone: what, where
and how many, in the grower's units.
"""

from collections import defaultdict
from collections.abc import Iterator, Mapping
from datetime import date, timedelta

from planner.cautions import CLEAR_CARE, WATER_CARE, food_care
from planner.document import BatchDoc, CohortDoc, PlanDoc, WeekDoc, ZoneDoc
from planner.fishjobs import fish_caution, fish_entries, orders_together
from planner.jobs import Entry, Job, JobLine, Kind, title
from planner.likely import cut_amount, likely_cut, likely_nitrate
from planner.ranges import fish_shares, week_ranges
from planner.tables import Crop, Fish
from planner.words import (
    Units,
    day_words,
    figure,
    natural,
    numbered,
    places_text,
    plain,
    plural,
    spoken,
    temperature,
    weight,
)

__all__ = ["Job", "JobLine", "Kind", "dated"]

WATER_TESTS = ("pH", "TAN", "nitrite", "nitrate", "dissolved oxygen", "alkalinity")
_PLACE_WORDS = {"media_bed": "bed", "raft": "board", "tower": "tower"}
_CLEANING = {
    "media_bed": "pull the roots out of the gravel and rinse it",
    "raft": "take off root mats, scrub boards and net pots",
    "tower": "pull out the roots, wash slots and net pots",
}
_STARTS = {  # by started_from: verb of the title, start of the line, unit
    "seed": ("Sow", "Sow", "cell"),
    "plug": ("Take in plugs", "Take in plugs of", "plug"),
    "division": ("Divide and pot", "Divide and pot", "division"),
    "cutting": ("Stick cuttings", "Stick cuttings of", "cutting"),
}


def dated(
    document: PlanDoc,
    *,
    crops: Mapping[str, Crop],
    fish: Mapping[str, Fish],
    units: Units,
    last_day: date | None = None,
) -> tuple[Job, ...]:
    """Return the plan's jobs by day and kind, one for each, from the plan day to the horizon's end.

    Parameters
    ----------
    crops, fish
        Table rows by id; a row that is missing costs details, not the job.
    units
        Units of weights and temperatures in words.
    last_day
        The last day wanted, when before the horizon's end.
    """
    teller = _Teller(document, crops, fish, units)
    first = date.fromisoformat(document["made_on"])
    last = date.fromisoformat(document["horizon"]["start"])
    last += timedelta(weeks=document["horizon"]["weeks"], days=-1)
    if last_day is not None:
        last = min(last, last_day)
    gathered: dict[tuple[date, Kind], list[Entry]] = defaultdict(list)
    for entry in teller.entries():
        if first <= entry.day <= last:
            gathered[entry.day, entry.kind].append(entry)
    order = list(Kind)
    return tuple(
        teller.job(day, kind, gathered[day, kind])
        for day, kind in sorted(gathered, key=lambda key: (key[0], order.index(key[1])))
    )


class _Teller:
    """Puts one document's batches, cohorts and weeks into words."""

    def __init__(
        self,
        document: PlanDoc,
        crops: Mapping[str, Crop],
        fish: Mapping[str, Fish],
        units: Units,
    ) -> None:
        self._document = document
        self._crops = crops
        self._fish = fish
        self._units = units
        self._made_on = date.fromisoformat(document["made_on"])
        self._zones: dict[str, ZoneDoc] = {zone["name"]: zone for zone in document["zones"]}
        self._fish_shares = fish_shares(document)
        self._week_ranges = week_ranges(document)
        self._parts_of = {plain(zone["name"]): zone["parts"] for zone in document["zones"]}

    def entries(self) -> Iterator[Entry]:
        """Every line of the plan, before the days that are wanted are chosen."""
        for batch in self._document["batches"]:
            yield from self._starts(batch)
            if batch["state"] not in ("cleared", "lost"):
                yield from self._cuts(batch)
            if batch["state"] != "cleared":
                yield self._clearing(batch)
        for cohort in self._document["cohorts"]:
            yield from fish_entries(
                cohort,
                self._name(cohort["species"]),
                made_on=self._made_on,
                shares=self._fish_shares,
                units=self._units,
            )
        for week in self._document["weeks"]:
            yield from self._water_day(week)

    def job(self, day: date, kind: Kind, entries: list[Entry]) -> Job:
        """Join a day's entries of one kind, in the order of a walk through the house."""
        if kind is not Kind.WATER:
            entries = sorted(
                entries, key=lambda e: (natural(e.line.place), e.line.crop, e.line.batch)
            )
        if kind is Kind.FISH:
            entries = orders_together(entries)
        return Job(
            kind=kind,
            day=day,
            title=title(kind, entries, parts_of=self._parts_of, units=self._units),
            lines=tuple(entry.line for entry in entries),
            caution=self._caution(kind, entries),
        )

    # Names and places

    def _name(self, id: str) -> str:
        row = self._crops.get(id) or self._fish.get(id)
        return spoken(row.name if row else self._document["crops"].get(id, id))

    def _place(self, batch: BatchDoc) -> str:
        return places_text(batch["places"], self._parts_of) or plain(batch["zone"])

    def _counted_place(self, batch: BatchDoc) -> str:
        word = self._place_word(batch)
        if not batch["places"] or word in batch["zone"].casefold():
            return self._place(batch)
        return f"{plural(len(batch['places']), word)} {self._place(batch)}"

    def _place_word(self, batch: BatchDoc) -> str:
        return _PLACE_WORDS.get(batch["method"], "place")

    def _entry(
        self,
        batch: BatchDoc,
        kind: Kind,
        day: str,
        text: str,
        number: float,
        unit: str,
        verb: str,
        *,
        in_nursery: bool = False,
    ) -> Entry:
        line = JobLine(
            text=text,
            crop=batch["crop"],
            place=self._place(batch),
            number=number,
            unit=unit,
            batch=batch["id"],
            step=kind.value,
        )
        return Entry(
            day=date.fromisoformat(day),
            kind=kind,
            line=line,
            name=self._name(batch["crop"]),
            verb=verb,
            places=() if in_nursery else tuple(batch["places"]),
        )

    # Crops

    def _starts(self, batch: BatchDoc) -> Iterator[Entry]:
        """Sowing of a planned batch, setting out of one that is not in its place yet."""
        crop = self._crops.get(batch["crop"])
        name, where = self._name(batch["crop"]), self._counted_place(batch)
        plants = plural(batch["plants"], "plant")
        if batch["state"] == "planned" and batch["transplant"] is None:
            text = f"Sow {name} in place, {where}, {plants}"
            yield self._entry(batch, Kind.SOW, batch["sow"], text, batch["plants"], "plant", "Sow")
        elif batch["state"] == "planned":
            verb, start, unit = _STARTS.get(crop.started_from if crop else "seed", _STARTS["seed"])
            amount = plural(batch["cells"], unit)
            if unit == "cell" and crop and crop.seeds_per_cell:
                amount += f" ({plural(batch['cells'] * crop.seeds_per_cell, 'seed')})"
            text = f"{start} {name}, {amount}, nursery, for {plants} on {where}"
            yield self._entry(
                batch, Kind.SOW, batch["sow"], text, batch["cells"], unit, verb, in_nursery=True
            )
        if batch["transplant"] is not None and batch["state"] in ("planned", "sown"):
            text = f"Set out {name}, {where}, {plants}"
            yield self._entry(
                batch, Kind.SET_OUT, batch["transplant"], text, batch["plants"], "plant", "Set out"
            )

    def _cuts(self, batch: BatchDoc) -> Iterator[Entry]:
        crop = self._crops.get(batch["crop"])
        kind = crop.harvest_kind if crop else "cut-and-come"
        verb = "Pick" if kind == "picking" else "Cut"
        cuts = batch["cuts"]
        regrowth = timedelta(days=max(14, crop.regrowth_interval_days if crop else 0))
        for number, cut in enumerate(cuts):
            first = number == 0 and batch["state"] != "cutting"
            left = date.fromisoformat(batch["clear"]) - date.fromisoformat(cut["date"])
            last = number == len(cuts) - 1 and left <= regrowth
            if kind == "once" and last:
                words = "Cut all" if len(cuts) == 1 else "Last cut, cut all"
            elif first or last:
                both = "First and last" if first and last else "First" if first else "Last"
                words = f"{both} {verb.lower()}"
            else:
                words = verb
            count, unit, amount = cut_amount(cut, crop, self._units)
            range_words = likely_cut(batch, cut, crop, self._units, first=first)
            where = f"{self._name(batch['crop'])}, {self._counted_place(batch)}"
            text = _listed(f"{words}: {where}", amount, range_words)
            yield self._entry(batch, Kind.CUT, cut["date"], text, count, unit, verb)

    def _clearing(self, batch: BatchDoc) -> Entry:
        zone = self._zones.get(batch["zone"])
        text = f"Clear {self._name(batch['crop'])}, {self._counted_place(batch)}"
        if batch["method"] in _CLEANING:
            text += f": {_CLEANING[batch['method']]}"
        if zone and zone["sanitation_days"]:
            free = date.fromisoformat(batch["clear"]) + timedelta(days=zone["sanitation_days"])
            days = plural(zone["sanitation_days"], "day")
            text += f"; {days} of cleaning, free {day_words(free)}"
        count, word = len(batch["places"]) or batch["parts"], self._place_word(batch)
        return self._entry(batch, Kind.CLEAR, batch["clear"], text, count, word, "Clear")

    # Water and feed

    def _water_day(self, week: WeekDoc) -> Iterator[Entry]:
        """Tests, what they should show, and the feed of every tank, on the week's Monday."""
        monday = date.fromisoformat(week["week"])
        if monday + timedelta(days=6) < self._made_on:
            return
        day = max(monday, self._made_on)
        number = len(WATER_TESTS)
        tests = f"{', '.join(WATER_TESTS[:-1])} and {WATER_TESTS[-1]}"
        text = f"Test {tests} of the system water"
        yield _water_entry(day, text, number, "test", phrase=f"{number} tests")
        text, phrase = self._expected(week)
        yield _water_entry(day, text, week["nitrate_n_mg_l"], "mg/L", phrase=phrase)
        yield from self._feeding(day, monday)

    def _expected(self, week: WeekDoc) -> tuple[str, str]:
        low, high = self._document["water"]["band_n_mg_l"]
        nitrate = week["nitrate_n_mg_l"]
        range_words = likely_nitrate(self._week_ranges.get(week["week"]))
        side = "below" if nitrate < low else "above" if nitrate > high else ""
        text = (
            f"Expect water at {temperature(week['water_c'], self._units)} and nitrate-N"
            f" {figure(nitrate)} mg/L at the week's end"
            f" ({_listed(range_words, f'band {figure(low)} to {figure(high)}')})"
        )
        phrase = f"nitrate-N {figure(nitrate)} mg/L"
        if side:
            text += f": WARNING, {side} the band, test again midweek"
            phrase += f", {side} band"
        if week["tan_g_day"] > week["biofilter_g_day"]:
            text += (
                f"; WARNING, fish make {figure(week['tan_g_day'])} g TAN a day, more than the"
                f" {figure(week['biofilter_g_day'])} g the filter can take: test TAN daily"
            )
        return text, phrase

    def _feeding(self, day: date, monday: date) -> Iterator[Entry]:
        """One line for the tanks that get the same ration of the same fish."""
        alike: dict[tuple[str, str, str], list[tuple[str, float]]] = defaultdict(list)
        for cohort in self._document["cohorts"]:
            for row in cohort["weeks"]:
                if row["week"] == monday.isoformat():
                    kg_day, note = _ration(cohort, row["feed_kg"], monday)
                    words = weight(kg_day, self._units)
                    alike[cohort["species"], words, note].append((plain(cohort["tank"]), kg_day))
        rations = [kg_day for tanks in alike.values() for _, kg_day in tanks if kg_day > 0]
        phrase = f"feed {weight(sum(rations), self._units)} a day, {plural(len(rations), 'tank')}"
        for (species, words, note), tanks in sorted(
            alike.items(), key=lambda item: natural(item[1][0][0])
        ):
            place, kg_day = numbered(tank for tank, _ in tanks), tanks[0][1]
            each = " each" if len(tanks) > 1 else ""
            if kg_day > 0:
                text = f"Feed this week: {place} {words} a day{each}, {self._name(species)}{note}"
            else:
                text = f"No feed this week: {place}, {self._name(species)}{note}"
            yield _water_entry(
                day,
                text,
                kg_day,
                "kg",
                phrase=phrase if rations else "no feed",
                crop=species,
                place=place,
            )
            phrase = ""

    def _caution(self, kind: Kind, entries: list[Entry]) -> str:
        if kind is Kind.FISH:
            return fish_caution(entries, self._fish)
        if kind is Kind.CUT:
            cut = dict.fromkeys(entry.line.crop for entry in entries)
            return food_care((self._crops[id] for id in cut if id in self._crops), self._units)
        return {Kind.WATER: WATER_CARE, Kind.CLEAR: CLEAR_CARE}.get(kind, "")


def _listed(*words: str) -> str:
    """Join what there is to say."""
    return ", ".join(filter(None, words))


def _water_entry(
    day: date,
    text: str,
    number: float,
    unit: str,
    *,
    phrase: str,
    crop: str = "",
    place: str = "system water",
) -> Entry:
    line = JobLine(
        text=text, crop=crop, place=place, number=number, unit=unit, batch="", step="water"
    )
    return Entry(day=day, kind=Kind.WATER, line=line, phrase=phrase)


def _ration(cohort: CohortDoc, feed_kg: float, monday: date) -> tuple[float, str]:
    """Return a tank's feed a day in a week, over the days with fish in it, and when. [kg day⁻¹]"""
    sunday = monday + timedelta(days=6)
    first, last = max(monday, date.fromisoformat(cohort["stock"])), sunday
    if cohort["harvest"] is not None:
        last = min(last, date.fromisoformat(cohort["harvest"]) - timedelta(days=1))
    note = f", from {day_words(first)}" if first > monday else ""
    for taken in cohort["taken"]:  # a day or two without feed before fish are killed
        day = date.fromisoformat(taken["date"])
        if monday < day <= sunday + timedelta(days=2):
            note += f", no feed the day before {day_words(day)}"
    note += ", then empty" if last < sunday else ""
    days = (last - first).days + 1
    return (feed_kg / days if days > 0 else 0.0), note

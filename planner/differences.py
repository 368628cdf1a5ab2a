"""What a new plan does otherwise than the one before it, in the grower's words.

Compared are starts from the new plan's date to the last week that both speak of: plants set out of
a crop in a zone and week, fish stocked, fish taken out, and orders that can no longer be filled.
"""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from planner.document import ChangeDoc, ChangesDoc, OrderWeekDoc, PlanDoc
from planner.horizon import monday_of
from planner.words import day_words, figure, natural, plain, plural, spoken

LONGEST_MOVE_WEEKS = 8  # a start further off is another one, not the same moved; judgement

Starts = dict[tuple[str, str], dict[date, int]]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Span:
    """The days that both plans speak of."""

    first: date
    end: date

    def holds(self, day: date) -> bool:
        return self.first <= day < self.end


def changes(before: PlanDoc, now: PlanDoc, cost: float) -> ChangesDoc:
    """Return what changed between two plans of one farm.

    Parameters
    ----------
    cost
        What the changes are charged in the new plan's objective. [money]
    """
    span = _Span(first=date.fromisoformat(now["made_on"]), end=min(_end(before), _end(now)))
    names = {**before["crops"], **now["crops"]}
    kept = moved = 0
    items: list[ChangeDoc] = []
    for kind, old, new, unit in (
        ("set out", _set_out(before, span), _set_out(now, span), "plant"),
        ("fish", _stocked(before, span), _stocked(now, span), "fish"),
    ):
        for key in sorted({*old, *new}, key=lambda key: (natural(key[1]), key[0])):
            was, is_ = old.get(key, {}), new.get(key, {})
            same = sum(1 for week in was if is_.get(week) == was[week])
            kept += same
            moved += len({*was, *is_}) - same
            name = spoken(names.get(key[0], key[0]))
            where = f"{name}, {plain(key[1])}" if key[1] else name
            items += _moves(kind, where, was, is_, unit)
    items += _taken(before, now, span)
    items += _short(before["orders"], now["orders"], span, names)
    return {
        "before": before["made_on"],
        "kept": kept,
        "moved": moved,
        "cost": round(cost, 2),
        "items": sorted(items, key=lambda item: (item["week"] or "", item["kind"], item["text"])),
    }


def _end(document: PlanDoc) -> date:
    start = date.fromisoformat(document["horizon"]["start"])
    return start + timedelta(weeks=document["horizon"]["weeks"])


def _set_out(document: PlanDoc, span: _Span) -> Starts:
    """Plants set out or sown in place, by crop and zone, and week."""
    found: Starts = defaultdict(lambda: defaultdict(int))
    for batch in document["batches"]:
        day = date.fromisoformat(batch["transplant"] or batch["sow"])
        if batch["state"] in ("planned", "sown") and span.holds(day):
            found[batch["crop"], batch["zone"]][monday_of(day)] += batch["plants"]
    return found


def _stocked(document: PlanDoc, span: _Span) -> Starts:
    found: Starts = defaultdict(lambda: defaultdict(int))
    for cohort in document["cohorts"]:
        day = date.fromisoformat(cohort["stock"])
        if span.holds(day) and cohort["weeks"]:
            found[cohort["species"], ""][monday_of(day)] += round(cohort["weeks"][0]["count"])
    return found


def _moves(
    kind: str, where: str, was: Mapping[date, int], now: Mapping[date, int], unit: str
) -> Iterator[ChangeDoc]:
    """Pair what is given up with what is new, nearest weeks first; say what is left over."""
    fewer = {week: was[week] - now.get(week, 0) for week in was if was[week] > now.get(week, 0)}
    more = {week: now[week] - was.get(week, 0) for week in now if now[week] > was.get(week, 0)}
    apart = ((abs((new - old).days), old, new) for old in fewer for new in more)
    pairs = sorted(pair for pair in apart if pair[0] <= 7 * LONGEST_MOVE_WEEKS)
    verb = "stock" if kind == "fish" else "set out"
    for _, old, new in pairs:
        count = min(fewer[old], more[new])
        if count == 0:
            continue
        fewer[old] -= count
        more[new] -= count
        weeks = (new - old).days // 7
        shift = f"{plural(abs(weeks), 'week')} {'later' if weeks > 0 else 'earlier'}"
        yield _item(
            kind,
            min(old, new),
            f"{where}: {verb} {plural(count, unit)} {shift}, in the week of {_day(new)} instead"
            f" of {_day(old)}",
        )
    for week, count in sorted(fewer.items()):
        if count:
            text = f"{where}: {plural(count, unit)} fewer in the week of {_day(week)}"
            yield _item(kind, week, text)
    for week, count in sorted(more.items()):
        if count:
            text = f"{where}: {verb} {plural(count, unit)} more in the week of {_day(week)}"
            yield _item(kind, week, text)


def _taken(before: PlanDoc, now: PlanDoc, span: _Span) -> Iterator[ChangeDoc]:
    """Say where the fish in the house are taken out in other weeks."""
    old, new = (_first_taken(document, span) for document in (before, now))
    for tank in sorted({*old, *new}, key=natural):
        was, is_ = old.get(tank), new.get(tank)
        if was == is_ or was is None:
            continue
        taken = "are not taken" if is_ is None else f"are taken from the week of {_day(is_)}"
        text = f"{plain(tank)}: fish {taken} instead of from the week of {_day(was)}"
        yield _item("fish", min(was, is_ or was), text)


def _first_taken(document: PlanDoc, span: _Span) -> dict[str, date]:
    """First week in which fish that were in the house on the later plan's day are taken."""
    found: dict[str, date] = {}
    for cohort in document["cohorts"]:
        weeks = [date.fromisoformat(take["week"]) for take in cohort["taken"]]
        ahead = [week for week in weeks if span.holds(week + timedelta(days=6))]
        if date.fromisoformat(cohort["stock"]) < span.first and ahead:
            found[cohort["tank"]] = min(ahead)
    return found


def _short(
    before: Sequence[OrderWeekDoc],
    now: Sequence[OrderWeekDoc],
    span: _Span,
    names: Mapping[str, str],
) -> Iterator[ChangeDoc]:
    """Say which lines lack more than they did, a sentence a line."""
    known = {(row["line"], row["week"]): row for row in before}
    lines: dict[str, list[tuple[OrderWeekDoc, float]]] = defaultdict(list)
    for row in now:
        old = known.get((row["line"], row["week"]))
        if old is None or row["within_tolerance"] or not span.holds(_sunday(row["week"])):
            continue
        more = row["short"] - (old["short"] if old["ordered"] == row["ordered"] else 0.0)
        if old["within_tolerance"] and more > 1e-6:
            lines[row["line"]].append((row, more))
    for line, rows in lines.items():
        first = rows[0][0]
        missing = sum(more for _, more in rows)
        weeks = plural(len(rows), "week")
        name = spoken(names.get(first["crop"], first["crop"]))
        text = (
            f"Order {plain(line)} of {plain(first['customer'])}, {name}: now short in {weeks}, "
            f"first that of {_day(date.fromisoformat(first['week']))}; "
            f"{figure(missing)} {first['unit']} in all"
        )
        yield _item("order", date.fromisoformat(first["week"]), text)


def _sunday(week: str) -> date:
    return date.fromisoformat(week) + timedelta(days=6)


def _item(kind: str, week: date, text: str) -> ChangeDoc:
    return {"kind": kind, "week": week.isoformat(), "text": text}


def _day(day: date) -> str:
    return day_words(day)

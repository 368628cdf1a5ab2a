"""The answer to an enquiry in words."""

from datetime import date, timedelta

from planner.farm import Order
from planner.horizon import monday_of
from planner.promising.enquiry import MOST_LINES, Answer, Verdict, end_of
from planner.words import day_words, figure, plural


def told(given: Answer) -> str:
    """Return the answer in words, for the terminal."""
    order = given.order
    lines = [_headline(given)]
    if given.reason:
        lines.append(f"Short: {given.reason}")
    met = sum(1 for row in given.weeks if row["within_tolerance"])
    lines.append(f"{met} of {plural(len(given.weeks), 'delivery week')} can be met.")
    end = end_of(date.fromisoformat(given.bundle.document["made_on"]), given.bundle.problem.farm)
    if order.last_week >= end:
        lines.append(f"Weeks from {day_words(end)} {end.year} on are not planned yet.")
    if given.verdict is not Verdict.NO:
        lines.append(f"Counted at {order.price:g} for each {order.unit}.")
    lines += [f"Displaces: {text}" for text in given.displaced] or ["Displaces nothing sold."]
    more = len(given.changed) - MOST_LINES
    lines += [f"Would change: {text}" for text in given.changed[:MOST_LINES]]
    lines += [f"and {more} more changes"] if more > 0 else []
    return "\n".join(lines)


def _headline(given: Answer) -> str:
    order = given.order
    every = "every week" if order.every_weeks == 1 else f"every {order.every_weeks} weeks"
    what = f"{figure(order.quantity)} {order.unit} of {order.crop_text} {every}"
    if given.verdict is Verdict.YES:
        return f"Yes: {what}, {_from_to(order, order.first_week)}"
    if given.verdict is Verdict.LATER and given.since is not None:
        return f"Yes, from {day_words(given.since)} {given.since.year}: {what}"
    return f"No: {what} cannot be promised, {_from_to(order, order.first_week)}"


def _from_to(order: Order, first: date) -> str:
    last = monday_of(order.last_week) + timedelta(days=6)
    return f"{day_words(first)} {first.year} to {day_words(last)} {last.year}"

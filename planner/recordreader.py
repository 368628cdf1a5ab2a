"""Gather an entry's fields from the texts of a form, and every fault on the way."""

from collections.abc import Callable, Iterable, Mapping
from datetime import date, timedelta
from typing import TypeVar

from planner.amounts import weight_in
from planner.book import WATER_FIGURES
from planner.farmnames import Names
from planner.quantities import to_day
from planner.wording import shown

_T = TypeVar("_T")

_DAY_WORDS = {"today": 0, "yesterday": 1}


class Reader:
    """Gathers an entry's fields from a form, and the faults on the way."""

    def __init__(self, form: Mapping[str, str], names: Names, today: date) -> None:
        self.form = {field: text.strip() for field, text in form.items() if text.strip()}
        self.names = names
        self.today = today
        self.on = today
        self.given: dict[str, object] = {}
        self.faults: list[str] = []
        self.said: list[str] = []
        self._wrong: set[str] = set()

    def fault(self, field: str, sentence: str) -> None:
        """Note a fault; what the model says of the same field is then left unsaid."""
        self._wrong.add(field)
        self.faults.append(sentence)

    def wrong(self, *fields: str) -> None:
        """Leave unsaid what the model says of fields whose fault is told otherwise."""
        self._wrong.update(fields)

    def knows(self, sentence: str) -> bool:
        """Whether a fault of the model is about a field whose fault is told already."""
        no_figure = sentence.startswith("no figure") and bool(
            self._wrong.intersection(WATER_FIGURES)
        )
        return no_figure or any(sentence.startswith(f"{field} ") for field in self._wrong)

    def read(
        self, field: str, how: Callable[[str], _T], key: str = "", *, needed: str = ""
    ) -> _T | None:
        """Return a field read by `how`, kept as `key`; None when it is blank or at fault.

        `needed` says what to give when the field must not be blank.
        """
        text = self.form.get(field)
        if text is None:
            if needed:
                self.fault(key or field, f"{field} is missing; give {needed}")
            return None
        try:
            value = how(text)
        except ValueError as fault:
            self.fault(key or field, f"{field} is {shown(text)}; {fault}")
            return None
        if key:
            self.given[key] = value
        return value

    def keep(self, *fields: str) -> None:
        """Keep texts as they are, for the model to read."""
        self.given |= {field: self.form[field] for field in fields if field in self.form}

    def read_day(self) -> None:
        """Keep the day it happened: a date, `today` or `yesterday`; today when left out."""
        text = self.form.get("on", "today")
        if text.casefold() in _DAY_WORDS:
            self.on = self.today - timedelta(days=_DAY_WORDS[text.casefold()])
        else:
            self.on = self.read("on", to_day) or self.on
        self.given["on"] = self.on

    def tank(self, *, needed: bool = True) -> str | None:
        """Keep the tank; the only one of a farm need not be named."""
        if needed and "tank" not in self.form and len(self.names.tanks) == 1:
            self.given["tank"] = self.names.tanks[0]
            return self.names.tanks[0]
        want = f"a tank: {', '.join(self.names.tanks)}" if needed else ""
        return self.read("tank", self.names.tank, "tank", needed=want)

    def weight_kg(self, what: str) -> None:
        """Keep a weight from `amount` and its unit, or from `kg`."""
        if "amount" in self.form and "kg" in self.form:
            self.fault("kg", "amount and kg are both given; give the weight once")
        elif "kg" in self.form:
            self.read("kg", lambda text: weight_in(text, "kg", "kg"), "kg")
        else:
            unit = self.form.get("unit", "")
            self.read("amount", lambda text: weight_in(text, "kg", unit), "kg", needed=what)

    def planned_on(self, steps: Iterable[tuple[str, date]], step: str | None) -> None:
        """Keep the day that the plan had: as given, or the nearest of that step's days."""
        if "planned_on" in self.form:
            self.keep("planned_on")
            return
        days = [day for name, day in steps if name == step]
        if days:
            self.given["planned_on"] = min(days, key=lambda day: (abs((day - self.on).days), day))

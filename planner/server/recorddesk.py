"""The desk where records are taken: the page with the forms, what is sent to it, planning again."""

import re
from collections import OrderedDict
from collections.abc import Mapping
from datetime import date
from functools import lru_cache
from hashlib import sha256

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from starlette.responses import Response

from planner.book import KINDS, Done, Void
from planner.errors import InputError
from planner.recording import entry_from_form
from planner.resources import shipped
from planner.server import answers
from planner.server.conditional import Served, Shelf
from planner.server.keeper import Keeper, View
from planner.server.recordforms import KEY, KIND, TAPPED, form_of, read_figures
from planner.server.recordpage import Said, record_page
from planner.server.replan import Replan

_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; img-src data:; "
    "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
# a browser names the page's origin in its posts only if it may name the page as referrer here
_HEADERS = {"Referrer-Policy": "same-origin"}
_KEY = re.compile(r"[A-Za-z0-9_-]{16,80}")
_SAID = re.compile(r"(entered|back)=([0-9]{1,9})")
_DAY = re.compile(r"20[0-9]{2}-[0-9]{2}-[0-9]{2}")
_MOST_DOUBTS = 200


class RecordDesk:
    """Answers about records of one farm; its methods may wait for the book."""

    def __init__(self, keeper: Keeper, replan: Replan) -> None:
        self._keeper = keeper
        self._replan = replan
        self._doubts: OrderedDict[int, tuple[str, ...]] = OrderedDict()
        shelf, now = Shelf(), keeper.now()
        self.files: Mapping[str, tuple[Served, str]] = {
            name: (shelf.put(name, text.encode(), now), f"{media}; charset=utf-8")
            for name, media in (("page.js", "text/javascript"), ("page.css", "text/css"))
            if (text := _templates().get_template(f"server/{name}.j2").render())
        }

    def page(self, query: str) -> Response:
        """Return the page with the forms; the query says what was entered last."""
        view = self._keeper.view()
        found = _SAID.fullmatch(query)
        said = Said() if found is None else self._said(view, found[1], int(found[2]))
        return self._rendered(view, said, 200)

    def enter(self, form: dict[str, str]) -> Response:
        """Enter what a form says, once for its key, and send the browser back to the page."""
        kind, key = form.pop(KIND, ""), form.pop(KEY, "")
        if kind not in KINDS or not _KEY.fullmatch(key):
            return answers.refused(400, "This is no form of the record page.")
        view, today = self._keeper.view(), self._keeper.today()
        tapped = form.pop(TAPPED, "")
        sent = sha256("\0".join([kind, *map("=".join, sorted(form.items()))]).encode())
        try:
            figures = read_figures(form, view.names) | _day_of(form, tapped, today)
            entry, doubts = entry_from_form(kind, figures, view.names, today)
            # the same key with other words is another entry: a form gone back to and changed
            numbers = self._keeper.record([entry], f"{key}.{sent.hexdigest()[:24]}")
        except InputError as fault:
            again = form_of(kind, view.names, today)
            filled = None if again is None else again.filled(form)
            return self._rendered(view, Said(faults=fault.faults, again=filled), 422)
        self._remember(numbers[0], doubts)
        word = f"back={entry.corrects}" if isinstance(entry, Void) else f"entered={numbers[0]}"
        return self._moved(f"./?{word}#said")

    def progress(self) -> Response:
        """Return the page that shows how planning goes."""
        html = _templates().get_template("server/replan.html.j2")
        farm = self._keeper.view().inputs.farm.name
        text = html.render(farm=farm, progress=self._replan.progress())
        return answers.answer(text, answers.HTML, csp=_POLICY, headers=_HEADERS)

    def replan(self, form: dict[str, str]) -> Response:
        """Begin to plan, unless that is under way, and send the browser to see how it goes."""
        self._replan.start()
        return self._moved("replan")

    def _said(self, view: View, word: str, number: int) -> Said:
        if word == "back":
            return Said(entered=(f"entry {number} is taken back",))
        found = [recorded for recorded in view.entries if recorded.number == number]
        return Said(
            entered=tuple(view.told(recorded) for recorded in found),
            doubts=self._doubts.get(number, ()),
            ripe=any(isinstance(r.entry, Done) and r.entry.step == "ripe" for r in found),
        )

    def _remember(self, number: int, doubts: tuple[str, ...]) -> None:
        self._doubts[number] = doubts
        while len(self._doubts) > _MOST_DOUBTS:
            self._doubts.popitem(last=False)

    def _rendered(self, view: View, said: Said, status: int) -> Response:
        html = _templates().get_template("server/record.html.j2")
        text = html.render(page=record_page(view, self._keeper.today(), said))
        return answers.answer(text, answers.HTML, status=status, csp=_POLICY, headers=_HEADERS)

    def _moved(self, where: str) -> Response:
        return answers.answer("", status=303, headers={"Location": where, **_HEADERS})


def _day_of(form: Mapping[str, str], tapped: str, today: date) -> dict[str, str]:
    """Return the day of a form that says none: when it was tapped, if it was kept on the phone."""
    if form.get("on", "").strip() or not _DAY.fullmatch(tapped):
        return {}
    return {"on": min(tapped, today.isoformat())}  # a phone's clock may be ahead


@lru_cache(maxsize=1)
def _templates() -> Environment:
    """Return the templates, which are compiled once."""
    return Environment(
        loader=FileSystemLoader(shipped("templates")),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )

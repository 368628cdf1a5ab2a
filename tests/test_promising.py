"""Whether an enquiry may be promised, what it displaces, and what accepting it writes."""

import csv
import json
from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from click.testing import Result
from typer.testing import CliRunner

from planner import farmfile, history
from planner.book import BookError, Loss, open_book
from planner.cli import app
from planner.errors import InputError, PlannerError
from planner.promising import Answer, Enquiry, Verdict, accept, answer, told
from tests.shortfarm import (
    HORIZON_WEEKS,
    MONDAY,
    ORDERS_CSV,
    QUICK,
    content,
    copied,
    noon,
    record,
    write_short_farm,
    written,
)

END = MONDAY + timedelta(weeks=HORIZON_WEEKS)
HEADS = Enquiry(
    crop="lettuce_butterhead",
    unit="head",
    quantity="1",
    first_week="2027-05-10",
    last_week="2027-06-14",
    customer="Inn by the mill",
)


def asked(farm: Path, enquiry: Enquiry, day: date = MONDAY, **more: Any) -> Answer:
    return answer(farm, enquiry, today=day, plan_date=day, effort=QUICK, **more)


@pytest.fixture(scope="module")
def first(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The farm with a plan in force."""
    folder = write_short_farm(tmp_path_factory.mktemp("promising") / "farm")
    written(folder)
    return folder


@pytest.fixture
def farm(first: Path, tmp_path: Path) -> Path:
    """A copy of it, which a test may change."""
    return copied(first, tmp_path / "farm")


@pytest.fixture(scope="module")
def answers(first: Path) -> Mapping[str, Answer]:
    """Answers to enquiries; asking must leave the farm as it is."""
    before = content(first)
    enquiries = {
        "few": HEADS,
        "too many": replace(HEADS, quantity="5000"),
        "soon": replace(HEADS, quantity="10", first_week="2027-04-05"),
        "dear": replace(HEADS, quantity="60", first_week="2027-05-03", price="9"),
        "long": replace(HEADS, last_week="2028-02-28"),
    }
    found = {name: asked(first, enquiry) for name, enquiry in enquiries.items()}
    assert content(first) == before
    return found


def test_a_little_of_what_there_is_plenty_of_may_be_promised(answers: Mapping[str, Answer]) -> None:
    given = answers["few"]
    assert given.verdict is Verdict.YES
    assert (given.since, given.reason) == (None, "")
    assert len(given.weeks) == 6
    assert all(week["planned"] >= 1 - 1e-6 for week in given.weeks)
    assert given.order.price == 2.5, "what the farm gets for a head on its orders"
    words = told(given)
    assert words.startswith(
        "Yes: 1 head of lettuce_butterhead every week, Mon 10 May 2027 to Sun 20"
    )
    assert "6 of 6 delivery weeks can be met." in words


def test_what_the_farm_cannot_grow_is_refused_with_a_reason(answers: Mapping[str, Answer]) -> None:
    given = answers["too many"]
    assert given.verdict is Verdict.NO
    assert given.since is None
    assert given.reason.startswith("week of Mon 10 May: ")
    assert "of 5,000 head; " in given.reason
    why = given.reason.partition("; ")[2]
    assert len(why) > 20
    assert why == given.weeks[0]["why"]
    words = told(given)
    assert words.startswith("No: 5,000 head of lettuce_butterhead every week cannot be promised")
    assert f"Short: {given.reason}" in words
    assert "0 of 6 delivery weeks can be met." in words
    assert "Counted at" not in words


def test_what_needs_time_may_be_promised_from_a_date(answers: Mapping[str, Answer]) -> None:
    given = answers["soon"]
    assert given.verdict is Verdict.LATER
    assert given.since is not None
    short = [week["week"] for week in given.weeks if not week["within_tolerance"]]
    assert short, "some weeks cannot be met"
    assert given.since.isoformat() > max(short)
    assert given.since.isoformat() in [week["week"] for week in given.weeks]
    assert all(
        week["week"] < given.since.isoformat() for week in given.weeks if week["week"] in short
    )
    assert given.since > MONDAY + timedelta(weeks=6), "lettuce sown now is not ripe before"
    assert told(given).startswith(f"Yes, from Mon {given.since.day} ")
    assert "nothing begun from the plan's start on is ready before" in given.reason


def test_what_is_displaced_is_named(answers: Mapping[str, Answer], first: Path) -> None:
    """At a high price the enquiry takes places from the surplus and from another's order."""
    given = answers["dear"]
    before = json.loads((first / "plan" / "plan.json").read_text())
    now = given.bundle.document
    lacking = sum(
        max(0.0, was["planned"] - is_now["planned"])
        for was in before["orders"]
        for is_now in now["orders"]
        if (was["line"], was["week"]) == (is_now["line"], is_now["week"]) and was["line"] == "A1"
    )
    assert lacking > 5
    (order,) = [text for text in given.displaced if text.startswith("order A1 of Corner bistro: ")]
    amount = float(order.removeprefix("order A1 of Corner bistro: ").split()[0])
    assert amount == pytest.approx(lacking, rel=0.05)
    assert order.endswith("within tolerance")  # behind all that is promised, however dear
    (surplus,) = [text for text in given.displaced if "surplus butterhead lettuce" in text]
    assert surplus.endswith(" kg less to sell")
    assert not any("enquiry" in text for text in given.displaced), "it does not displace itself"
    assert given.changed, "places are taken from other sowings"
    assert f"Displaces: {order}" in told(given)


def test_a_small_promise_displaces_no_order(answers: Mapping[str, Answer]) -> None:
    assert not any(text.startswith("order") for text in answers["few"].displaced)


def test_an_answer_beyond_the_plan_says_how_far_it_goes(answers: Mapping[str, Answer]) -> None:
    given = answers["long"]
    assert given.verdict is Verdict.YES
    assert max(week["week"] for week in given.weeks) < END.isoformat()
    limit = "Weeks from Mon 21 Jun 2027 on are not planned yet."
    assert limit in told(given)
    assert limit not in told(answers["few"])


def faults_of(farm: Path, enquiry: Enquiry) -> str:
    with pytest.raises(InputError) as raised:
        asked(farm, enquiry)
    return "\n".join(raised.value.faults)


def test_a_wrong_enquiry_is_refused_with_what_is_allowed(first: Path) -> None:
    before = content(first)
    unknown = faults_of(first, replace(HEADS, crop="basil_genovse"))
    assert "the enquiry: crop is" in unknown
    assert 'did you mean "basil_genovese"?' in unknown
    assert "it is not in crops of farm.toml" in faults_of(first, replace(HEADS, crop="swiss_chard"))
    for wrong in ("lots", "0", "-2", "nan"):
        told_of = faults_of(first, replace(HEADS, quantity=wrong))
        assert f'quantity is "{wrong}"' in told_of or f"quantity is {wrong}" in told_of
        assert "above 0" in told_of
    assert "unit is" in faults_of(first, replace(HEADS, unit="wagon"))
    swapped = faults_of(first, replace(HEADS, last_week="2027-05-01"))
    assert "before first_week" in swapped
    past = faults_of(first, replace(HEADS, first_week="2027-01-04", last_week="2027-02-22"))
    assert past == "the enquiry: last_week is 2027-02-22, before the plan date"
    late = replace(HEADS, first_week=END.isoformat(), last_week="2027-08-02")
    assert "first_week is 2027-06-21, after the plan's weeks" in faults_of(first, late)
    several = faults_of(first, replace(HEADS, quantity="lots", unit="wagon", every_weeks="never"))
    assert len(several.splitlines()) == 3, "all faults at once"
    assert content(first) == before


def test_what_the_farm_sells_to_nobody_needs_a_price(tmp_path: Path) -> None:
    def without_basil(text: str) -> str:
        return "".join(line for line in text.splitlines(True) if "basil" not in line)

    farm = write_short_farm(tmp_path / "farm")
    for name in ("orders.csv", "outlets.csv"):
        (farm / name).write_text(without_basil((farm / name).read_text()))
    basil = replace(HEADS, crop="basil_genovese", unit="kg", quantity="0.1")
    assert "give its price (--price)" in faults_of(farm, basil)
    given = asked(farm, replace(basil, price="20", first_week="2027-06-07"))
    assert given.order.price == 20


def test_a_farm_without_a_plan_may_be_asked(tmp_path: Path) -> None:
    farm = write_short_farm(tmp_path / "farm")
    before = content(farm)
    stages: list[str] = []
    given = asked(farm, HEADS, progress=lambda stage, *_: stages.append(stage))
    assert given.verdict is Verdict.YES
    assert content(farm) == before
    assert stages[0] == "the plan without it"
    assert "the plan with it" in stages
    assert not any(text.startswith("order") for text in given.displaced)


def test_what_a_mishap_cost_is_not_laid_on_the_enquiry(farm: Path) -> None:
    """A lost board leaves orders short; the small enquiry after it is not what displaces them."""
    tuesday = MONDAY + timedelta(days=1)
    record(farm, tuesday, Loss(on=tuesday, batch="G1", cause="root rot"))
    given = asked(farm, HEADS, MONDAY + timedelta(days=2))
    short = [
        row
        for row in given.bundle.document["orders"]
        if row["line"] == "A1" and row["week"] == "2027-03-22" and not row["within_tolerance"]
    ]
    assert short, "else this proves nothing"
    assert not any(text.startswith("order") for text in given.displaced)
    changes = given.bundle.document["changes"]
    assert changes is not None
    assert any("Order A1" in item["text"] for item in changes["items"]), "there it is told"


def rows_of(path: Path) -> list[dict[str, str]]:
    with path.open(newline="", encoding="utf-8-sig") as file:
        return [*csv.DictReader(file)]


def accepted(farm: Path, given: Answer) -> str:
    return accept(farm, farm / "plan", given, now=noon(MONDAY))


def test_accepting_enters_one_row_and_keeps_and_writes_the_plan(
    farm: Path, answers: Mapping[str, Answer]
) -> None:
    before = content(farm)
    assert accepted(farm, answers["few"]) == "enquiry"
    now = content(farm)
    assert now["orders.csv"].startswith(before["orders.csv"]), "the other rows are as they were"
    assert now["orders.csv"].count(b"\n") == before["orders.csv"].count(b"\n") + 1
    assert rows_of(farm / "orders.csv")[-1] == {
        "line": "enquiry",
        "customer": "Inn by the mill",
        "crop": "lettuce_butterhead",
        "unit": "head",
        "quantity": "1",
        "first_week": "2027-05-10",
        "last_week": "2027-06-14",
        "every_weeks": "1",
        "weekdays": "thu",
        "priority": "1",
        "price": "2.5",
        "tolerance": "0",
        "may_be_cut": "yes",
    }
    written = json.loads(now["plan/plan.json"])
    promised = [row for row in written["orders"] if row["line"] == "enquiry"]
    assert [row["week"] for row in promised] == [row["week"] for row in answers["few"].weeks]
    assert all(row["within_tolerance"] for row in promised)
    with open_book(farm / "book.db") as book:
        assert [plan.text.encode() for plan in book.plans()] == [
            before["plan/plan.json"],
            now["plan/plan.json"],
        ]
    order = farmfile.read_farm(farm).farm.orders[-1]
    assert order.line == "enquiry"
    assert order.first_week == date(2027, 5, 10)
    others = {name for name in before if not name.startswith(("plan/", "book.db", "orders"))}
    assert all(now[name] == before[name] for name in others)
    second = asked(farm, HEADS)
    assert second.order.line == "enquiry-2", "the name is taken"


def test_a_promise_from_a_date_is_entered_from_that_date(
    farm: Path, answers: Mapping[str, Answer]
) -> None:
    given = answers["soon"]
    accepted(farm, given)
    assert given.since is not None
    assert rows_of(farm / "orders.csv")[-1]["first_week"] == given.since.isoformat()


def test_a_no_cannot_be_accepted(farm: Path, answers: Mapping[str, Answer]) -> None:
    before = content(farm)
    with pytest.raises(PlannerError, match="nothing to accept"):
        accepted(farm, answers["too many"])
    assert content(farm) == before


def foreign_order(text: str) -> str:
    """The same table with its columns turned round."""
    return "\n".join(",".join(reversed(line.split(","))) for line in text.splitlines()) + "\n"


def by_spreadsheet(text: str) -> str:
    return "\ufeff" + text.replace("\n", "\r\n")


@pytest.mark.parametrize(
    "change",
    [
        foreign_order,
        by_spreadsheet,
        lambda text: text.rstrip("\n"),
        lambda text: "\n , \n" + text,
        lambda text: text.replace("line,customer", " Line , CUSTOMER"),
    ],
    ids=["columns turned round", "mark and line ends", "no last end", "blank lines", "capitals"],
)
def test_orders_in_another_form_stay_in_it(
    farm: Path, answers: Mapping[str, Answer], change: Callable[[str], str]
) -> None:
    path = farm / "orders.csv"
    path.write_bytes(change(ORDERS_CSV).encode())
    before, known = path.read_bytes(), farmfile.read_farm(farm).farm.orders
    accepted(farm, answers["few"])
    assert path.read_bytes().startswith(before)
    ends = b"\r\n" if b"\r\n" in before else b"\n"
    assert path.read_bytes().count(b"\n") == path.read_bytes().count(ends)
    assert path.read_bytes().endswith(ends)
    assert (b"\r" in path.read_bytes()) == (b"\r" in before)
    orders = farmfile.read_farm(farm).farm.orders
    assert orders[:-1] == known
    assert orders[-1].quantity == 1
    assert orders[-1].customer == "Inn by the mill"


def test_without_orders_the_file_is_made(tmp_path: Path, answers: Mapping[str, Answer]) -> None:
    farm = write_short_farm(tmp_path / "farm", orders_csv=None)
    accepted(farm, answers["few"])
    (order,) = farmfile.read_farm(farm).farm.orders
    assert (order.line, order.quantity, order.priority) == ("enquiry", 1, 1)


def test_a_promise_that_the_file_has_no_column_for_is_not_entered(farm: Path) -> None:
    """Every other week, in a table that has no column for it, would become every week."""
    path = farm / "orders.csv"
    kept = [n for n, name in enumerate(ORDERS_CSV.split("\n")[0].split(",")) if n not in (7, 8)]
    rows = [line.split(",") for line in ORDERS_CSV.splitlines()]
    path.write_text("".join(",".join(row[n] for n in kept) + "\n" for row in rows))
    given = asked(farm, replace(HEADS, every_weeks="2"))
    assert given.verdict is Verdict.YES
    before = content(farm)
    with pytest.raises(PlannerError, match="has no column every_weeks"):
        accepted(farm, given)
    assert content(farm) == before
    weekly = asked(farm, HEADS)
    accepted(farm, weekly)
    assert farmfile.read_farm(farm).farm.orders[-1].every_weeks == 1


def test_when_the_plan_cannot_be_kept_the_orders_are_as_before(
    farm: Path, answers: Mapping[str, Answer], monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*args: object, **more: object) -> None:
        raise BookError("the disk is full; nothing was entered")

    before = content(farm)
    monkeypatch.setattr(history, "keep", full)
    with pytest.raises(BookError, match="the disk is full"):
        accepted(farm, answers["few"])
    assert content(farm) == before
    (farm / "orders.csv").unlink()
    with pytest.raises(BookError):
        accepted(farm, answers["few"])
    assert not (farm / "orders.csv").exists()


def test_nothing_is_entered_when_the_folder_for_the_plan_is_anothers(
    farm: Path, answers: Mapping[str, Answer]
) -> None:
    (farm / "plan" / "letter.txt").write_text("dear packer")
    before = content(farm)
    with pytest.raises(PlannerError, match=r"letter\.txt"):
        accepted(farm, answers["few"])
    assert content(farm) == before


def test_the_same_enquiry_gets_the_same_answer(first: Path, answers: Mapping[str, Answer]) -> None:
    again = asked(first, replace(HEADS, quantity="10", first_week="2027-04-05"))
    assert told(again) == told(answers["soon"])
    assert again.bundle.files["tasks.ics"] == answers["soon"].bundle.files["tasks.ics"]


def run(farm: Path, *args: str) -> Result:
    common = ["--from", "2027-05-10", "--to", "2027-06-14", "--plan-date", MONDAY.isoformat()]
    return CliRunner().invoke(app, ["promise", str(farm), *common, "--work", "0", *args])


def test_the_command_says_yes_and_enters_it_when_told_to(farm: Path) -> None:
    before = content(farm)
    asking = ["--crop", "any lettuce", "--quantity", "2 heads", "--every", "2 weeks"]
    result = run(farm, *asking)
    assert result.exit_code == 0, result.output
    assert result.stdout.startswith("Yes: 2 head of any lettuce every 2 weeks, ")
    assert content(farm) == before
    result = run(farm, *asking, "--accept", "--line", "inn", "--days", "tue;fri")
    assert result.exit_code == 0, result.output
    assert "Entered as line inn of orders.csv" in result.stdout
    row = rows_of(farm / "orders.csv")[-1]
    assert (row["line"], row["crop"], row["every_weeks"]) == ("inn", "any lettuce", "2")
    assert row["weekdays"] == "tue;fri"
    lines = {row["line"] for row in json.loads((farm / "plan" / "plan.json").read_text())["orders"]}
    assert "inn" in lines


def test_the_command_says_no_and_enters_nothing(farm: Path) -> None:
    before = content(farm)
    asking = ["--crop", "lettuce_butterhead", "--quantity", "5000 heads"]
    result = run(farm, *asking, "--accept")
    assert result.exit_code == 1
    assert result.stdout.startswith("No: 5,000 head of lettuce_butterhead")
    assert "Short: week of Mon 10 May" in result.stdout
    assert "nothing was changed" in result.stderr
    assert content(farm) == before


def test_the_command_refuses_a_quantity_without_a_meaning(first: Path) -> None:
    result = run(first, "--crop", "lettuce_butterhead", "--quantity", "plenty")
    assert result.exit_code == 1
    assert "--quantity" in result.stderr
    assert "plenty" in result.stderr

"""What is read off a ledger: sums by hand, edges, sentences, launches, and the way back into a scenario."""

from __future__ import annotations

import datetime
from pathlib import Path

import numpy as np
import pytest

import growth
from growth.cli import main
from growth.earned.buyers import mentions, named_by_signed_up, own_words, two_estimates
from growth.earned.earnings import report
from growth.earned.earnings_text import comparison_sentences, named_table, report_text, two_estimates_sentences
from growth.earned.ledger import Ledger
from growth.earned.ledger_csv import parse_csv, read_csv
from growth.earned.piece_report import compare, value_by_age
from growth.earned.piece_text import piece_sentences
from growth.earned.to_scenario import into_channel, measured, monthly_fade
from growth.errors import MeasureError

DEMO = Path(__file__).parents[2] / "scenarios" / "earned"
PIECES = "piece,title,published,hours,hourly_rate,other_cost\none,The first,2026-01-05,10,60,50\n"


def ledger_of(*texts: str) -> Ledger:
    ledger = Ledger(":memory:", create=True)
    ledger.record([parse_csv(text, file="file.csv") for text in texts], on="2026-05-01")
    return ledger


@pytest.fixture(scope="module")
def demo() -> Ledger:
    ledger = Ledger(":memory:", create=True)
    ledger.record([read_csv(path) for path in sorted(DEMO.glob("*.csv"))], on="2026-11-16")
    return ledger


def test_sixty_sign_ups_twelve_buyers_a_thousand_each():
    """Common practice, no source: 60 sign-ups worth 200 each are 12,000; 12 buyers who name it, at 1,000 each, another
    12,000.
    """
    buyers = "".join(f"b{n},one,2026-01-06,2026-02-{n + 1:02d},1000,spring,one\n" for n in range(12))
    ledger = ledger_of(
        PIECES,
        "piece,day,views,sign_ups\none,2026-01-06,1500,60\n",
        "buyer,piece,signed_up,bought,amount,launch,named\n" + buyers,
    )
    one = report(ledger).pieces[0]
    assert (one.value_so_far, one.piece.paid, one.piece.cost) == (pytest.approx(200), 12_000, 650)
    assert one.paid_back == "2026-02" and one.bought_share.value == pytest.approx(0.2)
    count, (found,) = mentions(ledger, launch="spring")
    assert count == 12 and found.any_amount == found.first_amount == found.last_amount == 12_000


def test_first_last_and_any_are_counted_apart():
    pieces = "piece,published\na,2026-01-01\nb,2026-01-01\n"
    ledger = ledger_of(
        pieces,
        (
            "buyer,bought,amount,launch,named,words\n1,2026-03-01,10,x,a;b,because of "
            "b\n2,2026-03-01,20,x,b,\n3,2026-03-01,40,x,,\n"
        ),
    )
    count, found = mentions(ledger, launch="x")
    shares = {one.piece: tuple(round(part.value * 3) for part in (one.first, one.last, one.any)) for one in found}
    assert count == 3 and shares == {"a": (1, 0, 1), "b": (1, 2, 2)}
    assert {one.piece: one.any_amount for one in found} == {"a": 10, "b": 30}
    assert own_words(ledger, piece="a") == ["because of b"]


def test_a_buyer_who_buys_twice_is_one_buyer():
    ledger = ledger_of(
        PIECES,
        "piece,day,views,sign_ups\none,2026-01-06,100,4\n",
        "buyer,piece,signed_up,bought,amount\nb1,one,2026-01-06,2026-02-01,100\nb1,one,2026-01-06,2026-03-01,40.25\n",
    )
    one = report(ledger).pieces[0]
    assert len(one.piece.buyers) == 1 and one.piece.paid == 140.25 and one.seen.delay.tolist() == [26.0]
    assert one.piece.buyers[0].later == (40.25,)


@pytest.mark.parametrize(
    "days", ["", "one,2026-01-06,0,0\n", "one,2026-01-06,300,0\n", "one,2026-01-06,300,1\n", "one,2026-01-06,0,3\n"]
)
def test_nothing_and_next_to_nothing_are_told_without_a_division_by_zero(days):
    ledger = ledger_of(PIECES, "piece,day,views,sign_ups\n" + days)
    with np.errstate(all="raise", under="ignore"):
        found = report(ledger, day="2026-04-01")
    text = " ".join(report_text(found))
    assert "nan" not in text and "inf" not in text and "None " not in text.replace("None of them", "")
    assert "So far it has earned nothing." in text and "too early to say" in text  # fewer than three days with a row


def counted(days: int, *, first: str = "2026-01-05", sign_ups: int = 3, piece: str = "one") -> str:
    """So many days in a row with so many sign-ups each."""
    start = datetime.date.fromisoformat(first)
    rows = (f"{piece},{start + datetime.timedelta(days=n)},{20 * sign_ups},{sign_ups}\n" for n in range(days))
    return "piece,day,views,sign_ups\n" + "".join(rows)


def test_one_buyer_gives_a_wide_answer():
    ledger = ledger_of(PIECES, counted(20), "buyer,piece,signed_up,bought,amount\nb,one,2026-01-06,2026-01-09,400\n")
    one = report(ledger).pieces[0]
    assert one.piece.paid == 400 and one.value_so_far == pytest.approx(400 / 60)
    assert one.sign_up_value.low < 4 and one.sign_up_value.high > 20


# --- counts that files get wrong --------------------------------------------------------------------------------------


def test_a_buyer_on_a_day_without_a_row_is_one_of_the_sign_ups_counted():
    """Four and nine were counted; the buyers signed up the day after a row, as in a file by week or in another zone."""
    pieces = PIECES + "two,The second,2026-01-05,10,60,50\n"
    days = "piece,day,views,sign_ups\none,2026-01-06,100,4\ntwo,2026-01-06,100,9\n"
    buyers = "buyer,piece,signed_up,bought,amount\n1,one,2026-01-07,2026-02-01,10\n2,two,2026-01-07,2026-02-01,10\n"
    found = {one.piece.name: one for one in report(ledger_of(pieces, days, buyers)).pieces}
    assert (found["one"].piece.sign_ups, found["two"].piece.sign_ups) == (4, 9)
    assert found["one"].piece.waiting_by_day.sum() == 3 and found["one"].piece.uncounted == 0
    assert "100 views brought 4 sign-ups" in piece_sentences(found["one"], "EUR")[0]


def test_buyers_beyond_the_sign_ups_counted_are_added_and_said():
    buyers = "buyer,piece,signed_up,bought,amount\n1,one,2026-01-07,2026-02-01,10\n2,one,2026-01-09,2026-02-01,10\n"
    one = report(ledger_of(PIECES, "piece,day,views,sign_ups\none,2026-01-06,100,1\n", buyers)).pieces[0]
    assert (one.piece.sign_ups, one.piece.uncounted) == (2, 1)
    assert "1 of them is a buyer beyond the sign-ups that the days count." in piece_sentences(one, "EUR")


def test_days_after_the_last_count_are_not_taken_for_days_without_sign_ups():
    """Counted for twenty days, the last buyer months later: the sign-ups had not faded while they were counted."""
    late = "buyer,piece,signed_up,bought,amount\nb,one,2026-01-06,2026-05-09,400\n"
    one = report(ledger_of(PIECES, counted(20), late)).pieces[0]
    assert one.piece.counted_days == 20 and one.piece.seen == 125
    assert one.halving.high > 100


@pytest.mark.parametrize("days", [1, 2, 13])
def test_a_few_days_are_too_early_to_say_what_is_to_come(days):
    buyer = "buyer,piece,signed_up,bought,amount\nb,one,2026-01-05,2026-01-06,400\n"
    one = report(ledger_of(PIECES, counted(days, sign_ups=5), buyer)).pieces[0]
    text = " ".join(piece_sentences(one, "EUR"))
    assert one.too_early and one.next_year is None and one.halving is None and one.sign_up_value is None
    assert "It is too early to say" in text and "expect about" not in text and "halve" not in text


def test_when_half_of_the_sign_ups_came_is_a_count():
    """1, 1, 8, 4, 4: half of 18 are there by the end of the third day."""
    first = datetime.date(2026, 1, 5)
    days = "piece,day,views,sign_ups\n" + "".join(
        f"one,{first + datetime.timedelta(days=n)},90,{count}\n" for n, count in enumerate((1, 1, 8, 4, 4, *[0] * 10))
    )
    one = report(ledger_of(PIECES, days)).pieces[0]
    assert one.piece.half_came == 3 and "Half of its sign-ups came within 3 days." in piece_sentences(one, "EUR")


def test_two_days_with_a_row_in_two_months_are_too_early_too():
    days = "piece,day,views,sign_ups\none,2026-01-06,90,4\none,2026-03-06,90,5\n"
    assert report(ledger_of(PIECES, days)).pieces[0].too_early
    assert not report(ledger_of(PIECES, counted(14))).pieces[0].too_early


def test_a_flood_of_robots_is_set_aside_and_said_and_can_be_kept():
    flood = counted(30) + "one,2026-02-20,4,60\n"
    buyer = "buyer,piece,signed_up,bought,amount\nb,one,2026-02-20,2026-02-21,400\n"
    ledger = ledger_of(PIECES, flood, buyer)
    one = report(ledger).pieces[0]
    assert one.piece.robot_days == {"2026-02-20": 59}  # the one who bought is no robot
    assert one.piece.sign_ups == 30 * 3 + 1 and one.piece.views == 30 * 60
    assert "59 sign-ups look like robots and are left out (2026-02-20)" in " ".join(piece_sentences(one, "EUR"))
    assert report(ledger, robots=True).pieces[0].piece.sign_ups == 30 * 3 + 60


# --- instalments, later purchases, launches ---------------------------------------------------------------------------


def monthly(code: str, first: str, count: int, amount: int, tail: str = "") -> str:
    start = datetime.date.fromisoformat(first)
    return "".join(
        f"{code},one,{first},{start + datetime.timedelta(days=30 * n)},{amount}{tail}\n" for n in range(count)
    )


def test_instalments_are_contracted_beside_paid():
    """Two of six payments of 80 are made: 160 paid, 480 contracted; the other 320 are part of the next year."""
    buyers = "buyer,piece,signed_up,bought,amount,instalments\n" + monthly("b", "2026-01-06", 2, 80, ",6")
    one = report(ledger_of(PIECES, counted(40), buyers)).pieces[0]
    assert (one.piece.paid, one.piece.contracted) == (160, 480)
    assert one.next_year.low >= 320
    text = " ".join(piece_sentences(one, "EUR"))
    assert "have paid €160" in text and "Another €320 is agreed in instalments: €480 in all" in text


def test_instalments_two_weeks_late_are_overdue_and_not_expected():
    buyers = "buyer,piece,signed_up,bought,amount,instalments\n" + monthly("b", "2026-01-06", 2, 80, ",6")
    one = report(ledger_of(PIECES, counted(100), buyers)).pieces[0]
    assert one.piece.contracted == one.piece.paid == 160
    assert "Instalments of €320 are overdue and not counted." in piece_sentences(one, "EUR")


def test_the_length_of_a_plan_is_told_from_finished_ones_and_otherwise_asked_for():
    done = "".join(monthly(f"old{n}", "2026-01-06", 4, 50) for n in range(3))
    buyers = "buyer,piece,signed_up,bought,amount\n" + done + monthly("new", "2026-06-20", 1, 50)
    found = {buyer.payments[0].day: buyer for buyer in report(ledger_of(PIECES, counted(170), buyers)).buyers}
    assert found["2026-06-20"].due == (50.0, 50.0, 50.0)
    running = "buyer,piece,signed_up,bought,amount\n" + monthly("b", "2026-01-06", 3, 50)
    one = report(ledger_of(PIECES, counted(60), running)).pieces[0]
    assert one.piece.contracted == 150 and "the ledger does not say how often" in " ".join(piece_sentences(one, "EUR"))


def test_those_who_come_back_to_buy_are_part_of_the_next_year():
    """Twenty buyers, each buying again every hundred days or so for 100: about 70 more purchases in a year."""
    first = datetime.date(2026, 1, 6)
    rows = [
        f"b{n},one,{first},{first + datetime.timedelta(days=100 * k + n)},{100 + k}\n"
        for n in range(20)
        for k in range(3)
    ]
    days = "piece,day,views,sign_ups\n" + "".join(
        f"one,{first + datetime.timedelta(days=n)},500,{20 if n == 0 else 0}\n" for n in range(300)
    )
    one = report(ledger_of(PIECES, days, "buyer,piece,signed_up,bought,amount\n" + "".join(rows))).pieces[0]
    again = 40 / sum(300 - 1 - n for n in range(20)) * 365 * 20  # purchases a buyer-day, of all, in a year
    assert one.next_year.value == pytest.approx(again * 101.5, rel=0.15)


def in_launches(last: str) -> Ledger:
    """Sixty sign-ups of each of two pieces; a fifth of the first one's buys in a launch in March, none outside it."""
    pieces = PIECES + "two,The second,2026-04-05,10,60,50\n"
    buyers = "".join(f"b{n},one,2026-01-1{n % 9},2026-03-0{1 + n % 4},100,spring\n" for n in range(12))
    more = "b99,one,2026-01-20,2026-06-01,100,summer\n" if last == "summer" else ""
    return ledger_of(
        pieces,
        counted(20),
        counted(20, first="2026-04-05", piece="two"),
        "buyer,piece,signed_up,bought,amount,launch\n" + buyers + more,
    )


def test_before_its_first_launch_nothing_is_said_of_a_piece():
    found = {one.piece.name: one for one in report(in_launches("spring"), day="2026-05-20").pieces}
    two = " ".join(piece_sentences(found["two"], "EUR"))
    assert "no launch has happened since this piece came out: nothing can be said" in two
    assert "€0" not in two.split("Making it took")[0]
    assert found["two"].sign_up_value is None and found["two"].next_year is None
    one = found["one"]
    assert one.in_launches and one.sign_up_value.low < 0.2 * 100 < one.sign_up_value.high
    assert "at its first launch it is worth about" in " ".join(piece_sentences(one, "EUR"))


def test_after_its_first_launch_a_piece_without_a_buyer_has_a_value_near_nothing():
    found = {one.piece.name: one for one in report(in_launches("summer"), day="2026-07-20").pieces}
    assert not found["two"].no_launch and found["two"].sign_up_value.low < 1 < found["two"].sign_up_value.high < 20


def test_a_launch_that_may_still_run_is_not_counted():
    assert {one.piece.name: one.no_launch for one in report(in_launches("summer"), day="2026-06-03").pieces}["two"]


# --- two estimates of one income --------------------------------------------------------------------------------------

NAMED = (
    "buyer,piece,signed_up,bought,amount,named\n1,one,2026-01-06,2026-02-01,100,one\n2,one,2026-01-06,2026-02-01,40,\n"
    "3,,,2026-02-01,70,one\n4,,,2026-02-01,9,\n"
)


def test_signed_up_and_named_are_two_counts_of_one_income():
    """Signed up: buyers 1 and 2, 140. Naming: 1 and 3, 170. Both: 1, 100. Together 140 + 170 - 100 = 210."""
    buyers = report(ledger_of(PIECES, counted(20), NAMED)).buyers
    found = two_estimates("one", buyers)
    assert (found.signed_up, found.naming, found.both, found.together) == (140, 170, 100, 210)
    text = " ".join(two_estimates_sentences(found, "EUR"))
    assert "1 buyer did both, so together it is €210, each buyer counted once" in text
    assert "it also moves people who found you elsewhere" in text


def test_the_table_of_named_by_signed_up_has_each_buyer_once():
    table = named_by_signed_up(report(ledger_of(PIECES, counted(20), NAMED)).buyers)
    assert table == {("", ""): (1, 9.0), ("", "one"): (1, 70.0), ("one", ""): (1, 40.0), ("one", "one"): (1, 100.0)}
    assert ("elsewhere", "one", "1", "€70.00") in named_table(table, "EUR")


def test_what_an_hour_earned_has_the_money_spent_taken_off():
    """10 hours, 50 spent; 140 paid: (140 - 50) / 10 = 9 an hour."""
    one = report(ledger_of(PIECES, counted(20), NAMED)).pieces[0]
    assert one.hourly == pytest.approx(9)
    assert "Making it took 10 hours and €50.00; so far an hour has earned €9.00." in piece_sentences(one, "EUR")


def test_the_value_of_a_sign_up_by_its_age():
    """A day with 30 sign-ups in January, of whom 6 paid 100; 20 in November, of whom none has: 20 and 0 so far."""
    days = "piece,day,views,sign_ups\none,2026-01-05,600,30\none,2026-06-01,9,0\none,2026-11-01,400,20\n"
    buyers = "".join(f"b{n},one,2026-01-05,2026-01-{10 + n},100\n" for n in range(6))
    ledger = ledger_of(PIECES, days, "buyer,piece,signed_up,bought,amount\n" + buyers)
    found = report(ledger, day="2026-11-10")
    new, old = value_by_age(found.pieces, day=found.day)
    assert (new.youngest, new.sign_ups, new.buyers, new.paid) == (0, 20, 0, 0)
    assert (old.oldest, old.sign_ups, old.buyers, old.paid) == (365, 30, 6, 20)
    assert old.in_the_end.low == pytest.approx(20) and old.in_the_end.high < 24  # nobody takes ten months here
    assert new.in_the_end.low == 0 and new.in_the_end.high >= 100 / 20  # one late buyer may still come


def test_what_happened_after_the_day_does_not_count(demo):
    early = {one.piece.name: one for one in report(demo, day="2026-05-01").pieces}
    assert "when-can-i-live-from-it" not in early
    late = {one.piece.name: one for one in report(demo).pieces}
    assert early["monthly-or-yearly"].piece.sign_ups < late["monthly-or-yearly"].piece.sign_ups


def test_the_demo_says_which_to_make_next_and_the_same_each_time(demo):
    first, second = report_text(report(demo)), report_text(report(demo))
    assert first == second and first[-2].startswith("Make the next one like “When can I live from it?”")
    assert sum(report(demo).chances_of_best().values()) == pytest.approx(1)
    assert [one.piece.published for one in report(demo, last=2).pieces] == ["2026-08-18", "2026-04-07"]


def test_a_comparison_of_a_piece_with_itself_is_even(demo):
    one = report(demo).pieces[0]
    found = compare(one, one)
    for chance, gap in (found.sign_ups, found.buyers, found.sign_up_value, found.first_year):
        assert chance == pytest.approx(0.5) and gap.value == pytest.approx(0)


def test_a_comparison_says_how_large_the_difference_is_in_money(demo):
    old, _, new = sorted(report(demo).pieces, key=lambda one: one.piece.published)
    found = compare(old, new)
    chance, gap = found.first_year
    np.testing.assert_allclose(
        gap.value, np.median(old.outlook.first_year - old.piece.cost - new.outlook.first_year + new.piece.cost)
    )
    assert chance < 0.5 and gap.low < gap.value < gap.high
    text = comparison_sentences(old, new, found, "EUR")
    assert "“When can I live from it?” earns more in a first year" in text[3] and "The difference is about €" in text[3]


def test_an_empty_ledger_is_an_error_that_says_so():
    with pytest.raises(MeasureError, match="an empty ledger"):
        report(Ledger(":memory:", create=True))


def test_late_buyers_and_fading_sign_ups_bring_what_they_should():
    """60 a day halving every 30 days, seen for 90: the next year brings 60 (S(455) - S(90)), S the geometric sum; a
    fifth of them buys the next day at 100 each, and of the sign-ups seen nobody is left to buy.
    """
    first = datetime.date(2026, 1, 5)
    counts = [round(60 * 2 ** (-t / 30)) for t in range(90)]
    days = "".join(f"one,{first + datetime.timedelta(days=t)},{10 * c},{c}\n" for t, c in enumerate(counts))
    buyers = "".join(
        f"b{t}x{n},one,{first + datetime.timedelta(days=t)},{first + datetime.timedelta(days=t + 1)},100\n"
        for t, c in enumerate(counts[:-1])
        for n in range(c // 5)
    )
    found = report(
        ledger_of(PIECES, "piece,day,views,sign_ups\n" + days, "buyer,piece,signed_up,bought,amount\n" + buyers),
        day="2026-04-04",
    )
    one, q = found.pieces[0], 2 ** (-1 / 30)
    share = len(one.piece.buyers) / one.piece.sign_ups
    expected = 60 * (q**90 - q**455) / (1 - q) * share * 100
    assert one.halving.value == pytest.approx(30, rel=0.2)
    assert one.next_year.value == pytest.approx(expected, rel=0.25)  # the mix allows for a slower end
    assert one.next_year.low < expected < one.next_year.high


def test_the_measured_rates_become_a_channel_that_forecasts_the_next_six(demo):
    scenario = growth.Scenario(
        business="Your list",
        invented=True,
        months=12,
        pay={"plans": [{"name": "Course", "monthly_price": 480}]},
        arrive={"channels": [{"name": "pieces", "kind": "content", "monthly_pieces": 1, "peak_monthly_visits": 100}]},
    )
    found = report(demo)
    rates = measured(found)
    changed = into_channel(found, scenario, channel="pieces", pieces=6)
    channel = changed.arrive.channels[0]
    sign_ups, views = sum(p.piece.sign_ups for p in found.pieces), sum(p.piece.views for p in found.pieces)
    assert channel.signup_rate == pytest.approx(sign_ups / views) and channel.conversion_rate == pytest.approx(
        rates["conversion_rate"].value
    )
    assert (channel.monthly_pieces, channel.last_month) == (1.0, 6)
    result = growth.forecast(changed)
    assert result.visitors[0] == pytest.approx(channel.peak_monthly_visits)
    # one piece a month, each fading: six months bring 6 + 5 (1 - f) + 4 (1 - f)^2 + ... first months
    keep = 1 - channel.monthly_fade_rate
    assert result.visitors[:6].sum() == pytest.approx(
        channel.peak_monthly_visits * sum((6 - k) * keep**k for k in range(6))
    )
    # the first of twelve months has the share of the year that it has by the pieces' own shapes
    fade = monthly_fade(found)
    assert fade == pytest.approx(channel.monthly_fade_rate) and 0.2 < fade < 0.6
    with pytest.raises(MeasureError, match="There is pieces"):
        into_channel(found, scenario, channel="adverts")
    for wrong in (-1, float("nan"), float("inf"), 1e9):
        with pytest.raises(MeasureError, match="pieces: a number from 0 to 1,000"):
            into_channel(found, scenario, channel="pieces", pieces=wrong)


def test_the_command_line_from_files_to_a_forecast(tmp_path, capsys, monkeypatch):
    ledger, files = str(tmp_path / "l.db"), [str(path) for path in sorted(DEMO.glob("*.csv"))]
    assert main(["earned", "import", ledger, *files]) == 0 and main(["earned", "import", ledger, *files]) == 0
    assert "Nothing new" in capsys.readouterr().out
    assert main(["earned", "report", ledger]) == 0
    assert "Make the next one like" in capsys.readouterr().out
    assert main(["earned", "compare", ledger, "monthly-or-yearly", "when-can-i-live-from-it"]) == 0
    assert "99 in 100 sure" in capsys.readouterr().out
    assert main(["earned", "launch", ledger]) == 0
    assert "different questions" in " ".join(capsys.readouterr().out.split())
    for wrong in (
        ["compare", ledger, "none", "monthly-or-yearly"],
        ["report", str(tmp_path / "no.db")],
        ["report", ledger, "--day", "x"],
    ):
        assert main(["earned", *wrong]) == 2
    assert "Traceback" not in capsys.readouterr().err
    assert (
        main(
            [
                "earned",
                "scenario",
                ledger,
                str(DEMO / "list.yaml"),
                "--channel",
                "pieces",
                "--pieces",
                "6",
                "--to",
                str(tmp_path / "n.yaml"),
            ]
        )
        == 0
    )
    assert growth.load_scenario(tmp_path / "n.yaml").arrive.channels[0].signup_rate > 0

"""What is read off a ledger: sums by hand, edges, sentences, launches, and the way back into a scenario."""

from __future__ import annotations

import datetime
from pathlib import Path

import numpy as np
import pytest

import growth
from growth.cli import main
from growth.earned.columns import parse_csv, read_csv
from growth.earned.ledger import Ledger
from growth.earned.loop import into_channel, measured
from growth.earned.mentions import mentions, own_words
from growth.earned.sentences import piece_sentences, report_text
from growth.earned.worth import compare, report
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
    assert (one.sign_up_value.value, one.worth_so_far, one.cost) == (pytest.approx(200), 12_000, 650)
    assert one.paid_back == "2026-02" and one.buyer_share.value == pytest.approx(0.2)
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
    assert one.piece.buyers == 1 and one.worth_so_far == 140.25 and one.piece.delays.tolist() == [26.0]


@pytest.mark.parametrize(
    "days", ["", "one,2026-01-06,0,0\n", "one,2026-01-06,300,0\n", "one,2026-01-06,300,1\n", "one,2026-01-06,0,3\n"]
)
def test_nothing_and_next_to_nothing_are_told_without_a_division_by_zero(days):
    ledger = ledger_of(PIECES, "piece,day,views,sign_ups\n" + days)
    with np.errstate(all="raise", under="ignore"):
        found = report(ledger, day="2026-04-01")
    text = " ".join(report_text(found))
    assert "nan" not in text and "inf" not in text and "None " not in text.replace("None of them", "")
    assert "So far it has earned nothing." in text and "cannot be told before the first buyer" in text


def test_one_buyer_gives_a_wide_answer_and_says_where_its_amount_is_from():
    ledger = ledger_of(
        PIECES,
        "piece,day,views,sign_ups\none,2026-01-06,300,9\n",
        "buyer,piece,signed_up,bought,amount\nb,one,2026-01-06,2026-01-09,400\n",
    )
    one = report(ledger, day="2026-02-01").pieces[0]
    assert one.worth_so_far == 400 and one.sign_up_value.low < 10 and one.sign_up_value.high > 120
    assert "taken from all the pieces" in " ".join(piece_sentences(one, "EUR"))


def test_what_happened_after_the_day_does_not_count(demo):
    early = {one.piece.name: one for one in report(demo, day="2026-05-01").pieces}
    assert "when-can-i-live-from-it" not in early
    late = {one.piece.name: one for one in report(demo).pieces}
    assert early["monthly-or-yearly"].piece.sign_ups < late["monthly-or-yearly"].piece.sign_ups


def test_the_demo_says_which_to_make_next_and_the_same_each_time(demo):
    first, second = report_text(report(demo)), report_text(report(demo))
    assert first == second and first[-2].startswith("Make the next one like “When can I live from it?”")
    assert sum(report(demo).chances_of_best()) == pytest.approx(1)
    assert [one.piece.published for one in report(demo, last=2).pieces] == ["2026-08-18", "2026-04-07"]


def test_a_comparison_of_a_piece_with_itself_is_even(demo):
    one = report(demo).pieces[0]
    found = compare(one, one)
    assert (found.sign_ups, found.buyers) == (pytest.approx(0.5), pytest.approx(0.5)) and found.first_year == 0


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
    share = one.piece.buyers / one.piece.sign_ups
    expected = 60 * (q**90 - q**455) / (1 - q) * share * 100
    assert one.half_life.value == pytest.approx(30, rel=0.05)
    assert one.next_year.value == pytest.approx(
        expected, rel=0.12
    )  # the posterior of the half-life leans a little longer
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
    with pytest.raises(MeasureError, match="There is pieces"):
        into_channel(found, scenario, channel="adverts")


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

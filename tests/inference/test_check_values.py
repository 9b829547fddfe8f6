"""The check values of the methods: computed with statsmodels 0.15 and scipy 1.17, and against both as installed."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from scipy import special as outside
from scipy import stats
from statsmodels.api import OLS
from statsmodels.duration.survfunc import SurvfuncRight
from statsmodels.stats.contingency_tables import StratifiedTable
from statsmodels.stats.multitest import multipletests
from statsmodels.stats.proportion import proportion_confint

from archive.answers.inference import (
    differ,
    drift,
    jobs,
    margins,
    ranking,
    same_links,
    special,
    standardise,
    survival,
    trends,
)

THREE = [  # (passed, links) of the jobs of three groups
    [(58, 60), (40, 40), (115, 120), (24, 25)],
    [(30, 30), (77, 80), (44, 50)],
    [(12, 12), (200, 200)],
]


def counts(groups: list[list[tuple[int, int]]]) -> jobs.JobCounts:
    """Jobs of groups."""
    flat = [(g, x, n) for g, listed in enumerate(groups) for x, n in listed]
    return jobs.JobCounts.of([f[0] for f in flat], [f[2] for f in flat], [f[1] for f in flat], len(groups))


@pytest.mark.parametrize(("a", "b"), [(0.5, 0.5), (2.5, 4), (50, 3.2), (1e5, 3), (1e4, 1e5), (1, 80)])
def test_incomplete_beta_is_scipys(a: float, b: float) -> None:
    for x in (1e-6, 0.01, 0.3, a / (a + b), 0.95, 0.99999):
        want = outside.betainc(a, b, x)
        assert special.incomplete_beta(x, a, b) == pytest.approx(want, rel=2e-9, abs=1e-290)


def test_quantiles_are_scipys() -> None:
    for freedom, want in ((1, 12.706205), (2, 4.302653), (5, 2.570582), (8, 2.306004), (11, 2.200985), (30, 2.042272)):
        assert special.t_quantile(0.975, freedom) == pytest.approx(want, abs=6e-7)
        assert special.t_quantile(0.975, freedom) == pytest.approx(stats.t.ppf(0.975, freedom), rel=1e-11)
        assert special.t_quantile(0.01, freedom) == pytest.approx(stats.t.ppf(0.01, freedom), rel=1e-11)
    for share, a, b in ((0.025, 3.0, 18.0), (0.975, 1.0, 400.0), (0.5, 1e4, 2e4)):
        assert special.beta_quantile(share, a, b) == pytest.approx(stats.beta.ppf(share, a, b), rel=1e-10)
    assert special.incomplete_beta(0.3, 2.5, 4) == pytest.approx(0.352197585907, abs=1e-12)
    assert special.incomplete_beta(0.95, 50, 3.2) == pytest.approx(0.561793176765, abs=1e-12)


def test_correlation_and_intervals() -> None:
    made = counts(THREE)
    own = jobs.scatter(made)
    total = own.over_all
    assert total.between / total.jobs == pytest.approx(0.063337585034, abs=1e-12)
    assert total.within / total.links == pytest.approx(0.026073190789, abs=1e-12)
    assert (total.jobs, total.links) == (6, 608)
    assert total.spare / total.jobs == pytest.approx((617 - 20225 / 245 - 9800 / 160 - 40144 / 212) / 6)
    assert total.correlation == pytest.approx(0.029325826571, abs=1e-12)
    assert own.correlation[:2] == pytest.approx([0.0, 0.041460822130], abs=1e-12)
    others = (total - own).correlation
    assert others == pytest.approx([0.087633721535, 0.0, 0.017088471019], abs=1e-12)
    found = jobs.intervals(made)
    assert found.correlation == pytest.approx([0.046627378600, 0.030265604024, 0.030494759554], abs=1e-12)
    assert found.freedom[0] == 11
    assert found.effective == pytest.approx([51.014986851, 56.667203917, 31.435597548], abs=1e-8)
    assert found.low == pytest.approx([0.860619957, 0.835303494, 0.866473413], abs=1e-9)
    assert found.high == pytest.approx([0.993013666, 0.982301525, 1.0], abs=1e-9)


def test_arcsines_distances_and_no_failure() -> None:
    made = counts(THREE)
    rho = float(jobs.of_all(made).value)
    assert rho == pytest.approx(0.038723178129, abs=1e-12)
    of = jobs.sums(made)
    a = jobs.arcsines(of.rate, of.links, of.job_size, rho)
    assert a.number == pytest.approx([58.923767867, 48.003770951, 25.561141255], abs=1e-8)
    assert a.value == pytest.approx([1.373231065, 1.316928025, 1.451126998], abs=1e-9)
    assert differ.distances(made, rho) == pytest.approx([0, -0.784241090, 0.795319240], abs=4e-9)
    assert differ.no_failure(made, 2) == pytest.approx(0.063262910902, abs=1e-11)
    assert differ.no_failure(counts([[(5, 5)], [(6, 6)]]), 0) is None


def test_two_groups_by_every_arrangement() -> None:
    """All twenty ways to deal six jobs to two groups: the exact p; shuffles come near it."""
    listed = [(58, 60), (40, 40), (115, 120), (20, 30), (25, 40), (30, 50)]
    made = counts([listed[:3], listed[3:]])
    z = differ.distances(made, 0.05)
    assert z[0] == pytest.approx(4.140693451, abs=1e-9)
    beyond = 0
    for first in combinations(range(6), 3):
        dealt = counts([[listed[i] for i in first], [listed[i] for i in range(6) if i not in first]])
        beyond += abs(differ.distances(dealt, 0.05)[0]) >= z[0] - 1e-9
    assert beyond / 20 == 0.1
    assert differ.JobShuffles(made, 1999).p(np.arange(2), 0.05, z) == pytest.approx(0.1, abs=0.025)


def test_strata_are_those_of_statsmodels() -> None:
    """Mantel-Haenszel of three strata (pass, fail of the group; of the other)."""
    strata = [((95, 5), (180, 20)), ((40, 10), (30, 10)), ((297, 3), (98, 2))]
    library = StratifiedTable([np.array(s) for s in strata])
    assert library.oddsratio_pooled == pytest.approx(1.734889570, abs=1e-9)
    rows = [(side, c, p, p + f) for c, s in enumerate(strata) for side, (p, f) in enumerate(s)]
    made = standardise.StratumCounts(
        np.array([r[0] for r in rows]),
        np.array([r[1] for r in rows]),
        np.arange(len(rows)),
        np.array([r[3] for r in rows], float),
        np.array([r[2] for r in rows], float),
    )
    (found,) = standardise.against_rest(made, [0])
    assert found is not None
    assert found.within.value == pytest.approx(0.031694915, abs=1e-9)
    assert found.direct[0] - found.direct[1] == pytest.approx(0.029746835, abs=1e-9)
    assert found.crude.value == pytest.approx(0.054117647, abs=1e-9)
    assert (found.compared, found.strata, found.reversed) == (1.0, 3, False)
    assert found.moved.value == pytest.approx(found.crude.value - found.within.value)


def test_shrunken_values() -> None:
    value, variance = np.array([0.08, 0.15, 0.12, 0.31, 0.10]), np.array([0.0009, 0.0016, 0.0004, 0.0025, 0.0009])
    want = [0.0882531, 0.1482444, 0.1214326, 0.2655379, 0.1055175]
    assert ranking.shrunken(value, variance) == pytest.approx(want, abs=3e-6)


def test_the_limits_of_a_funnel_and_power() -> None:
    flat = ranking.Funnel(np.zeros(0), np.zeros(0), 0.97, 1e9, 0.0)
    low, high = flat.limits(np.array([20.0, 100.0, 500.0]), 0.95)
    assert low == pytest.approx([0.855087, 0.927907, 0.953272], abs=2e-6)
    assert high == pytest.approx([1.0, 0.994185, 0.983123], abs=2e-6)
    assert ranking.detectable(0.97, 400, 1200, 45) == pytest.approx(0.935627876, abs=1e-9)


def test_kaplan_meier_of_the_classic_remission_times() -> None:
    """Twenty-one remission times; against statsmodels too."""
    text = "6 6 6 6+ 7 9+ 10 10+ 11+ 13 16 17+ 19+ 20+ 22 23 25+ 32+ 32+ 34+ 35+"
    years = np.array([float(w.strip("+")) for w in text.split()])
    failed = np.array(["+" not in w for w in text.split()])
    alone = np.arange(len(years))
    want = {6: 0.857143, 7: 0.806723, 10: 0.752941, 13: 0.690196, 16: 0.627451, 22: 0.537815, 23: 0.448179}
    library = SurvfuncRight(years, failed)
    for at, share in want.items():
        found = survival.failed_by(years, failed, alone, at)
        assert 1 - found.share == pytest.approx(share, abs=1e-6)
        place = int(np.searchsorted(library.surv_times, at, side="right")) - 1
        assert 1 - found.share == pytest.approx(float(library.surv_prob[place]))
    ten = survival.failed_by(years, failed, np.zeros(len(years), int), 10)  # one job: as if links were alone
    assert (ten.low, ten.high) == pytest.approx((0.084876016, 0.487658231), abs=1e-8)


def test_a_chart_of_months() -> None:
    listed = [(57, 60), (88, 90), (40, 45), (115, 120), (97, 98), (60, 64), (71, 75), (150, 155)]
    of = jobs.sums(counts([[one] for one in listed]))
    a = jobs.arcsines(of.rate, of.links, of.job_size, 0.0)
    assert float((a.weight * a.value).sum() / a.weight.sum()) == pytest.approx(1.364571749, abs=1e-6)


def test_drift_of_one_unit_of_three() -> None:
    i = np.arange(48)
    unit, t = np.array([0, 0, 1, 2])[i % 4], i // 4
    lot = (t // 6) * 2 + i % 2
    y = 2 + 0.1 * unit - 0.4 * (lot == 3) - 0.04 * t * (unit == 0) + 0.05 * ((37 * i) % 11 - 5)
    made = drift.JobMargins(np.round(y, 3), t.astype(float), unit, np.zeros(48, int), lot)
    found = drift.slopes(made)
    assert [f.own for f in found] == pytest.approx([-0.04964286, 0.00285714, 0.00285714], abs=1e-8)
    assert [f.slope for f in found] == pytest.approx([-0.0525, 0.0, 0.0], abs=1e-8)
    assert found[0].error == pytest.approx(0.01590341, abs=1e-8)


def test_units_on_the_same_links_are_as_statsmodels_fits_them() -> None:
    """Differences of margins on levels and slopes of three units: the contrasts of its slopes and their errors."""
    i = np.arange(30)
    unit, other = i % 3, (i + 1 + i % 2) % 3
    t, later = i // 3, i // 3 + i % 4
    y = 0.3 * unit - 0.3 * other - 0.04 * (t * (unit == 0) - later * (other == 0)) + 0.02 * ((37 * i) % 11 - 5)
    pairs = same_links.LinkPairs(y, unit, other, t.astype(float), later.astype(float))
    found = same_links.paired_slopes(pairs, 3)
    assert found is not None
    one, two = np.eye(3)[unit], np.eye(3)[other]
    x = np.column_stack([(one - two)[:, 1:], one * t[:, None] - two * later[:, None]])
    fit = OLS(y, x).fit()
    assert found.freedom == fit.df_resid
    for u, slope in enumerate(found.against_others()):
        contrast = np.r_[0, 0, -0.5 * np.ones(3)]
        contrast[2 + u] = 1.0
        want = fit.t_test(contrast)
        assert slope is not None and slope.slope == pytest.approx(float(want.effect[0]), abs=1e-9)
        wider = (fit.df_resid / (fit.df_resid - 2)) ** 0.5
        half = float(want.sd[0, 0]) * wider * stats.t.ppf(0.975, fit.df_resid)
        assert slope.high - slope.slope == pytest.approx(half, rel=1e-8)
    few = same_links.LinkPairs(*(v[:7] for v in vars(pairs).values()))
    assert same_links.paired_slopes(few, 3) is None


def test_p_of_units_is_corrected_for_their_number_and_for_looks() -> None:
    """Holm as statsmodels has it, over the p of one look times the looks; what is not known stays so."""
    p = [0.0004, None, 0.03, 0.0009]
    known = multipletests([min(1.0, drift.LOOKS * v) for v in p if v is not None], method="holm")[1]
    assert drift.corrected(p) == [pytest.approx(known[0]), None, pytest.approx(known[1]), pytest.approx(known[2])]


def test_drift_that_a_crew_could_be_is_not_told() -> None:
    """One unit alone from one month on with a crew of its own for every month: its slope is theirs."""
    months = np.tile(np.arange(12.0), 2)
    unit = np.repeat([0, 1], 12)
    crew = np.where(unit == 0, np.arange(24) % 12 + 1, 0)
    found = drift.slopes(drift.JobMargins(months * 0.1, months, unit, crew, np.zeros(24, int)))
    assert found[0].slope is None and found[0].p is None


def test_quantiles_of_margins_are_those_of_order_statistics() -> None:
    """Independent links, many jobs: the interval of the median is that of a share of one half by statsmodels."""
    values = np.arange(4000.0)
    job = np.arange(4000)
    found = margins.quantile(values, job, 0.5)
    low, high = proportion_confint(2000, 4000, method="wilson")
    assert found.value == 1999.5
    assert found.low == pytest.approx(4000 * low, abs=3) and found.high == pytest.approx(4000 * high, abs=3)
    assert margins.quantile(values[:20], job[:20], 0.05).low is None


def test_limits_and_change_of_a_chart() -> None:
    """Twelve periods at 97 %, twelve at 85 %, five jobs each: the change is told where it is."""
    draw = np.random.default_rng(5)
    group = np.repeat(np.arange(24), 5)
    n = np.full(120, 60.0)
    x = draw.binomial(60, np.where(group < 12, 0.97, 0.85)).astype(float)
    made = jobs.JobCounts.of(group, n, x)
    found = trends.PeriodJobs(made, 199).change()
    assert found is not None and abs(found.period - 12) <= 1
    assert found.p == 1 / 200 and found.after < 0.9 < found.before
    shown = trends.PeriodJobs(made, 199).chart()
    assert (shown.outside == ((shown.rate < shown.low) | (shown.rate > shown.high))).all()
    assert shown.judged and shown.drifted[-1] and shown.ewma[-1] < 0
    few = trends.PeriodJobs(made.only(np.arange(5))).chart()
    assert not few.judged and not few.outside.any()

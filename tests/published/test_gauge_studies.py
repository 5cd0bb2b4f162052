"""Gauge studies with published data and results.

1. AIAG, Measurement Systems Analysis, 4th ed. (2010), III-B: 10 parts, 3 appraisers, 3 trials.
   The example pools the interaction; ratios there are to the total variation.
2. NIST/SEMATECH e-Handbook 2.6.1, resistivity probe 2362: five wafers in two runs of six days.
3. JCGM 100:2008 (GUM), H.5: ten days of five readings of a Zener reference.
4. ISO 22514-7: type 1 study, Cg and Cgk.
"""

import numpy as np
import pytest
from scipy import stats

from lotqa.evidence.gauge import pooled_within
from lotqa.evidence.gauge_study import gauge_study
from lotqa.evidence.pin_check import gauge_capability
from tests.published.source import agrees, load

DATA = load("gauge_studies.json")
AIAG = DATA["aiag"]
ALPHA = 0.25


def aiag(changed: float = 0.0, **options):
    table = np.array(AIAG["data"])
    table[0, 0] += changed
    part = np.repeat(np.arange(10), 9)
    appraiser = np.tile(np.repeat(["A", "B", "C"], 3), 10)
    return gauge_study(part, appraiser, table.ravel(), interaction_alpha=ALPHA, **options)


def sds(model) -> dict[str, float]:
    names = {"EV": "repeatability", "AV": "reproducibility", "GRR": "gauge", "PV": "place"}
    names["TV"] = "total"
    return {short: model.component(name).sd_mm for short, name in names.items()}


def test_aiag_analysis_of_variance():
    study = aiag()
    place, operator, crossed, error = study.with_interaction.table
    ss = AIAG["quoted"]["ss"]
    assert agrees(place.ss_mm2, ss["part"])
    assert agrees(operator.ss_mm2, ss["appraiser"])
    assert agrees(crossed.ss_mm2, ss["interaction"])
    assert agrees(error.ss_mm2, ss["error"])
    assert [line.df for line in study.with_interaction.table] == [9, 2, 18, 60]
    assert agrees(crossed.f, AIAG["quoted"]["f_interaction"])
    assert agrees(crossed.p, AIAG["quoted"]["p_interaction"])
    assert agrees(study.without_interaction.table[0].f, AIAG["quoted"]["f_pooled"]["part"])
    assert agrees(study.without_interaction.table[1].f, AIAG["quoted"]["f_pooled"]["appraiser"])


def test_aiag_components_as_printed():
    study = aiag()
    assert study.interaction_pooled
    found = sds(study.chosen)
    printed = AIAG["printed"]
    for name in ("EV", "AV", "PV", "TV"):
        assert agrees(found[name], printed[name]), name
    # The manual adds rounded parts: 0.302373 for 0.30237152, one unit of the last digit.
    assert found["GRR"] == pytest.approx(float(printed["GRR"]), abs=1.5e-6)
    parts = ("repeatability", "reproducibility", "gauge", "place")
    for name, text in zip(parts, printed["contribution_pct"], strict=True):
        assert agrees(study.chosen.component(name).contribution_pct, text), name
    assert agrees(study.chosen.ratio.gauge_share_pct, printed["GRR_pct"])
    assert study.chosen.ratio.categories == int(float(printed["ndc"]))
    ndc = 1.41 * study.chosen.ratio.place_to_gauge**0.5
    assert ndc == pytest.approx(float(printed["ndc"]), abs=0.001)


def test_aiag_without_pooling():
    """The interaction comes out below zero and is set to 0 before parts are added."""
    found = sds(aiag().with_interaction)
    for name, text in AIAG["quoted"]["unpooled"].items():
        assert agrees(found[name], text), name
    crossed = aiag().with_interaction.component("operator x place")
    assert crossed.estimate_mm2 < 0
    assert crossed.variance_mm2 == 0


def test_aiag_shares_of_the_total_and_of_a_tolerance():
    study = aiag(tolerance_mm=4.0)  # a band of 8
    quoted = AIAG["quoted"]
    names = {"EV": "repeatability", "AV": "reproducibility", "GRR": "gauge", "PV": "place"}
    for short, name in names.items():
        assert agrees(study.chosen.component(name).share_of_total_pct, quoted["study_pct"][short])
    for short, text in quoted["tolerance_8_pct"].items():
        assert agrees(study.chosen.component(names[short]).share_of_tolerance_pct, text)


def test_one_altered_reading_is_noticed():
    """Copies of the data with slips are about; the printed digits tell them apart."""
    assert not agrees(sds(aiag(changed=0.1).chosen)["EV"], AIAG["printed"]["EV"])


def test_nist_runs_of_a_probe():
    probe = DATA["nist_probe_2362"]
    means = np.array(list(probe["run_means"].values()))
    wafer = np.repeat(np.arange(5), 2)
    study = gauge_study(wafer, np.zeros(10), means.ravel(), interaction_alpha=ALPHA)
    # The run means are kept to 4 decimals: five differences wrong by up to 1e-4 move the pooled
    # standard deviation by up to sqrt(5e-8 / 10) = 7.1e-5, beside the half unit of what is printed.
    s3 = study.chosen.component("repeatability").sd_mm
    assert s3 == pytest.approx(float(probe["s3"]), abs=7.1e-5 + 5e-6)
    assert study.chosen.df_repeatability == probe["df3"]
    # Level 2: days within runs, six a run; each sd stands for six values with that spread.
    pattern = np.array([-5.0, -3.0, -1.0, 1.0, 3.0, 5.0])
    pattern /= pattern.std(ddof=1)
    sd = np.array(list(probe["level2_sd"].values())).ravel()
    days = means.ravel()[:, None] + sd[:, None] * pattern
    variance, df = pooled_within(days.ravel(), np.repeat(np.arange(10), 6))
    assert agrees(variance**0.5, probe["s2"])
    assert df == probe["df2"]


def test_gum_days_of_a_zener():
    zener = DATA["gum_h5"]
    pattern = np.array([-2.0, -1.0, 0.0, 1.0, 2.0])  # any five values of mean 0
    pattern /= pattern.std(ddof=1)
    days = np.array(zener["day_means_uV_above_10_V"])[:, None]
    readings = days + np.array(zener["day_sd_uV"])[:, None] * pattern
    day = np.repeat(np.arange(10), 5)
    study = gauge_study(day, np.zeros(50), readings.ravel(), interaction_alpha=ALPHA)
    line = study.chosen.table[0]
    assert agrees(study.chosen.component("place").sd_mm, zener["printed"]["s_between_uV"])
    assert agrees(study.chosen.component("repeatability").sd_mm, zener["printed"]["s_within_uV"])
    # GUM prints F = 2.25 from the rounded 57 and 85; the days as printed give 2.26.
    assert agrees(line.f, zener["f_exact"])
    # Between the 95 % and the 97.5 % point, as the GUM says: p between 0.05 and 0.025.
    assert agrees(stats.f.ppf(0.95, 9, 40), zener["f_95"])
    assert 0.025 < line.p < 0.05
    # So the two-sided interval of day over reading reaches 0, the one-sided one does not.
    assert study.chosen.ratio.place_to_gauge_ci[0] == 0
    one_sided = gauge_study(
        day, np.zeros(50), readings.ravel(), interaction_alpha=ALPHA, confidence=0.90
    )
    assert one_sided.chosen.ratio.place_to_gauge_ci[0] > 0


def test_type_1_study():
    given = DATA["type_1"]
    cg, cgk = gauge_capability(
        given["mean"] - given["reference"], given["s"], given["band"] / 2, given["share"]
    )
    assert agrees(cg, given["cg"])
    assert agrees(cgk, given["cgk"])

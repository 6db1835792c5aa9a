"""Credibility premiums printed elsewhere, through the solver and the shrinkage that the rates use.

Hachemeister (1975): average claims and claim counts of five states in twelve quarters. Inputs recalled from
memory (not in the open data sets at hand), but their totals, weighted means and variance agree with every
printed digit; expected values from the credibility vignette of the R package actuar (Dutang, Goulet, Milhaud,
Pigeon), read; those marked "computed" were computed by separate reference code from the same inputs.
Textbook: H. Bühlmann, A. Gisler, A Course in Credibility Theory and its Applications (2005).
"""

import numpy as np
import pytest
from scipy import sparse

from dashboard.analysis.arrays import Floats
from dashboard.analysis.models import ratio_model
from dashboard.analysis.models.mixed_data import MixedModelData, MixedModelFit, Prior
from dashboard.analysis.models.mixed_model import fit

CLAIMS = np.array(
    [
        "1738",
        "1642",
        "1794",
        "2051",
        "2079",
        "2234",
        "2032",
        "2035",
        "2115",
        "2262",
        "2267",
        "2517",
        "1364",
        "1408",
        "1597",
        "1444",
        "1342",
        "1675",
        "1470",
        "1448",
        "1464",
        "1831",
        "1612",
        "1471",
        "1759",
        "1685",
        "1479",
        "1763",
        "1674",
        "2103",
        "1502",
        "1622",
        "1828",
        "2155",
        "2233",
        "2059",
        "1223",
        "1146",
        "1010",
        "1257",
        "1426",
        "1532",
        "1953",
        "1123",
        "1343",
        "1243",
        "1762",
        "1306",
        "1456",
        "1499",
        "1609",
        "1741",
        "1482",
        "1572",
        "1606",
        "1735",
        "1607",
        "1573",
        "1613",
        "1690",
    ],
    dtype=float,
)
COUNTS = np.array(
    [
        "7861",
        "9251",
        "8706",
        "8575",
        "7917",
        "8263",
        "9456",
        "8003",
        "7365",
        "7832",
        "7849",
        "9077",
        "1622",
        "1742",
        "1523",
        "1515",
        "1622",
        "1602",
        "1964",
        "1515",
        "1527",
        "1748",
        "1654",
        "1861",
        "1147",
        "1357",
        "1329",
        "1204",
        "998",
        "1077",
        "1277",
        "1218",
        "896",
        "1003",
        "1108",
        "1121",
        "407",
        "396",
        "348",
        "341",
        "315",
        "328",
        "352",
        "331",
        "287",
        "384",
        "321",
        "342",
        "2902",
        "3172",
        "3046",
        "3068",
        "2693",
        "2910",
        "3275",
        "2697",
        "2663",
        "3017",
        "3242",
        "3425",
    ],
    dtype=float,
)
STATE = np.repeat(np.arange(5), 12)
GROUP_OF_STATE = np.array([0, 1, 0, 1, 1])
WITHIN = 139_120_026.0


def rows_of(
    answers: Floats, columns: list[Floats], weight: Floats | None = None, work: np.ndarray | None = None
) -> MixedModelData:
    """Rows with a common level, and one effect for each of some memberships."""
    n = len(answers)
    design = sparse.csr_matrix(np.column_stack([np.ones(n), *columns]))
    return MixedModelData(
        first=design,
        second=sparse.csr_matrix(design.shape),
        answers=np.column_stack([answers, np.full(n, np.nan)]),
        kind=np.zeros(n, dtype=np.int64),
        work=np.full(n, -1) if work is None else work,
        more_than=np.zeros(n, dtype=bool),
        weight=np.ones(n) if weight is None else weight,
    )


def prior_of(variances: list[tuple[int, float]], residual: float, shared: float = 1.0) -> Prior:
    """A level of which nothing is believed, groups of (how many, variance) effects, and no pseudo-counts."""
    variance = np.concatenate([[1e14], *(np.full(n, value) for n, value in variances)])
    group = np.concatenate([[-1], *(np.full(n, number) for number, (n, _) in enumerate(variances))]).astype(
        np.int64
    )
    return Prior(
        mean=np.zeros(len(variance)),
        variance=variance,
        group=group,
        counts=np.zeros(len(variances)),
        shared=np.diag([shared, 1.0]),
        shared_count=0.0,
        residual=np.array([[[residual, 0.0], [0.0, 1.0]]]),
        residual_count=0.0,
    )


def solved(rows: MixedModelData, prior: Prior) -> MixedModelFit:
    """Effects at the variances as they are given."""
    return fit(rows, prior, steps=1, robust=False, learning=False)


def test_the_inputs_have_the_printed_totals_means_and_variance() -> None:
    totals = np.bincount(STATE, COUNTS)
    means = np.bincount(STATE, COUNTS * CLAIMS) / totals
    assert totals.tolist() == [100155, 19895, 13735, 4152, 36110]
    assert means == pytest.approx([2060.921, 1511.224, 1805.843, 1352.976, 1599.829], abs=5e-4)
    assert (COUNTS * (CLAIMS - means[STATE]) ** 2).sum() / 55 == pytest.approx(WITHIN, abs=1)


def test_buhlmann_straub_premiums() -> None:
    between = 89_638.73  # computed; printed 89639, recalled from memory
    fitted = solved(rows_of(CLAIMS, list(np.eye(5)[STATE].T), COUNTS), prior_of([(5, between)], WITHIN))
    assert fitted.effects[0] == pytest.approx(1683.713, abs=5e-3)
    assert fitted.effects[0] + fitted.effects[1:] == pytest.approx(
        [2055.165, 1523.706, 1793.444, 1442.967, 1603.285], abs=5e-3
    )


@pytest.mark.parametrize(
    "state, factor, premium",
    list(
        zip(
            range(5),
            (0.9847, 0.9276, 0.8985, 0.7279, 0.9588),
            (2055.165, 1523.706, 1793.444, 1442.967, 1603.285),
            strict=True,
        )
    ),
)
def test_buhlmann_straub_factors_and_premiums_by_the_weights_of_past_lines(
    state: int, factor: float, premium: float
) -> None:
    # the collective premium as a line of its own, on which the wider level rests; the quarters of the state
    # are the nearer evidence
    value = np.concatenate([[1683.713], CLAIMS[state == STATE]])
    wider, evidence = np.eye(13)[0], np.concatenate([[0.0], COUNTS[state == STATE]])
    weight = ratio_model.credibility_weights(wider, evidence, WITHIN / 89_638.73)
    assert 1 - weight[0] == pytest.approx(factor, abs=5e-5) and weight.sum() == pytest.approx(1)
    assert weight @ value == pytest.approx(premium, abs=5e-3)


def test_unweighted_buhlmann_variances_factor_and_premiums() -> None:
    # computed; balanced, so that restricted maximum likelihood is the estimator by sums of squares
    fitted = fit(
        rows_of(CLAIMS, list(np.eye(5)[STATE].T)),
        prior_of([(5, 50_000.0)], 50_000.0),
        steps=400,
        robust=False,
    )
    assert fitted.effects[0] == pytest.approx(1671.017, abs=5e-3)
    assert [fitted.residual[0, 0, 0], fitted.variance[1]] == pytest.approx([46_040.47, 72_310.02], rel=1e-5)
    assert fitted.variance[1] / (fitted.variance[1] + fitted.residual[0, 0, 0] / 12) == pytest.approx(
        0.9496, abs=5e-5
    )
    assert fitted.effects[0] + fitted.effects[1:] == pytest.approx(
        [2044.04, 1518.59, 1814.23, 1375.99, 1602.23], abs=5e-3
    )


def test_two_level_premiums_of_states_in_groups() -> None:
    between_groups, between_states = 87_263.7, 13_414.84
    columns = [*np.eye(2)[GROUP_OF_STATE[STATE]].T, *np.eye(5)[STATE].T]
    fitted = solved(
        rows_of(CLAIMS, columns, COUNTS), prior_of([(2, between_groups), (5, between_states)], WITHIN)
    )
    groups = fitted.effects[0] + fitted.effects[1:3]
    assert fitted.effects[0] == pytest.approx(1742.22, abs=5e-3)
    assert groups == pytest.approx([1941.675, 1542.765], abs=5e-3)
    assert groups[GROUP_OF_STATE] + fitted.effects[3:] == pytest.approx(
        [2049.733, 1522.032, 1864.280, 1488.504, 1587.097], abs=5e-3
    )

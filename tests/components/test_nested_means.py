"""Unweighted mean squares: expectations by algebra of the whole covariance, and levels that cannot be separated."""

import numpy as np
import pytest

from lossstats.components.nested_means import mean_squares_of
from lossstats.components.nested_table import read_nested_table

UNBALANCED = {
    "article": ["A", "A", "A", "B", "B", "B", "B", "C", "D", "D", "D", "D", "D"],
    "mount": [1, 1, 2, 1, 1, 1, 2, 1, 1, 2, 3, 3, 4],
    "run": [1, 1, 1, 1, 2, 2, 1, 1, 1, 1, 1, 1, 1],
}
LEVELS = ["article", "mount", "run"]


def table_of(values, levels, layout=UNBALANCED):
    return read_nested_table({**{name: layout[name] for name in levels}, "value": values}, levels)


def naive_mean_squares(values, levels, layout=UNBALANCED):
    """Second implementation: nested dictionaries of plain means, averaged from the inside out."""
    paths = list(zip(*(layout[name] for name in levels), strict=True))
    items = [(path, v) for path, v in zip(paths, values, strict=True)]
    found = []
    for depth in reversed(range(len(levels) + 1)):
        parents = {}
        for path, v in items:
            parents.setdefault(path[:depth], []).append(v)
        dof = sum(len(vs) - 1 for vs in parents.values())
        found.append((sum(sum((v - np.mean(vs)) ** 2 for v in vs) for vs in parents.values()) / dof, dof))
        items = [(path, float(np.mean(vs))) for path, vs in parents.items()]
    return found[::-1]


@pytest.mark.parametrize("depth", [1, 2, 3])
def test_mean_squares_against_a_naive_second_implementation(depth):
    values = np.random.default_rng(depth).normal(7, 1, 13)
    means = mean_squares_of(table_of(values, LEVELS[:depth]))
    expected = naive_mean_squares(values, LEVELS[:depth])
    assert means.mean_squares == pytest.approx([square for square, _ in expected], rel=1e-12)
    assert means.degrees_of_freedom.tolist() == [dof for _, dof in expected]
    assert not means.balanced


@pytest.mark.parametrize("depth", [1, 2, 3])
def test_expectations_by_algebra(depth):
    """Closed form: a mean square is y'Qy, its expectation for a component with covariance K is the trace of Q K."""
    levels = LEVELS[:depth]
    table = table_of(np.zeros(13), levels)
    quadratic = np.zeros((depth + 1, 13, 13))
    basis = np.eye(13)
    for i in range(13):  # polarisation: y'Qy at unit vectors and their sums gives Q
        for j in range(i, 13):
            both = mean_squares_of(table_of(basis[i] + basis[j], levels)).mean_squares
            one, other = (mean_squares_of(table_of(basis[k], levels)).mean_squares for k in (i, j))
            entry = (both - one - other) / 2 if i != j else one
            quadratic[:, i, j] = quadratic[:, j, i] = entry
    coefficients = mean_squares_of(table).coefficients
    for column, code in enumerate([*table.codes, np.arange(13)]):
        covariance = (code[:, None] == code).astype(float)
        assert coefficients[:, column] == pytest.approx(np.einsum("kij,ij->k", quadratic, covariance), abs=1e-12)


def test_balanced_components_are_those_of_the_analysis_of_variance():
    """Closed form: (MS_mount - MS_run) / r and (MS_article - MS_mount) / (m r)."""
    a, m, r = 5, 3, 4
    values = np.random.default_rng(4).normal(7, 1, (a, m, r))
    article, mount, _ = np.indices((a, m, r))
    layout = {"article": article.ravel(), "mount": mount.ravel()}
    means = mean_squares_of(table_of(values.ravel(), ["article", "mount"], layout))
    ms_a = m * r * np.var(values.mean((1, 2)), ddof=1)
    ms_m = r * np.var(values.mean(2), axis=1, ddof=1).mean()
    ms_r = np.var(values, axis=2, ddof=1).mean()
    assert means.balanced and means.mean == pytest.approx(values.mean())
    assert means.components == pytest.approx([(ms_a - ms_m) / (m * r), (ms_m - ms_r) / r, ms_r], rel=1e-10)


def test_an_offset_costs_no_digits():
    values = np.random.default_rng(5).integers(0, 64, 13) / 64  # exact in binary, with the offset as well
    near, far = (mean_squares_of(table_of(values + offset, LEVELS)) for offset in (0.0, 2.0**40))
    assert far.mean_squares == pytest.approx(near.mean_squares, rel=1e-13)


def test_one_unit_only():
    with pytest.raises(ValueError, match=r"found one article only \(K\).*accepted: two or more$"):
        mean_squares_of(read_nested_table({"article": "KKK", "value": [1, 2, 3]}, ["article"]))
    one = {"article": "KKKK", "mount": [1, 1, 2, 2], "value": [1, 2, 3, 5]}
    with pytest.raises(ValueError, match=r"accepted: two or more, or levels=\['mount'\] for what varies within it"):
        mean_squares_of(read_nested_table(one, ["article", "mount"]))
    assert mean_squares_of(read_nested_table(one, ["mount"])).mean_squares.tolist() == [3.125, 1.25]


def test_levels_that_cannot_be_separated():
    single = {"article": "ABC", "mount": [1, 1, 1], "value": [1, 2, 4]}
    with pytest.raises(
        ValueError, match="a single value for each article, so that article cannot be separated from the"
    ):
        mean_squares_of(read_nested_table(single, ["article"]))
    runs = {"article": "AABB", "mount": [1, 2, 1, 2], "value": [1, 2, 3, 5]}
    with pytest.raises(
        ValueError, match=r"a single value for each mount, .*or levels=\['article'\], in which the residual contains"
    ):
        mean_squares_of(read_nested_table(runs, ["article", "mount"]))
    mounts = {"article": "AABB", "mount": [1, 1, 1, 1], "value": [1, 2, 3, 5]}
    with pytest.raises(
        ValueError, match=r"a single mount for each article, .*or levels=\['article'\], in which article"
    ):
        mean_squares_of(read_nested_table(mounts, ["article", "mount"]))

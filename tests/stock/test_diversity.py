"""Diversity indices and exact whole numbers, against published figures and closed forms."""

import json
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sitekit.base.sources import shared_file
from sitekit.errors import InputFault
from sitekit.stock.diversity import (
    allele_capture,
    allele_share_at_least_pct,
    counts_per_group,
    diversity,
    expected_alleles,
    genets_for_capture,
    heterozygosity_retained,
    largest_remainder,
    rarefied_genets,
)


def reference(name):
    return {row["id"]: row for row in json.loads(shared_file(f"reference/{name}.json").read_text("utf-8"))}


GENETICS = reference("genetics")
TRADE = reference("trade_layout")
SHARES = reference("allocation")["opt-largest-remainder"]


@pytest.mark.parametrize("row", ["genetics-diversity", "genetics-diversity-even"])
def test_indices_are_the_published_ones(row):
    """An index would follow another formula than the one it is named after."""
    inputs, due = GENETICS[row]["inputs"], GENETICS[row]["expected"]
    got = diversity(inputs["colonies_per_genet"])
    found = {
        "N": got.units,
        "G": got.genets,
        "R_richness": got.richness,
        "G_over_N": got.genets_per_unit,
        "simpson_D_biased": got.simpson,
        "simpson_unbiased_1_minus_D": got.simpson_unbiased,
        "effective_genotypes_inverse_biased": got.effective_genets,
        "effective_genotypes_inverse_unbiased": got.effective_genets_unbiased,
        "shannon_H": got.shannon,
        "exp_H": got.exp_shannon,
    }
    assert found == pytest.approx({k: due[k] for k in found}, abs=1e-12)
    rarefied = rarefied_genets(inputs["colonies_per_genet"], due["rarefied_to"])
    assert rarefied == pytest.approx(due["rarefied_genotypes"], abs=1e-12)


def test_capture_of_rare_alleles_is_the_published_one():
    """The report would promise more of the gene pool than a sample can hold."""
    row = GENETICS["genetics-capture"]
    p, n = np.array(row["inputs"]["p_n"]).T
    assert allele_capture(p, n) == pytest.approx(row["expected"]["prob"], abs=1e-12)
    assert genets_for_capture(0.05, 0.95) == row["expected"]["n_for_95pct_p05"]
    assert genets_for_capture(0.01, 0.95) == row["expected"]["n_for_95pct_p01"]
    copies = math.log(0.05) / math.log(0.95)
    assert copies == pytest.approx(row["expected"]["gene_copies_p05"], abs=1e-12)
    assert genets_for_capture(0.05, 0.95) == math.ceil(copies / 2)


def test_expected_alleles_and_heterozygosity_are_the_published_ones():
    """The sum over alleles would be another."""
    row = GENETICS["genetics-expected-alleles"]
    got = expected_alleles(row["inputs"]["freqs"], row["inputs"]["n_diploid"])
    assert got == pytest.approx(row["expected"]["expected_alleles"], abs=1e-12)
    due = row["expected"]["heterozygosity_retained_n_10_25_50"]
    assert heterozygosity_retained([10, 25, 50]) == pytest.approx(due, abs=1e-12)


@pytest.mark.parametrize(("genets", "share"), [(1, None), (9, None), (10, 50.0), (34, 50.0), (35, 90.0), (90, 90.0)])
def test_share_of_alleles_takes_only_the_two_published_steps(genets, share):
    """TV-080: a curve between the two figures would be invented."""
    assert "10 -> >50; 35 -> >90" in TRADE["TV-080"]["value"]
    assert allele_share_at_least_pct(genets) == share


@pytest.mark.parametrize("k", range(len(SHARES["inputs"]["cases"])))
def test_largest_remainder_gives_the_published_seats(k):
    """Rounded shares would not add up to the stock."""
    case = SHARES["inputs"]["cases"][k]
    assert largest_remainder(case["votes"], case["seats"]).tolist() == SHARES["expected"]["result"][k]


def test_one_unit_and_all_different_units_have_their_limits():
    """0/0 would stop a report of a single colony."""
    assert math.isnan(diversity([1]).richness)
    assert diversity([1]).evenness == 1.0
    assert diversity([1, 1, 1]).effective_genets_unbiased == math.inf
    assert diversity([1, 1, 1]).evenness == pytest.approx(1.0)


@given(st.lists(st.integers(0, 60), min_size=1, max_size=12).filter(any), st.data())
def test_whole_shares_are_exact_and_never_more_than_held(held, data):
    """A genet would be promised beyond its stock, or the total missed."""
    total = data.draw(st.integers(0, sum(held)))
    got = largest_remainder(held, total)
    quota = np.array(held) * total / sum(held)
    assert got.sum() == total
    assert (np.abs(got - quota) < 1 + 1e-6).all()
    assert (got <= held).all()


@given(st.lists(st.integers(0, 40), min_size=1, max_size=8).filter(any), st.data())
def test_every_plot_gets_its_own_mix_with_both_sums_exact(genets, data):
    """A plot would be short of units or a genet over its stock."""
    total = sum(genets)
    cuts = sorted(data.draw(st.lists(st.integers(0, total), max_size=6)))
    groups = np.diff([0, *cuts, total])
    got = counts_per_group(groups, genets)
    assert got.sum(axis=1).tolist() == groups.tolist()
    assert got.sum(axis=0).tolist() == genets
    assert (got >= 0).all()


@given(st.lists(st.integers(1, 30), min_size=2, max_size=10), st.integers(2, 5))
def test_indices_of_shares_do_not_change_when_all_counts_grow_alike(counts, factor):
    """Evenness would depend on how many are planted."""
    one, many = diversity(counts), diversity(np.array(counts) * factor)
    assert one.evenness == pytest.approx(many.evenness)
    assert one.effective_genets == pytest.approx(many.effective_genets)
    assert 0 <= one.evenness <= 1 + 1e-12


@pytest.mark.parametrize("bad", [[], [0, 0], [-1, 2], [1.5], [math.nan]])
def test_counts_that_are_no_counts_are_refused(bad):
    """A share would be taken for a count."""
    with pytest.raises(InputFault, match="whole numbers ≥ 0"):
        diversity(bad)


def test_other_refusals_say_what_was_due():
    """Percent for a share, or unequal sums, would pass silently."""
    with pytest.raises(InputFault, match="numbers from 0 to 1"):
        allele_capture([5.0], [10])
    with pytest.raises(InputFault, match="between 0 and 1"):
        genets_for_capture(5.0, 0.95)
    with pytest.raises(InputFault, match="1 to 3"):
        rarefied_genets([1, 2], 4)
    with pytest.raises(InputFault, match="not all 0"):
        largest_remainder([0, 0], 3)
    with pytest.raises(InputFault, match="equal sums"):
        counts_per_group([3], [2])

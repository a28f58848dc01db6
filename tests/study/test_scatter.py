"""The band that the scatter of the inputs makes, of a criterion that is a known product of its inputs."""

from __future__ import annotations

import json
import math
from itertools import pairwise

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import truncnorm

from benchmarks.survival import Here
from fejoint import Adherend, Adhesive, Analysis, Joint, JointError, Load, SetupError, SingleLap
from fejoint.joint.strength import StrengthRules
from fejoint.show.strength_band import band_in_words
from fejoint.study.scatter import NOT_COVERED, load_band

# Round figures of the order of aluminium and of an epoxy: stand-ins, no material's data. So tough an adhesive on so short an
# overlap is believed to give way as a whole, at tau b l.
METAL = {"elastic_modulus": 70_000.0, "poisson_ratio": 0.33}
GLUE = {
    "elastic_modulus": 2000.0,
    "poisson_ratio": 0.35,
    "shear_strength": 30.0,
    "toughness_mode_1": 20.0,
    "toughness_mode_2": 20.0,
}
OVERLAP, WIDTH, FORCE = 4.0, 25.0, 2000.0
PLATEAU = 30.0 * WIDTH * OVERLAP / FORCE
VARIATION, SAMPLES = 0.1, 64


def lap(*scatter, force=FORCE, **rules):
    """Return a short lap whose inputs scatter as (key, variation)."""
    parts = {n: Adherend(material=METAL, thickness=2.0, free_length=10.0) for n in ("lower", "upper")}
    return Joint(
        geometry=SingleLap(width=WIDTH, overlap_length=OVERLAP, bondline_thickness=0.4, **parts),
        adhesive=Adhesive(**GLUE),
        load=Load(force=force),
        analysis=Analysis(error_target=0.5),  # stress peaks do not count here
        strength=StrengthRules(scatter=[{"key": key, "variation": v} for key, v in scatter], **rules),
    )


STRENGTH = ("adhesive.shear_strength", VARIATION)


def here(joint, samples, **rest):
    """Return a band whose joints are solved in this process, which starts no others: quick, and the same."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("fejoint.study.sweep.local_pool", lambda workers: Here())
        return load_band(joint, samples, workers=1, **rest)


@pytest.fixture(scope="module")
def band():
    return here(lap(STRENGTH), SAMPLES)


def stratified(power):
    """Return the mean of z^power of the cut normal z, and the standard error of it over one point in each 64th: by quad."""
    cut = truncnorm(-3, 3)
    edges = cut.ppf(np.arange(SAMPLES + 1) / SAMPLES)
    moments = np.array(
        [
            [SAMPLES * quad(lambda z, p=p: z**p * cut.pdf(z), low, high)[0] for p in (power, 2 * power)]
            for low, high in pairwise(edges)
        ]
    )
    return moments[:, 0].mean(), math.sqrt((moments[:, 1] - moments[:, 0] ** 2).sum()) / SAMPLES


def test_the_band_of_a_product_is_that_of_the_cut_normal(band):
    """tau b l is in proportion to the strength: mean and mean square of scipy's normal, cut at three deviations.

    Scrambled Sobol points lie one in each 64th of the probability (next test), anywhere in it: the standard error of such a
    sample is known, nearly all of it from the tails. Held to three of them: 0.0015 of the mean, 4 % of the deviation.
    """
    z = (band.factors / PLATEAU - 1) / VARIATION
    for found, power in ((z.mean(), 1), ((z**2).mean(), 2)):
        mean, error = stratified(power)
        assert found == pytest.approx(mean, abs=3 * error)
    assert (band.samples, band.done, len(band.factors)) == (SAMPLES, SAMPLES, SAMPLES)
    assert (band.factors[1:] >= band.factors[:-1]).all()
    assert np.abs(z).max() <= 3 + 1e-9


def test_every_64th_of_the_probability_holds_one_joint(band):
    """What a Sobol sequence promises of 64 points (Owen, from memory): so each quantile is known to a 64th."""
    cut = truncnorm(-3, 3)
    shares = cut.cdf((band.factors / PLATEAU - 1) / VARIATION)
    assert sorted((shares * SAMPLES).astype(int)) == list(range(SAMPLES))
    for share in (0.05, 0.5, 0.95):
        low, high = (PLATEAU * (1 + VARIATION * cut.ppf(share + side / SAMPLES)) for side in (-1, 1))
        assert low <= band.factor(share) <= high


def test_what_is_said_of_it(band):
    """Numbers, ways of failing, what it does not cover; JSON takes it."""
    data = json.loads(json.dumps(band.data(), allow_nan=False))
    assert data["not_covered"] == NOT_COVERED
    assert data["modes"] == {"cohesive": SAMPLES}
    assert data["below_applied"] == sum(f < 1 for f in band.factors) == 0
    assert data["force_N"]["50 %"] == pytest.approx(FORCE * band.factor(0.5))
    said = band_in_words(data)
    assert "adhesive.shear_strength 10 % (user's)" in said
    assert "cohesive failure in the adhesive in 64" in said
    assert NOT_COVERED[1:] in said


def test_numbers_are_those_of_the_seed_whatever_the_workers():
    """In this process or in two others, the same factors to the last bit; another seed, others; knockdowns count."""
    joint = lap(STRENGTH)
    one, again, two = here(joint, 4, seed=3), here(joint, 4, seed=3), load_band(joint, 4, seed=3, workers=2)
    assert one.factors.tolist() == again.factors.tolist() == two.factors.tolist()
    assert one.factors.tolist() != here(lap(STRENGTH), 4, seed=4).factors.tolist()
    knocked = here(lap(STRENGTH, knockdown=[{"name": "wet", "factor": 0.5}]), 4, seed=3)
    assert knocked.factors == pytest.approx(0.5 * one.factors, rel=1e-12)


def test_inputs_scatter_each_by_itself():
    """Strength and width: the product's relative variance is v1^2 + v2^2 + v1^2 v2^2 of independent inputs.

    16 joints in two dimensions: the deviation to 1/sqrt(2 x 16), 18 %.
    """
    band = here(lap(STRENGTH, ("joint.width", 0.05)), 16)
    one = truncnorm(-3, 3).std()
    v1, v2 = VARIATION * one, 0.05 * one
    expected = math.sqrt(v1**2 + v2**2 + v1**2 * v2**2)
    assert band.factors.std(ddof=1) / PLATEAU == pytest.approx(expected, rel=0.18)


@pytest.mark.parametrize(
    "key", ["adhesive.colour", "adhesive", "load.moment", "title", "joint.kind", "adhesive.failure_shear_strain", "", "."]
)
def test_keys_without_a_number_are_refused(key):
    """Unknown, a table, a number that is 0 (whose share is nothing), text, a figure that is not stated."""
    with pytest.raises(JointError, match="the joint has no number there that is not 0") as caught:
        here(lap((key, 0.1)), 4)
    assert "\n" not in str(caught.value)


def test_what_scatters_must_be_said():
    with pytest.raises(JointError, match=r"strength\.scatter is missing.*\[\[strength\.scatter\]\]"):
        here(lap(), 4)


def test_joints_that_cannot_be_are_told():
    """Poisson's ratio 0.35 +- 0.175 passes a half in a fifth of the joints: no band of what is left, and why."""
    with pytest.raises(SetupError, match=r"only \d+ of 4 joints have a load \(.*poisson_ratio") as caught:
        here(lap(("adhesive.poisson_ratio", 0.5)), 4)
    assert "\n" not in str(caught.value)

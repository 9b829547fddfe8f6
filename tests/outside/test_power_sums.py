"""Power sums and what is made of them, against worked examples and against scikit-rf."""

import numpy as np
import pytest

from archive.grading import arithmetic
from archive.grading.arithmetic import Values, power_sum
from tests.grading import making


def summed(*contributors):
    values = Values.exact(np.array([[[float(x)] for x in contributors]]))
    return float(power_sum(values, np.array([list(range(len(contributors)))])).low[0, 0, 0])


# Worked examples as handbooks of the trade print them (common practice; the arithmetic follows from the definition
# in section 4 of the reference: -10 lg of the sum of 10^(-x/10)).
@pytest.mark.parametrize(
    ("contributors", "printed"),
    [
        ((40, 45, 50), 38.489),
        ((60, 60, 60), 60 - 4.771),
        ((35.4, 35.4, 35.4), 35.4 - 4.771),
        ((43, 43), 43 - 3.010),
        ((50, 50, 50, 50), 50 - 6.021),
        ((30, 90, 90), 30.000),
    ],
)
def test_handbook_examples_of_power_sums(contributors, printed):
    assert summed(*contributors) == pytest.approx(printed, abs=0.0006)


def test_power_quantities_equal_those_of_scikit_rf():
    """scikit-rf's conversions between power ratios and decibels are the outside judge."""
    judge = pytest.importorskip("skrf").mathFunctions
    contributors = np.array([33.1, 47.9, 52.3])
    power = judge.db10_2_mag(-contributors).sum()
    assert summed(*contributors) == pytest.approx(-judge.mag_2_db10(power), abs=1e-9)
    assert arithmetic.to_power(contributors) == pytest.approx(judge.db10_2_mag(-contributors), rel=1e-12)


def test_crosstalk_of_a_network_gives_the_power_sum_of_its_reflected_power():
    """Near-end crosstalk of a four-pair network as scikit-rf holds it: the power that three ports put into one."""
    skrf = pytest.importorskip("skrf")
    rng = np.random.default_rng(5)  # invented coupling, no measurement
    s = 10 ** (-rng.uniform(30, 60, (7, 4, 4)) / 20) * np.exp(2j * np.pi * rng.random((7, 4, 4)))
    network = skrf.Network(f=np.linspace(1, 100, 7), s=s, f_unit="MHz", z0=100)
    for disturbed in range(4):
        others = [i for i in range(4) if i != disturbed]
        into = (np.abs(network.s[:, disturbed, others]) ** 2).sum(axis=1)
        values = Values.exact(-network.s_db[:, disturbed, others].T[None])
        ours = power_sum(values, np.array([[0, 1, 2]])).low[0, 0]
        assert ours == pytest.approx(-10 * np.log10(into), abs=1e-9)


def test_far_end_terms_differ_by_the_pair_whose_loss_is_taken():
    """S32, the German standards body on EN 50288-1 Annex A: ACR-F takes the disturbed pair's loss, ELFEXT the
    disturbing pair's. FEXT 50 dB of 1-2 into 3-6; losses 20 and 22 dB: ACR-F 28, ELFEXT 30."""
    from archive.grading import grade

    f = np.array([1.0, 50.0, 100.0])
    axis = making.axis_row(f)
    loss = {"1-2": 20.0, "3-6": 22.0, "4-5": 21.0, "7-8": 21.0}
    rows = [making.sweep(("insertion_loss", None, p), [v] * 3, axis["axis_id"]) for p, v in loss.items()]
    rows += [making.sweep(("fext", "local", name), [50.0] * 3, axis["axis_id"]) for name in making.ORDERED]
    part = {**making.record(making.CAT5), "axes": [axis], "sweeps": rows}
    for limit, parameter, value in (
        ("tia-568.2-d/cat5e/channel", "acr_f", 28.0),
        ("tia-568-b/cat5e/channel", "elfext", 30.0),
    ):
        graded = grade(making.batch(part), limit)
        row = making.one(graded, parameter=parameter, kind="worst_value", end="local", pairing="1-2/3-6")
        assert row["value"] == pytest.approx(value, abs=1e-9)
        assert row["derived"]

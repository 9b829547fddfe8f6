"""Random numbers by counting."""

import numpy as np

from archive.demo import draws


def test_the_mixing_is_splitmix64():
    # First five numbers of splitmix64 from seed 1234567, as printed in the Rosetta Code task "Pseudo-random
    # numbers/Splitmix64" (from memory; that 320 bits agree is the check of the memory).
    printed = [
        6457827717110365317,
        3203168211198807973,
        9817491932198370423,
        4593380528125082431,
        16408922859458223821,
    ]
    with np.errstate(over="ignore"):
        states = np.uint64(1234567) + np.arange(1, 6, dtype=np.uint64) * draws._STEP
        assert draws._mix(states).tolist() == printed


def test_a_draw_depends_on_its_own_place_alone():
    whole = draws.bits(3, "a stream", np.arange(100), 7)
    assert np.array_equal(draws.bits(3, "a stream", [41, 40], 5), whole[[41, 40], :5])
    assert not np.array_equal(draws.bits(3, "another", [41], 5), whole[[41], :5])
    assert not np.array_equal(draws.bits(4, "a stream", [41], 5), whole[[41], :5])


def test_the_distributions_have_the_moments_they_promise():
    # 200,000 draws: the deviation of the mean is 0.0022, that of the fourth moment of the normal 0.022.
    u = draws.uniform(1, "u", np.arange(2000), 100)
    assert u.min() >= 0 and u.max() < 1
    assert abs(u.mean() - 0.5) < 0.004
    z = draws.normal(1, "z", np.arange(2000), 100)
    assert abs(z.mean()) < 0.012
    assert abs(z.std() - 1) < 0.01
    assert abs((z**4).mean() - 3) < 0.12
    x = draws.flat(1, "x", np.arange(2000), 100)
    assert abs(x.mean()) < 0.012
    assert abs(x.std() - 1) < 0.01
    # neighbours in count, thing, stream and seed have nothing in common
    for other in (draws.normal(1, "z", np.arange(1, 2001), 100), draws.normal(2, "z", np.arange(2000), 100), u):
        assert abs(np.corrcoef(z.ravel(), other.ravel())[0, 1]) < 0.012
    assert abs(np.corrcoef(z[:, :-1].ravel(), z[:, 1:].ravel())[0, 1]) < 0.012

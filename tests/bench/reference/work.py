"""Work of the kind that the core does, with nothing of the core in it: what a busy or another machine slows alike."""

import numpy as np

MEMBERS, TIMES = 51, 16 * 96 + 1


def arrays(times=20):
    """Return a call that does elementwise, running and picking work over arrays of a fortnight's size.

    It allocates nothing: what fresh memory costs depends on what was freed before.
    """
    rng = np.random.default_rng(5)
    one, other = rng.uniform(1.0, 2.0, (2, MEMBERS, TIMES))
    places = rng.integers(0, TIMES, (MEMBERS, TIMES)) + np.arange(MEMBERS)[:, None] * TIMES
    product, grown, found = np.empty((3, MEMBERS, TIMES))
    is_small = np.empty((MEMBERS, TIMES), dtype=np.bool_)

    def work():
        for _ in range(times):
            np.multiply(one, other, out=product)
            np.exp(product, out=grown)
            np.less(grown, 8.0, out=is_small)
            np.copyto(grown, other, where=is_small)
            np.cumsum(grown, axis=1, out=found)
            product.reshape(-1).take(places, out=found, mode="clip")
            np.minimum(found, one, out=found)

    return work


def small(times=2000):
    """Return a call that does much with little: Python's own work, and arrays of a day."""
    rng = np.random.default_rng(6)
    day = rng.uniform(1.0, 2.0, 97)

    def work():
        found = {}
        for k in range(times):
            found[f"{k % 50} of them"] = {"least": float(np.minimum(day[:-1], day[1:]).min()), "at": [str(k)] * 3}
        return found

    return work

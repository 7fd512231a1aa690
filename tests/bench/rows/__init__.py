"""The rows of the table `python tests/bench/table.py`, a file a subject.

Each module here has `ROWS`, a tuple of `Row` (`bench.row`), and is found by being here. Names are short words with
underscores, unique in the table, and stay: kept figures go by them. Modules are imported before anything is measured,
so they import what is slow (MetPy, numba, pvlib, a daemon) in `prepare`:

    from bench.row import Row, cpu, pair

    ROWS = (Row("dew_point_log_exp", "dew point of 1e6 points", "numpy.log and numpy.exp over them",
                pair(lambda: cpu(ours), lambda: cpu(theirs)), better="less", bar=3.0, guard=True),)

One core: OMP_NUM_THREADS and their like are 1, and the process keeps to one processor; what a row starts inherits both.
"""

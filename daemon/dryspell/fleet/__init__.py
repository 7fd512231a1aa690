"""Many sites and pieces out of a table, judged on Dask.

`sheet` and `table` read what is to be judged, `cells` bring it together by forecast cells and fetch their weather,
`judge` (pure) answers each question once, `cluster` has that done by workers, `parts` keeps the answers in a folder and
`run` ties these together. The one process that reads the table asks for the weather; workers get weather and pieces and
send answers back, so no key and no address travels.
"""

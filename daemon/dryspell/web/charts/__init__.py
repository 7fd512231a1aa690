"""The charts of the page as Vega-Lite specifications, the tables beside them, and what draws them."""

"""The schema of Vega-Lite as it is published, out of the package altair."""

import json
from functools import cache
from importlib import resources


@cache
def _validator():
    from jsonschema import Draft7Validator

    schema = (resources.files("altair.vegalite.v6.schema") / "vega-lite-schema.json").read_text("utf-8")
    return Draft7Validator(json.loads(schema))


def assert_valid(spec):
    """Check a specification; of all the ways in which it fails as every kind of chart, say the deepest."""
    error = next(iter(_validator().iter_errors(json.loads(json.dumps(spec)))), None)
    assert error is None, max(error.context or [error], key=lambda each: len(each.path))

"""JSON that is almost right: one place in it changed, or the text cut short."""

import copy

from hypothesis import strategies as st

_LEAVES = (
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats()
    | st.text(max_size=20)
    | st.datetimes(timezones=st.none() | st.timezones()).map(lambda moment: moment.isoformat())
)
_ANYTHING = st.recursive(
    _LEAVES, lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3)
)


def places(data, path=()):
    """Return the paths to everything in a JSON document, itself first."""
    inner = data.items() if isinstance(data, dict) else enumerate(data) if isinstance(data, list) else ()
    return [path, *(found for key, value in inner for found in places(value, (*path, key)))]


@st.composite
def changed(draw, data, *more):
    """Return the document with one to three places replaced by anything, or by one of `more`."""
    document = copy.deepcopy(data)
    for _ in range(draw(st.integers(1, 3))):
        path = draw(st.sampled_from(places(document)))
        value = draw(st.sampled_from(more) | _ANYTHING if more else _ANYTHING)
        if not path:
            return value
        parent = document
        for key in path[:-1]:
            parent = parent[key]
        parent[path[-1]] = value
    return document

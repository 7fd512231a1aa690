"""The bytes of documents, made once and kept until what they are made of has changed."""

from collections import OrderedDict
from collections.abc import Callable, Hashable
from dataclasses import dataclass
from hashlib import sha256

from starlette.requests import Request
from starlette.responses import Response

from dryspell.answers.part import Part
from dryspell.web.together import Together

MOST_KEPT = 128


@dataclass(frozen=True)
class _Kept:
    stamp: Hashable
    body: bytes
    etag: str


class KeptDocuments:
    """Makes documents once for all who ask for the same."""

    def __init__(self) -> None:
        self._kept: OrderedDict[Hashable, _Kept] = OrderedDict()
        self._together = Together[_Kept]()

    async def answer(self, request: Request, key: Hashable, stamp: Hashable, make: Callable[[], Part]) -> Response:
        """Return a document as an answer.

        Parameters
        ----------
        key, stamp
            Which one it is, and what it is made of: it is made again only when that is another.
        make
            Is called in a thread.
        """
        kept = self._kept.get(key)
        if kept is None or kept.stamp != stamp:

            def keep(made: _Kept) -> None:
                for old in [each for each, kept in self._kept.items() if kept.stamp != stamp]:
                    del self._kept[old]
                self._kept[key] = made
                while len(self._kept) > MOST_KEPT:
                    self._kept.popitem(last=False)

            kept = await self._together.do((key, stamp), lambda: _made(stamp, make), keep)
        headers = {"ETag": kept.etag, "Cache-Control": "private, no-cache"}
        if kept.etag in request.headers.get("if-none-match", ""):
            return Response(status_code=304, headers=headers)
        return Response(kept.body, headers=headers, media_type="application/json")


def _made(stamp: Hashable, make: Callable[[], Part]) -> _Kept:
    body = make().model_dump_json().encode()
    return _Kept(stamp, body, f'"{sha256(body).hexdigest()[:24]}"')

"""Work that many ask for at the same time, done once for all of them."""

import asyncio
from collections.abc import Callable, Hashable
from typing import Generic, TypeVar

from starlette.concurrency import run_in_threadpool

T = TypeVar("T")


class Together(Generic[T]):
    """Does work in a thread; whoever asks for the same meanwhile waits in the loop, and takes up no other thread.

    With a thread for each, two hundred who wait for a page would hand on the interpreter two hundred times, in the
    midst of the tick that has made their page old.
    """

    def __init__(self) -> None:
        self._under_way: dict[Hashable, asyncio.Task[T]] = {}

    async def do(self, what: Hashable, work: Callable[[], T], keep: Callable[[T], None] = lambda _: None) -> T:
        """Return what the work comes to; what it raises is raised for all.

        Parameters
        ----------
        what
            Whoever asks with the same is given the same.
        keep
            Is called in the loop with what came of it, before anybody can ask anew.
        """
        under_way = self._under_way.get(what)
        if under_way is None:
            under_way = self._under_way[what] = asyncio.create_task(_kept(work, keep))
            under_way.add_done_callback(lambda _: self._under_way.pop(what, None))
        # One who leaves does not stop it for the others.
        return await asyncio.shield(under_way)


async def _kept(work: Callable[[], T], keep: Callable[[T], None]) -> T:
    made = await run_in_threadpool(work)
    keep(made)
    return made

import asyncio
import threading

import pytest

from dryspell.web.together import Together


def test_work_that_many_ask_for_is_done_once_and_another_time_anew():
    done = []

    async def ask():
        together = Together()
        first = await asyncio.gather(*(together.do("a", lambda: done.append(1) or len(done)) for _ in range(200)))
        return first, await together.do("a", lambda: done.append(1) or len(done)), await together.do("b", lambda: 7)

    first, then, other = asyncio.run(ask())
    assert first == [1] * 200
    assert (then, other) == (2, 7)


def test_what_came_of_it_is_kept_before_anybody_can_ask_anew():
    made = []

    async def ask(together, kept):
        return kept[0] if kept else await together.do("a", lambda: made.append(1), lambda _: kept.append(7))

    async def many():
        together, kept, asked = Together(), [], []
        while len(asked) < 1000:  # in every turn of the loop somebody asks
            asked.append(asyncio.create_task(ask(together, kept)))
            await asyncio.sleep(0)
        await asyncio.gather(*asked)

    asyncio.run(many())
    assert made == [1]


def test_a_fault_is_everybodys_and_does_not_stay():
    def fails():
        raise ValueError("no")

    async def ask():
        together = Together()
        both = await asyncio.gather(*(together.do("a", fails) for _ in range(2)), return_exceptions=True)
        return both, await together.do("a", lambda: 3)

    both, then = asyncio.run(ask())
    assert [str(each) for each in both] == ["no", "no"]
    assert then == 3


def test_one_who_leaves_does_not_stop_it_for_the_others():
    go_on = threading.Event()

    async def ask():
        together = Together()
        leaves, stays = (asyncio.create_task(together.do("a", lambda: go_on.wait(30))) for _ in range(2))
        await asyncio.sleep(0)
        await asyncio.sleep(0)
        leaves.cancel()
        with pytest.raises(asyncio.CancelledError):
            await leaves
        go_on.set()
        return await stays

    assert asyncio.run(ask()) is True

"""Plan, material, review, how it is doing, logging in: what they say, and that a page is made once."""

import gc
import gzip
import weakref
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from itertools import pairwise

import pytest

from dryspell.answers.review import reviewed
from dryspell.web import reviews, shell
from dryspell.web.api import kept
from dryspell.web.gate import COOKIE
from forms_in import fill_in, words_of
from served import PEOPLE, START, served

TOKEN = "b1f2-a-token-that-nobody-guesses"


@pytest.fixture(scope="module")
def unchanged(tmp_path_factory):
    with served(tmp_path_factory.mktemp("pages"), PEOPLE) as daemon:
        yield daemon


def page(daemon, path):
    answer = daemon.get(path)
    assert answer.status_code == 200, answer.text
    return words_of(answer.text)


def test_the_plan_tells_every_coat_with_its_day_its_hours_and_who(unchanged):
    words = page(unchanged, "plan")
    plans = unchanged.service.board.known.plans.plans
    planned = [coat for plan in plans for coat in plan.planned]
    assert planned
    assert words.count("Prepare") == words.count("Leave") == len(planned)
    first = plans[0].planned[0]
    assert f"Rail, coat {first.number}" in words
    assert "Weather by nobody" in words
    assert {"Kim", "Ada"} & set(words.split())


def test_the_plan_is_in_the_order_of_its_days(unchanged):
    text = unchanged.get("plan").text
    times = [part.split('"')[0] for part in text.split('<dd><time datetime="')[1:]]
    assert all(one <= other for one, other in pairwise(times))


def test_material_tells_what_to_buy_and_what_each_coat_takes(unchanged):
    words = page(unchanged, "material")
    assert "What to buy" in words
    assert "masking tape" in words or "brush" in words
    assert "thinner for" in words
    assert "Rags" in words
    unchanged.client.cookies.set("dryspell_units", "us")
    assert "fl oz" in page(unchanged, "material")
    unchanged.client.cookies.clear()


def test_a_review_of_nothing_says_that_it_is_nothing(unchanged):
    assert "Nothing to review yet" in page(unchanged, "review")


def test_a_review_tells_what_came_of_what_was_said(tmp_path):
    with served(tmp_path) as daemon:
        for hours in range(1, 30, 3):
            daemon.tick(START + timedelta(hours=hours))
        words = page(daemon, "review")
        assert "starts were judged by the weather that came" in words
        assert "How far ahead Right" in words


def test_what_is_reviewed_is_worked_out_once_an_hour_for_the_page_and_its_chart(tmp_path, monkeypatch):
    asked = []

    def counted(*args):
        asked.append(args[2].key)
        return reviewed(*args)

    monkeypatch.setattr(reviews, "reviewed", counted)
    with served(tmp_path) as daemon:
        for hours in range(1, 30, 3):
            daemon.tick(START + timedelta(hours=hours))
        daemon.get("review")
        assert sorted(asked) == ["bench", "rail"]
        for path in ("charts/review.json", "charts/review.json?piece=rail", "charts/review.svg", "review"):
            assert daemon.get(path).status_code == 200
            daemon.tick(daemon.clock.at + timedelta(minutes=1))
        assert sorted(asked) == ["bench", "rail"]
        daemon.clock.at += timedelta(hours=1)
        assert daemon.get("charts/review.json").status_code == 200
        assert sorted(asked) == ["bench", "bench", "rail", "rail"]


def test_how_it_is_doing_tells_weather_targets_plan_and_version(unchanged):
    words = page(unchanged, "doing")
    for text in ("well Ticks", "well harbour invented, issued", "phone", "relay", "coats planned", "dryspell 0."):
        assert text in words
    assert "json://" not in words


def test_how_it_is_doing_tells_of_a_source_that_fails_and_of_old_weather(tmp_path):
    with served(tmp_path) as daemon:
        daemon.tick(START + timedelta(hours=20))
        assert "too old to go by" in page(daemon, "doing")
        assert "not well" in page(daemon, "doing")


def test_a_page_is_made_once_for_all_who_look_at_it_in_the_same_way(unchanged, monkeypatch):
    made = []
    render = shell.render
    monkeypatch.setattr(shell, "render", lambda *args, **more: made.append(args) or render(*args, **more))
    unchanged.service.board.show(unchanged.service.board.known)
    with ThreadPoolExecutor(16) as readers:
        answers = set(readers.map(lambda _: unchanged.get("").content, range(64)))
    assert len(answers) == 1
    assert len(made) == 1
    unchanged.service.board.show(unchanged.service.board.known)
    unchanged.get("")
    assert len(made) == 2


@pytest.mark.parametrize(
    ("maker", "name", "old", "new"),
    [
        (shell.Shell, "_make", ("plan", "material"), "more"),
        (kept, "_made", ("api/v1/plan", "api/v1/review"), "api/v1/material"),
    ],
)  # fmt: skip
def test_what_a_tick_has_made_old_is_not_kept(unchanged, monkeypatch, maker, name, old, new):
    made, make = [], getattr(maker, name)

    def noted(*args):
        found = make(*args)
        made.append(weakref.ref(found))
        return found

    monkeypatch.setattr(maker, name, noted)
    unchanged.service.board.show(unchanged.service.board.known)
    for path in old:
        page(unchanged, path)
    assert [each() is not None for each in made] == [True, True]
    unchanged.service.board.show(unchanged.service.board.known)
    page(unchanged, new)
    gc.collect()
    assert [each() is not None for each in made] == [False, False, True]


def test_a_page_that_a_browser_has_is_not_sent_again_and_is_packed_where_it_is(unchanged):
    answer = unchanged.get("")
    assert answer.headers["cache-control"] == "private, no-cache"
    again = unchanged.get("", headers={"if-none-match": answer.headers["etag"]})
    assert (again.status_code, again.content) == (304, b"")
    with unchanged.client.stream("GET", "", headers={"accept-encoding": "gzip"}) as packed:
        raw = b"".join(packed.iter_raw())
    assert gzip.decompress(raw).decode() == unchanged.get("", headers={"accept-encoding": "identity"}).text


def test_styles_and_scripts_may_be_kept_for_ever_under_an_address_that_changes_with_them(unchanged):
    text = unchanged.get("").text
    address = text.split('<link rel="stylesheet" href="')[1].split('"')[0]
    answer = unchanged.get(address)
    assert answer.headers["content-type"] == "text/css; charset=utf-8"
    assert "immutable" in answer.headers["cache-control"]
    assert unchanged.get("static/../app.py").status_code == 404
    assert unchanged.get("static/..%2Fapp.py").status_code == 404
    assert unchanged.get("static/nothing.css").status_code == 404


def test_a_telephone_can_keep_the_page_as_a_program(unchanged):
    manifest = unchanged.get("manifest.webmanifest")
    assert manifest.headers["content-type"] == "application/manifest+json"
    for icon in manifest.json()["icons"]:
        # The first eight bytes of any PNG (ISO/IEC 15948, section 5.2).
        assert unchanged.get(icon["src"]).content[:8] == b"\x89PNG\r\n\x1a\n"
    worker = unchanged.get("worker.js")
    assert worker.headers["cache-control"] == "no-cache"
    assert unchanged.get("favicon.ico").status_code == 200


def test_no_page_holds_a_script_or_a_style_of_its_own_or_anything_from_elsewhere(unchanged):
    for path in (
        "",
        "plan",
        "record",
        "record/rail",
        "record/rail/coat",
        "material",
        "review",
        "doing",
        "more",
        "nowhere",
    ):
        text = unchanged.get(path).text
        assert "<style" not in text
        assert ' style="' not in text
        assert " onclick" not in text
        assert all("src=" in part.split(">")[0] for part in text.split("<script")[1:])
        assert "//" not in text.replace("http://127", "").replace("<!doctype html>", "")


@pytest.mark.parametrize("wanted", ["https://[", "//elsewhere.example/", "/\\elsewhere.example", "x"])
def test_who_logs_in_is_led_to_no_other_place(unchanged, wanted):
    answer = unchanged.get("login", params={"next": wanted}, follow_redirects=False)
    assert (answer.status_code, answer.headers["location"]) == (303, "/")


def test_whoever_knows_the_token_logs_in_and_out_again(tmp_path):
    with served(tmp_path, token=TOKEN) as daemon:
        asked = daemon.get("record/rail?coat=4", follow_redirects=True)
        assert "Log in" in asked.text
        assert "Rail" not in asked.text
        wrong = fill_in(daemon.client, "login", token="not the token")
        assert (wrong.status_code, "That is not the token." in wrong.text) == (403, True)
        answer = fill_in(daemon.client, "login?next=%2Frecord%2Frail%3Fcoat%3D4", token=TOKEN, follow=False)
        assert (answer.status_code, answer.headers["location"]) == (303, "/record/rail?coat=4")
        cookie = answer.headers["set-cookie"]
        for part in ("HttpOnly", "SameSite=strict", "Path=/"):
            assert part in cookie
        assert TOKEN not in cookie
        assert daemon.get("record/rail").status_code == 200
        name = daemon.client.cookies[COOKIE]
        fill_in(daemon.client, "more", form=1)
        daemon.client.cookies.set(COOKIE, name)
        assert daemon.get("record/rail").status_code == 303


@pytest.mark.parametrize("token", [None, TOKEN])
def test_the_calendars_are_told_with_addresses_that_open_them_without_logging_in(tmp_path, token):
    with served(tmp_path, PEOPLE, **({"token": token} if token else {})) as daemon:
        if token:
            fill_in(daemon.client, "login", token=token)
        text = daemon.get("more").text
        daemon.client.cookies.clear()
        addresses = [part.split('"')[0] for part in text.split('href="') if part.startswith("/calendar/")]
        assert len(addresses) == len(daemon.service.config.site) + len(daemon.service.config.person)
        for address in addresses:
            assert daemon.get(address.lstrip("/")).text.startswith("BEGIN:VCALENDAR")


def test_logging_out_on_all_devices_ends_every_session(tmp_path):
    with served(tmp_path, token=TOKEN) as daemon:
        fill_in(daemon.client, "login", token=TOKEN)
        other = daemon.client.cookies[COOKIE]
        daemon.client.cookies.clear()
        fill_in(daemon.client, "login", token=TOKEN)
        fill_in(daemon.client, "more", form=1, everywhere="yes")
        daemon.client.cookies.clear()
        assert daemon.get("", headers={"cookie": f"{COOKIE}={other}"}).status_code == 303


def test_whoever_guesses_is_left_out_for_a_while(tmp_path):
    with served(tmp_path, token=TOKEN) as daemon:
        for _ in range(5):
            fill_in(daemon.client, "login", token="a guess")
        answer = fill_in(daemon.client, "login", token=TOKEN)
        assert answer.status_code == 429
        assert int(answer.headers["retry-after"]) > 0


@pytest.mark.parametrize(
    "wanted", ["//evil.example", "https://evil.example", "/\\evil.example", "javascript:x", "/a\r\nb"]
)
def test_logging_in_leads_to_a_page_of_ours_alone(tmp_path, wanted):
    with served(tmp_path, token=TOKEN) as daemon:
        page = f"{daemon.url}login"
        form = {"form": daemon.get("login").text.split('name="form" value="')[1].split('"')[0]}
        answer = daemon.post(page, data={**form, "next": wanted, "token": TOKEN})
        assert answer.headers["location"] == "/"


def test_behind_a_prefix_every_address_has_it(tmp_path):
    with served(tmp_path, prefix="/varnish") as daemon:
        assert daemon.url.endswith("/varnish/")
        text = daemon.get("").text
        for mark in ('href="', 'src="', 'action="'):
            for part in text.split(mark)[1:]:
                assert part.startswith(("/varnish/", "#main")), part[:60]
        answer = fill_in(daemon.client, "record/rail/coat?from=today")
        assert str(answer.url).startswith(daemon.url)
        assert "Coat 4 of Rail is on the record." in words_of(answer.text)

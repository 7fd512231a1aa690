"""Where the page is served: on this machine alone unless a token is set, and every mistake said in words."""

import pytest

from dryspell.config import parse
from dryspell.config.page import is_loopback
from dryspell.errors import ConfigError

TEXT = """
contact = "you@example.org"
site.harbour = { latitude = "54.3 deg", longitude = "10.2 deg", timezone = "Europe/Berlin" }
piece.rail = { coating = "oil_varnish_1k" }
"""
TOKEN = "b1f2-a-token-that-nobody-guesses"


def read(tmp_path, page="", env=None, *, secrets=True):
    file = tmp_path / "dryspell.toml"
    return parse(TEXT + page, file, env=env or {}, secrets=secrets)


def problems(tmp_path, page, env=None):
    with pytest.raises(ConfigError) as caught:
        read(tmp_path, page, env)
    return str(caught.value)


def test_without_a_word_it_is_served_on_this_machine_alone(tmp_path):
    page = read(tmp_path).page
    assert page.listen == ("127.0.0.1", 8417)
    assert page.is_loopback
    assert page.token is None


def test_none_serves_no_page(tmp_path):
    assert read(tmp_path, 'page.listen = "none"').page.listen is None


@pytest.mark.parametrize(
    ("listen", "address"),
    [
        ("127.0.0.1:0", ("127.0.0.1", 0)), ("[::1]:8417", ("::1", 8417)), ("localhost:80", ("localhost", 80)),
        ("127.3.4.5:99", ("127.3.4.5", 99)),
    ],
)  # fmt: skip
def test_addresses_of_this_machine_need_no_token(tmp_path, listen, address):
    assert read(tmp_path, f'page.listen = "{listen}"').page.listen == address


@pytest.mark.parametrize("listen", ["0.0.0.0:8417", "[::]:8417", "192.168.1.5:8417", "boat.lan:8417"])
def test_any_other_address_is_refused_without_a_token(tmp_path, listen):
    text = problems(tmp_path, f'page.listen = "{listen}"')
    assert f'page.listen = "{listen}" is reached from other machines and has no token' in text
    assert "token_env or token_file" in text


@pytest.mark.parametrize("listen", ["0.0.0.0:8417", "[::]:8417"])
def test_with_a_token_it_is_served_anywhere_with_a_word_of_caution(tmp_path, listen):
    page = f'[page]\nlisten = "{listen}"\ntoken_env = "PAGE"'
    config = read(tmp_path, page, {"PAGE": TOKEN})
    assert config.page.token.get_secret_value() == TOKEN
    assert not config.page.is_loopback
    assert any("can be read on the way" in caution for caution in config.cautions)
    assert TOKEN not in repr(config)


def test_a_token_out_of_a_file_is_stripped_and_others_who_may_read_it_are_pointed_out(tmp_path):
    file = tmp_path / "token"
    file.write_text(TOKEN + "\n")
    file.chmod(0o644)
    config = read(tmp_path, '[page]\ntoken_file = "token"')
    assert config.page.token.get_secret_value() == TOKEN
    assert any("chmod 600" in caution for caution in config.cautions)


def test_commands_that_serve_nobody_fetch_no_token(tmp_path):
    assert read(tmp_path, '[page]\nlisten = "0.0.0.0:1"\ntoken_env = "PAGE"', secrets=False).page.token is None


@pytest.mark.parametrize(
    ("page", "said"),
    [
        ('listen = "8417"', "is no address to listen on"),
        ('listen = "::1:8417"', "is no address to listen on"),
        ('listen = "127.0.0.1:65536"', "is no address to listen on"),
        ("listen = 8417", "is no address to listen on"),
        ('token_env = "PAGE"\ntoken_file = "token"', "wanted one of them"),
        ('token_env = "SHORT"', "leads to what is no token"),
        ('token_env = "ABSENT"', "is no variable of the environment"),
        ('token = "in the open, for all to see"', "page.token is no key of [page]"),
        ('hosts = "varnish.lan"', "is no list of names"),
        ('hosts = ["varnish.lan:8417"]', 'has "varnish.lan:8417", which is no name of a host'),
        ('hosts = ["*"]', 'has "*", which is no name of a host'),
        ('prefix = "varnish"', "is no beginning of a path"),
        ('prefix = "/varnish/"', "is no beginning of a path"),
        ('prefix = "/a/../b"', "is no beginning of a path"),
        ('proxies = ["my-proxy"]', 'has "my-proxy", which is no address'),
        ('lisen = "none"', "did you mean listen?"),
    ],
)
def test_what_is_wrong_is_said_with_what_would_be_right(tmp_path, page, said):
    text = problems(tmp_path, f"[page]\n{page}", {"PAGE": TOKEN, "SHORT": "abc"})
    assert said in text
    assert "for all to see" not in text
    assert TOKEN not in text


def test_a_proxy_before_a_page_without_a_token_is_pointed_out(tmp_path):
    cautions = read(tmp_path, '[page]\nprefix = "/varnish"\nproxies = ["127.0.0.1"]').cautions
    assert any("can read and change the record" in caution for caution in cautions)


def test_only_addresses_of_this_machine_count_as_loopback():
    assert [is_loopback(host) for host in ("127.0.0.1", "127.9.9.9", "::1", "localhost")] == [True] * 4
    assert [is_loopback(host) for host in ("0.0.0.0", "::", "10.0.0.1", "localhost.evil.example")] == [False] * 4

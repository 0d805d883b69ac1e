"""Settings: defaults < file < environment < arguments, unknown names are errors."""

import stat
import sys

import pytest

from service.errors import InvalidRequest, StoreUnavailable
from service.settings import Settings, changed, load_settings, secret_key, settings_table


def test_each_source_wins_over_the_one_before(tmp_path):
    config = tmp_path / "boleward.toml"
    config.write_text('port = 1000\nlanguage = "de"\ntrusted_hosts = ["a.example"]\n', encoding="utf-8")
    environment = {"BOLEWARD_PORT": "2000", "BOLEWARD_TRUSTED_HOSTS": "b.example, c.example"}
    assert load_settings(environment={}).port == 8477
    assert load_settings(config, {}).port == 1000
    said = load_settings(config, environment)
    assert (said.port, said.language, said.trusted_hosts) == (2000, "de", ("b.example", "c.example"))
    assert load_settings(config, environment, port=3000).port == 3000
    assert load_settings(config, environment, port=None).port == 2000


@pytest.mark.parametrize("where", ["file", "environment", "argument"])
def test_an_unknown_name_is_an_error_that_says_where_it_stands(tmp_path, where):
    config = tmp_path / "c.toml"
    config.write_text("porrt = 1\n" if where == "file" else "", encoding="utf-8")
    environment = {"BOLEWARD_PORRT": "1"} if where == "environment" else {}
    explicit = {"porrt": 1} if where == "argument" else {}
    with pytest.raises(InvalidRequest, match="porrt") as caught:
        load_settings(config, environment, **explicit)
    assert (str(config) if where == "file" else where) in str(caught.value)


@pytest.mark.parametrize(
    "said",
    [
        {"port": 70_000},
        {"host": "::1"},
        {"host": "office-pc"},
        {"host": "224.0.0.1"},
        {"host": "192.168.1"},
        {"tile_address": "https://tiles.example/{z}/{x}"},
        {"tile_address": "javascript:{z}{x}{y}"},
        {"language": "../de"},
        {"public_address": "trees.example"},
        {"public_address": "ftp://trees.example"},
        {"public_address": "https://trees.example/?a=1"},
        {"public_address": "https://trees.example/#a"},
        {"public_address": "https://a:b@trees.example"},
        {"public_address": "https://trees.example:port"},
        {"public_address": "https://"},
        {"cors_origins": ("*",)},
        {"cors_origins": ("https://maps.example/page",)},
    ],
)
def test_a_value_that_cannot_be_is_refused_with_its_name(said):
    with pytest.raises(InvalidRequest, match=next(iter(said))):
        load_settings(environment={}, **said)


@pytest.mark.parametrize("host", ["localhost", "127.0.0.1", "192.168.1.5", "0.0.0.0"])
def test_numbers_of_this_computer_are_addresses_to_listen_on(host):
    assert load_settings(environment={}, host=host).host == host


def test_what_a_command_is_given_is_looked_at_like_any_other_value():
    settings = load_settings(environment={}, language="de")
    assert changed(settings, host=None, port=9000) == settings.model_copy(update={"port": 9000})
    with pytest.raises(InvalidRequest, match=r"host \(argument\)"):
        changed(settings, host="nowhere")


def test_a_file_that_is_no_toml_is_refused(tmp_path):
    config = tmp_path / "c.toml"
    config.write_text("port = = 1", encoding="utf-8")
    with pytest.raises(InvalidRequest, match="TOML"):
        load_settings(config, {})
    with pytest.raises(InvalidRequest, match="cannot be read"):
        load_settings(tmp_path / "none.toml", {})


def test_the_store_lies_in_the_data_folder_unless_it_is_named(tmp_path):
    assert load_settings(environment={}, data_folder=tmp_path).store == str(tmp_path / "boleward.sqlite")
    assert load_settings(environment={}, store="x.sqlite").store == "x.sqlite"


def test_settings_cannot_be_changed_and_are_one_table_with_help():
    settings = Settings()
    with pytest.raises(ValueError, match="frozen"):
        settings.port = 1
    table = settings_table(settings)
    assert 10 <= len(table) <= 18
    assert all(help_text.endswith(".") for _, _, help_text in table)


def test_the_key_is_made_once_and_for_its_user_only(tmp_path):
    first = secret_key(tmp_path / "new")
    assert len(first) == 64
    assert secret_key(tmp_path / "new") == first
    if sys.platform != "win32":
        assert stat.S_IMODE((tmp_path / "new" / "boleward.key").stat().st_mode) == 0o600
    assert secret_key(tmp_path / "other") != first


def test_a_damaged_key_is_said_and_not_used(tmp_path):
    (tmp_path / "boleward.key").write_text("short", encoding="ascii")
    with pytest.raises(StoreUnavailable, match="damaged"):
        secret_key(tmp_path)


def test_the_public_address_ends_without_a_stroke_and_knows_its_name():
    said = load_settings(environment={"BOLEWARD_PUBLIC_ADDRESS": "https://trees.example:8443/open/"})
    assert (said.public_address, said.public_host) == ("https://trees.example:8443/open", "trees.example")
    assert load_settings(environment={}).public_host is None


def test_origins_are_separated_by_commas():
    said = load_settings(environment={"BOLEWARD_CORS_ORIGINS": "https://a.example, http://b.example:81"})
    assert said.cors_origins == ("https://a.example", "http://b.example:81")

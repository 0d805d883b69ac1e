"""The locks on the door: rights, hosts, origins, tokens, cookies, sizes, headers."""

import re

import pytest

from service.actors import RIGHTS as ROLE_RIGHTS
from service.app import create_app
from service.errors import NotPermitted
from service.settings import Settings
from service.web.access import RIGHTS, right_needed
from tests.web_site import SLUG, make_web_site

TOKEN = re.compile(r'name="csrf_token" value="([^"]+)"')


def routes(app):
    return {
        (rule.rule, method)
        for rule in app.url_map.iter_rules()
        for method in rule.methods - {"HEAD", "OPTIONS"}
    }


def test_every_route_and_method_needs_a_right_that_somebody_has(app):
    assert routes(app) == set(RIGHTS)
    assert set(RIGHTS.values()) <= set().union(*ROLE_RIGHTS.values())


def test_what_writes_needs_more_than_looking():
    assert {right for (_, method), right in RIGHTS.items() if method != "GET"} <= {
        "enter",
        "measure",
        "manage",
    }
    assert {path for (path, method), right in RIGHTS.items() if method != "GET" and right == "enter"} == {
        "/field/api/join",
        "/field/api/hello",
    }


def test_a_route_that_is_not_in_the_table_is_refused():
    with pytest.raises(NotPermitted):
        right_needed("/new/route", "GET")
    with pytest.raises(NotPermitted):
        right_needed("/cautions", "DELETE")


@pytest.mark.parametrize(
    ("host", "status"), [("localhost:1", 200), ("127.0.0.1", 200), ("evil.example", 400)]
)
def test_only_own_names_are_answered(client, host, status):
    assert client.get("/cautions", headers={"Host": host}).status_code == status


def test_further_names_are_answered_when_the_settings_say_so(store, tmp_path):
    settings = Settings(data_folder=tmp_path, trusted_hosts=("office-pc",))
    client = create_app(store, settings).test_client()
    assert client.get("/cautions", headers={"Host": "office-pc:80"}).status_code == 200


@pytest.mark.parametrize("address", ["192.168.1.7", "10.0.0.1", "2001:db8::1", ""])
def test_nobody_from_elsewhere_is_the_manager(client, address):
    answer = client.get("/cautions", environ_overrides={"REMOTE_ADDR": address})
    assert answer.status_code == 403


@pytest.mark.parametrize(
    "header", ["Forwarded", "Via", "X-Forwarded-For", "X-Forwarded-Host", "X-Forwarded-Proto", "X-Real-IP"]
)
def test_a_request_passed_on_for_somebody_is_not_the_manager_s(client, header):
    assert client.get("/cautions", headers={header: "for=192.0.2.60"}).status_code == 403


def sent(client, **headers):
    token = TOKEN.search(client.get("/start").text).group(1)
    form = {"csrf_token": token, "name": "School", "units": "metric"}
    return client.post("/start", data=form, headers=headers)


def test_a_form_of_our_own_is_taken(client):
    assert sent(client, Origin="http://localhost").status_code == 303


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "http://evil.example"},
        {"Origin": "http://localhost:81"},
        {"Origin": "null"},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
    ],
)
def test_a_form_from_another_page_is_refused(client, headers):
    assert sent(client, **headers).status_code == 403
    assert client.get("/api/sites").json == []


@pytest.mark.parametrize("token", [None, "", "forged"])
def test_a_form_without_its_token_is_refused(client, token):
    form = {"name": "School", "units": "metric", **({} if token is None else {"csrf_token": token})}
    assert client.post("/start", data=form).status_code == 400
    assert client.get("/api/sites").json == []


def test_the_api_takes_json_only_which_no_form_can_send(client, store, tmp_path):
    make_web_site(store, tmp_path)
    address = f"/api/sites/{SLUG}/readings"
    assert client.post(address, data={"stem_id": "x"}).status_code == 415
    assert client.post(address, data="[]", content_type="text/plain").status_code == 415
    assert client.post(address, json=[]).status_code == 200
    assert client.post(address, json=[], headers={"Origin": "http://evil.example"}).status_code == 403


def test_cookies_stay_in_the_browser_and_with_this_site(client):
    cookie = client.get("/start").headers["Set-Cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=Lax" in cookie
    assert "Secure" not in cookie


def test_cookies_of_a_secure_page_go_back_over_secure_lines_only(client):
    assert "Secure" in client.get("/start", base_url="https://localhost").headers["Set-Cookie"]


def test_looking_sets_no_cookie(client, store, tmp_path):
    make_web_site(store, tmp_path)
    assert "Set-Cookie" not in client.get(f"/sites/{SLUG}").headers


@pytest.mark.parametrize("path", ["/", "/cautions", "/nothing", "/api/sites", "/static/site.css"])
def test_every_answer_carries_the_policies(client, path):
    with client.get(path) as answer:
        headers = answer.headers
    policy = headers["Content-Security-Policy"]
    assert policy.startswith("default-src 'none'; script-src 'self'")
    assert "unsafe-eval" not in policy
    assert "http" not in policy
    assert "frame-ancestors 'none'" in policy
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["Referrer-Policy"] == "same-origin"
    assert headers["Cross-Origin-Opener-Policy"] == "same-origin"


def test_scripts_in_a_page_run_by_a_word_that_is_new_each_time(client, store, tmp_path):
    make_web_site(store, tmp_path)
    pages = [client.get(f"/sites/{SLUG}") for _ in range(2)]
    words = [
        re.search(r"script-src 'self' 'nonce-([^']+)'", p.headers["Content-Security-Policy"]) for p in pages
    ]
    assert words[0].group(1) != words[1].group(1)
    assert f'nonce="{words[0].group(1)}"' in pages[0].text


def test_a_street_map_may_be_asked_for_where_the_settings_name_it_and_nowhere_else(store, tmp_path):
    settings = Settings(data_folder=tmp_path, tile_address="https://tiles.example/{z}/{x}/{y}.png")
    policy = create_app(store, settings).test_client().get("/").headers["Content-Security-Policy"]
    assert "img-src 'self' data: blob: https://tiles.example;" in policy
    assert policy.count("https://") == 1


def test_a_body_larger_than_the_settings_allow_is_refused(store, tmp_path):
    client = create_app(store, Settings(data_folder=tmp_path, max_upload_mb=1)).test_client()
    token = TOKEN.search(client.get("/start").text).group(1)
    big = b"x" * (2 * 2**20)
    assert client.post("/start", data=big, headers={"X-CSRFToken": token}).status_code == 413

"""Pairing: codes, signed cookies, rights, rate limit, and changes that were meant."""

import os
import re
import stat

import httpx
import pytest

from analyzer.faces.web import access, session_middleware
from analyzer.faces.web.app import create_app

CODES = {"look": "AAAA-2222", "change": "BBBB-3333"}
KEY = b"k" * 32


@pytest.fixture
def door():
    return access.Access(KEY, dict(CODES))


@pytest.fixture
def phone(log, door, browse, monkeypatch):
    """A device on the boat's network, not paired yet."""
    monkeypatch.setattr(session_middleware, "is_own", lambda address: False)
    return browse(create_app(log, access=door))


def test_new_codes_differ_and_hold_no_letter_taken_for_another():
    codes = {access.new_code() for _ in range(200)}
    assert len(codes) == 200
    assert all(re.fullmatch(r"[2-9A-HJKMNP-Z]{4}-[2-9A-HJKMNP-Z]{4}", code) for code in codes)


@pytest.mark.parametrize(
    ("typed", "right"),
    [
        ("AAAA-2222", "look"),
        (" aaaa 2222 ", "look"),
        ("bbbb3333", "change"),
        ("AAAA-2223", None),
        ("", None),
        ("AAAA-2222-2", None),
    ],
)
def test_pair_forgives_case_and_spaces_and_nothing_else(door, typed, right):
    assert door.pair(typed) == right


def test_the_code_of_a_cards_sheet_serves_again_and_beside_the_others(tmp_path):
    path = tmp_path / "sheet-code"
    assert access.load_sheet_code(path) is None
    path.write_text("CCCC-4444-DDDD\n")
    door = access.Access(KEY, dict(CODES), sheet_code=access.load_sheet_code(path))
    assert [door.pair("cccc 4444 dddd") for _ in range(2)] == ["change", "change"]
    assert door.pair("CCCC-4444") is None
    assert (door.pair("AAAA-2222"), door.pair("BBBB-3333")) == ("look", "change")


def test_a_code_of_a_sheet_that_could_be_guessed_serves_nobody(tmp_path):
    path = tmp_path / "sheet-code"
    for short in ("", "\n", "CCCC-4444-DDD", "----1111----"):  # 1 is no letter of codes
        path.write_text(short)
        assert access.load_sheet_code(path) is None
    path.write_bytes(b"\xff" * 12)
    assert access.load_sheet_code(path) is None


def test_cookie_is_known_again_and_a_forged_one_is_not(door):
    cookie = door.cookie("look")
    assert door.right_of(cookie) == "look"
    assert door.right_of(cookie.replace("look", "change", 1)) is None
    assert door.right_of("change") is None
    assert door.right_of(None) is None
    assert access.Access(b"another key" * 4, dict(CODES)).right_of(cookie) is None


def test_cookie_grows_too_old(door, monkeypatch):
    cookie = door.cookie("look")
    monkeypatch.setattr(access, "LASTS_S", -1)
    assert door.right_of(cookie) is None


@pytest.mark.parametrize(
    ("address", "own"),
    [
        ("127.0.0.1", True),
        ("127.9.9.9", True),
        ("::1", True),
        ("::ffff:127.0.0.1", True),
        ("192.168.4.7", False),
        ("0.0.0.0", False),
        ("boat.local", False),
    ],
)
def test_is_own_is_loopback_alone(address, own):
    assert access.is_own(address) is own


def test_key_is_kept_private_and_renewed_when_asked(tmp_path):
    path = tmp_path / "deep" / "pairing.key"
    key = access.load_key(path)
    assert len(key) == 32
    assert access.load_key(path) == key
    assert stat.S_IMODE(os.stat(path).st_mode) == 0o600
    assert access.load_key(path, renew=True) != key


def test_tries_run_out_for_one_address_and_nobody_else(monkeypatch):
    now = [0.0]
    monkeypatch.setattr(access.time, "monotonic", lambda: now[0])
    tries = access.Tries(each=3, over_s=60, most=100)
    for _ in range(3):
        tries.wrong("192.168.4.7")
    for k in range(20):  # one device has all of its 64 bits
        tries.wrong(f"2001:db8::{k:x}")
    assert not tries.allowed("192.168.4.7")
    assert not tries.allowed("2001:db8::ffff")
    assert tries.allowed("192.168.4.8")
    assert tries.allowed("2001:db8:0:1::1")
    now[0] = 61.0
    assert tries.allowed("192.168.4.7")
    for k in range(1000):
        tries.wrong(f"10.0.{k // 250}.{k % 250}")
    assert len(tries._wrong) == 100


def test_unpaired_device_is_sent_to_pair_and_sees_nothing(phone):
    page = phone.get("/")
    assert page.status_code == 303
    assert page.headers["location"] == "/pair?to=/"
    assert phone.get("/api/v1/range").status_code == 401
    assert phone.get("/live").status_code == 303
    assert phone.get("/trip/2/chart.json").status_code == 303
    assert phone.get("/assets/bokeh/bokeh.min.js").status_code == 303
    assert phone.get("/api/v1/openapi.json").status_code == 401
    assert phone.get("/pair").status_code == 200
    assert phone.get("/static/keelwatt.css").status_code == 200


def test_code_gives_a_cookie_that_scripts_cannot_read(phone):
    answer = phone.post("/pair", data={"code": "aaaa 2222", "to": "/trips"})
    assert answer.status_code == 303
    assert answer.headers["location"] == "/trips"
    cookie = answer.headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=strict" in cookie
    assert "secure" not in cookie  # plain HTTP on the boat's own network
    assert phone.get("/").status_code == 200
    assert phone.get("/api/v1/range").status_code == 200


def test_cookie_is_marked_secure_behind_https(phone):
    answer = phone.post("https://localhost/pair", data={"code": "aaaa2222"})
    assert "secure" in answer.headers["set-cookie"].lower()


def test_code_to_look_does_not_let_change(phone):
    phone.post("/pair", data={"code": "AAAA-2222"})
    assert phone.post("/set-up", data={}).status_code == 403
    phone.post("/pair", data={"code": "BBBB-3333"})
    assert phone.post("/set-up", data={}).status_code != 403


def test_a_code_serves_once_and_the_next_is_told(log, browse, monkeypatch):
    monkeypatch.setattr(session_middleware, "is_own", lambda address: False)
    told = []
    door = access.Access(KEY, dict(CODES), told.append)
    app = create_app(log, access=door)
    first, second = browse(app), browse(app)
    assert first.post("/pair", data={"code": "AAAA-2222"}).status_code == 303
    assert second.post("/pair", data={"code": "AAAA-2222"}).status_code == 403
    assert told[-1]["look"] != "AAAA-2222"
    assert second.post("/pair", data={"code": told[-1]["look"]}).status_code == 303
    assert first.get("/").status_code == 200


def test_a_code_lasts_an_hour(door, monkeypatch):
    now = [access.time.monotonic()]
    monkeypatch.setattr(access.time, "monotonic", lambda: now[0])
    now[0] += 3601
    assert door.pair("AAAA-2222") is None
    assert door.pair(door.codes["look"]) == "look"


def test_a_phone_stays_paired_where_the_boards_clock_is_behind(door, monkeypatch):
    cookie = door.cookie("change")
    later = access.time.time() - 5 * 365 * 86400
    monkeypatch.setattr(access.time, "time", lambda: later)
    assert door.right_of(cookie) == "change"


@pytest.mark.parametrize(
    "host", ["localhost/pair?", "localhost/static/", "127.0.0.1/pair#", "localhost:80/pair?x="]
)
def test_a_host_header_opens_nothing(phone, log, door, host):
    for path in ("/", "/set-up", "/api/v1/range"):
        answer = phone.get(path, headers={"host": host})
        assert answer.status_code == 421, path
    # And where nothing looks at the header before: by the path that is served.
    gate = session_middleware.Gate(None, door)
    scope = {
        "type": "http", "method": "POST", "path": "/set-up", "query_string": b"", "scheme": "http",
        "headers": [(b"host", host.encode())], "client": ("192.168.4.7", 1), "state": {},
    }  # fmt: skip
    refusal = gate._refusal(session_middleware.HTTPConnection(scope), "POST", None)
    assert refusal is not None
    assert refusal.status_code == 303


def test_guessing_is_slowed_down(phone):
    answers = [phone.post("/pair", data={"code": f"CCCC-222{k}"}).status_code for k in range(2, 9)]
    assert answers == [403] * 5 + [429] * 2
    assert phone.post("/pair", data={"code": "AAAA-2222"}).status_code == 429


def test_unpairing_ends_it(phone):
    phone.post("/pair", data={"code": "AAAA-2222"})
    phone.post("/pair/end")
    phone.cookies = httpx.Cookies()  # as the browser does for a cookie set to have ended
    assert phone.get("/").status_code == 303


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "http://evil.example"},
        {"origin": "null"},
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
    ],
)
def test_a_change_asked_from_a_strange_page_is_refused(log, door, browse, headers):
    here = browse(create_app(log, access=door))
    answer = here.post("/pair", data={"code": "AAAA-2222"}, headers=headers)
    assert answer.status_code == 403
    assert "set-cookie" not in answer.headers


def test_this_computer_needs_no_code_but_whoever_comes_through_a_proxy_does(log, door, browse):
    here = browse(create_app(log, access=door))
    assert here.get("/").status_code == 200
    for name in ("x-forwarded-for", "forwarded"):
        assert here.get("/", headers={name: "192.168.4.7"}).status_code == 303


@pytest.mark.parametrize(
    "to", ["https://evil.example/", "//evil.example", "/\\evil.example", "/x\r\nSet-Cookie: a=b"]
)
def test_pairing_leads_to_this_site_only(phone, to):
    answer = phone.post("/pair", data={"code": "AAAA-2222", "to": to})
    assert answer.headers["location"] == "/"


def test_a_form_that_is_none_or_endless_is_refused(phone):
    assert phone.post("/pair", json={"code": "AAAA-2222"}).status_code == 400
    assert phone.post("/pair", data={"code": "A" * 300_000}).status_code == 400

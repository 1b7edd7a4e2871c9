"""The board's own page: asks the one who may, shows what he says, and only for who may change."""

import json
import socket
import threading
from types import SimpleNamespace

import pytest

from analyzer.faces.web import access, session_middleware
from analyzer.faces.web.app import create_app
from analyzer.faces.web.set_up import board_page, incoming
from analyzer.faces.web.set_up.plugged import Board, Plug


@pytest.fixture
def errand(tmp_path):
    """Somebody who answers as deploy/errand.py does, and remembers what he was asked."""
    asked: list[dict[str, str]] = []
    path = tmp_path / "errand"
    with socket.socket(socket.AF_UNIX) as listening:
        listening.bind(str(path))
        listening.listen()

        def answer() -> None:
            while True:
                try:
                    one, _ = listening.accept()
                except OSError:
                    return
                with one:
                    asked.append(json.loads(one.recv(1024)))
                    fine = asked[-1].get("name") != "bad"
                    said = "it was <done>" if fine else "a name wants letters"
                    one.sendall(json.dumps({"ok": fine, "said": said}).encode() + b"\n")

        threading.Thread(target=answer, daemon=True).start()
        yield path, asked
        listening.shutdown(socket.SHUT_RDWR)


def plugged(listen=False):
    return (
        Plug("serial", "/dev/ttyUSB0", "/dev/ttyUSB0", "GPS plug", serial_number="A5069RR4"),
        Plug("serial", "/dev/ttyUSB1", "/dev/ttyUSB1", "no number"),
        Plug("can", "can0", "can0", "down"),
    )


@pytest.fixture
def board(errand, tmp_path):
    return Board(plugs=plugged, errand=errand[0], changes=tmp_path / "changes")


@pytest.fixture
def log(log, tmp_path):
    log.path = tmp_path / "data" / "log.sqlite"
    log.path.parent.mkdir()
    return log


@pytest.fixture
def client(log, browse, board):
    return browse(create_app(log, board=board))


def phone_with(right, log, browse, board, monkeypatch):
    """A phone on the boat's network, paired so or (None) not at all."""
    monkeypatch.setattr(session_middleware, "is_own", lambda address: False)
    door = access.Access(b"k" * 32)
    phone = browse(create_app(log, access=door, board=board))
    if right:
        phone.cookies.set(access.COOKIE, door.cookie(right))
    return phone


def test_the_page_offers_what_is_there(client):
    page = client.get("/set-up/board").text
    assert 'name="number" value="A5069RR4"' in page
    assert page.count('value="name-plug"') == 1  # a plug without a number cannot be told apart
    assert 'name="bus" value="can0"' in page
    assert "Europe/Lisbon" in page


@pytest.mark.parametrize(
    ("form", "wanted"),
    [
        (
            {"act": "name-plug", "name": "gps", "number": "A5069RR4"},
            {"act": "name-plug", "name": "gps", "number": "A5069RR4"},
        ),
        (
            {"act": "set-bus", "bus": "can0", "rate": "500000", "acknowledge": "yes"},
            {"act": "set-bus", "bus": "can0", "rate": "500000"},
        ),
        ({"act": "find-rate", "bus": "can0", "rate": "1"}, {"act": "find-rate", "bus": "can0"}),
        ({"act": "restart-recorder"}, {"act": "restart-recorder"}),
        ({"act": "shut-down", "sure": "yes"}, {"act": "shut-down"}),
        ({"act": "go-back", "sure": "yes"}, {"act": "go-back"}),
        (
            {"act": "fetch-release", "device": "sda1", "file": "/etc/shadow"},
            {"act": "fetch-release", "device": "sda1"},
        ),
    ],
)
def test_what_is_asked_goes_on_with_the_act_s_own_words_alone(client, errand, form, wanted):
    answer = client.post("/set-up/board", data=form)
    assert answer.status_code == 200
    assert errand[1] == [wanted]
    assert "It was &lt;done&gt;" in answer.text


@pytest.mark.parametrize("act", ["shut-down", "go-back"])
def test_what_cannot_be_called_off_wants_a_tick(client, errand, act):
    answer = client.post("/set-up/board", data={"act": act})
    assert (answer.status_code, errand[1]) == (422, [])
    assert "Tick first" in answer.text


def test_what_is_refused_is_said(client):
    answer = client.post("/set-up/board", data={"act": "name-plug", "name": "bad", "number": "A1"})
    assert answer.status_code == 422
    assert "A name wants letters" in answer.text


def test_another_act_is_not_passed_on(client, errand):
    assert client.post("/set-up/board", data={"act": "sh", "name": "x"}).status_code == 422
    assert errand[1] == []


def test_without_somebody_to_ask_nothing_is_offered(log, browse, tmp_path):
    board = Board(plugs=plugged, errand=tmp_path / "nobody")
    client = browse(create_app(log, board=board))
    assert "<button" not in client.get("/set-up/board").text.partition("<footer")[0]
    answer = client.post("/set-up/board", data={"act": "restart-recorder"})
    assert answer.status_code == 422
    assert "Nobody answers" in answer.text


@pytest.mark.parametrize("right", [None, "look", "change"])
def test_a_phone_that_may_look_only_gets_nowhere(log, browse, errand, board, monkeypatch, right):
    phone = phone_with(right, log, browse, board, monkeypatch)
    page = phone.get("/set-up/board")
    sent = phone.post("/set-up/board", data={"act": "restart-recorder"})
    assert ("A5069RR4" in page.text) is (right == "change")
    assert (sent.status_code == 200) is (right == "change")
    assert errand[1] == ([{"act": "restart-recorder"}] if right == "change" else [])


# Words that would do something, of every act there is.
FULL = {"name": "gps", "number": "A1", "bus": "can0", "rate": "250000", "zone": "UTC",
        "password": "twelve letters", "device": "sda1", "sure": "yes"}  # fmt: skip


@pytest.mark.parametrize("right", [None, "look"])
def test_a_hostile_phone_gets_nowhere_with_any_act(
    log, browse, errand, board, monkeypatch, tmp_path, right
):
    phone = phone_with(right, log, browse, board, monkeypatch)
    (tmp_path / "changes").mkdir()
    (tmp_path / "changes/said").write_text("release 0.3 is being tried")
    for act in (*board_page.WORDS, "take-release", "sh"):
        for path in ("/set-up/board", "/set-up/board/", "//set-up/board", "/set-up/./board"):
            assert phone.post(path, data={"act": act, **FULL}).status_code in (303, 403), (
                act,
                path,
            )
        phone.get("/set-up/board", params={"act": act, **FULL})
    for headers in ({}, {"x-http-method-override": "POST"}, {"x-forwarded-for": "127.0.0.1"}):
        sent = phone.post("/set-up/release", files={"release": b"x" * 1000}, headers=headers)
        assert sent.status_code in (303, 403)
    told = phone.get("/set-up/release.json")
    assert "being tried" not in told.text
    assert "being tried" not in phone.get("/set-up/board").text
    assert errand[1] == []
    assert not (log.path.parent / "incoming").exists()


def test_a_release_is_laid_beside_the_log_and_asked_for(client, log, errand):
    content = bytes(range(256)) * 2000
    sent = client.post("/set-up/release", files={"release": ("../../x", content)})
    assert sent.status_code == 200
    assert (log.path.parent / "incoming/keelwatt.release").read_bytes() == content
    assert [p.name for p in (log.path.parent / "incoming").iterdir()] == ["keelwatt.release"]
    assert errand[1] == [{"act": "take-release"}]


def length(headers, told):
    return {**headers, "content-length": str(told)}


@pytest.mark.parametrize(
    ("body", "headers", "words"),
    [
        (b"x" * 100, {"content-type": "application/octet-stream"}, "no file"),
        (b"x" * 100, {"content-type": "multipart/form-data"}, "no file"),
        (b"--b\r\nno", {"content-type": "multipart/form-data; boundary=b"}, "whole"),
        (b"--b\r\n\r\nabc", {"content-type": "multipart/form-data; boundary=b"}, "whole"),
        (b"--b\r\n\r\n\r\n--b--", {"content-type": "multipart/form-data; boundary=b"}, "no file"),
        (
            b"--b\r\n\r\nabc\r\n--b\r\n\r\nabc\r\n--b--",
            {"content-type": "multipart/form-data; boundary=b"},
            "no file",
        ),
        (b"", {"content-type": "multipart/form-data; boundary=b"}, "no file"),
    ],
)
def test_what_is_no_file_is_refused_in_a_sentence(client, log, errand, body, headers, words):
    sent = client.post("/set-up/release", content=body, headers=headers)
    assert sent.status_code == 422
    assert words in sent.text
    assert errand[1] == []
    assert not list((log.path.parent / "incoming").iterdir())


def test_what_is_too_long_is_refused_before_and_while_it_comes(client, log, errand, monkeypatch):
    headers = {"content-type": "multipart/form-data; boundary=b"}
    for told in ("410000001", "-1", "many"):
        sent = client.post("/set-up/release", content=b"x", headers=length(headers, told))
        assert (sent.status_code, errand[1]) == (422, [])
        assert "larger than any release" in sent.text
    monkeypatch.setattr(incoming, "MOST_BYTES", 1000)
    sent = client.post("/set-up/release", files={"release": b"x" * 5000})
    assert "larger than any release" in sent.text
    assert not list((log.path.parent / "incoming").iterdir())


def test_a_full_card_is_said(client, log, errand, monkeypatch):
    full = SimpleNamespace(free=incoming.LEFT_BYTES + 100)
    monkeypatch.setattr(incoming.shutil, "disk_usage", lambda folder: full)
    sent = client.post("/set-up/release", files={"release": b"x" * 1000})
    assert "no room for it" in sent.text
    assert errand[1] == []


def test_what_becomes_of_it_is_told(client, tmp_path):
    assert client.get("/set-up/release.json").json()["said"] == ""
    (tmp_path / "changes").mkdir()
    (tmp_path / "changes/busy").touch()
    (tmp_path / "changes/said").write_text("the log is being <copied>\n")
    told = client.get("/set-up/release.json").json()
    assert (told["said"], told["busy"]) == ("The log is being <copied>.", True)
    page = client.get("/set-up/board").text
    assert 'data-busy="yes">The log is being &lt;copied&gt;.' in page


def test_a_strange_page_in_a_paired_phone_s_browser_gets_nowhere(client, errand):
    for headers in ({"origin": "http://evil.example"}, {"sec-fetch-site": "cross-site"}):
        sent = client.post("/set-up/board", data={"act": "restart-recorder"}, headers=headers)
        assert sent.status_code == 403
    assert client.get("/set-up/board?act=restart-recorder").status_code == 200
    assert errand[1] == []


@pytest.mark.parametrize("right", ["look", "change"])
def test_the_help_file_is_for_who_may_change(log, browse, monkeypatch, right):
    monkeypatch.setattr(session_middleware, "is_own", lambda address: False)
    asked = []
    monkeypatch.setattr(
        "analyzer.answers.transfer.help_file.write",
        lambda log, file, wishes, devices: asked.append((wishes.positions, wishes.codes)),
    )
    monkeypatch.setattr("analyzer.answers.transfer.status.status", lambda path, devices: ())
    log.path = None
    door = access.Access(b"k" * 32)
    phone = browse(create_app(log, access=door, board=Board(plugs=plugged)))
    phone.cookies.set(access.COOKIE, door.cookie(right))
    assert ("Make the file" in phone.get("/set-up/status").text) is (right == "change")
    assert phone.get("/set-up/help.zip?positions=yes").status_code == (
        200 if right == "change" else 403
    )
    assert asked == ([(True, False)] if right == "change" else [])

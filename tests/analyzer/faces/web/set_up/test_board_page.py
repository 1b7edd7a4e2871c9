"""The board's own page: asks the one who may, shows what he says, and only for who may change."""

import json
import socket
import threading

import pytest

from analyzer.faces.web import access, session_middleware
from analyzer.faces.web.app import create_app
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
def client(log, browse, errand):
    return browse(create_app(log, board=Board(plugs=plugged, errand=errand[0])))


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
    ],
)
def test_what_is_asked_goes_on_with_the_act_s_own_words_alone(client, errand, form, wanted):
    answer = client.post("/set-up/board", data=form)
    assert answer.status_code == 200
    assert errand[1] == [wanted]
    assert "It was &lt;done&gt;" in answer.text


def test_shutting_down_wants_a_tick(client, errand):
    answer = client.post("/set-up/board", data={"act": "shut-down"})
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
def test_a_phone_that_may_look_only_gets_nowhere(log, browse, errand, monkeypatch, right):
    monkeypatch.setattr(session_middleware, "is_own", lambda address: False)
    door = access.Access(b"k" * 32)
    board = Board(plugs=plugged, errand=errand[0])
    phone = browse(create_app(log, access=door, board=board))
    if right:
        phone.cookies.set(access.COOKIE, door.cookie(right))
    page = phone.get("/set-up/board")
    sent = phone.post("/set-up/board", data={"act": "restart-recorder"})
    assert ("A5069RR4" in page.text) is (right == "change")
    assert (sent.status_code == 200) is (right == "change")
    assert errand[1] == ([{"act": "restart-recorder"}] if right == "change" else [])


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

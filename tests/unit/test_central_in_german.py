"""The commands of a central store answer in the language of the settings."""

import re
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path
from threading import Thread
from typing import Self

import pytest
from german import english_words, home, said, words_of
from made_up import batch_of, readings_of

from monitor import cli
from monitor.settings.data_dir import DATABASE_NAME
from monitor.settings.shops import Centre
from monitor.store.spool import Backlog, Spool
from monitor.store.store import Store

BREAD = batch_of("Nussbrot", hours=3.0)
READINGS = readings_of(BREAD)
NODE = READINGS[0].node


class Central:
    """A line to a central store that holds as many of every table as it is told to."""

    held = 0

    def __init__(self, centre: Centre, token: str | None) -> None:
        self.centre = centre
        self.done: list[str] = []

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        """Nothing is open."""

    def count(self, measurement: str, site: str) -> int:
        return self.held

    def do(self, bucket: str, statement: str) -> None:
        self.done.append(statement)


@pytest.fixture
def site(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A site that has a batch, two readings, and a central store."""
    monkeypatch.setattr("monitor.shops.influx.Link", Central)
    folder = home(tmp_path / "daten", 'site = "hafen"\n[central]\nurl = "http://127.0.0.1:8086"\n')
    with Store(folder / DATABASE_NAME) as store:
        store.batches.add(BREAD)
        store.readings.add(READINGS[:2])
    return folder


def counted(capsys: pytest.CaptureFixture[str], data_dir: Path, status: int) -> tuple[str, list[str], str]:
    """What ``shops verify`` says before its table, the table, whose names are the store's, and what it says after."""
    assert cli.main(["shops", "verify", "--data-dir", str(data_dir)]) == status
    first, *lines = capsys.readouterr().out.splitlines()
    table = [line for line in lines if re.fullmatch(r"[a-z0-9_]+ +\d+ hier +\d+ dort", line)]
    rest = " ".join(line for line in lines if line not in table)
    assert words_of(f"{first} {rest}") & english_words() == set()
    return first, table, rest


def test_both_ends_are_counted(capsys: pytest.CaptureFixture[str], site: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    first, table, rest = counted(capsys, site, 0)
    assert first == "2 Zeilen warten aufs Senden, 0 können nicht angenommen werden"
    assert f"{'reading':<14}{2:>12} hier{0:>12} dort" in table
    assert rest == ""
    monkeypatch.setattr(Central, "held", 2)
    assert f"{'reading':<14}{2:>12} hier{2:>12} dort" in counted(capsys, site, 0)[1]


@pytest.mark.parametrize(
    ("rows", "parked", "first", "rest"),
    [
        (0, 0, "0 Zeilen warten aufs Senden, 0 können nicht angenommen werden", "2 Zeilen fehlen dort. "),
        (1, 0, "1 Zeile wartet aufs Senden, 0 können nicht angenommen werden", "1 Zeile fehlt dort. "),
        (0, 1, "0 Zeilen warten aufs Senden, 1 kann nicht angenommen werden", "1 Zeile fehlt dort. "),
    ],
)
def test_what_waits_and_what_is_missing_is_counted(
    capsys: pytest.CaptureFixture[str],
    site: Path,
    monkeypatch: pytest.MonkeyPatch,
    rows: int,
    parked: int,
    first: str,
    rest: str,
) -> None:
    monkeypatch.setattr(Spool, "backlog", lambda *_: Backlog(rows, None, parked))
    said_first, _, said_rest = counted(capsys, site, 1)
    assert said_first == first
    assert said_rest.startswith(rest)
    assert "liegt es nicht daran, sendet `proofing-monitor shops verify --send-again` alles noch einmal" in said_rest


def test_a_central_store_is_made_ready(capsys: pytest.CaptureFixture[str], site: Path) -> None:
    assert cli.main(["shops", "prepare", "--data-dir", str(site)]) == 0
    *_, last = capsys.readouterr().out.splitlines()
    assert last == ("-- nichts ist geschehen; mit --yes geschieht es. Nur InfluxDB 1 nimmt diese Anweisungen an")
    assert words_of(last) & english_words() == set()
    refused = said(capsys, site, "shops", "prepare", "--keep-readings", 3, status=2)
    assert "zuerst einen eigenen readings_bucket nennen" in refused


class Refusing(BaseHTTPRequestHandler):
    """A server that refuses whatever it is asked."""

    status = 500

    def do_GET(self) -> None:
        self.send_response(self.status)
        self.end_headers()
        self.wfile.write(b"{Tee}")

    def log_message(self, *_: object) -> None:
        """Nobody reads it."""


@pytest.fixture
def refusing() -> Iterator[str]:
    with HTTPServer(("127.0.0.1", 0), Refusing) as server:
        Thread(target=server.serve_forever, daemon=True).start()
        yield f"http://127.0.0.1:{server.server_port}"
        server.shutdown()


@pytest.mark.parametrize(
    ("status", "why"),
    [
        (401, "das Token ist dort nicht bekannt; influx_token"),
        (403, "das Token erlaubt es nicht; ihm das Schreiben"),
        (404, "diesen Bucket gibt es nicht; ihn anlegen"),
        (418, "die Antwort war 418 {Tee}; `url` unter [central]"),
    ],
)
def test_what_a_central_store_refuses_is_told(
    capsys: pytest.CaptureFixture[str],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    refusing: str,
    status: int,
    why: str,
) -> None:
    monkeypatch.setattr(Refusing, "status", status)
    folder = home(tmp_path / "daten", f'site = "hafen"\n[central]\nurl = "{refusing}"\n')
    assert why in said(capsys, folder, "shops", "verify", status=2)

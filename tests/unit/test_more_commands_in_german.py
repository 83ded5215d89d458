"""Commands of whoever keeps the monitor answer in the language of the settings too: backups, doors, services, sites.

What they say is German to the last word: no word of the source's sentences remains that German has no use for.
"""

import re
import signal
import string
from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path
from threading import Thread
from typing import Self

import pytest
from harness import START
from made_up import batch_of, readings_of
from sentences import catalogue, sentences

from monitor import cli
from monitor.archive.backup import backups_in
from monitor.archive.export import batch_toml
from monitor.central.follower import Follower
from monitor.recipe.batch import Batch, BatchId, Event, EventKind, Stage
from monitor.settings.centre import Centre
from monitor.settings.data_dir import DATABASE_NAME
from monitor.sinks.arrivals import Arrivals, Heard
from monitor.sinks.spool import Backlog, Spool
from monitor.sinks.store import Store

BREAD = batch_of("Nussbrot", hours=3.0)
READINGS = readings_of(BREAD)
NODE = READINGS[0].node


def words_of(text: str) -> set[str]:
    """Words of a text as it is read; not those within paths, addresses, names of files, options, and commands."""
    spoken = re.sub(r"`[^`]*`", "", text)
    return {token.casefold() for each in spoken.split() if (token := each.strip('.,:;()"')).isalpha()}


def literal(sentence: str) -> str:
    return " ".join(words for words, *_ in string.Formatter().parse(sentence))


def english_words() -> set[str]:
    """Every word of the source's sentences that no German one has."""
    english, german = set[str](), set[str]()
    for each in sentences()[0]:
        english |= words_of(literal(each.text)) | words_of(literal(each.many))
    for message in catalogue("de"):
        told = (message.string,) if isinstance(message.string, str) else message.string
        german |= {word for text in told for word in words_of(literal(text))}
    return english - german


ENGLISH = english_words()


def test_words_that_would_be_missed_are_known() -> None:
    """What the other tests rest on."""
    assert {"the", "of", "batches", "readings", "rows", "where", "made", "nothing", "shown"} <= ENGLISH
    assert not {"in", "config", "und", "broker"} & ENGLISH
    assert words_of("next: send it `proofing-monitor check` to /the/path (12 mm)") == {"next", "send", "it", "to", "mm"}


def home(folder: Path, settings: str = "") -> Path:
    """A data directory of a reader of German."""
    folder.mkdir(exist_ok=True)
    (folder / "config.toml").write_text(f'timezone = "UTC"\nlanguage = "de"\n{settings}')
    return folder


@pytest.fixture
def bakery(tmp_path: Path) -> Path:
    """One with a batch and its readings."""
    folder = home(tmp_path / "daten")
    with Store(folder / DATABASE_NAME) as store:
        store.add_batch(BREAD)
        store.append(READINGS)
    return folder


@pytest.fixture
def stick(tmp_path: Path) -> Path:
    folder = tmp_path / "stick"
    folder.mkdir()
    return folder


def said(capsys: pytest.CaptureFixture[str], data_dir: Path, *words: object, status: int = 0) -> str:
    """What a command answers, on both of its ways out; German throughout."""
    capsys.readouterr()
    assert cli.main([*map(str, words), "--data-dir", str(data_dir)]) == status
    out, err = capsys.readouterr()
    told = out + err.partition(": ")[2]  # what comes before is the command's own name
    assert words_of(told) & ENGLISH == set(), told
    return told


# -- backups ----------------------------------------------------------------------------------------------------------


def test_a_backup_is_made_listed_and_looked_through(
    capsys: pytest.CaptureFixture[str], bakery: Path, stick: Path
) -> None:
    assert "dort liegt keine Sicherung" in said(capsys, bakery, "backup", "list", stick, status=2)
    made = said(capsys, bakery, "backup", "make", stick)
    (backup,) = backups_in(stick)
    holds = re.compile(r"\d+,\d MB, 1 Teig, 543 Messungen, die neueste vom 2026-03-02 \d\d:\d\d\n")
    assert made.startswith(f"{backup}: gemacht und für heil befunden: ")
    assert holds.fullmatch(made.partition("befunden: ")[2])
    assert re.fullmatch(rf"{backup}  \d+,\d MB\n", said(capsys, bakery, "backup", "list", stick))
    whole = said(capsys, bakery, "backup", "verify", backup)
    assert whole.startswith(f"gut    {backup}: ")
    assert holds.search(whole)


def test_a_backup_is_brought_back(capsys: pytest.CaptureFixture[str], bakery: Path, stick: Path) -> None:
    said(capsys, bakery, "backup", "make", stick)
    (backup,) = backups_in(stick)
    asked = said(capsys, bakery, "backup", "restore", backup, status=2)
    assert "1 Teig, 543 Messungen" in asked
    assert "Mit --yes geschieht es" in asked
    done = said(capsys, bakery, "backup", "restore", backup, "--yes")
    assert f"{bakery / DATABASE_NAME}: ist jetzt wie in {backup}: " in done
    assert f"was vorher da war, liegt in {bakery / DATABASE_NAME}.replaced-" in done
    assert "eine offene Anzeige muss neu gestartet werden" in done


@pytest.mark.parametrize(
    ("batches", "readings", "holds"),
    [(0, 0, "0 Teige, 0 Messungen\n"), (1, 1, "1 Teig, 1 Messung, die"), (2, 2, "2 Teige, 2 Messungen, die")],
)
def test_what_a_backup_holds_is_counted(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, stick: Path, batches: int, readings: int, holds: str
) -> None:
    folder = home(tmp_path / "daten")
    with Store(folder / DATABASE_NAME) as store:
        for _ in range(batches):
            store.add_batch(BREAD)
        store.append(READINGS[:readings])
    assert f"MB, {holds}" in said(capsys, folder, "backup", "make", stick)


def test_a_backup_that_cannot_be_used_says_why(capsys: pytest.CaptureFixture[str], bakery: Path, stick: Path) -> None:
    """SQLite gives the reason, in its own words."""
    none = stick / "proofing-20260302T054000Z.sqlite"
    none.write_text("Mehl, Wasser, Salz\n" * 100)
    assert cli.main(["backup", "verify", str(none), "--data-dir", str(bakery)]) == 2
    told = capsys.readouterr().err
    assert f"{none}: ist keine Sicherung, die zu gebrauchen ist: " in told
    assert "den Datenträger und seine Rechte prüfen" in told


# -- batches ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("stage", "word"),
    [
        (Stage.PREFERMENT, "Vorteig"),
        (Stage.BULK_RISE, "Stockgare"),
        (Stage.FINAL_PROOF, "Stückgare"),
        (Stage.RETARD, "Kaltgare"),
    ],
)
def test_batches_are_listed_with_their_stage(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, stage: Stage, word: str
) -> None:
    folder = home(tmp_path / "daten")
    with Store(folder / DATABASE_NAME) as store:
        store.add_batch(Batch(BatchId(0), "Nussbrot", stage, START, BREAD.vessel))
    assert said(capsys, folder, "batch", "list") == f"   1  Nussbrot  ({word})  noch nicht geschätzt\n"


def test_a_batch_at_a_place_says_what_it_is_read_from(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    folder = home(tmp_path / "daten", f'[places]\n"{NODE}" = "regal-1"\n')
    arrived = Arrivals()
    arrived.readings += READINGS
    arrived.heard.append(Heard(NODE, "mqtt", START))
    with Store(folder / DATABASE_NAME) as store:
        store.keep(arrived, START)
    dough = tmp_path / "teig.toml"
    dough.write_text(batch_toml(Batch(BatchId(0), "Nussbrot", Stage.BULK_RISE, START, BREAD.vessel)))
    told = said(capsys, folder, "batch", "start", dough, "--at", "regal-1", "--now")
    assert "Teig 1: Nussbrot wird beobachtet" in told
    assert f"  Lufttemperatur von {NODE}\n" in told
    assert f"  Höhe von {NODE}\n" in told


@pytest.mark.parametrize(("events", "left_out"), [(1, "1 Ereignis, das noch kommt, wurde"), (2, "2 Ereignisse, die")])
def test_events_still_to_come_are_counted(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, events: int, left_out: str
) -> None:
    dough = tmp_path / "teig.toml"
    later = tuple(Event(START + timedelta(days=20_000 + day), EventKind.FOLD) for day in range(events))
    dough.write_text(batch_toml(Batch(BatchId(0), "Nussbrot", Stage.BULK_RISE, START, BREAD.vessel, events=later)))
    assert f"  {left_out}" in said(capsys, home(tmp_path / "daten"), "batch", "start", dough)


def test_a_batch_travels(capsys: pytest.CaptureFixture[str], bakery: Path, tmp_path: Path) -> None:
    out = tmp_path / "aus"
    exported = said(capsys, bakery, "batch", "export", 1, out).splitlines()
    assert exported == [
        f"{out}/READINGS.csv: 181 Zeilen",
        f"{out}/BATCH.toml: der Teig mit 0 Ereignissen",
        f"{out}/OUTLOOKS.jsonl: 0 Vorhersagen",
    ]
    archived = said(capsys, bakery, "batch", "archive", 1, out)
    assert f"{out}/batch.csv: 1 Zeile\n" in archived
    assert f"{out}/reading.csv: 543 Zeilen\n" in archived
    assert said(capsys, bakery, "batch", "import", out) == "Teig 2: Nussbrot ist hier, mit 543 Messungen\n"


def test_what_a_batch_holds_is_counted(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    folder, out = home(tmp_path / "daten"), tmp_path / "aus"
    folded = Event(START + timedelta(minutes=30), EventKind.FOLD)
    with Store(folder / DATABASE_NAME) as store:
        store.add_batch(replace(BREAD, events=(folded,)))
        store.append(READINGS[:1])
    assert "BATCH.toml: der Teig mit 1 Ereignis\n" in said(capsys, folder, "batch", "export", 1, out)
    assert "READINGS.csv: 1 Zeile\n" in said(capsys, folder, "batch", "export", 1, out)
    said(capsys, folder, "batch", "archive", 1, out)
    assert "ist hier, mit 1 Messung\n" in said(capsys, folder, "batch", "import", out)


# -- broker and proxy -------------------------------------------------------------------------------------------------


def a_radio_node(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PROOFING_WIFI_PASSWORD", "for no radio")
    where = ("--mqtt", "mqtts://localhost:18883", "--ca", "--wifi", "backstube", "--data-dir", str(folder))
    assert cli.main(["node", "configure", "wanne-1", *where]) == 0


def test_a_broker_is_set_up(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = home(tmp_path / "daten")
    told = said(capsys, folder, "broker", "configure", "--port", 18883)
    for sentence in (
        f"{folder}/broker: Einstellungen, Passwörter, Zugriffsliste; nur der Besitzer kann sie lesen\n",
        f"{folder}/secrets.toml: die Passwörter des Sammlers\n",
        f"in {folder}/config.toml ergänzen (ein Name mit Punkt gehört in die Tabelle, mit der er beginnt):\n    mqtt",
        "noch spricht kein Knoten mit einem Broker: `proofing-monitor node configure NAME --mqtt URL --ca`",
        f"als Nächstes: ihn mit `mosquitto -c {folder}/broker/mosquitto.conf` starten",
    ):
        assert sentence in told
    a_radio_node(folder, monkeypatch)
    again = said(capsys, folder, "broker", "configure")
    assert "Knoten wanne-1: darf als mac-" in again
    assert f"ein Knoten muss wissen, wem er trauen soll: `proofing-monitor node copy NAME --ca {folder}" in again


def test_sites_are_let_in_and_joined(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    central, shop = home(tmp_path / "zentrale"), home(tmp_path / "hafen", 'site = "hafen"\n')
    assert "hier ist kein Broker eingerichtet" in said(capsys, central, "broker", "site", "hafen", status=2)
    said(capsys, central, "broker", "configure", "--port", 18883)
    said(capsys, shop, "broker", "configure")
    let_in = said(capsys, central, "broker", "site", "hafen")
    handed_over = central / "broker" / "sites" / "hafen.toml"
    assert "Standort hafen: darf unter sites/hafen/ sprechen und nirgends sonst" in let_in
    assert f"als Nächstes: dem Broker SIGHUP senden, {handed_over}\n" in let_in
    assert 'config.toml: serves = ["hafen"]' in let_in
    joined = said(capsys, shop, "broker", "bridge", handed_over)
    assert "was Knoten hierher senden, geht weiter an localhost:18883, unter sites/hafen/" in joined
    assert f"als Nächstes: den Broker beenden und neu starten: `mosquitto -c {shop}/broker/mosquitto.conf`" in joined
    assert "Bestätigungen" not in joined
    served_there = said(capsys, shop, "broker", "bridge", handed_over, "--served-there")
    assert "Bestätigungen kommen von dort: hier keinen Sammler starten" in served_there


def test_a_proxy_is_set_up(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    folder = home(tmp_path / "daten")
    assert "niemand würde eingelassen" in said(capsys, folder, "proxy", "configure", status=2)
    told = said(capsys, folder, "proxy", "configure", "--user", "anna")
    for sentence in (
        f"{folder}/proxy: Einstellungen und Passwörter; nur der Besitzer kann sie lesen\n",
        'ergänzen (ein Name mit Punkt gehört in die Tabelle, mit der er beginnt):\n    dashboard.login = "proxy"\n',
        "Passwort von anna, nur dieses eine Mal gezeigt: ",
        f"jedes Telefon muss {folder}/authority/ca.pem trauen: die Datei dorthin kopieren",
        "als Nächstes: `proofing-monitor dashboard --port 8501` starten, dann\n",
        "und https://localhost:8443 öffnen\n",
    ):
        assert sentence in told


def test_what_servers_read_is_written_in_one_language(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = home(tmp_path / "daten")
    said(capsys, folder, "broker", "configure")
    said(capsys, folder, "proxy", "configure", "--user", "anna")
    for path in (folder / "broker" / "mosquitto.conf", folder / "proxy" / "nginx.conf"):
        assert "which writes it anew each time" in path.read_text()


# -- services ---------------------------------------------------------------------------------------------------------


@pytest.fixture
def machine(tmp_path: Path) -> Path:
    return home(tmp_path / "daten", "[upkeep]\nmetrics_port = 9464\n")


def test_units_are_written(capsys: pytest.CaptureFixture[str], machine: Path, tmp_path: Path) -> None:
    out = tmp_path / "units"
    program = ("--program", "/opt/monitor/proofing-monitor", "--user", "backstube")
    told = said(capsys, machine, "service", "--systemd", out, *program)
    assert "als Nächstes: sie nach /etc/systemd/system kopieren, dann\n      systemctl daemon-reload && " in told
    assert told.endswith("ein Paket von InfluxDB bringt seine eigene Unit mit\n")
    assert "Description=Proofing monitor: collector" in (out / "proofing-monitor.service").read_text()


def test_a_compose_file_is_written(capsys: pytest.CaptureFixture[str], machine: Path, tmp_path: Path) -> None:
    out = tmp_path / "aus"
    words = ("service", "--compose", str(out), "--central", "--user", "backstube", "--data-dir", str(machine))
    assert cli.main([*words]) == 0
    told = capsys.readouterr().out
    start = f"docker compose -f {out}/compose.yaml up --build --detach"
    assert f"als Nächstes: {start}\n" in told
    assert f"{out}/central-store: die Geheimnisse des zentralen Speichers; sein Token gehört in secrets.toml:\n" in told
    assert f"      influx_token = der Text von {out}/central-store/admin-token\n" in told
    assert words_of(told.replace(start, "")) & ENGLISH == set()
    assert "# Written by `proofing-monitor service --compose`" in (out / "compose.yaml").read_text()


def test_what_services_need_first_is_said(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    folder = home(tmp_path / "daten")
    told = said(capsys, folder, "service", "--compose", tmp_path / "aus", status=2)
    assert "ob es dem Sammler gut geht, wird über seine Kennzahlen gefragt" in told


# -- the central store ------------------------------------------------------------------------------------------------


class Central:
    """A line to a central store that holds as many of every table as it is told to."""

    held = 0

    def __init__(self, centre: Centre, token: str | None) -> None:
        self.done: list[str] = []

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        """Nothing is open."""

    def sites(self) -> list[str]:
        return []

    def rows(self, bucket: str, query: str) -> list[dict[str, int]]:
        return [{"n": self.held}]

    def do(self, bucket: str, statement: str) -> None:
        self.done.append(statement)


@pytest.fixture
def site(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A site that has a batch, one reading, and a central store."""
    monkeypatch.setattr("monitor.central.command.Link", Central)
    folder = home(tmp_path / "daten", 'site = "hafen"\n[central]\nurl = "http://127.0.0.1:8086"\n')
    with Store(folder / DATABASE_NAME) as store:
        store.add_batch(BREAD)
        store.append(READINGS[:1])
    return folder


def counted(capsys: pytest.CaptureFixture[str], data_dir: Path, status: int) -> tuple[str, list[str], str]:
    """What ``central verify`` says before its table, the table, whose names are the store's, and what it says after."""
    assert cli.main(["central", "verify", "--data-dir", str(data_dir)]) == status
    first, *lines = capsys.readouterr().out.splitlines()
    table = [line for line in lines if re.fullmatch(r"[a-z_]+ +\d+ hier +\d+ dort", line)]
    rest = " ".join(line for line in lines if line not in table)
    assert words_of(f"{first} {rest}") & ENGLISH == set()
    return first, table, rest


def test_both_ends_are_counted(capsys: pytest.CaptureFixture[str], site: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    first, table, rest = counted(capsys, site, 0)
    assert first == "2 Zeilen warten aufs Senden, 0 können nicht angenommen werden"
    assert f"{'reading':<14}{1:>12} hier{0:>12} dort" in table
    assert rest == ""
    monkeypatch.setattr(Central, "held", 1)
    assert f"{'reading':<14}{1:>12} hier{1:>12} dort" in counted(capsys, site, 0)[1]


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
    assert "liegt es nicht daran, sendet `proofing-monitor central verify --send-again` alles noch einmal" in said_rest


@pytest.mark.parametrize(("points", "taken"), [(0, "0 Punkte"), (1, "1 Punkt"), (2, "2 Punkte")])
def test_what_is_taken_in_is_counted(
    capsys: pytest.CaptureFixture[str], site: Path, monkeypatch: pytest.MonkeyPatch, points: int, taken: str
) -> None:
    monkeypatch.setattr(Follower, "look", lambda _: points)
    assert said(capsys, site, "central", "follow", "--once") == f"{taken} in {site}/sites übernommen\n"


def test_a_follower_says_what_it_does(
    capsys: pytest.CaptureFixture[str], site: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Follower, "look", lambda _: signal.raise_signal(signal.SIGTERM))
    before = {number: signal.getsignal(number) for number in (signal.SIGINT, signal.SIGTERM)}
    try:
        told = said(capsys, site, "central", "follow")
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
    assert told == f"folgt http://127.0.0.1:8086 und legt Kopien in {site}/sites ab (Strg-C beendet es)\n"


def test_a_central_store_is_made_ready(capsys: pytest.CaptureFixture[str], site: Path) -> None:
    assert cli.main(["central", "prepare", "--data-dir", str(site)]) == 0
    *_, last = capsys.readouterr().out.splitlines()
    assert last == ("-- nichts ist geschehen; mit --yes geschieht es. Nur InfluxDB 1 nimmt diese Anweisungen an")
    assert words_of(last) & ENGLISH == set()
    refused = said(capsys, site, "central", "prepare", "--keep-readings", 3, status=2)
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
    assert why in said(capsys, folder, "central", "verify", status=2)


# -- what `check` sees of a broker's files ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        (("allow_anonymous false", "allow_anonymous true"), "allow_anonymous ist true, sodass jeder als Knoten"),
        (("allow_anonymous false", ""), "allow_anonymous ist nicht gesetzt, sodass jeder als Knoten sprechen könnte"),
        (
            ("use_username_as_clientid true", ""),
            "use_username_as_clientid ist nicht gesetzt, sodass ein Knoten einen anderen über",
        ),
        (
            ("max_packet_size 65536", ""),
            "max_packet_size ist nicht gesetzt, sodass ein Knoten den Speicher des Brokers füllen",
        ),
        (("log_dest stderr", "listener 1883"), "er lauscht auf jeder Adresse ohne TLS"),
    ],
)
def test_settings_changed_by_hand_are_told(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, changed: tuple[str, str], told: str
) -> None:
    folder = home(tmp_path / "daten")
    said(capsys, folder, "broker", "configure")
    settings = folder / "broker" / "mosquitto.conf"
    settings.write_text(settings.read_text().replace(*changed))
    assert cli.main(["check", "--data-dir", str(folder)]) == 1
    assert f"Dateien von broker: {told}" in capsys.readouterr().out


def test_a_certificate_that_cannot_be_read_is_told(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    folder = home(tmp_path / "daten")
    said(capsys, folder, "broker", "configure")
    certificate = folder / "broker" / "server.pem"
    certificate.write_text("Mehl, Wasser, Salz\n")
    assert cli.main(["check", "--data-dir", str(folder)]) == 1
    assert f"Dateien von broker: {certificate}: ist kein Zertifikat in PEM-Form (" in capsys.readouterr().out

"""Broker, proxy and services, and what `check` sees of them, answer in the language of the settings."""

from pathlib import Path

import pytest
from german import english_words, home, said, words_of

from monitor import cli


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


@pytest.fixture
def machine(tmp_path: Path) -> Path:
    return home(tmp_path / "daten", "[upkeep]\nmetrics_port = 9464\n")


def test_units_are_written(capsys: pytest.CaptureFixture[str], machine: Path, tmp_path: Path) -> None:
    out = tmp_path / "units"
    program = ("--program", "/opt/monitor/proofing-monitor", "--user", "backstube")
    told = said(capsys, machine, "service", "--systemd", out, *program)
    assert f"als Nächstes, als root in diesem Ordner:\n      systemd-sysusers {out}/" in told
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
    assert words_of(told.replace(start, "")) & english_words() == set()
    assert "# Written by `proofing-monitor service --compose`" in (out / "compose.yaml").read_text()


def test_what_services_need_first_is_said(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    folder = home(tmp_path / "daten")
    told = said(capsys, folder, "service", "--compose", tmp_path / "aus", status=2)
    assert "ob es dem Sammler gut geht, wird über seine Kennzahlen gefragt" in told


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

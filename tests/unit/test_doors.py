"""The doors' files: what is generated, what is refused, and what `check` would find wrong with them."""

import ssl
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from monitor.cli import main
from monitor.errors import ConfigError
from monitor.remote_access import broker, proxy
from monitor.remote_access.certificates import (
    AUTHORITY_FOR,
    CERTIFICATE_FOR,
    WARN_BEFORE,
    given_pair,
    kept_pair,
    own_authority,
    own_pair,
    pair_faults,
)
from monitor.remote_access.dashboard_server import dashboard_command
from monitor.remote_access.settings_files import add_secrets, settings_to_add

NOW = datetime(2026, 3, 2, 5, 40, tzinfo=UTC)


# -- certificates -----------------------------------------------------------------------------------------------------


def test_a_certificate_is_kept_while_it_holds_and_made_anew_when_not(tmp_path: Path) -> None:
    folder = tmp_path / "broker"
    pair = own_pair(tmp_path, folder, ["bakery.lan", "192.168.1.20"], NOW)
    first = pair.certificate.read_bytes()
    assert pair_faults(pair, ["localhost", "127.0.0.1", "::1", "Bakery.lan", "192.168.1.20"], NOW) == []
    own_pair(tmp_path, folder, ["bakery.lan"], NOW + timedelta(days=1))
    assert pair.certificate.read_bytes() == first
    own_pair(tmp_path, folder, ["oven.lan"], NOW)
    assert pair.certificate.read_bytes() != first
    assert "does not hold for bakery.lan" in pair_faults(pair, ["bakery.lan"], NOW)[0]
    late = NOW + CERTIFICATE_FOR - WARN_BEFORE + timedelta(days=1)
    assert "holds only until" in pair_faults(pair, [], late)[0]
    own_pair(tmp_path, folder, ["oven.lan"], late)
    assert pair_faults(pair, ["oven.lan"], late) == []


def test_the_authority_is_made_once_and_no_server_can_sign(tmp_path: Path) -> None:
    ca = own_authority(tmp_path, NOW)
    first = ca.read_bytes()
    assert own_authority(tmp_path, NOW + AUTHORITY_FOR / 2).read_bytes() == first
    pair = own_pair(tmp_path, tmp_path / "proxy", [], NOW)
    decoded = ssl._ssl._test_decode_cert(str(pair.certificate))  # type: ignore[attr-defined]
    assert ("DNS", "localhost") in decoded["subjectAltName"]
    for path in (ca, ca.with_name("ca.key"), pair.key, pair.certificate):
        assert path.stat().st_mode & 0o077 == 0


def test_a_given_certificate_needs_its_own_key(tmp_path: Path) -> None:
    one = own_pair(tmp_path, tmp_path / "one", [], NOW)
    other = own_pair(tmp_path, tmp_path / "other", [], NOW)
    assert given_pair(one.certificate, one.key, None).certificate == one.certificate
    with pytest.raises(ConfigError, match="is not the key of"):
        given_pair(one.certificate, other.key, None)
    with pytest.raises(ConfigError, match="no certificate in PEM"):
        given_pair(one.key, one.key, None)
    with pytest.raises(ConfigError, match="cannot be read"):
        given_pair(tmp_path / "absent", one.key, None)
    stranger = tmp_path / "stranger"
    foreign = replace(one, ca=own_authority(stranger, NOW))
    assert pair_faults(foreign, [], NOW) == []  # of the same name; the key is what a client checks
    assert kept_pair(tmp_path, tmp_path / "one") == one


# -- the broker -------------------------------------------------------------------------------------------------------


def test_a_broker_listens_here_alone_unless_told_and_then_by_a_name() -> None:
    assert broker.BrokerOptions().listen == "127.0.0.1"
    with pytest.raises(ConfigError, match="--host"):
        broker.BrokerOptions(listen="0.0.0.0")
    with pytest.raises(ConfigError, match="go together"):
        broker.BrokerOptions(certificate="server.pem")


def test_passwords_are_kept_as_mosquitto_reads_them() -> None:
    kept = broker.hashed("a word", b"twelve bytes", 101)
    assert kept.startswith("$7$101$dHdlbHZlIGJ5dGVz$")
    assert broker.is_password("a word", kept)
    assert not broker.is_password("another", kept)
    assert not broker.is_password("a word", "$6$nonsense")


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        (("allow_anonymous false", "allow_anonymous true"), "anybody could speak"),
        (("allow_anonymous false", ""), "allow_anonymous is not set"),
        (("use_username_as_clientid true", ""), "cut another off"),
        (("max_packet_size 65536", "max_packet_size 9000000"), "fill the broker's memory"),
        (("acl_file", "#acl_file"), "acl_file is not set"),
        (("password_file", "# password_file"), "password_file is not set"),
        (("log_dest stderr", "listener 1883"), "listens on every address without TLS"),
        (("log_dest stderr", "listener 1883 192.168.1.20"), "listens on 192.168.1.20 without TLS"),
        (("certfile", "#certfile"), "listens on 0.0.0.0 without TLS"),
    ],
)
def test_settings_changed_by_hand_are_seen_through(tmp_path: Path, changed: tuple[str, str], said: str) -> None:
    options = broker.BrokerOptions(listen="0.0.0.0", hosts=("bakery.lan",))
    text = broker.settings_text(tmp_path, options, kept_pair(tmp_path, tmp_path))
    assert broker.settings_faults(text) == []
    assert broker.settings_faults(text.replace("log_dest stderr", "listener 1883 127.0.0.1")) == []
    assert any(said in fault for fault in broker.settings_faults(text.replace(*changed)))


# -- the proxy --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "name", ["anna:x", 'anna"; evil', "a b", "", "anna\n", "$remote_user", "-x", "ä", "a" * 65, "Anna", "default"]
)
def test_names_that_would_say_more_to_nginx_are_refused(name: str) -> None:
    with pytest.raises(ConfigError, match="letters, digits"):
        proxy.with_new_users({}, [name])


@pytest.mark.parametrize("host", ["bakery.lan; evil", "a b", "x{", "$host", 'a"b'])
def test_hosts_that_would_say_more_to_nginx_are_refused(host: str) -> None:
    with pytest.raises(ConfigError, match="no host's name"):
        proxy.ProxyOptions(hosts=(host,))


def test_every_password_is_drawn_and_told_once(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    def configured(*options: str) -> str:
        assert main(["proxy", "configure", "--data-dir", str(tmp_path), *options]) == 0
        return capsys.readouterr().out

    assert main(["proxy", "configure", "--data-dir", str(tmp_path)]) == 2
    assert "--user NAME" in capsys.readouterr().err
    assert configured("--user", "anna", "--user", "shop").count("shown this once") == 2
    first = proxy.kept_users(tmp_path)
    secret = (tmp_path / "secrets.toml").read_text()
    assert "shown this once" not in configured("--port", "9443")
    assert proxy.kept_users(tmp_path) == first
    assert (tmp_path / "secrets.toml").read_text() == secret
    configured("--remove", "shop")
    assert set(proxy.kept_users(tmp_path)) == {"anna"}
    options = proxy.read_options(tmp_path)
    assert options is not None
    assert options.addresses == ("https://localhost:9443",)


# -- the dashboard ----------------------------------------------------------------------------------------------------


def put(folder: Path, text: str, login: str = "") -> None:
    (folder / "config.toml").write_text(text)
    if login:
        (folder / "login.toml").write_text(login)
        (folder / "login.toml").chmod(0o600)


LOGIN = f"""[auth]
redirect_uri = "https://bakery.lan:8501/oauth2callback"
cookie_secret = "{"x" * 32}"
client_id = "monitor"
client_secret = "y"
server_metadata_url = "https://id.example/.well-known/openid-configuration"
"""
OIDC = '[dashboard]\nlogin = "oidc"\naddress = "https://bakery.lan:8501"\nbakers = ["anna@example.org"]\n'


def test_the_dashboard_opens_to_others_only_with_a_log_in_and_tls(tmp_path: Path) -> None:
    command, _ = dashboard_command(tmp_path, 8501)
    assert command[command.index("--address") + 1] == "127.0.0.1"
    assert "--opened" not in command
    pair = own_pair(tmp_path, tmp_path / "own", ["bakery.lan"], NOW)
    with pytest.raises(ConfigError, match="everybody on that network could look and write"):
        dashboard_command(tmp_path, 8501, "0.0.0.0", pair.certificate, pair.key)
    put(tmp_path, '[dashboard]\nlogin = "proxy"\nbakers = ["anna"]\n')
    add_secrets(tmp_path, {}, "the proxy's own")
    with pytest.raises(ConfigError, match="stays on this machine"):
        dashboard_command(tmp_path, 8501, "0.0.0.0", pair.certificate, pair.key)
    put(tmp_path, OIDC, LOGIN)
    with pytest.raises(ConfigError, match="give --certificate and --key"):
        dashboard_command(tmp_path, 8501, "0.0.0.0")
    command, _ = dashboard_command(tmp_path, 8501, "0.0.0.0", pair.certificate, pair.key)
    assert command[command.index("--certificate") + 1] == str(pair.certificate)
    assert command[command.index("--opened") + 1] == "https://bakery.lan:8501"
    assert command[command.index("--login-file") + 1] == str(tmp_path / "login.toml")


def test_the_dashboard_is_told_its_folder_wherever_it_runs(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "practice").mkdir()
    monkeypatch.chdir(tmp_path)
    command, _ = dashboard_command(Path("practice"), 8501)
    assert command[command.index("--data-dir") + 1] == str(tmp_path / "practice")


def test_a_folder_that_is_not_there_is_not_shown_as_an_empty_one(tmp_path: Path) -> None:
    with pytest.raises(ConfigError, match="there is no such folder"):
        dashboard_command(tmp_path / "mistyped", 8501)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("left", ["secrets.toml", "login.toml", "config.toml"])
def test_settings_that_should_be_there_and_are_not_open_nothing(tmp_path: Path, left: str) -> None:
    if left == "secrets.toml":
        add_secrets(tmp_path, {}, "the proxy's own")
    elif left == "login.toml":
        (tmp_path / left).write_text(LOGIN)
    else:
        (tmp_path / left).symlink_to(tmp_path / "on a disk that is not there")
    with pytest.raises(ConfigError, match=r"config\.toml"):
        dashboard_command(tmp_path, 8501)


@pytest.mark.parametrize(
    ("login", "said"),
    [
        (LOGIN.replace("client_secret", "client_secrt"), "lacks client_secret"),
        (LOGIN.replace("x" * 32, "short"), "at least 32 characters"),
        ("[oauth]\n", r"needs a table \[auth\]"),
        ("[auth\n", "cannot be used"),
    ],
)
def test_a_log_in_that_would_let_nobody_in_is_explained(tmp_path: Path, login: str, said: str) -> None:
    put(tmp_path, OIDC, login)
    with pytest.raises(ConfigError, match=said):
        dashboard_command(tmp_path, 8501)


def test_a_log_in_file_that_others_can_read_is_refused(tmp_path: Path) -> None:
    put(tmp_path, OIDC, LOGIN)
    (tmp_path / "login.toml").chmod(0o640)
    with pytest.raises(ConfigError, match="run: chmod 600"):
        dashboard_command(tmp_path, 8501)


# -- lines added to files that people write ---------------------------------------------------------------------------


def test_secrets_are_added_and_nothing_else_is_touched(tmp_path: Path) -> None:
    path = tmp_path / "secrets.toml"
    path.write_text('# mine\nnotify_urls = ["ntfy://x"]\n\n[mqtt_passwords] # theirs\n"me@oven:1883" = "a"\n')
    add_secrets(tmp_path, {"collector@localhost:8883": 'quo"te'}, "s")
    assert path.read_text() == (
        '# mine\nnotify_urls = ["ntfy://x"]\nproxy_secret = "s"\n\n[mqtt_passwords] # theirs\n'
        '"me@oven:1883" = "a"\n"collector@localhost:8883" = "quo\\"te"\n'
    )
    assert path.stat().st_mode & 0o077 == 0
    before = path.read_bytes()
    add_secrets(tmp_path, {"collector@localhost:8883": 'quo"te'}, "s")
    assert path.read_bytes() == before
    with pytest.raises(ConfigError, match="another collector@localhost:8883; take it out"):
        add_secrets(tmp_path, {"collector@localhost:8883": "another"})
    assert path.read_bytes() == before


def test_settings_that_are_there_are_told_and_never_rewritten(tmp_path: Path) -> None:
    lines = {"mqtt": ["mqtts://collector@localhost:8883"], "dashboard.login": "proxy"}
    assert settings_to_add(tmp_path, lines) == []
    assert settings_to_add(tmp_path, lines) == []
    (tmp_path / "config.toml").write_text("temp_unit = 'F'\n")
    assert settings_to_add(tmp_path, lines) == [
        'mqtt = ["mqtts://collector@localhost:8883"]',
        'dashboard.login = "proxy"',
    ]
    assert (tmp_path / "config.toml").read_text() == "temp_unit = 'F'\n"

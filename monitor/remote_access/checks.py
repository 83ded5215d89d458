"""Looks at the doors for `check`: what their files say, and what the broker that runs really lets in."""

from collections.abc import Callable, Iterator
from datetime import datetime
from pathlib import Path

from monitor.clock import SystemClock
from monitor.errors import ConfigError
from monitor.files import bounded_bytes, privacy_fault
from monitor.health.findings import Finding, Findings
from monitor.network import is_loopback
from monitor.remote_access import broker, proxy
from monitor.remote_access.certificates import CA_KEY_NAME, FOLDER, KEY_NAME, Pair, given_pair, kept_pair, pair_faults
from monitor.remote_access.dashboard_server import login_file
from monitor.settings.access import Login
from monitor.settings.brokers import MqttAddress
from monitor.settings.config import Config
from monitor.settings.data_dir import LOGIN_NAME
from monitor.sources.broker_probe import Answer, Try, tried
from monitor.sources.claim import STANDBY, claim_of, retained
from monitor.translatable import Translatable

STRANGE_TOPIC = "proofing/mac-0200000000000000/pack"  # of a node that nobody has
OWN_TOPIC = f"proofing/{broker.PROBE}/pack"
_AGAIN = Translatable("run `proofing-monitor broker configure` again, then send the broker SIGHUP")


def looked_at_doors(config: Config, now: datetime) -> Findings:
    """All there is to see of broker, proxy and log-in."""
    for name, look in (("broker", _broker_files), ("proxy", _proxy_files)):
        yield from _told(name, look, config, now)
    yield from _login(config)


def looked_at_broker(config: Config, address: MqttAddress) -> Findings:
    """What a broker that answers lets in: strangers, one node as another, packets that are too large."""
    what = Translatable("broker {url}", url=address.url)
    stranger = tried(address, config.mqtt_ca_file, Try())
    if stranger is Answer.UNTRUSTED:
        yield Finding(
            Translatable("{what}: its certificate is not trusted", what=what),
            Translatable("set mqtt_ca_file to the authority's certificate, or mend the host's name"),
        )
        return
    if stranger is Answer.TAKEN:
        yield Finding(
            Translatable("{what}: lets in anybody without a password", what=what),
            Translatable("set allow_anonymous false; `broker configure` writes it so"),
        )
    elif stranger is Answer.REFUSED:
        yield Finding(Translatable("{what}: turns strangers away", what=what))
    password = config.secrets.mqtt_passwords.get(f"{broker.PROBE}@{address.host}:{address.port}")
    if password is None:
        return
    wrong_topic = tried(address, config.mqtt_ca_file, Try(broker.PROBE, password, STRANGE_TOPIC, 1))
    too_large = tried(
        address, config.mqtt_ca_file, Try(broker.PROBE, password, OWN_TOPIC, broker.LARGEST_PACKET_BYTES + 1)
    )
    for answer, is_right, is_wrong in (
        (
            wrong_topic,
            Translatable("keeps each node to its own topics"),
            Translatable("lets one node speak as another"),
        ),
        (too_large, Translatable("refuses packets over 64 KiB"), Translatable("takes packets over 64 KiB")),
    ):
        if answer is Answer.REFUSED:
            yield Finding(Translatable("{what}: {found}", what=what, found=is_right))
        elif answer is Answer.TAKEN:
            yield Finding(Translatable("{what}: {found}", what=what, found=is_wrong), _AGAIN)
        else:
            yield Finding(
                Translatable("{what}: did not say whether it {is_right}", what=what, is_right=is_right),
                Translatable("look into the broker's log"),
            )
    yield _claimed(config, address)


def _claimed(config: Config, address: MqttAddress) -> Finding:
    """Which collector serves the site, as its broker has it."""
    looker = MqttAddress(address.host, address.port, STANDBY, address.scheme)
    password = config.secrets.mqtt_passwords.get(looker.key)
    what = Translatable("broker {url}", url=address.url)
    if password is None:
        return Finding(
            Translatable(
                "{what}: was set up before collectors claimed their site, so two at once would disturb it", what=what
            ),
            _AGAIN,
        )
    try:
        found = claim_of(retained(looker, password, config.mqtt_ca_file, SystemClock()))
    except OSError as err:
        silent = Translatable("{what}: did not say who serves the site ({why})", what=what, why=err)
        return Finding(silent, Translatable("look into the broker's log"))
    if found is None or found.is_left:
        return Finding(Translatable("{what}: no collector serves the site {site!r} now", what=what, site=config.site))
    machine = found.holder.machine
    return Finding(
        Translatable(
            "{what}: the collector on {machine} serves the site {site!r}", what=what, machine=machine, site=config.site
        )
    )


def _told(name: str, look: Callable[[Config, datetime], Iterator[str]], config: Config, now: datetime) -> Findings:
    """Every fault as what is wrong and what to do; a sentence in praise when there is none."""
    folder = config.data_dir / name
    files = Translatable("{name} files", name=name)
    if not folder.exists():
        return
    try:
        faults = list(look(config, now))
    except ConfigError as err:
        faults = [err.message]
    mend = Translatable("mend that, or run `proofing-monitor {name} configure` again", name=name)
    for fault in faults:
        yield Finding(Translatable("{files}: {fault}", files=files, fault=fault), mend)
    if not faults:
        yield Finding(Translatable("{files}: nothing is open that should not be", files=files))


def _broker_files(config: Config, now: datetime) -> Iterator[str]:
    folder = broker.broker_folder(config.data_dir)
    options = broker.read_options(config.data_dir)
    if options is None:
        raise ConfigError("{folder} is missing", folder=folder / broker.OPTIONS_NAME)
    settings = folder / broker.SETTINGS_NAME
    yield from _not_private(settings, folder / broker.PASSWORDS_NAME, folder / broker.ACCESS_NAME)
    yield from _not_private(config.data_dir / FOLDER / CA_KEY_NAME, folder / KEY_NAME, must_exist=False)
    yield from broker.settings_faults(bounded_bytes(settings, broker.LARGEST_BYTES).decode())
    wanted = broker.access_text(folder, config.publish.discovery)
    if bounded_bytes(folder / broker.ACCESS_NAME, broker.LARGEST_BYTES).decode() != wanted:
        yield Translatable(
            "{folder} was changed; what is in it cannot be vouched for", folder=folder / broker.ACCESS_NAME
        )
    hosts = () if is_loopback(options.listen) else options.hosts
    yield from pair_faults(_pair(config, folder, options), hosts, now)
    kept = broker.kept_passwords(folder)
    for user, password in broker.users_of(broker.radio_nodes(config.data_dir)).items():
        if not broker.is_password(password, kept.get(user, "")):
            yield Translatable("node {user} is not known to it, or by another password", user=user)


def _proxy_files(config: Config, now: datetime) -> Iterator[str]:
    folder = proxy.proxy_folder(config.data_dir)
    options = proxy.read_options(config.data_dir)
    if options is None:
        raise ConfigError("{folder} is missing", folder=folder / proxy.OPTIONS_NAME)
    settings = folder / proxy.SETTINGS_NAME
    yield from _not_private(settings, folder / proxy.USERS_NAME)
    yield from _not_private(folder / KEY_NAME, must_exist=False)
    yield from pair_faults(_pair(config, folder, options), options.hosts, now)
    if config.access.login is not Login.PROXY:
        yield Translatable('the screens do not ask it who is there; set login = "proxy" under [dashboard]')
        return
    if not config.secrets.proxy_secret or config.secrets.proxy_secret not in settings.read_text(encoding="utf-8"):
        yield Translatable("it does not show the secret by which the screens know it")
    nobodies = [name for name in proxy.kept_users(config.data_dir) if not config.access.may_enter(name)]
    if nobodies:
        yield Translatable(
            "{nobodies} can log in, but may do nothing: name them under bakers or viewers in [dashboard]",
            nobodies=", ".join(nobodies),
        )


def _pair(config: Config, folder: Path, options: broker.BrokerOptions | proxy.ProxyOptions) -> Pair:
    """The certificate that is shown; unlike configuring, looking makes none."""
    if options.certificate:
        return given_pair(Path(options.certificate), Path(options.key), None)
    return kept_pair(config.data_dir, folder)


def _not_private(*paths: Path, must_exist: bool = True) -> Iterator[str]:
    for path in paths:
        if path.exists():
            if fault := privacy_fault(path):
                yield Translatable("{path}: {fault}", path=path, fault=fault)
        elif must_exist:
            yield Translatable("{path} is missing", path=path)


def _login(config: Config) -> Findings:
    if config.access.login is not Login.OIDC:
        return
    try:
        login_file(config.data_dir)
    except ConfigError as err:
        yield Finding(Translatable("log-in: {why}", why=err), Translatable("mend {login_name}", login_name=LOGIN_NAME))
    else:
        yield Finding(Translatable("log-in: set up"))

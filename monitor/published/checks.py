"""Looks for `check` whether the collector can tell other programs what it knows: by its log-in, at its broker."""

from monitor.health.findings import Finding, Findings
from monitor.published.topics import ROOT, batch_topic
from monitor.settings.brokers import MqttAddress
from monitor.settings.config import Config
from monitor.sources.broker_probe import Answer, Try, tried
from monitor.store.collector_lock import is_collector_running
from monitor.translatable import Translatable

NO_BATCH = 0  # an empty message that nobody keeps, of a dough that there never is: nothing to whoever hears it
_AGAIN = Translatable(
    "run `proofing-monitor broker configure` again, then send it SIGHUP; at another broker let that user write there"
)


def looked_at_publisher(config: Config) -> Findings:
    """Whether the broker lets the publisher in, and lets it tell; nothing where nobody is to be told."""
    address = config.publish.mqtt
    if address is None:
        return
    if is_collector_running(config.data_dir):  # a broker that takes users for sessions would cut its log-in off
        yield Finding(
            Translatable(
                "broker {url}: not tried as {user}, by which the collector at work tells other programs",
                url=address.url,
                user=address.user or "-",
            )
        )
        return
    yield _tried(config, address)


def _tried(config: Config, address: MqttAddress) -> Finding:
    password = config.secrets.password_for(address)
    answer = tried(address, config.mqtt_ca_file, Try(address.user, password))
    holes = {"url": address.url, "user": address.user or "-", "root": ROOT}
    if answer is Answer.UNTRUSTED:
        return Finding(
            Translatable("broker {url}: its certificate is not trusted, so other programs are told nothing", **holes),
            Translatable("set mqtt_ca_file to the authority's certificate, or mend the host's name"),
        )
    if answer is Answer.SILENT:
        return Finding(
            Translatable("broker {url}: does not answer, so other programs are told nothing", **holes),
            Translatable("start it, or mend host and port in `publish.mqtt`"),
        )
    if answer is Answer.REFUSED:
        return Finding(
            Translatable("broker {url}: does not let in {user}, so other programs are told nothing", **holes),
            _AGAIN,
        )
    told = tried(address, config.mqtt_ca_file, Try(address.user, password, batch_topic(config.site, NO_BATCH)))
    if told is Answer.REFUSED:  # one that speaks no MQTT 5 does not say
        return Finding(
            Translatable("broker {url}: {user} may not write {root}/#, so other programs are told nothing", **holes),
            _AGAIN,
        )
    return Finding(Translatable("broker {url}: lets in {user}, who tells other programs", **holes))

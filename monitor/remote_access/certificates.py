"""An authority of one's own and the certificates it signs, for a bakery without a name in the world's directory."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from cryptography import x509
from cryptography.exceptions import UnsupportedAlgorithm
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import (
    Encoding,
    NoEncryption,
    PrivateFormat,
    load_pem_private_key,
)
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from monitor.errors import ConfigError
from monitor.files import bounded_bytes, write_private
from monitor.network import literal
from monitor.translatable import Translatable

FOLDER = "authority"
CA_NAME, CA_KEY_NAME = "ca.pem", "ca.key"
CERTIFICATE_NAME, KEY_NAME = "server.pem", "server.key"
HERE = ("localhost", "127.0.0.1", "::1")  # every certificate holds for this machine as seen from itself
AUTHORITY_FOR = timedelta(days=3650)  # judgement: a new one means going to every node and phone
CERTIFICATE_FOR = timedelta(
    days=800
)  # phones take no longer than 825 days even from an authority of one's own (from memory)
BACKDATED = timedelta(days=1)  # a phone's clock may be behind
WARN_BEFORE = timedelta(days=30)  # judgement
LARGEST_BYTES = 100_000


@dataclass(frozen=True, slots=True)
class Pair:
    """A server's certificate and its key, and the authority to trust for it (None: the machine's own ones)."""

    certificate: Path
    key: Path
    ca: Path | None


def own_authority(data_dir: Path, now: datetime) -> Path:
    """The certificate of this bakery's own authority, made when there is none; its key lies beside it."""
    folder = data_dir.absolute() / FOLDER
    ca, ca_key = folder / CA_NAME, folder / CA_KEY_NAME
    if ca.exists() and ca_key.exists():
        return ca
    key = ec.generate_private_key(ec.SECP256R1())
    name = _name("own authority of a proofing monitor")
    certificate = (
        _builder(name, name, key.public_key(), now, AUTHORITY_FOR)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_usage(signs_certificates=True), critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .sign(key, hashes.SHA256())
    )
    write_private(ca_key, _key_bytes(key))
    write_private(ca, certificate.public_bytes(Encoding.PEM))
    return ca


def kept_pair(data_dir: Path, folder: Path) -> Pair:
    """Where a server's certificate of our own lies, made or not."""
    return Pair(folder / CERTIFICATE_NAME, folder / KEY_NAME, data_dir.absolute() / FOLDER / CA_NAME)


def own_pair(data_dir: Path, folder: Path, hosts: Sequence[str], now: datetime) -> Pair:
    """A certificate for a server, signed by the own authority; a good one that is there is kept.

    Parameters
    ----------
    hosts
        Names and addresses by which others reach it; this machine's own are added.
    """
    ca = own_authority(data_dir, now)
    pair = kept_pair(data_dir, folder)
    wanted = tuple(dict.fromkeys((*HERE, *hosts)))
    if pair.certificate.exists() and pair.key.exists() and not pair_faults(pair, wanted, now):
        return pair
    signer, signed_by = _private_key(ca.with_name(CA_KEY_NAME)), certificate_of(ca)
    key = ec.generate_private_key(ec.SECP256R1())
    certificate = (
        _builder(_name(hosts[0] if hosts else HERE[0]), signed_by.subject, key.public_key(), now, CERTIFICATE_FOR)
        .add_extension(x509.SubjectAlternativeName([_general_name(host) for host in wanted]), critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(_usage(signs_certificates=False), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.AuthorityKeyIdentifier.from_issuer_public_key(signer.public_key()), critical=False)
        .sign(signer, hashes.SHA256())
    )
    write_private(pair.key, _key_bytes(key))
    write_private(pair.certificate, certificate.public_bytes(Encoding.PEM))
    return pair


def given_pair(certificate: Path, key: Path, ca: Path | None) -> Pair:
    """A certificate and key that someone else signed.

    Raises
    ------
    ConfigError
        When they cannot be read or do not belong together.
    """
    if certificate_of(certificate).public_key() != _private_key(key).public_key():
        raise ConfigError(
            "{key}: is not the key of {certificate}; give the two files that belong together",
            key=key,
            certificate=certificate,
        )
    if ca is not None:
        certificate_of(ca)
    return Pair(certificate.absolute(), key.absolute(), None if ca is None else ca.absolute())


def pair_faults(pair: Pair, hosts: Iterable[str], now: datetime) -> list[str]:
    """What is wrong with a server's certificate: its time, the hosts it holds for, its key, its authority."""
    try:
        certificate = certificate_of(pair.certificate)
        key = _private_key(pair.key)
        signed_by = None if pair.ca is None else certificate_of(pair.ca)
    except ConfigError as err:
        return [err.message]
    faults: list[str] = []
    until = certificate.not_valid_after_utc
    if until - now < WARN_BEFORE:
        faults.append(
            Translatable(
                "{certificate}: holds only until {until}; make a new one",
                certificate=pair.certificate,
                until=f"{until:%Y-%m-%d}",
            )
        )
    if certificate.not_valid_before_utc > now:
        faults.append(
            Translatable(
                "{certificate}: begins to hold at {day}; set the clock",
                certificate=pair.certificate,
                day=f"{certificate.not_valid_before_utc:%Y-%m-%d}",
            )
        )
    if certificate.public_key() != key.public_key():
        faults.append(
            Translatable("{key}: is not the key of {certificate}", key=pair.key, certificate=pair.certificate)
        )
    missing = [host for host in hosts if host.lower() not in _held_hosts(certificate)]
    if missing:
        faults.append(
            Translatable(
                "{certificate}: does not hold for {missing}", certificate=pair.certificate, missing=", ".join(missing)
            )
        )
    if signed_by is not None and certificate.issuer != signed_by.subject:
        faults.append(Translatable("{certificate}: was not signed by {ca}", certificate=pair.certificate, ca=pair.ca))
    return faults


def certificate_of(path: Path) -> x509.Certificate:
    """The first certificate of a PEM file.

    Raises
    ------
    ConfigError
        When there is none.
    """
    try:
        return x509.load_pem_x509_certificate(bounded_bytes(path, LARGEST_BYTES))
    except OSError as err:
        raise ConfigError(
            "{path}: cannot be read ({why}); give the path of a certificate (PEM)", path=path, why=err.strerror
        ) from err
    except (ValueError, UnsupportedAlgorithm) as err:
        raise ConfigError("{path}: is no certificate in PEM form ({why})", path=path, why=err) from err


def _private_key(path: Path) -> ec.EllipticCurvePrivateKey:
    try:
        # Ours are of this kind; of a key that was given only the public half is looked at, whatever its kind.
        return load_pem_private_key(bounded_bytes(path, LARGEST_BYTES), None)  # type: ignore[return-value]
    except OSError as err:
        raise ConfigError(
            "{path}: cannot be read ({why}); give the path of a key (PEM)", path=path, why=err.strerror
        ) from err
    except (ValueError, TypeError, UnsupportedAlgorithm) as err:
        raise ConfigError("{path}: is no private key in PEM form without a password", path=path) from err


def _held_hosts(certificate: x509.Certificate) -> frozenset[str]:
    try:
        names = certificate.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    except x509.ExtensionNotFound:
        return frozenset()
    found = (*names.get_values_for_type(x509.DNSName), *map(str, names.get_values_for_type(x509.IPAddress)))
    return frozenset(one.lower() for one in found)


def _general_name(host: str) -> x509.GeneralName:
    address = literal(host)
    try:
        return x509.DNSName(host) if address is None else x509.IPAddress(address)
    except ValueError as err:
        raise ConfigError("--host {host!r}: is no host's name in plain letters ({why})", host=host, why=err) from err


def _name(text: str) -> x509.Name:
    try:
        return x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, text)])
    except ValueError as err:  # longer than 64 characters
        raise ConfigError("--host {text!r}: cannot stand in a certificate ({why})", text=text, why=err) from err


def _builder(
    subject: x509.Name, issuer: x509.Name, key: ec.EllipticCurvePublicKey, now: datetime, lasts: timedelta
) -> x509.CertificateBuilder:
    return (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(issuer)
        .public_key(key)
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - BACKDATED)
        .not_valid_after(now + lasts)
    )


def _usage(*, signs_certificates: bool) -> x509.KeyUsage:
    return x509.KeyUsage(
        digital_signature=not signs_certificates,
        content_commitment=False,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        key_cert_sign=signs_certificates,
        crl_sign=signs_certificates,
        encipher_only=False,
        decipher_only=False,
    )


def _key_bytes(key: ec.EllipticCurvePrivateKey) -> bytes:
    return key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())

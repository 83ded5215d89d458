"""The files of a proxy that asks for name and password, over TLS, before anybody sees the screens.

nginx reads them as they are: ``nginx -c DIR/proxy/nginx.conf``, started by the user who owns them. Passwords are always
drawn (they are typed once into a phone that remembers them), so a salted hash that costs nothing is enough: nginx works
it out anew for each of the dozens of files of a page.

Some browsers send no password with a web socket (from memory). The socket is therefore let in by a cookie, which nginx
gives only together with a page that the password was right for.
"""

import base64
import getpass
import hashlib
import os
import re
import secrets
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path

from monitor.errors import ConfigError
from monitor.files import bounded_bytes, write_private
from monitor.network import is_loopback
from monitor.remote_access.certificates import Pair, given_pair, own_pair
from monitor.remote_access.settings_files import kept_options, write_table
from monitor.settings.access import SECRET_HEADER, USER_HEADER

FOLDER = "proxy"
SETTINGS_NAME, USERS_NAME, OPTIONS_NAME = "nginx.conf", "users", "options.toml"
COOKIE = "monitor_door"
COOKIE_S = 30 * 24 * 3600  # judgement: renewed with every page
PASSWORD_BYTES = 15  # 120 bits
LARGEST_BYTES = 1_000_000
USER_NAME = re.compile(r"[a-z0-9][a-z0-9._@+-]{0,63}")  # nginx's maps take no heed of capitals
RESERVED = ("default", "hostnames", "include", "volatile")  # words of nginx's own in a map
HOST_NAME = re.compile(r"[A-Za-z0-9.:-]{1,253}")


@dataclass(frozen=True, slots=True)
class ProxyOptions:
    """What the baker has chosen; kept, so that configuring again needs only what changes.

    Attributes
    ----------
    listen
        Address to listen on; this machine alone unless said otherwise.
    hosts
        Names and addresses that people open, for the certificate; the first is the one to tell them.
    certificate, key
        Files signed by someone else; empty for a certificate of one's own.
    dashboard_port
        Where the dashboard listens on this machine.
    """

    listen: str = "127.0.0.1"
    port: int = 8443
    hosts: tuple[str, ...] = ()
    certificate: str = ""
    key: str = ""
    dashboard_port: int = 8501

    def __post_init__(self) -> None:
        if not (1 <= self.port <= 65535 and 1 <= self.dashboard_port <= 65535):
            raise ConfigError("--port, --dashboard-port: must be from 1 to 65535")
        if bool(self.certificate) != bool(self.key):
            raise ConfigError("--certificate and --key go together: both, or neither for a certificate of your own")
        if not is_loopback(self.listen) and not self.hosts:
            raise ConfigError("--host: what do people open, such as bakery.lan? name it for the certificate")
        wrong = [host for host in (*self.hosts, self.listen) if not HOST_NAME.fullmatch(host)]
        if wrong:
            raise ConfigError("--host, --listen: {repr} is no host's name or address", repr=", ".join(map(repr, wrong)))

    @property
    def addresses(self) -> tuple[str, ...]:
        """What people open; the first is the one to tell them."""
        hosts = self.hosts or ("localhost",)
        return tuple(f"https://{f'[{host}]' if ':' in host else host}:{self.port}" for host in hosts)


def proxy_folder(data_dir: Path) -> Path:
    """Where the proxy's files lie."""
    return data_dir.absolute() / FOLDER


def read_options(data_dir: Path) -> ProxyOptions | None:
    """What was chosen before; None when no proxy was ever configured here.

    Raises
    ------
    ConfigError
        When the file cannot be understood.
    """
    return kept_options(proxy_folder(data_dir) / OPTIONS_NAME, ProxyOptions, "proxy")


def pair_of(data_dir: Path, options: ProxyOptions, now: datetime) -> Pair:
    """The certificate the proxy shows: the given one, or one of our own, made when there is none that holds."""
    if options.certificate:
        return given_pair(Path(options.certificate), Path(options.key), None)
    return own_pair(data_dir, proxy_folder(data_dir), options.hosts, now)


def kept_users(data_dir: Path) -> dict[str, str]:
    """User name -> hashed password, as the proxy's file has them; none before it was configured.

    Raises
    ------
    ConfigError
        When the file cannot be read.
    """
    path = proxy_folder(data_dir) / USERS_NAME
    try:
        text = bounded_bytes(path, LARGEST_BYTES).decode()
    except FileNotFoundError:
        return {}
    except (OSError, UnicodeDecodeError) as err:
        raise ConfigError("{path}: cannot be read ({why}); check its owner and rights", path=path, why=err) from err
    return dict(line.split(":", 1) for line in text.splitlines() if ":" in line)


def with_new_users(kept: dict[str, str], names: Iterable[str]) -> tuple[dict[str, str], dict[str, str]]:
    """The users with a new password for each of some names, and these passwords, to be told once.

    Raises
    ------
    ConfigError
        When a name has letters that the proxy's files would take for something else.
    """
    users, passwords = dict(kept), {}
    for name in names:
        if not USER_NAME.fullmatch(name) or name in RESERVED:
            raise ConfigError(
                "--user {name!r}: small letters, digits and . _ @ + - only, at most 64, no word of nginx's", name=name
            )
        passwords[name] = secrets.token_urlsafe(PASSWORD_BYTES)
        users[name] = hashed(passwords[name])
    return users, passwords


def hashed(password: str, salt: bytes | None = None) -> str:
    """A drawn password as nginx keeps it in a form of its own (``{SSHA}``: salted SHA-1)."""
    salt = secrets.token_bytes(16) if salt is None else salt
    return "{SSHA}" + base64.b64encode(hashlib.sha1(password.encode() + salt).digest() + salt).decode()


def write_proxy(data_dir: Path, options: ProxyOptions, users: dict[str, str], proxy_secret: str, now: datetime) -> Pair:
    """Write everything the proxy needs; returns the certificate it shows.

    Parameters
    ----------
    users
        User name -> hashed password.
    proxy_secret
        By which the dashboard knows this proxy from any other program on this machine.

    Raises
    ------
    ConfigError
        When a file cannot be written or a given certificate not be used.
    """
    folder = proxy_folder(data_dir)
    pair = pair_of(data_dir, options, now)
    tokens = {name: secrets.token_urlsafe(PASSWORD_BYTES) for name in users}
    write_private(folder / USERS_NAME, "".join(f"{name}:{word}\n" for name, word in users.items()))
    write_private(folder / SETTINGS_NAME, settings_text(folder, options, pair, tokens, proxy_secret))
    kept = {key: value for key, value in asdict(options).items() if value not in ("", ())}
    write_table(folder / OPTIONS_NAME, kept)
    return pair


def settings_text(folder: Path, options: ProxyOptions, pair: Pair, tokens: dict[str, str], proxy_secret: str) -> str:
    """The text of ``nginx.conf``."""
    as_root = f"user {getpass.getuser()};\n" if os.geteuid() == 0 else ""
    listen = f"[{options.listen}]" if ":" in options.listen else options.listen
    names = " ".join(dict.fromkeys((*options.hosts, "localhost")))
    by_cookie = "".join(f'    "{token}" "{name}";\n' for name, token in tokens.items())
    by_name = "".join(f'    "{name}" "{token}";\n' for name, token in tokens.items())
    temporary = "".join(
        f"  {kind}_temp_path {folder}/passing-{kind.split('_')[0]};\n"
        for kind in ("client_body", "proxy", "fastcgi", "uwsgi", "scgi")
    )
    upstream = f"""      proxy_pass http://127.0.0.1:{options.dashboard_port};
      proxy_http_version 1.1;
      proxy_set_header Host $http_host;
      proxy_set_header Authorization "";
      proxy_set_header {SECRET_HEADER} "{proxy_secret}";"""
    return f"""# Written by `proofing-monitor proxy configure`, which writes it anew each time. Holds secrets.
{as_root}worker_processes 1;
daemon off;
pid {folder}/nginx.pid;
error_log stderr warn;
events {{ worker_connections 512; }}
http {{
  access_log off;
  server_tokens off;
  map_hash_bucket_size 256;
{temporary}  map $http_upgrade $connection_kind {{ default upgrade; "" close; }}
  map ${"cookie_" + COOKIE} $door_user {{
    default "";
{by_cookie}  }}
  map $remote_user $door_token {{
    default "";
{by_name}  }}
  server {{
    listen {listen}:{options.port} ssl;
    server_name {names};
    ssl_certificate {pair.certificate};
    ssl_certificate_key {pair.key};
    ssl_protocols TLSv1.2 TLSv1.3;
    client_max_body_size 1m;
    auth_basic "Proofing monitor";
    auth_basic_user_file {folder}/{USERS_NAME};
    # Not with "always": an answer to a wrong password must not carry the cookie.
    add_header Set-Cookie "{COOKIE}=$door_token; Path=/; Max-Age={COOKIE_S}; Secure; HttpOnly; SameSite=Strict";
    location / {{
{upstream}
      proxy_set_header {USER_HEADER} $remote_user;
    }}
    # Programs for calendars pass no log-in: the address holds a key, which no log may keep.
    location ~ ^/calendar/[A-Za-z0-9_-]+\\.ics$ {{
      auth_basic off;
      add_header Set-Cookie "";
      error_log /dev/null;
      proxy_pass http://127.0.0.1:{options.dashboard_port}$uri;
      proxy_set_header Host $http_host;
      proxy_set_header Authorization "";
      proxy_set_header {USER_HEADER} "";
    }}
    location ~ /_stcore/stream$ {{
      auth_basic off;
      if ($door_user = "") {{ return 403; }}
{upstream}
      proxy_set_header {USER_HEADER} $door_user;
      proxy_set_header Upgrade $http_upgrade;
      proxy_set_header Connection $connection_kind;
      proxy_read_timeout 1d;
      proxy_buffering off;
    }}
  }}
}}
"""

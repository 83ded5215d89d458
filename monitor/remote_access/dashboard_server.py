"""How the dashboard is started: on this machine alone, or with a log-in and TLS."""

import importlib.util
import tomllib
from pathlib import Path

from monitor.child import child_command
from monitor.errors import ConfigError
from monitor.files import bounded_bytes, privacy_fault
from monitor.network import LOOPBACK, is_loopback
from monitor.remote_access.certificates import given_pair
from monitor.remote_access.proxy import read_options
from monitor.settings.access import Access, Login, load_access
from monitor.settings.data_dir import LOGIN_NAME

LARGEST_BYTES = 100_000
LEAST_COOKIE_SECRET = 32  # characters; judgement


def dashboard_command(
    data_dir: Path, port: int, address: str = LOOPBACK, certificate: Path | None = None, key: Path | None = None
) -> tuple[list[str], Path]:
    """The command that shows the dashboard of a data directory, and the folder to run it in.

    Raises
    ------
    ConfigError
        When the dashboard is not installed, would let strangers look, or cannot let anybody log in.
    """
    spec = importlib.util.find_spec("dashboard")
    if importlib.util.find_spec("streamlit") is None:
        raise ModuleNotFoundError(name="streamlit")
    if spec is None or not spec.submodule_search_locations:
        raise ConfigError("the dashboard is not installed; install the whole package: pip install proofing-monitor")
    data_dir = data_dir.absolute()  # the dashboard runs in another folder
    access, _ = load_access(data_dir)
    if not is_loopback(address):
        _check_open(access, address, certificate)
    folder = Path(next(iter(spec.submodule_search_locations)))
    command = child_command("dashboard", "--data-dir", data_dir, "--login", access.login)
    command += ["--address", address, "--port", str(port)]
    if certificate is not None or key is not None:
        if certificate is None or key is None:
            raise ConfigError("--certificate and --key go together")
        pair = given_pair(certificate, key, None)
        command += ["--certificate", str(pair.certificate), "--key", str(pair.key)]
    if access.login is Login.OIDC:
        command += ["--login-file", str(login_file(data_dir))]
    for opened in _opened(data_dir, access):
        command += ["--opened", opened]
    return command, folder


def _opened(data_dir: Path, access: Access) -> tuple[str, ...]:
    """The addresses that people open, besides the loopback: that of the settings, and the proxy's."""
    options = read_options(data_dir) if access.login is Login.PROXY else None
    found = (access.address, *(() if options is None else options.addresses))
    return tuple(dict.fromkeys(filter(None, found)))


def _check_open(access: Access, address: str, certificate: Path | None) -> None:
    """Refuse to listen beyond this machine without a log-in and TLS."""
    if access.login is Login.PROXY:
        raise ConfigError(
            "--address {address}: the proxy is what others reach; the dashboard behind it stays on "
            "this machine. Leave --address out",
            address=address,
        )
    if access.login is not Login.OIDC:
        raise ConfigError(
            "--address {address}: everybody on that network could look and write. For a household, "
            "`proofing-monitor proxy configure` puts a password in front; or let people log in with "
            'an e-mail address: login = "oidc" under [dashboard], and {login_name} (see the README)',
            address=address,
            login_name=LOGIN_NAME,
        )
    if certificate is None:
        raise ConfigError(
            "--address {address}: what is shown could be read on the way; give --certificate and --key", address=address
        )
    if not access.address:
        raise ConfigError(
            '--address: say under [dashboard] what people open, such as address = "https://bakery.lan:8501"'
        )


def login_file(data_dir: Path) -> Path:
    """The file that says whom people log in at, looked through.

    Raises
    ------
    ConfigError
        When it is not there, others can read it, or something is missing in it.
    """
    path = (data_dir / LOGIN_NAME).absolute()
    if importlib.util.find_spec("authlib") is None:
        raise ConfigError("logging in needs one more package: pip install 'streamlit[auth]'")
    try:
        fault = privacy_fault(path)
        table = tomllib.loads(bounded_bytes(path, LARGEST_BYTES).decode())
    except FileNotFoundError:
        raise ConfigError(
            "{path}: there is no such file; it has to say whom people log in at ([auth])", path=path
        ) from None
    except (OSError, ValueError) as err:
        raise ConfigError("{path}: cannot be used: {why}", path=path, why=err) from err
    auth = table.get("auth")
    if fault:
        raise ConfigError("{path}: {why}", path=path, why=fault)
    if not isinstance(auth, dict):
        raise ConfigError("{path}: needs a table [auth]", path=path)
    wanted = ("redirect_uri", "cookie_secret", "client_id", "client_secret", "server_metadata_url")
    missing = [name for name in wanted if not isinstance(auth.get(name), str) or not auth[name]]
    if missing:
        raise ConfigError("{path}: [auth] lacks {missing}", path=path, missing=", ".join(missing))
    if len(auth["cookie_secret"]) < LEAST_COOKIE_SECRET:
        raise ConfigError(
            "{path}: cookie_secret must be drawn, of at least {least_cookie_secret} characters",
            path=path,
            least_cookie_secret=LEAST_COOKIE_SECRET,
        )
    return path

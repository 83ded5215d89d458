"""A real InfluxDB for tests: version 1.6.7 as Debian has it, behind an nginx that gives it the front of version 2.

The nginx takes writes at ``/api/v2/write`` and a token, as version 2 does, and hands them on as version 1 wants them.
It asks for the token before a query too. Everything else is the server's own. A token is known while a file of its name
is there, so a change holds from the next request on; a reload would leave an old worker answering for a while.
"""

import json
import os
import shutil
import socket
import subprocess
import urllib.error
import urllib.parse
import urllib.request
from pathlib import Path
from typing import Any

import pytest
from harness import PATIENCE_S, free_port, nginx_binary, wait_until

TOKEN = "an-invented-token"
BUCKET = "proofing"

_SERVER = """reporting-disabled = true
bind-address = "127.0.0.1:{rpc}"
[meta]
  dir = "{folder}/meta"
[data]
  dir = "{folder}/data"
  wal-dir = "{folder}/wal"
  query-log-enabled = false
[http]
  bind-address = "127.0.0.1:{http}"
  log-enabled = false
[monitor]
  store-enabled = false
"""
_FRONT = """{user}daemon off;
pid {folder}/front.pid;
error_log {folder}/front.log warn;
events {{}}
http {{
  access_log off;
  client_max_body_size 25m;
  client_body_buffer_size 25m;
  proxy_max_temp_file_size 0;
  client_body_temp_path {folder}/front-body;
  proxy_temp_path {folder}/front-proxy;
  fastcgi_temp_path {folder}/front-fastcgi;
  uwsgi_temp_path {folder}/front-uwsgi;
  scgi_temp_path {folder}/front-scgi;
  map $arg_precision $old_precision {{ default n; ns n; us u; ms ms; s s; }}
  map $http_authorization $token {{ default none; "~^Token (?<name>[a-z-]+)$" $name; }}
  server {{
    listen 127.0.0.1:{port};
    location = /api/v2/write {{
      if (!-f {folder}/tokens/$token) {{ return 401 '{{"code":"unauthorized","message":"unauthorized access"}}'; }}
      set $args "db=$arg_bucket&precision=$old_precision";
      rewrite ^ /write break;
      proxy_set_header Authorization "";
      proxy_pass http://127.0.0.1:{http};
    }}
    location = /query {{
      if (!-f {folder}/tokens/$token) {{ return 401 '{{"code":"unauthorized","message":"unauthorized access"}}'; }}
      proxy_set_header Authorization "";
      proxy_pass http://127.0.0.1:{http};
    }}
  }}
}}
"""


def influxd_binary() -> str | None:
    """The server's program, where the front's is there too."""
    found = shutil.which("influxd") or shutil.which("influxd", path="/usr/sbin:/usr/local/bin:/opt/homebrew/bin")
    return found if nginx_binary() else None


class Influx:
    """The server and its front on free loopback ports, to be stopped, killed and started again."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        folder.mkdir(parents=True, exist_ok=True)
        self.http_port, self.port = free_port(), free_port()
        self.url = f"http://127.0.0.1:{self.port}"
        self._processes: dict[str, subprocess.Popen[bytes]] = {}
        # started by root, the front would become a user who cannot see into a test's folder
        user = "user root;\n" if os.geteuid() == 0 else ""
        self._places = {"folder": folder, "http": self.http_port, "rpc": free_port(), "port": self.port, "user": user}
        (folder / "server.conf").write_text(_SERVER.format(**self._places))
        (folder / "front.conf").write_text(_FRONT.format(**self._places))
        self._tokens = folder / "tokens"
        self._tokens.mkdir()
        self.let_in(TOKEN)

    def start(self) -> None:
        """Start both and wait until they answer; the bucket is there then."""
        server = influxd_binary() or pytest.fail("influxd or nginx is not installed (Debian: influxdb, nginx-light)")
        self._run("server", [server, "-config", str(self.folder / "server.conf")], self.http_port)
        if "front" not in self._processes:
            self._run("front", [nginx_binary() or "nginx", "-c", str(self.folder / "front.conf")], self.port)
        wait_until(self._is_up, "influxd answers")
        self.do(f'CREATE DATABASE "{BUCKET}"')

    @property
    def server_pid(self) -> int:
        """The process of the server itself."""
        return self._processes["server"].pid

    def let_in(self, token: str) -> None:
        """Take this token alone from now on."""
        (self._tokens / token).touch()
        for other in self._tokens.iterdir():
            if other.name != token:
                other.unlink()

    def kill(self) -> None:
        """End the server as a power cut does; its front stays, and answers 502."""
        self._processes["server"].kill()
        self._processes.pop("server").wait(PATIENCE_S)

    def stop(self) -> None:
        """End both."""
        for process in self._processes.values():
            process.terminate()
        for process in self._processes.values():
            process.wait(PATIENCE_S)
        self._processes.clear()

    def do(self, statement: str, bucket: str = BUCKET) -> list[dict[str, Any]]:
        """Carry out a statement at the server itself; the series of its answer come back."""
        asked = urllib.parse.urlencode({"db": bucket, "q": statement, "epoch": "ns"})
        request = urllib.request.Request(f"http://127.0.0.1:{self.http_port}/query", data=asked.encode())
        with urllib.request.urlopen(request, timeout=PATIENCE_S) as answer:
            (result,) = json.load(answer)["results"]
        assert "error" not in result, result
        return list(result.get("series", []))

    def count(self, measurement: str, field: str, bucket: str = BUCKET) -> int:
        """How many points of a measurement have a field."""
        series = self.do(f'SELECT count("{field}") FROM "{measurement}"', bucket)
        return int(series[0]["values"][0][1]) if series else 0

    def write(self, line: str) -> None:
        """Write one line as some other program would."""
        address = f"http://127.0.0.1:{self.http_port}/write?db={BUCKET}"
        urllib.request.urlopen(urllib.request.Request(address, data=line.encode()), timeout=PATIENCE_S).close()

    def _run(self, name: str, command: list[str], port: int) -> None:
        with (self.folder / f"{name}.out").open("ab") as log:
            self._processes[name] = subprocess.Popen(command, stdout=log, stderr=log)

        def listens() -> bool:
            if self._processes[name].poll() is not None:
                pytest.fail(f"{command[0]} ended: {(self.folder / f'{name}.out').read_text()[-2000:]}")
            try:
                socket.create_connection(("127.0.0.1", port), 1.0).close()
            except OSError:
                return False
            return True

        wait_until(listens, f"{name} listens")

    def _is_up(self) -> bool:
        try:
            urllib.request.urlopen(f"http://127.0.0.1:{self.http_port}/ping", timeout=2).close()
        except (urllib.error.URLError, OSError):
            return False
        return True

"""Pages of strangers in the baker's own browser: a name made to lead to the loopback, another local port, a frame."""

import functools
import http.client
import socket
import threading
from collections.abc import Iterator
from contextlib import closing
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import pytest
import streamlit
from harness import PATIENCE_S
from playwright.sync_api import Browser, Page, expect
from sample_bakery import fill
from served import STRANGER, Served

from monitor.settings.data_dir import DATABASE_NAME
from monitor.store.store import Store

# What a stranger's page tries on the screens at ``port``: their socket, an answer of theirs, and a frame around them.
ATTACK = """<!doctype html><title>A stranger's page</title><iframe src="http://127.0.0.1:{port}/board"></iframe>
<script>
  const told = (what, how) => document.body.append(Object.assign(document.createElement("p"), {{
    id: what, textContent: how }}));
  addEventListener("load", () => {{
    const socket = new WebSocket("ws://127.0.0.1:{port}/_stcore/stream", ["streamlit"]);
    socket.onopen = () => told("socket", "open");
    socket.onerror = () => told("socket", "refused");
    fetch("http://127.0.0.1:{port}/_stcore/host-config").then(
      answer => told("answer", answer.ok ? "read" : "refused"), () => told("answer", "refused"));
    told("frame", "loaded");
  }});
</script><body></body>"""


@pytest.fixture
def page(browser: Browser) -> Iterator[Page]:
    """A page that nobody watches: a refusal is an error of its console."""
    with closing(browser.new_context()) as context:
        context.set_default_timeout(1000 * PATIENCE_S)
        yield context.new_page()


@pytest.fixture
def neighbour(tmp_path: Path) -> Iterator[str]:
    """The address of another program on this machine that serves web pages."""
    made = ThreadingHTTPServer(
        ("127.0.0.1", 0), functools.partial(SimpleHTTPRequestHandler, directory=str(tmp_path / "pages"))
    )
    thread = threading.Thread(target=made.serve_forever)
    thread.start()
    yield f"http://127.0.0.1:{made.server_port}"
    made.shutdown()
    thread.join()
    made.server_close()


def test_a_name_that_was_made_to_lead_here_sees_and_notes_nothing(own_morning, page: Page) -> None:
    served, ids = own_morning
    page.goto(f"http://{STRANGER}:{served.port}/batch?batch={ids['ready']}")
    expect(page.locator("pre")).to_contain_text(f"do not answer to {STRANGER}:{served.port}")
    expect(page.locator("pre")).to_contain_text(f'address = "https://{STRANGER}:{served.port}" under [dashboard]')
    expect(page.get_by_role("button", name="Folded")).to_have_count(0)
    with Store(served.folder / DATABASE_NAME) as store:
        assert store.batches.get(ids["ready"]).events == ()


def test_a_page_of_another_local_port_gets_no_socket_no_answer_and_no_frame(
    morning, neighbour: str, page: Page, tmp_path: Path
) -> None:
    served, _ = morning
    (tmp_path / "pages").mkdir()
    (tmp_path / "pages" / "attack.html").write_text(ATTACK.format(port=served.port))
    page.goto(f"{neighbour}/attack.html")
    for what in ("frame", "answer", "socket"):
        page.locator(f"#{what}").wait_for()
    assert {what: page.locator(f"#{what}").inner_text() for what in ("socket", "answer")} == {
        "socket": "refused",
        "answer": "refused",
    }
    assert [frame.url for frame in page.frames[1:]] == ["chrome-error://chromewebdata/"]


@pytest.mark.parametrize(
    ("method", "path"),
    [
        ("GET", "/"),
        ("GET", "/board"),
        ("GET", "/_stcore/health"),
        ("GET", "/media/0123.csv"),
        ("PUT", "/_stcore/upload_file/session/file"),
        ("DELETE", "/_stcore/upload_file/session/file"),
    ],
)
def test_pages_uploads_and_downloads_are_guarded_alike(morning, method: str, path: str) -> None:
    served, _ = morning

    def said(**headers: str) -> str:
        with closing(http.client.HTTPConnection("127.0.0.1", served.port, timeout=PATIENCE_S)) as line:
            line.request(method, path, body=b"", headers=headers)
            answer = line.getresponse()
            assert answer.headers["Content-Security-Policy"] == "frame-ancestors 'none'"
            assert answer.headers["X-Frame-Options"] == "DENY"
            return answer.read().decode()

    assert "under [dashboard] in config.toml" in said(Host=f"{STRANGER}:{served.port}")
    assert "under [dashboard] in config.toml" in said(Origin="http://127.0.0.1:1")
    assert "under [dashboard] in config.toml" in said(Origin="null")
    assert "config.toml" not in said(Host=f"localhost:{served.port}", Origin=f"http://localhost:{served.port}")


def test_with_a_page_open_the_screens_end_in_order_when_told_to(tmp_path: Path, page: Page) -> None:
    fill(tmp_path)
    with Served(tmp_path, named=str(tmp_path)) as served:
        page.goto(f"{served.url}/board")
        page.locator(".batch").first.wait_for()
        assert served.stopped() == 0


def test_somebody_who_asks_and_does_not_read_holds_up_no_end(tmp_path: Path) -> None:
    largest = max(Path(streamlit.__file__).parent.glob("static/static/js/*.js"), key=lambda path: path.stat().st_size)
    with Served(tmp_path, named=str(tmp_path)) as served, socket.socket() as line:
        line.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        line.connect(("127.0.0.1", served.port))
        asks = f"GET /static/js/{largest.name} HTTP/1.1\r\nHost: localhost:{served.port}\r\n\r\n"
        line.sendall(asks.encode() * 4)  # more than what lies between the two can hold
        assert line.recv(15) == b"HTTP/1.1 200 OK"
        assert served.stopped() == 0

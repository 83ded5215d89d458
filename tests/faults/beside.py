"""What goes on beside a collector that is made to fail: a phone that rings, and screens that somebody looks at."""

import json
import re
import threading
from collections import Counter
from contextlib import ExitStack
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from types import TracebackType
from typing import Self

from harness import chromium_binary
from served import FLAGS, Served, Watched

ID = re.compile(r"\[(\S+)\]\s*$")


class Phone:
    """A web hook that keeps what it is sent."""

    def __init__(self) -> None:
        self.messages: list[dict[str, str]] = []
        phone = self

        class Answer(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                phone.messages.append(json.loads(self.rfile.read(int(self.headers["Content-Length"]))))
                self.send_response(200)
                self.end_headers()

            def log_message(self, format: str, *args: object) -> None:
                pass

        self._server = ThreadingHTTPServer(("127.0.0.1", 0), Answer)
        self.url = f"json://127.0.0.1:{self._server.server_port}/secret-path"
        self._thread = threading.Thread(target=self._server.serve_forever, args=(0.05,))

    def rings(self) -> Counter[str]:
        """How often it rang for each message, by the message's id."""
        return Counter(found[1] for each in self.messages if (found := ID.search(each["message"])))

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._server.shutdown()
        self._thread.join()
        self._server.server_close()


class OpenScreens:
    """The dashboard of a data directory as a process, with its board open in a real browser all the while."""

    def __init__(self, data_dir: Path) -> None:
        self._data_dir = data_dir
        self._ended = ExitStack()

    def __enter__(self) -> Self:
        from playwright.sync_api import sync_playwright  # the tests that need no browser load none

        served = self._ended.enter_context(Served(self._data_dir))
        browser = self._ended.enter_context(sync_playwright()).chromium.launch(
            executable_path=chromium_binary(), args=FLAGS
        )
        self._ended.callback(browser.close)
        self._watched = Watched(browser.new_page(), served.url)
        self._watched.listen()
        self._watched.page.goto(served.url)
        return self

    def wrong(self, awaited: str) -> list[str]:
        """What went wrong on the page; it must have gone on by itself until it shows a text that came last."""
        page = self._watched.page
        faults = list(self._watched.wrong)
        try:
            page.get_by_text(awaited).first.wait_for(timeout=60_000)
        except Exception as error:  # told in the table's line, as all that is wrong
            faults.append(f"{awaited!r} does not come on the board: {type(error).__name__}")
        faults += [f"on the board: {text}" for text in page.get_by_test_id("stException").all_inner_texts()]
        return [f"screens: {fault}" for fault in faults[:3]]

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, traceback: TracebackType | None
    ) -> None:
        self._ended.close()

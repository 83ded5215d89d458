"""A bucket of an S3 server in memory, with the few verbs that Litestream uses. Whom it lets in goes by the key's name.

It checks no signature: that is the client's and the real server's business.
"""

import re
import xml.etree.ElementTree as ET
from collections.abc import Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from threading import Thread
from urllib.parse import parse_qs, unquote, urlsplit
from xml.sax.saxutils import escape

BUCKET, KEY_NAME = "bakery", "keeper"
STAMP = "2026-03-02T05:40:00.000Z"


class _Handler(BaseHTTPRequestHandler):
    protocol_version = "HTTP/1.1"
    server: "_Server"

    def _answer(self, status: int, body: bytes = b"", **headers: str) -> None:
        self.send_response(status)
        for name, value in {"Content-Length": str(len(body)), **headers}.items():
            self.send_header(name.replace("_", "-"), value)
        self.end_headers()
        if self.command != "HEAD":
            self.wfile.write(body)

    def _body(self) -> bytes:
        body = self.rfile.read(int(self.headers.get("Content-Length", 0)))
        if "aws-chunked" not in self.headers.get("Content-Encoding", ""):
            return body
        whole = b""
        while size := int(re.match(rb"[0-9a-f]+", body).group(), 16):  # type: ignore[union-attr]
            begin = body.index(b"\r\n") + 2
            whole, body = whole + body[begin : begin + size], body[begin + size + 2 :]
        return whole

    def _handle(self) -> None:
        parts, body, objects = urlsplit(self.path), self._body(), self.server.objects
        bucket, _, key = unquote(parts.path).lstrip("/").partition("/")
        query = {name: values[0] for name, values in parse_qs(parts.query, keep_blank_values=True).items()}
        if f"Credential={KEY_NAME}/" not in self.headers.get("Authorization", ""):
            self._answer(403, b"<Error><Code>InvalidAccessKeyId</Code><Message>not known here</Message></Error>")
        elif bucket != BUCKET:
            self._answer(404, b"<Error><Code>NoSuchBucket</Code><Message>no such bucket</Message></Error>")
        elif self.command == "PUT":
            objects[key] = body, {k: v for k, v in self.headers.items() if k.lower().startswith("x-amz-meta-")}
            self._answer(200, ETag='"0"')
        elif "delete" in query:
            for each in ET.fromstring(body).iter():
                if each.tag.endswith("Key"):
                    objects.pop(each.text or "", None)
            self._answer(200, b"<DeleteResult/>")
        elif not key:
            found = sorted(name for name in objects if name.startswith(query.get("prefix", "")))
            listed = "".join(
                f"<Contents><Key>{escape(name)}</Key><Size>{len(objects[name][0])}</Size>"
                f"<LastModified>{STAMP}</LastModified></Contents>"
                for name in found
                if name > query.get("start-after", "")
            )
            self._answer(200, f"<ListBucketResult><Name>{BUCKET}</Name>{listed}</ListBucketResult>".encode())
        elif key not in objects:
            self._answer(404, b"<Error><Code>NoSuchKey</Code><Message>no such key</Message></Error>")
        else:
            data, meta = objects[key]
            wanted = re.fullmatch(r"bytes=(\d+)-(\d*)", self.headers.get("Range", ""))
            if wanted is None:
                self._answer(200, data, Last_Modified="Mon, 02 Mar 2026 05:40:00 GMT", **meta)
            else:
                first, last = int(wanted[1]), min(int(wanted[2] or len(data)), len(data) - 1)
                self._answer(206, data[first : last + 1], Content_Range=f"bytes {first}-{last}/{len(data)}", **meta)

    do_GET = do_PUT = do_POST = do_HEAD = _handle

    def log_message(self, format: str, *args: object) -> None:
        """Say nothing."""


class _Server(ThreadingHTTPServer):
    objects: dict[str, tuple[bytes, dict[str, str]]]


@contextmanager
def served() -> Iterator[_Server]:
    """The server, until the end of the block; what lies there is in ``objects``."""
    server = _Server(("127.0.0.1", 0), _Handler)
    server.objects = {}
    thread = Thread(target=server.serve_forever)
    thread.start()
    try:
        yield server
    finally:
        server.shutdown()
        thread.join()
        server.server_close()

"""A small S3 service in this process: the requests that audit and publishing make, and its troubles.

Answers as the S3 API Reference has them (ListObjectsV2, HeadObject, GetObject, HeadBucket,
PutObject, DeleteObject).
"""

from __future__ import annotations

import base64
import hashlib
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from urllib.parse import parse_qs, unquote, urlsplit
from xml.sax.saxutils import escape

_XML = '<?xml version="1.0" encoding="UTF-8"?>'


@dataclass
class Service:
    """objects: {(bucket, key): bytes}; kinds: their media types. denied: keys that may not be read
    or written; cut: keys whose body
    breaks off half-way; asked: (method, key) of each request."""

    buckets: set[str] = field(default_factory=set)
    objects: dict[tuple[str, str], bytes] = field(default_factory=dict)
    kinds: dict[str, str] = field(default_factory=dict)
    denied: set[str] = field(default_factory=set)
    cut: set[str] = field(default_factory=set)
    asked: list[tuple[str, str]] = field(default_factory=list)
    url: str = ""
    page: int = 1000


@contextmanager
def running(service: Service) -> Iterator[Service]:
    server = ThreadingHTTPServer(("127.0.0.1", 0), _handler(service))
    service.url = f"http://127.0.0.1:{server.server_address[1]}"
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.01})
    thread.start()
    try:
        yield service
    finally:
        server.shutdown()
        thread.join()
        server.server_close()


def _handler(service: Service) -> type[BaseHTTPRequestHandler]:
    class Handler(BaseHTTPRequestHandler):
        protocol_version = "HTTP/1.1"  # else nobody answers `Expect: 100-continue`

        def do_HEAD(self) -> None:
            bucket, key = self.place()
            content = service.objects.get((bucket, key), b"")
            there = bucket in service.buckets and (not key or (bucket, key) in service.objects)
            self.answer(200 if there else 404, content)

        def do_GET(self) -> None:
            bucket, key = self.place()
            content = service.objects.get((bucket, key))
            if bucket not in service.buckets:
                self.error("NoSuchBucket", 404)
            elif key in service.denied or "*" in service.denied:
                self.error("AccessDenied", 403)
            elif not key:
                self.answer(200, self.listing(bucket))
            elif content is None:
                self.error("NoSuchKey", 404)
            else:
                self.answer(200, content, half=key in service.cut)

        def do_PUT(self) -> None:
            bucket, key = self.place()
            content = self.rfile.read(int(self.headers["Content-Length"]))
            md5 = base64.b64encode(hashlib.md5(content).digest()).decode()
            if bucket not in service.buckets:
                self.error("NoSuchBucket", 404)
            elif key in service.denied:
                self.error("AccessDenied", 403)
            elif self.headers.get("Content-MD5", md5) != md5:
                self.error("BadDigest", 400)
            else:
                service.objects[bucket, key] = content
                service.kinds[key] = self.headers["Content-Type"]
                self.answer(200, b"")

        def do_DELETE(self) -> None:
            bucket, key = self.place()
            service.objects.pop((bucket, key), None)
            self.answer(204, b"")

        def place(self) -> tuple[str, str]:
            bucket, _, key = unquote(urlsplit(self.path).path).lstrip("/").partition("/")
            service.asked.append((self.command, key))
            return bucket, key

        def listing(self, bucket: str) -> bytes:
            query = parse_qs(urlsplit(self.path).query)
            prefix = query.get("prefix", [""])[0]
            start = int(query.get("continuation-token", ["0"])[0])
            keys = sorted(key for place, key in service.objects if place == bucket)
            keys = [key for key in keys if key.startswith(prefix)]
            shown = keys[start : start + service.page]
            more = start + service.page < len(keys)
            rows = "".join(
                f"<Contents><Key>{escape(key)}</Key>"
                f"<Size>{len(service.objects[bucket, key])}</Size></Contents>"
                for key in shown
            )
            token = f"<NextContinuationToken>{start + service.page}</NextContinuationToken>"
            return (
                f"{_XML}<ListBucketResult><IsTruncated>{'true' if more else 'false'}</IsTruncated>"
                f"{token if more else ''}{rows}</ListBucketResult>"
            ).encode()

        def error(self, code: str, status: int) -> None:
            self.answer(status, f"{_XML}<Error><Code>{code}</Code></Error>".encode())

        def answer(self, status: int, content: bytes, half: bool = False) -> None:
            self.send_response(status)
            self.send_header("Content-Length", str(len(content)))
            self.send_header("Connection", "close")
            self.end_headers()
            if self.command != "HEAD":
                self.wfile.write(content[: len(content) // 2] if half else content)
            self.close_connection = True

        def log_message(self, format: str, *args: object) -> None:
            """Say nothing."""

    return Handler

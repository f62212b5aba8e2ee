"""Objects of an S3 service read again, by the client library that the engine's plugin uses too;
and those of a published tree, put there and removed.

The audit, which writes nothing, and `scripts/publish` make this connection. Keys and region come
by the environment, as for `fetch` and `send`.
"""

from __future__ import annotations

import base64
import hashlib
import os
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from glassine.audit.objects import Unreachable
from glassine.base import wording

_PIECE = 2**20
_CONNECT_S, _ANSWER_S, _ATTEMPTS = 10, 60, 3
_REGION = ("SNAKEMAKE_STORAGE_S3_REGION", "AWS_REGION", "AWS_DEFAULT_REGION")
# Error codes of S3 that say that one object is not there; a bucket that is not there is no object
# that was lost, but an address that is wrong or a key that may not see it.
_NOT_THERE = {"404", "NoSuchKey", "NotFound"}


class S3Objects:
    """See `audit.objects.Objects`. Raises Unreachable where the client library is not installed."""

    def __init__(self, endpoint_url: str) -> None:
        try:
            import botocore.session
            from botocore.config import Config
        except ImportError:
            raise Unreachable(
                "the packages that reach object storage are not installed here (the first "
                "`scripts/nightly send` installs them)",
                whole=True,
            ) from None
        region = next((os.environ[name] for name in _REGION if os.environ.get(name)), "us-east-1")
        retries = {"mode": "standard", "total_max_attempts": _ATTEMPTS}
        with _told():
            self._client: Any = botocore.session.Session().create_client(
                "s3",
                endpoint_url=endpoint_url or None,
                region_name=region,
                config=Config(
                    connect_timeout=_CONNECT_S,
                    read_timeout=_ANSWER_S,
                    retries=retries,
                    # Services beside the first one do not know newer checksums; MD5 they all do.
                    request_checksum_calculation="when_required",
                    response_checksum_validation="when_required",
                ),
            )

    def sizes(self, folder: str) -> dict[str, int]:
        bucket, prefix = _parts(folder)
        with _told():
            pages = self._client.get_paginator("list_objects_v2").paginate(
                Bucket=bucket, Prefix=prefix, Delimiter="/"
            )
            return {
                entry["Key"].removeprefix(prefix): int(entry["Size"])
                for page in pages
                for entry in page.get("Contents", [])
            }

    def below(self, folder: str) -> dict[str, int]:
        """Return {key below the address: bytes} of all objects there."""
        bucket, prefix = _parts(f"{folder.rstrip('/')}/")
        with _told():
            pages = self._client.get_paginator("list_objects_v2").paginate(
                Bucket=bucket, Prefix=prefix
            )
            return {
                entry["Key"].removeprefix(prefix): int(entry["Size"])
                for page in pages
                for entry in page.get("Contents", [])
            }

    def put(self, address: str, content: bytes, kind: str) -> None:
        """Put an object there; the service compares it with its MD5. kind: its media type."""
        bucket, key = _parts(address)
        digest = base64.b64encode(hashlib.md5(content, usedforsecurity=False).digest()).decode()
        with _told():
            self._client.put_object(
                Bucket=bucket, Key=key, Body=content, ContentType=kind, ContentMD5=digest
            )

    def remove(self, address: str) -> None:
        bucket, key = _parts(address)
        with _told():
            self._client.delete_object(Bucket=bucket, Key=key)

    def size(self, address: str) -> int | None:
        bucket, key = _parts(address)
        with _told():
            try:
                return int(self._client.head_object(Bucket=bucket, Key=key)["ContentLength"])
            except self._client.exceptions.ClientError as problem:
                if _code(problem) not in _NOT_THERE:
                    raise
            self._client.head_bucket(Bucket=bucket)  # else all of it is unreachable
            return None

    def pieces(self, address: str) -> Iterator[bytes]:
        bucket, key = _parts(address)
        with _told():
            body = self._client.get_object(Bucket=bucket, Key=key)["Body"]
            try:
                yield from body.iter_chunks(_PIECE)
            finally:
                body.close()


def _parts(address: str) -> tuple[str, str]:
    """Return bucket and key of an address.

    >>> _parts("s3://studio-deliveries/film/b1/b1.tar")
    ('studio-deliveries', 'film/b1/b1.tar')
    """
    bucket, _, key = address.removeprefix("s3://").partition("/")
    return bucket, key


@contextmanager
def _told() -> Iterator[None]:
    """Turn every way in which the client library says that it got no answer into Unreachable."""
    from botocore import exceptions

    try:
        yield
    except exceptions.ClientError as problem:
        code = _code(problem)
        operation = problem.operation_name
        whole = operation in ("ListObjectsV2", "HeadBucket")
        raise Unreachable(f"the storage answers {code} to {operation}", whole=whole) from None
    except (exceptions.IncompleteReadError, exceptions.ReadTimeoutError) as problem:
        raise Unreachable(f"it broke off: {wording.why(problem)}", whole=False) from None
    except (exceptions.BotoCoreError, exceptions.HTTPClientError, ValueError, OSError) as problem:
        raise Unreachable(f"no answer: {wording.why(problem)}", whole=True) from None


def _code(problem: Any) -> str:
    return str(problem.response.get("Error", {}).get("Code", "an error"))

"""Our own way to the network: one polite client for every service.

The libraries do the common work: requests asks, urllib3's `Retry` asks again and waits as long as a service
says, requests-cache keeps answers by their own headers and asks whether they have changed. They lack:

- an answer is read to its end against a clock (a server that drips one byte a second beats any other
  time-out), and up to a size, before anybody sees it;
- an answer that cannot be used (a login page, cut JSON) is a failure *before* it reaches the cache, so that
  it cannot push the good old copy out; and it is said why an old copy stands in;
- every failure becomes a `ServiceError` in words for the grower.
"""

from __future__ import annotations

import io
import sqlite3
import time
from collections.abc import Callable, Mapping
from contextlib import closing
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import cached_property
from http.client import HTTPException
from typing import Any, Generic, TypeVar
from urllib.parse import urlsplit

import requests
import requests_cache
from requests.adapters import HTTPAdapter
from requests_cache.backends.base import BaseCache
from requests_cache.backends.sqlite import SQLiteCache
from urllib3.connection import HTTPConnection, HTTPSConnection
from urllib3.exceptions import DecodeError, MaxRetryError, ProtocolError, ReadTimeoutError, ResponseError
from urllib3.response import HTTPResponse
from urllib3.util.retry import Retry

from data_sources.weather.services.transport.faults import (
    AnswerCutError,
    ServiceError,
    fault_of_error,
    fault_of_status,
    own_words,
    wait_asked,
)
from data_sources.weather.services.transport.settings import WeatherSettings

S = TypeVar("S")
T = TypeVar("T")

BACKOFF = 2.0  # s until a broken answer is asked for once more; ours
FOR_EVER = 10**9  # s
LOCK_PATIENCE = 1.0  # s for another flushcast to finish writing its answers
GOOD, ABSENT = (200, 203), (404, 410)


@dataclass(frozen=True)
class Reply(Generic[T]):
    """A good answer.

    Attributes
    ----------
    value : object
        What the parser made of it.
    fetched_at : datetime
        When it left the service, or was last said to be unchanged.
    from_cache : bool
        Whether no new answer was needed.
    fault : ServiceError or None
        Not None when this is an old copy: what went wrong.
    deprecated : bool
        The service says that this address will go away (status 203).
    """

    value: T
    fetched_at: datetime
    from_cache: bool = False
    fault: ServiceError | None = None
    deprecated: bool = False


class Http:
    """A client with a cache; use it in a ``with``, from one thread.

    Parameters
    ----------
    settings : WeatherSettings
    sleep, clock, now : callable
        For tests: waiting, seconds that only go forward, and the time of day with its zone.
    """

    def __init__(
        self,
        settings: WeatherSettings,
        *,
        sleep: Callable[[float], None] = time.sleep,
        clock: Callable[[], float] = time.monotonic,
        now: Callable[[], datetime] = lambda: datetime.now(UTC),
    ) -> None:
        self.settings, self.sleep, self.clock, self.now = settings, sleep, clock, now
        self.notes: list[str] = []
        self._adapter = _Adapter(self)

    def __enter__(self) -> Http:
        return self

    def __exit__(self, *_: object) -> None:
        """Let go of connections and of the cache file."""
        if "session" in self.__dict__:
            self.session.close()  # type: ignore[no-untyped-call]
            self.session.cache.close()  # type: ignore[no-untyped-call]
            del self.session

    def get(
        self,
        url: str,
        parse: Callable[[bytes], T],
        *,
        params: Mapping[str, str] | None = None,
        keep_for: float | None = None,
        absent_for: float = 0.0,
        lasting: bool = False,
        size: Callable[[T], int] | None = None,
        vet: Callable[[T], object] | None = None,
        because: ServiceError | None = None,
    ) -> Reply[T]:
        """Ask for something and understand it.

        Parameters
        ----------
        url : str
        parse : callable
            From the body to a value; raises `ServiceError` (or ValueError) when the body cannot be used.
        params : mapping, optional
            Sent in the address.
        keep_for : float, optional
            How long an answer is good. None: as long as the service says, else an hour. [s]
        absent_for : float
            How long "nothing there" is good. [s]
        lasting : bool
            What it says does not age: a copy of any age stands in for every failure but having no network.
            Other copies serve for `stale_for`, and do not hide that a service refuses or has nothing.
        size : callable, optional
            Days of a value, where the answer only grows: one with fewer than the kept copy is a failure.
        vet : callable, optional
            Looks more closely at a new value, and raises like `parse`; copies have passed.
        because : ServiceError, optional
            The service was given up for this; only copies serve.

        Raises
        ------
        ServiceError
            When there is no usable answer and no copy young enough.
        """
        values: list[T] = []

        def check(response: requests.Response) -> None:
            """Called with every answer that comes over the wire, before the cache sees it."""
            if response.status_code in GOOD:
                value = _parsed(parse, response.content)
                if vet is not None:
                    _parsed(vet, value)
                kept = self._kept(url, params, FOR_EVER) if size is not None else None
                if size is not None and kept is not None:
                    new, before = size(value), size(_parsed(parse, kept.content))
                    if new < before:
                        raise ServiceError("damaged", f"sent {new} days where it had sent {before}")
                values.append(value)
                if keep_for is not None:  # our time, not the service's
                    for name in ("Cache-Control", "Expires", "Pragma"):
                        response.headers.pop(name, None)
            elif response.status_code >= 400:
                if response.status_code not in ABSENT or not absent_for or self._kept(url, params, FOR_EVER):
                    raise fault_of_status(response)
                response.headers["Cache-Control"] = f"max-age={absent_for:.0f}"

        self._adapter.check = check
        try:
            fresh = self._kept(url, params, 0, statuses=(*GOOD, *ABSENT)) if because is not None else None
            if because is not None and fresh is None:
                raise because
            response = self._send(url, params, expire_after=keep_for) if fresh is None else fresh
            if response.status_code >= 400:
                raise fault_of_status(response)
        except (ServiceError, requests.RequestException) as error:
            fault = error if isinstance(error, ServiceError) else fault_of_error(error)
            old = self._kept(url, params, FOR_EVER if lasting else int(self.settings.stale_for))
            # A mistake of ours, or theirs for good, must not be hidden by an old copy; and without a network
            # the copy holds nothing that the store does not.
            plain = ("offline",) if lasting else ("offline", "absent", "refused")
            if old is None or fault.fault in plain:
                raise fault from error
            return Reply(_parsed(parse, old.content), _made_at(old), True, fault)
        copied = response.from_cache and not getattr(response, "revalidated", False)
        return Reply(
            values[0] if values else _parsed(parse, response.content),
            _made_at(response) if copied else self.now(),
            response.from_cache,
            deprecated=response.status_code == 203,
        )

    def _send(self, url: str, params: Mapping[str, str] | None, **more: Any) -> Any:
        timeout = (self.settings.connect_timeout, self.settings.read_timeout)
        return self.session.get(url, params=dict(params or {}), timeout=timeout, **more)

    def _kept(
        self, url: str, params: Mapping[str, str] | None, stale_for: int, statuses: tuple[int, ...] = GOOD
    ) -> Any | None:
        """The copy of an answer, if it ran out no longer ago than this."""
        old = {"Cache-Control": f"max-stale={stale_for}"}
        response = self._send(url, params, headers=old, only_if_cached=True)
        return response if response.status_code in statuses else None

    @cached_property
    def session(self) -> requests_cache.CachedSession:
        """The session, opened when it is first needed."""
        session = requests_cache.CachedSession(
            backend=self._backend(),
            expire_after=timedelta(hours=1),
            cache_control=True,
            allowable_codes=(*GOOD, *ABSENT),
        )
        session.headers["User-Agent"] = self.settings.user_agent
        session.max_redirects = 5
        session.proxies.update(self.settings.proxies)
        for scheme in ("https://", "http://"):
            session.mount(scheme, self._adapter)
        return session

    def _backend(self) -> BaseCache:
        """A cache file; in memory when another program holds it, anew when it is damaged."""
        folder = self.settings.cache_folder
        if folder is None:
            return BaseCache()
        path = folder / "http.sqlite"
        try:
            folder.mkdir(parents=True, exist_ok=True)
            # The library would wait without end for a locked file: look first.
            with closing(sqlite3.connect(path, timeout=LOCK_PATIENCE)) as probe:
                probe.execute("BEGIN IMMEDIATE")
            return SQLiteCache(path, busy_timeout=5000)
        except sqlite3.OperationalError:
            self.notes.append("the copies of earlier answers are in use by another flushcast; doing without")
        except sqlite3.DatabaseError:
            try:
                path.replace(path.with_suffix(".damaged"))
                self.notes.append("the copies of earlier answers were damaged; starting new ones")
                return SQLiteCache(path)
            except (OSError, sqlite3.DatabaseError):
                self.notes.append("the copies of earlier answers are damaged; doing without")
        except OSError as error:
            self.notes.append(f"answers cannot be kept in {folder} ({error.strerror}); doing without")
        return BaseCache()


class _Adapter(HTTPAdapter):
    """requests' way to urllib3, with our patience, our pauses, and answers read to their end."""

    def __init__(self, http: Http) -> None:
        super().__init__(max_retries=_patience(http))
        self._http = http
        self._last_call: dict[str, float] = {}
        self.check: Callable[[requests.Response], None] = lambda _: None
        self._connections = {plain: _whole(plain, http) for plain in (HTTPConnection, HTTPSConnection)}

    def get_connection_with_tls_context(self, *args: Any, **kwargs: Any) -> Any:
        """A pool whose connections read whole answers."""
        pool: Any = super().get_connection_with_tls_context(*args, **kwargs)
        pool.ConnectionCls = self._connections.get(pool.ConnectionCls, pool.ConnectionCls)
        return pool

    def send(self, request: requests.PreparedRequest, *args: Any, **kwargs: Any) -> requests.Response:
        """Send politely, and look at what comes."""
        host, pause = urlsplit(str(request.url)).netloc, self._http.settings.pause
        since = self._http.clock() - self._last_call.get(host, -1e9)
        if since < pause:
            self._http.sleep(pause - since)
        self._last_call[host] = self._http.clock()
        response = super().send(request, *args, **kwargs)
        if not response.is_redirect:
            self.check(response)
        return response


def _patience(http: Http) -> Retry:
    """Once more after a broken answer, trouble of the service, or the wait it asks for, if not too long."""

    class Patience(Retry):
        def increment(
            self,
            method: str | None = None,
            url: str | None = None,
            response: Any = None,
            error: Exception | None = None,
            _pool: Any = None,
            _stacktrace: Any = None,
        ) -> Patience:
            if isinstance(error, ReadTimeoutError):
                raise error
            if response is not None and (self.get_retry_after(response) or 0) > http.settings.longest_wait:
                raise MaxRetryError(_pool, url or "", ResponseError("asks for too long a wait"))
            return super().increment(method, url, response, error, _pool, _stacktrace)

        def sleep(self, response: Any = None) -> None:
            asked = self.get_retry_after(response) if response is not None else None
            http.sleep(min(BACKOFF, http.settings.longest_wait) if asked is None else asked)

    return Patience(
        total=1, connect=0, other=0, status_forcelist=(500, 502, 503, 504), raise_on_status=False, redirect=0
    )


def _whole(plain: Any, http: Http) -> Any:
    """A connection that reads every answer to its end, within a time and a size."""

    class WholeAnswers(plain):  # type: ignore[misc]
        def request(self, *args: Any, **kwargs: Any) -> None:
            self.end = http.clock() + http.settings.whole_timeout
            super().request(*args, **kwargs)

        def getresponse(self) -> HTTPResponse:
            response = super().getresponse()
            body = _body(response, lambda: http.clock() > self.end, http.settings)
            headers = response.headers.copy()
            for name in ("Content-Encoding", "Content-Length", "Transfer-Encoding"):
                headers.discard(name)
            if wait_asked(headers.get("Retry-After")) is None:
                headers.discard("Retry-After")
                if response.status == 429 and "one minute" in own_words(body):
                    headers["Retry-After"] = "60"  # as Open-Meteo says it
            return HTTPResponse(
                io.BytesIO(body),
                headers=headers,
                status=response.status,
                version=response.version,
                reason=response.reason,
                preload_content=False,
                original_response=response._original_response,
                request_method="GET",
            )

    return WholeAnswers


def _body(response: HTTPResponse, late: Callable[[], bool], settings: WeatherSettings) -> bytes:
    body = bytearray()
    try:
        while chunk := response.read1(65536, decode_content=True):
            body += chunk
            if late():
                raise ServiceError("silent", f"was still sending after {settings.whole_timeout:g} s")
            if len(body) > settings.largest:
                raise ServiceError("damaged", "sent more than can be right")
    except ReadTimeoutError:
        raise ServiceError("silent", "did not answer in time") from None
    except DecodeError:
        raise ServiceError("damaged", "sent a damaged answer (its packing is broken)") from None
    except (ProtocolError, HTTPException, OSError) as error:
        raise AnswerCutError(str(error)) from error
    return bytes(body)


def _made_at(response: Any) -> datetime:
    created: datetime = response.created_at
    return created if created.tzinfo is not None else created.replace(tzinfo=UTC)


def _parsed(parse: Callable[[S], T], body: S) -> T:
    try:
        return parse(body)
    except ServiceError:
        raise
    except (ValueError, KeyError, TypeError, IndexError, EOFError, OSError) as error:
        raise ServiceError(
            "damaged", f"sent an answer that cannot be read ({type(error).__name__})"
        ) from error

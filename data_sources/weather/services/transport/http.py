"""Our own way to the network: one polite client for every service.

The libraries do the common work: requests asks, urllib3's `Retry` asks again and waits as long as a service
says, requests-cache keeps answers by their own headers and asks whether they have changed. They lack:

- an answer is read to its end against a clock (a server that drips one byte a second beats any other
  time-out), and up to a size, before anybody sees it;
- every answer is read and checked *before* it reaches the cache: what is refused is asked again the next
  time, and a failure is never answered from a copy that has run out (but for lists of stations);
- an update has a time budget, and one slow service leaves the others their turn;
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
from urllib3.exceptions import (
    DecodeError,
    HTTPError,
    MaxRetryError,
    ProtocolError,
    ReadTimeoutError,
    ResponseError,
)
from urllib3.response import HTTPResponse
from urllib3.util.retry import Retry

from data_sources.weather.services.transport.faults import (
    AnswerCutError,
    ServiceError,
    fault_of_error,
    fault_of_status,
    own_words,
    parser,
    wait_asked,
)
from data_sources.weather.services.transport.settings import WeatherSettings

T = TypeVar("T")
Progress = Callable[[str, int, int], None]
"""Called while a service works: what, how many are done, how many there are."""

BACKOFF = 2.0  # s until a broken answer is asked for once more; ours
LISTS_KEPT = 400 * 86400  # s for which the last good list of stations may stand in; ours
SHRUNK = 0.9  # of the last good list: a shorter one is held back; ours
LEAST_PATIENCE = 1.0  # s
CONDITIONS = {"If-Modified-Since", "If-None-Match"}
LOCK_PATIENCE = 1.0  # s for another flushcast to finish writing its answers
GOOD, ABSENT = (200, 203), (404, 410)


@dataclass(frozen=True)
class Reply(Generic[T]):
    """A good answer."""

    value: T  # what the parser made of it
    fetched_at: datetime  # when it left the service, or was last said to be unchanged
    from_cache: bool = False  # whether no new answer was needed
    fault: ServiceError | None = None  # not None when this is an old list: what went wrong with the new one
    deprecated: bool = False  # the service says that this address will go away (status 203)


class Http:
    """A client with a cache; use it in a ``with``, from one thread.

    For tests there are `sleep`, a `clock` of seconds that only goes forward, and the time of day in a zone.
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
        self.on_wait: Callable[[float], None] = lambda _: None
        self.progress: Progress = lambda what, done, total: None
        self._until = float("inf")
        self.fresh = False  # whether anything good came over the wire since `begin_answer`
        self._answers: list[str] = []
        self._adapter = _Adapter(self)

    def __enter__(self) -> Http:
        """The budget of the update runs from now."""
        self._until = self.clock() + self.settings.budget
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
        params: Mapping[str, str] | None = None,
        keep_for: float | None = None,
        absent_for: float = 0.0,
        size: Callable[[T], int] | None = None,
    ) -> Reply[T]:
        """Ask for something and understand it.

        Parameters
        ----------
        parse : callable
            From the body to a value; whatever it raises, the answer is refused and not kept.
        params : mapping, optional
            Sent in the address.
        keep_for : float, optional
            How long an answer is good. None: as long as the service says, else an hour. [s]
        absent_for : float
            How long "nothing there" is good. [s]
        size : callable, optional
            Of a list: one much shorter than the last good one is refused, and while there is no good new
            one, the last stands in. Nothing else is ever answered from a copy that has run out.

        Raises
        ------
        ServiceError
            When there is no usable answer.
        """
        values: list[T] = []

        def check(response: requests.Response) -> None:
            """Called with every answer that comes over the wire, before the cache sees it."""
            if response.status_code in GOOD:
                value = parser(parse)(response.content)
                kept = self._last_list(url, params) if size is not None else None
                if size is not None and kept is not None:
                    new, before = size(value), size(parser(parse)(kept.content))
                    if new < SHRUNK * before:
                        raise ServiceError("damaged", f"sent a list of {new:,} where it had sent {before:,}")
                values.append(value)
                if keep_for is not None:  # our time, not the service's
                    for name in ("Cache-Control", "Expires", "Pragma"):
                        response.headers.pop(name, None)
            elif response.status_code in ABSENT and absent_for:
                response.headers["Cache-Control"] = f"max-age={absent_for:.0f}"
            elif response.status_code != 304 or not CONDITIONS & response.request.headers.keys():
                raise fault_of_status(response)

        self._adapter.check = check
        try:
            response = self._send(url, params, expire_after=keep_for)
            if response.status_code not in GOOD:
                raise fault_of_status(response)
            value = values[0] if values else parser(parse)(response.content)
        except (ServiceError, requests.RequestException, HTTPError, ValueError) as error:
            fault = error if isinstance(error, ServiceError) else fault_of_error(error)
            old = self._last_list(url, params) if size is not None else None
            if old is None or fault.fault == "offline":
                raise fault from error
            return Reply(parser(parse)(old.content), _made_at(old), True, fault)
        self._answers.append(response.cache_key)
        copied = response.from_cache and not getattr(response, "revalidated", False)
        self.fresh |= not copied and size is None  # a list is no weather
        return Reply(
            value,
            _made_at(response) if copied else self.now(),
            response.from_cache,
            deprecated=response.status_code == 203,
        )

    def forget(self) -> None:
        """Ask anew the next time for what was answered since `begin_answer`."""
        self.session.cache.delete(*self._answers)
        self._answers.clear()

    def begin_answer(self) -> None:
        """What comes now belongs to one answer: `forget` forgets all of it."""
        self._answers.clear()
        self.fresh = False

    @property
    def left(self) -> float:
        """What is left of the budget of this update. [s]"""
        return self._until - self.clock()

    def _send(self, url: str, params: Mapping[str, str] | None, **more: Any) -> Any:
        timeout = (self.settings.connect_timeout, min(self.settings.read_timeout, self.patience()))
        return self.session.get(url, params=dict(params or {}), timeout=timeout, **more)

    def patience(self) -> float:
        """How long one answer may take: half of what is left, so that others get their turn. [s]"""
        return max(min(self.settings.whole_timeout, self.left / 2), LEAST_PATIENCE)

    def _last_list(self, url: str, params: Mapping[str, str] | None) -> Any | None:
        """The last good copy of a list, though it ran out."""
        old = {"Cache-Control": f"max-stale={LISTS_KEPT}"}
        response = self._send(url, params, headers=old, only_if_cached=True)
        return response if response.status_code in GOOD else None

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
        if self._http.left <= 0:
            raise ServiceError("late", "was not asked: the time of this update is over")
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
        def increment(self, method: Any = None, url: Any = None, *rest: Any, **about: Any) -> Patience:
            error, response = about.get("error"), about.get("response")
            if isinstance(error, ReadTimeoutError):
                raise error
            wait = self.get_retry_after(response) if response is not None else None
            if wait is not None and wait > min(http.settings.longest_wait, http.left / 2):
                raise MaxRetryError(about["_pool"], url or "", ResponseError("asks for too long a wait"))
            return super().increment(method, url, *rest, **about)

        def sleep(self, response: Any = None) -> None:
            asked = self.get_retry_after(response) if response is not None else None
            if asked is not None:
                http.on_wait(asked)
            http.sleep(min(BACKOFF, http.settings.longest_wait) if asked is None else asked)

    return Patience(
        total=1, connect=0, other=0, status_forcelist=(500, 502, 503, 504), raise_on_status=False, redirect=0
    )


def _whole(plain: Any, http: Http) -> Any:
    """A connection that reads every answer to its end, within a time and a size."""

    class WholeAnswers(plain):  # type: ignore[misc]
        def request(self, *args: Any, **kwargs: Any) -> None:
            self.given = http.patience()
            self.end = http.clock() + self.given
            super().request(*args, **kwargs)

        def getresponse(self) -> HTTPResponse:
            response = super().getresponse()
            body = _body(response, lambda: http.clock() > self.end, self.given, http.settings.largest)
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


def _body(response: HTTPResponse, late: Callable[[], bool], given: float, largest: int) -> bytes:
    body = bytearray()
    try:
        while chunk := response.read1(65536, decode_content=True):
            body += chunk
            if late():
                raise ServiceError("silent", f"was still sending after {given:.0f} s")
            if len(body) > largest:
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

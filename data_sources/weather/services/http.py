"""Our own way to the network: one polite client for every service that we call ourselves.

Answers are kept by requests-cache. Its rules (expiry by the answer's own header, asking again only "if
modified", an old copy when the service fails) are used as they are, and three things are added:

- an answer is read to its end against a clock (a server that drips one byte a second beats any other
  time-out), and up to a size;
- an answer that cannot be read (a login page, cut JSON, nothing at all) counts as a failure *before* it
  reaches the cache: otherwise a maintenance page would push the good old copy out;
- every failure becomes a `ServiceError` in words for the grower.
"""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Callable, Mapping
from contextlib import nullcontext
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any, Generic, TypeVar
from urllib.parse import urlsplit

from data_sources.weather.services.http_faults import CIRCLES, fault_of_error, fault_of_status
from data_sources.weather.services.protocol import ServiceError

if TYPE_CHECKING:
    import requests
    import requests_cache

T = TypeVar("T")

AGENT = "flushcast"


@dataclass(frozen=True)
class HttpSettings:
    """How we call.

    Parameters
    ----------
    cache_folder : Path or None
        Where answers are kept; None keeps them in memory.
    agent : str
        Names the program to the service.
    contact : str
        An address or page where the grower can be reached, sent with the agent; some services insist.
    connect_timeout, read_timeout, whole_timeout : float
        For the connection, for the next byte, for the whole answer. [s]
    pause : float
        Between two requests to one host. [s]
    longest_wait : float
        We wait this long at most when a service asks for it, and once. [s]
    largest : int
        Bytes of an answer.
    stale_for : float
        How old a copy may be that stands in when a service fails. [s]
    proxies : mapping, optional
        Scheme to proxy; default: the system's settings.
    """

    cache_folder: Path | None = None
    agent: str = AGENT
    contact: str = ""
    connect_timeout: float = 6.0
    read_timeout: float = 30.0
    whole_timeout: float = 120.0
    pause: float = 0.2
    longest_wait: float = 65.0
    largest: int = 80_000_000
    stale_for: float = 7 * 86400.0
    proxies: Mapping[str, str] | None = None

    @property
    def user_agent(self) -> str:
        """What the service reads as the caller's name."""
        return f"{self.agent} {self.contact}".strip()


@dataclass(frozen=True)
class Reply(Generic[T]):
    """A good answer.

    Attributes
    ----------
    value : object
        What the parser made of it.
    fetched_at : datetime
        When it left the service (or was last said to be unchanged).
    from_cache : bool
        Whether no new answer was needed.
    stale_because : str
        Not empty when this is an old copy: what went wrong.
    deprecated : bool
        The service says that this address will go away (status 203).
    """

    value: T
    fetched_at: datetime
    from_cache: bool
    stale_because: str = ""
    deprecated: bool = False


class Http:
    """A client with a cache; use it in a ``with``, from one thread.

    Parameters
    ----------
    settings : HttpSettings
    sleep, clock, now : callable
        For tests: waiting, seconds that only go forward, and the time of day with its zone.
    """

    def __init__(
        self,
        settings: HttpSettings,
        *,
        sleep: Callable[[float], None] = time.sleep,
        clock: Callable[[], float] = time.monotonic,
        now: Callable[[], datetime] = lambda: datetime.now(UTC),
    ) -> None:
        self.settings = settings
        self._sleep, self._clock, self._now = sleep, clock, now
        self._session: requests_cache.CachedSession | None = None
        self._last_call: dict[str, float] = {}
        self._waited: set[str] = set()
        self._check: Callable[[requests.Response], None] | None = None
        self._fault: ServiceError | None = None
        self.notes: list[str] = []

    def __enter__(self) -> Http:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Let go of connections and of the cache file."""
        if self._session is not None:
            self._session.close()  # type: ignore[no-untyped-call]
            self._session.cache.close()  # type: ignore[no-untyped-call]
            self._session = None

    def get(
        self,
        url: str,
        parse: Callable[[bytes], T],
        *,
        params: Mapping[str, str] | None = None,
        keep_for: float | None = None,
        cached: bool = True,
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
        cached : bool
            False leaves the cache alone (files that are kept elsewhere).

        Raises
        ------
        ServiceError
            When there is no usable answer and no copy young enough.
        """
        values: list[T] = []

        def understand(body: bytes) -> None:
            values[:] = [_parsed(parse, body)]

        for attempt in (1, 2):
            try:
                response = self._ask(url, dict(params or {}), understand, keep_for, cached)
                break
            except ServiceError as error:
                if attempt == 2 or not self._worth_another(url, error):
                    raise
        stale = ""
        if getattr(response, "from_cache", False):
            if getattr(response, "is_expired", False):
                # Nobody says why an old copy was served, so the way out is watched (`_ask`).
                fault = self._fault or ServiceError("server", "did not answer")
                if fault.fault in ("absent", "refused", "offline"):
                    # A mistake of ours, or theirs for good, must not be hidden by an old copy; and without a
                    # network the copy holds nothing that the store does not.
                    raise fault
                stale = fault.words
            understand(response.content)
        from_cache = bool(getattr(response, "from_cache", False))
        created: datetime = response.created_at if from_cache else self._now()
        if created.tzinfo is None:
            created = created.replace(tzinfo=UTC)
        return Reply(
            values[0],
            created,
            from_cache,
            stale,
            response.status_code == 203,
        )

    def _worth_another(self, url: str, error: ServiceError) -> bool:
        """Whether to ask once more, after a wait: once when asked to wait, once when the connection broke."""
        host = urlsplit(url).netloc
        if error.fault == "limit":
            wait = error.retry_after
            if wait is None or wait > self.settings.longest_wait or host in self._waited:
                return False
            self._waited.add(host)
            self._sleep(wait)
            return True
        if error.fault in ("cut", "server") and host not in self._waited:
            self._waited.add(host)
            self._sleep(min(2.0, self.settings.longest_wait))
            return True
        return False

    def _ask(
        self,
        url: str,
        params: dict[str, str],
        understand: Callable[[bytes], None],
        keep_for: float | None,
        cached: bool,
    ) -> Any:
        import requests

        session = self._open()
        self._fault = None

        def check(response: requests.Response) -> None:
            """Called with every answer that comes over the wire, before the cache sees it."""
            if response.status_code in (200, 203):
                understand(response.content)
            elif response.status_code >= 400:
                raise fault_of_status(response)

        def watched(response: requests.Response) -> None:
            try:
                check(response)
            except ServiceError as error:
                self._fault = error
                raise requests.exceptions.RequestException(error.words) from error

        self._check = watched
        try:
            more: dict[str, Any] = {} if keep_for is None or not cached else {"expire_after": keep_for}
            with nullcontext() if cached else session.cache_disabled():
                return session.get(
                    url,
                    params=params,
                    timeout=(self.settings.connect_timeout, self.settings.read_timeout),
                    **more,
                )
        except requests.RequestException as error:
            raise (self._fault or fault_of_error(error)) from error
        finally:
            self._check = None

    def _open(self) -> requests_cache.CachedSession:
        if self._session is None:
            import logging

            import requests_cache

            # It would print a traceback for every old copy that stands in; we say it in words.
            logging.getLogger("requests_cache").setLevel(logging.ERROR)
            common: dict[str, Any] = {
                "expire_after": timedelta(hours=1),
                "cache_control": True,
                "allowable_codes": (200, 203),
                "stale_if_error": timedelta(seconds=self.settings.stale_for),
            }
            folder = self.settings.cache_folder
            if folder is None:
                session = requests_cache.CachedSession(backend="memory", **common)
            else:
                session = self._file_session(folder / "http.sqlite", common)
            session.headers["User-Agent"] = self.settings.user_agent
            session.max_redirects = 5
            if self.settings.proxies:
                session.proxies.update(self.settings.proxies)
            adapter = self._adapter()
            session.mount("https://", adapter)
            session.mount("http://", adapter)
            self._session = session
        return self._session

    def _file_session(self, path: Path, common: dict[str, Any]) -> requests_cache.CachedSession:
        """A session on a cache file; in memory when another program holds it, anew when it is damaged."""
        import requests_cache

        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            # The library would wait without end for a locked file: look first.
            probe = sqlite3.connect(path, timeout=1.0)
            try:
                probe.execute("BEGIN IMMEDIATE")
                probe.execute("ROLLBACK")
            finally:
                probe.close()
            return requests_cache.CachedSession(str(path), backend="sqlite", busy_timeout=5000, **common)
        except sqlite3.OperationalError:
            self.notes.append("the copies of earlier answers are in use by another flushcast; doing without")
        except sqlite3.DatabaseError:
            try:
                path.replace(path.with_suffix(".damaged"))
                self.notes.append("the copies of earlier answers were damaged; starting new ones")
                return requests_cache.CachedSession(str(path), backend="sqlite", **common)
            except (OSError, sqlite3.DatabaseError):
                self.notes.append("the copies of earlier answers are damaged; doing without")
        except OSError as error:
            self.notes.append(f"answers cannot be kept in {path.parent} ({error.strerror}); doing without")
        return requests_cache.CachedSession(backend="memory", **common)

    def _adapter(self) -> Any:
        import requests
        from requests.adapters import HTTPAdapter

        http = self

        class Watched(HTTPAdapter):
            def send(self, request: Any, *args: Any, **kwargs: Any) -> requests.Response:
                http._wait_turn(urlsplit(request.url).netloc)
                kwargs["stream"] = True
                try:
                    response = super().send(request, *args, **kwargs)
                    http._read(response)
                except requests.RequestException as error:
                    http._fault = fault_of_error(error)
                    raise
                # Too many of them end outside of here, and what is said then is this.
                http._fault = ServiceError("server", CIRCLES) if response.is_redirect else None
                if http._check is not None and not response.is_redirect:
                    http._check(response)
                return response

        return Watched(max_retries=0)

    def _wait_turn(self, host: str) -> None:
        since = self._clock() - self._last_call.get(host, -1e9)
        if since < self.settings.pause:
            self._sleep(self.settings.pause - since)
        self._last_call[host] = self._clock()

    def _read(self, response: requests.Response) -> None:
        """The whole body, within time and size."""
        import requests
        import urllib3

        end = self._clock() + self.settings.whole_timeout
        body, raw = bytearray(), response.raw
        read = getattr(raw, "read1", raw.read)
        try:
            while chunk := read(65536, decode_content=True):
                body += chunk
                if self._clock() > end:
                    raise requests.exceptions.ReadTimeout(
                        f"was still sending after {self.settings.whole_timeout:g} s"
                    )
                if len(body) > self.settings.largest:
                    raise requests.exceptions.ContentDecodingError("sent more than can be right")
        except requests.RequestException:
            raise  # they are OSErrors too
        except urllib3.exceptions.ReadTimeoutError as error:
            raise requests.exceptions.ReadTimeout(str(error)) from error
        except urllib3.exceptions.DecodeError as error:
            raise requests.exceptions.ContentDecodingError(str(error)) from error
        except (urllib3.exceptions.HTTPError, OSError) as error:
            raise requests.exceptions.ChunkedEncodingError(str(error)) from error
        finally:
            raw.release_conn() if raw.isclosed() else raw.close()
        response._content = bytes(body)
        response._content_consumed = True  # type: ignore[attr-defined]


def _parsed(parse: Callable[[bytes], T], body: bytes) -> T:
    try:
        return parse(body)
    except ServiceError:
        raise
    except (ValueError, KeyError, TypeError, IndexError, EOFError, OSError) as error:
        raise ServiceError(
            "damaged", f"sent an answer that cannot be read ({type(error).__name__})"
        ) from error

"""What goes wrong on the way, in words for a grower: each says what happened, after the service's name."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from functools import wraps
from typing import Any, Literal, ParamSpec, TypeVar

import requests
from urllib3.exceptions import InvalidHeader, ProtocolError
from urllib3.util.retry import Retry

from phenology.model.errors import WeatherError

Fault = Literal[
    "offline",  # nothing can be reached: no network, or no such host
    "silent",  # reached, but no (complete) answer in time
    "cut",  # the connection broke off
    "absent",  # it has nothing there
    "refused",  # it does not want us, or not like this
    "limit",  # too many requests
    "server",  # its own trouble
    "damaged",  # an answer that cannot be read
    "unbelievable",  # an answer that can be read and cannot be true
    "unready",  # a setting is missing on our side
    "late",  # the time of this update is over
]

_PAGE = re.compile(rb"\s*(?:\xef\xbb\xbf)?\s*<(?:!doctype|html|head|body)", re.IGNORECASE)
_LONGEST = 280  # characters of any fault
_REASON = 140  # characters of a service's own words that are shown
ANOTHER_SHAPE = "sent an answer of another shape than it documents"


class ServiceError(WeatherError):
    """A service did not give what it was asked for; the message has no subject ("refused the request").

    `words` are said after the service's name. What a service says itself may stand in them: only what can be
    printed is kept, in one line.
    """

    def __init__(self, fault: Fault, words: str) -> None:
        words = " ".join("".join(c if c.isprintable() else " " for c in words[:_LONGEST]).split())
        super().__init__(words)
        self.fault, self.words = fault, words


P = ParamSpec("P")
T = TypeVar("T")


def parser(read: Callable[P, T]) -> Callable[P, T]:
    """Whatever a reader of answers trips over, what leaves it is a `ServiceError`."""

    @wraps(read)
    def guarded(*args: P.args, **kwargs: P.kwargs) -> T:
        try:
            return read(*args, **kwargs)
        except ServiceError:
            raise
        except WeatherError as error:
            raise ServiceError("unbelievable", f"gave nothing to use: {error}") from error
        except Exception as error:
            why = f"sent an answer that cannot be read ({type(error).__name__})"
            raise ServiceError("damaged", why) from error

    return guarded


class AnswerCutError(ProtocolError):
    """The connection broke in the middle of an answer."""


def fault_of_status(response: requests.Response) -> ServiceError:
    """What an HTTP status without data means."""
    code = response.status_code
    reason = own_words(response.content)
    said = f" ({code}){f': {reason}' if reason else ''}"
    if code == 429:
        wait = wait_asked(response.headers.get("Retry-After"))
        return ServiceError(
            "limit",
            f"has had enough requests for now{said}"
            if wait is None
            else f"asks to wait {_in_words(wait)}{said}",
        )
    if code in (404, 410):
        return ServiceError("absent", f"has nothing there{said}")
    if code in (401, 403, 407):
        return ServiceError("refused", f"refused the request{said}")
    if code < 400:
        return ServiceError("damaged", f"answered without data (status {code})")
    if code < 500:
        return ServiceError("refused", f"did not accept the request{said}")
    return ServiceError("server", f"has trouble of its own{said}")


def fault_of_error(error: Exception) -> ServiceError:
    """What a failed call means."""
    cause = error.args[0] if error.args else None
    cause = getattr(cause, "reason", cause)  # what the last of several tries ended with
    kinds: tuple[tuple[bool, Fault, str], ...] = (
        (isinstance(cause, AnswerCutError), "cut", "broke off in the middle of its answer"),
        (isinstance(cause, ProtocolError), "cut", "broke off the connection"),
        (isinstance(error, requests.TooManyRedirects), "server", "sends the request round in circles"),
        (
            isinstance(error, requests.exceptions.ProxyError),
            "offline",
            "could not be reached: the proxy does not answer",
        ),
        (
            isinstance(error, requests.exceptions.SSLError),
            "refused",
            "has a certificate that cannot be trusted (is the computer's clock right?)",
        ),
        (isinstance(error, requests.ConnectTimeout), "offline", "could not be reached in time"),
        (isinstance(error, requests.ReadTimeout), "silent", "did not answer in time"),
        (isinstance(error, requests.ConnectionError), "offline", "could not be reached"),
    )
    for applies, fault, words in kinds:
        if applies:
            return ServiceError(fault, words)
    return ServiceError("damaged", f"could not be asked ({type(error).__name__})")


def wait_asked(header: str | None) -> float | None:
    """How long a `Retry-After` asks to wait; None when it does not say. [s]

    Examples
    --------
    >>> wait_asked("86400"), wait_asked("soon"), wait_asked(None)
    (86400, None, None)
    """
    rule = Retry()
    rule.retry_after_max = 10**9
    try:
        return None if header is None else rule.parse_retry_after(header)
    except InvalidHeader:
        return None


def _in_words(seconds: float) -> str:
    """
    >>> _in_words(30), _in_words(60), _in_words(5400), _in_words(86400)
    ('30 s', '1 min', '2 h', '24 h')
    """
    if seconds < 60:
        return f"{seconds:.0f} s"
    return f"{seconds / 60:.0f} min" if seconds < 3600 else f"{seconds / 3600:.0f} h"


def own_words(body: bytes) -> str:
    """What a service itself says in an error answer: the reason in its JSON, or a short plain text."""
    text = body[:2000].decode("utf-8", "replace").strip()
    try:
        said = json.loads(text)
    except (ValueError, RecursionError):
        return _shortened(text) if len(text) < 400 and "<" not in text else ""
    if isinstance(said, dict):
        for key in ("reason", "message", "errorMessage", "detail"):
            if isinstance(said.get(key), str):
                return _shortened(said[key])
    return ""


def _shortened(text: str) -> str:
    return " ".join(text.split())[:_REASON]


def refuse_page(body: bytes) -> None:
    """Refuse a web page or nothing at all where data were expected. Raises `ServiceError`."""
    if not body.strip():
        raise ServiceError("damaged", "sent an empty answer")
    if _PAGE.match(body):
        raise ServiceError(
            "damaged", "sent a web page instead of data (is there a login page between you and the network?)"
        )


@parser
def json_object(body: bytes) -> dict[str, Any]:
    """The JSON object of an answer.

    Raises `ServiceError` if it is a page, empty, broken, no object, or an error reported with status 200.
    """
    refuse_page(body)
    try:
        value = json.loads(body)
    except RecursionError:
        raise ServiceError("damaged", ANOTHER_SHAPE) from None
    except ValueError:
        # Open-Meteo says in the middle of an answer, as text, that it cannot go on.
        why = (
            _shortened(body[:200].decode("utf-8", "replace")) if body[:1].isalpha() else "its JSON breaks off"
        )
        raise ServiceError("damaged", f"sent an answer that cannot be read ({why})") from None
    if not isinstance(value, dict):
        raise ServiceError("damaged", ANOTHER_SHAPE)
    if value.get("error"):
        raise ServiceError("server", f"reports an error: {own_words(body) or 'it does not say which'}")
    return value

"""What goes wrong on the way, in words for a grower: each says what happened, after the service's name."""

from __future__ import annotations

import json
import re
from datetime import UTC, datetime
from email.utils import parsedate_to_datetime
from typing import TYPE_CHECKING, Any

from data_sources.weather.services.protocol import ServiceError

if TYPE_CHECKING:
    import requests

_PAGE = re.compile(rb"\s*(?:\xef\xbb\xbf)?\s*<(?:!doctype|html|head|body)", re.IGNORECASE)
CIRCLES = "sends the request round in circles"
_REASON = 140  # characters of a service's own words that are shown


def fault_of_status(response: requests.Response) -> ServiceError:
    """What an HTTP status of 400 or more means."""
    code = response.status_code
    reason = own_words(response.content)
    said = f": {reason}" if reason else ""
    if code == 429:
        wait = wait_asked(response.headers.get("Retry-After"), reason)
        if wait is None:
            return ServiceError("limit", f"has had enough requests for now (429){said}")
        return ServiceError("limit", f"asks to wait {in_words(wait)} (429){said}", retry_after=wait)
    if code in (404, 410):
        return ServiceError("absent", f"has nothing there ({code}){said}")
    if code in (401, 403, 407):
        return ServiceError("refused", f"refused the request ({code}){said}")
    if code < 500:
        return ServiceError("refused", f"did not accept the request ({code}){said}")
    return ServiceError("server", f"has trouble of its own ({code}){said}")


def fault_of_error(error: requests.RequestException) -> ServiceError:
    """What a failed call means."""
    import requests

    text = str(error)
    if isinstance(error, requests.exceptions.TooManyRedirects):
        return ServiceError("server", CIRCLES)
    if isinstance(error, requests.exceptions.ProxyError):
        return ServiceError("offline", "could not be reached: the proxy does not answer")
    if isinstance(error, requests.exceptions.SSLError):
        return ServiceError(
            "refused", "has a certificate that cannot be trusted (is the computer's clock right?)"
        )
    if isinstance(error, requests.exceptions.ConnectTimeout):
        return ServiceError("offline", "could not be reached in time")
    if isinstance(error, requests.exceptions.ReadTimeout):
        return ServiceError("silent", text if text.startswith("was still") else "did not answer in time")
    if isinstance(error, requests.exceptions.ContentDecodingError):
        words = text if text.startswith("sent more") else "sent a damaged answer (its packing is broken)"
        return ServiceError("damaged", words)
    if isinstance(error, requests.exceptions.ChunkedEncodingError):
        return ServiceError("cut", "broke off in the middle of its answer")
    if isinstance(error, requests.exceptions.ConnectionError):
        if re.search(
            r"RemoteDisconnected|ConnectionReset|Connection aborted|IncompleteRead|BadStatusLine", text
        ):
            return ServiceError("cut", "broke off the connection")
        return ServiceError("offline", "could not be reached")
    return ServiceError("damaged", f"could not be asked ({type(error).__name__})")


def wait_asked(header: str | None, reason: str = "") -> float | None:
    """How long a service asks us to wait; None when it does not say. [s]

    Examples
    --------
    >>> wait_asked("30"), wait_asked(None, "Minutely limit exceeded. Please try again in one minute.")
    (30.0, 60.0)
    >>> wait_asked(None, "try again tomorrow") is None
    True
    """
    if header:
        try:
            return max(0.0, float(header))
        except ValueError:
            try:
                when = parsedate_to_datetime(header)
            except ValueError:
                return None
            return max(0.0, (when - datetime.now(UTC)).total_seconds())
    if "one minute" in reason:
        return 60.0
    if "next hour" in reason:
        return 3600.0
    return None


def in_words(seconds: float) -> str:
    """
    >>> in_words(30), in_words(60), in_words(5400), in_words(86400)
    ('30 s', '1 min', '2 h', '24 h')
    """
    if seconds < 60:
        return f"{seconds:.0f} s"
    if seconds < 3600:
        return f"{seconds / 60:.0f} min"
    return f"{seconds / 3600:.0f} h"


def own_words(body: bytes) -> str:
    """What a service itself says in an error answer: the reason in its JSON, or a short plain text."""
    text = body[:2000].decode("utf-8", "replace").strip()
    if not text or _PAGE.match(body):
        return ""
    try:
        said = json.loads(text)
    except ValueError:
        return " ".join(text.split())[:_REASON] if len(text) < 400 and "<" not in text else ""
    if isinstance(said, dict):
        for key in ("reason", "message", "errorMessage", "detail"):
            if isinstance(said.get(key), str):
                return " ".join(said[key].split())[:_REASON]
    return ""


def refuse_page(body: bytes) -> None:
    """Refuse a web page or nothing at all where data were expected.

    Raises
    ------
    ServiceError
    """
    if not body.strip():
        raise ServiceError("damaged", "sent an empty answer")
    if _PAGE.match(body):
        raise ServiceError(
            "damaged", "sent a web page instead of data (is there a login page between you and the network?)"
        )


def json_object(body: bytes) -> dict[str, Any]:
    """The JSON object of an answer.

    Raises
    ------
    ServiceError
        If it is a page, empty, broken, no object, or an error told with status 200.
    """
    refuse_page(body)
    try:
        value = json.loads(body)
    except ValueError:
        said = body[:200].decode("utf-8", "replace")
        why = (
            " ".join(said.split())[:_REASON] if said.startswith("Unexpected error") else "its JSON breaks off"
        )
        raise ServiceError("damaged", f"sent an answer that cannot be read ({why})") from None
    if not isinstance(value, dict):
        raise ServiceError("damaged", "sent an answer of another shape than it documents")
    if value.get("error"):
        raise ServiceError("server", f"reports an error: {own_words(body) or 'it does not say which'}")
    return value

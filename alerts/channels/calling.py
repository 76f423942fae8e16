"""A call to an address of the site's own: looked up once, judged, and that very address called. No redirects."""

import logging
import ssl
from collections.abc import Mapping

import httpx

from alerts.channels.where import Refused, places

# Both write whole addresses into the log, and an address may hold a secret.
for _name in ("httpx", "httpcore"):
    logging.getLogger(_name).setLevel(logging.WARNING)

NO_ANSWER = (httpx.HTTPError, httpx.InvalidURL, ValueError)
"""What `call` raises where there is no answer; its class name is all that may be told, since the rest holds the
address."""


def caller(timeout_s: float, trust: ssl.SSLContext | None = None) -> httpx.Client:
    """Return what calls are made with; a proxy named in the environment would look the name up past our judgement."""
    return httpx.Client(
        timeout=timeout_s, follow_redirects=False, trust_env=False, verify=trust if trust is not None else True
    )


def call(
    client: httpx.Client,
    method: str,
    address: str,
    *,
    private: bool,
    headers: Mapping[str, str],
    content: bytes | None = None,
    stream: bool = False,
) -> httpx.Response | Refused:
    """Call once and return the answer, or why this address is not called. Raises NO_ANSWER.

    With `stream` only the head of the answer is read, and the caller closes it.
    """
    url = httpx.URL(address)
    port = url.port or (443 if url.scheme == "https" else 80)
    found = places(url.host, port, private=private)
    if isinstance(found, Refused):
        return found
    named = {**headers, "host": url.netloc.decode("ascii")}

    def at(place: str) -> httpx.Response:
        request = client.build_request(
            method,
            url.copy_with(host=place),
            headers=named,
            content=content,
            extensions={"sni_hostname": url.host},
        )
        return client.send(request, stream=stream)

    for place in found[:-1]:
        try:
            return at(place)
        except httpx.ConnectError:
            continue
    return at(found[-1])
